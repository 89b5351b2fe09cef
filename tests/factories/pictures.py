"""Pictures and documents for tests, made by the reference library or by hand."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

from PIL import Image

PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\nstartxref\n9\n%%EOF\n"


def corners(size: tuple[int, int] = (64, 48), mode: str = "RGB") -> Image.Image:
    """A picture whose four quarters differ: red, green, blue, white from the top left on."""
    width, height = size
    image = Image.new("RGB", size, "white")
    image.paste("red", (0, 0, width // 2, height // 2))
    image.paste("lime", (width // 2, 0, width, height // 2))
    image.paste("blue", (0, height // 2, width // 2, height))
    return image.convert(mode)


def saved(image: Image.Image, kind: str = "PNG", **options: Any) -> bytes:
    """The bytes of a picture file."""
    target = io.BytesIO()
    image.save(target, kind, **options)
    return target.getvalue()


def picture(kind: str = "PNG", *, size: tuple[int, int] = (64, 48), **options: Any) -> bytes:
    """A small picture file with four colours."""
    return saved(corners(size), kind, **options)


def chunk(name: bytes, data: bytes) -> bytes:
    """A chunk of a PNG: length, name, data, CRC (PNG specification, 5.3)."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png_claiming(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header (IHDR, PNG 11.2.1) claims any size."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            chunk(b"IHDR", header),
            chunk(b"IDAT", zlib.compress(b"\0" * 100)),
            chunk(b"IEND", b""),
        ]
    )
