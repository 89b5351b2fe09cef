"""Pictures and documents that come from outside: told by their bytes, and made safe to show.

A picture is decoded as a whole and written anew, so that nothing survives but what is seen:
neither the place and the serial number that a camera writes, nor what was hung on behind. A
document is never taken apart here; it is told by its first and last bytes and handed on as it is.
"""

from __future__ import annotations

import io
import threading
from dataclasses import dataclass
from typing import Literal

import numpy as np
from PIL import Image, ImageCms, ImageFile

MOST_BYTES = 20 * 2**20
MOST_PIXELS = 60_000_000
LONGEST_SIDE = 2400
JPEG_QUALITY = 88

MediaType = Literal["image/png", "image/jpeg", "image/webp", "application/pdf"]

_KINDS = "PNG, JPEG and WebP pictures and PDF documents are taken"
_DAMAGED = (
    "The picture is damaged or cut off: it cannot be decoded to its end. "
    "Copy it from its source again, or save it anew with a picture program."
)

# Orientation, tag 274 of Exif 2.32 (table 6): where row 0 and column 0 of the stored picture
# are seen, and the turn that brings them to the top and to the left.
_ORIENTATION = 0x0112
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

# Where a header slips past the check below, the library refuses what would fill the memory.
Image.MAX_IMAGE_PIXELS = MOST_PIXELS

# A large picture takes hundreds of megabytes while it is decoded: one at a time in a process.
_ONE_AT_A_TIME = threading.Lock()


class Unfit(ValueError):
    """A file that cannot be attached; the message says why, and what to do."""


@dataclass(frozen=True, slots=True)
class Checked:
    """A file that can be attached.

    `shown` holds the bytes that readers get, of the type `shown_type`; None stands for the file
    as it came, which is so for documents. `width` and `height` are those of the shown picture
    [pixel]. `remarks` are sentences on what a person might miss in it.
    """

    media_type: MediaType
    shown: bytes | None = None
    shown_type: MediaType = "application/pdf"
    width: int | None = None
    height: int | None = None
    remarks: tuple[str, ...] = ()


def check_attached(content: bytes) -> Checked:
    """What a file is by its bytes, and the copy of it that may be shown.

    Raises `Unfit` for every other type, and for what is too large, damaged or encrypted.
    """
    if not content:
        raise Unfit("The file is empty: it has no bytes.")
    if len(content) > MOST_BYTES:
        raise Unfit(
            f"The file is larger than {MOST_BYTES >> 20} MiB. "
            "Save the picture smaller, or the document with smaller pictures in it."
        )
    media_type = _media_type(content)
    if media_type is None:
        raise Unfit(
            f"By its bytes this is none of the types that can be attached; its name does not "
            f"matter. {_KINDS}: save it as one of them."
        )
    if media_type == "application/pdf":
        _check_document(content)
        return Checked(media_type)
    with _ONE_AT_A_TIME:
        return _picture(content, media_type)


def _media_type(content: bytes) -> MediaType | None:
    """The type by its signature: PNG 5.2, JPEG B.1.1.3 (SOI), RIFF/WEBP, ISO 32000-1 7.5.2."""
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"RIFF") and content[8:12] == b"WEBP":
        return "image/webp"
    if content.startswith(b"%PDF-"):
        return "application/pdf"
    return None


def _check_document(content: bytes) -> None:
    """Refuse a PDF that is cut off (ISO 32000-1, 7.5.5) or that asks for a password (7.6)."""
    if b"%%EOF" not in content[-1024:]:
        raise Unfit("The PDF is cut off: its end mark is missing. Copy it from its source again.")
    if b"/Encrypt" in content:
        raise Unfit(
            "The PDF is encrypted, so readers could not open it. Save it without a password."
        )


def _picture(content: bytes, media_type: MediaType) -> Checked:
    try:
        _verify(content)
        with Image.open(io.BytesIO(content), formats=["PNG", "JPEG", "WEBP"]) as image:
            frames = int(getattr(image, "n_frames", 1))
            shown, shown_type = _shown(image, media_type)
    except Unfit:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels() from error
    except Exception as error:  # whatever a decoder stumbles over in a file from outside
        raise Unfit(_DAMAGED) from error
    width, height = shown.size
    remarks = (f"The file holds {frames} pictures; the first one is shown.",) if frames > 1 else ()
    return Checked(
        media_type, _written(shown, shown_type), shown_type, width, height, remarks=remarks
    )


def _verify(content: bytes) -> None:
    """Refuse by the header alone, before a pixel is decoded; then check the file's own sums."""
    with Image.open(io.BytesIO(content), formats=["PNG", "JPEG", "WEBP"]) as image:
        width, height = image.size
        if width * height > MOST_PIXELS:
            raise _too_many_pixels()
        image.verify()


def _too_many_pixels() -> Unfit:
    return Unfit(
        f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels. Save it smaller."
    )


def _shown(image: ImageFile.ImageFile, media_type: MediaType) -> tuple[Image.Image, MediaType]:
    """The picture as it is seen: upright, in sRGB, at most `LONGEST_SIDE` pixels long."""
    # A JPEG decoder halves a picture while it reads; the whole file is read all the same.
    image.draft(None, (LONGEST_SIDE, LONGEST_SIDE))
    image.load()
    profile, turn = image.info.get("icc_profile"), _turn(image)
    plain = _plain(image)
    plain.thumbnail((LONGEST_SIDE, LONGEST_SIDE), reducing_gap=2.0)
    plain = plain.copy()  # of the file's own object nothing is kept
    if turn is not None:
        plain = plain.transpose(turn)
    if isinstance(profile, bytes) and plain.mode == "RGB":
        plain = _in_srgb(plain, profile)
    if media_type == "image/png":
        shown_type: MediaType = "image/png"
    else:
        shown_type = "image/jpeg"
        plain = _on_white(plain)
    plain.info.clear()
    return plain, shown_type


def _turn(image: Image.Image) -> Image.Transpose | None:
    try:
        return _TURNS.get(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # a camera's notes may be in any disorder; the picture is none the worse
        return None


def _plain(image: Image.Image) -> Image.Image:
    """The picture with 8 bits a channel: L, RGB, or RGBA where something shows through."""
    if image.mode.startswith("I"):
        # Leaving the lower byte out is one of the ways that PNG 13.12 gives.
        return Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
    if image.mode in ("LA", "PA", "RGBA", "La", "RGBa") or "transparency" in image.info:
        wanted = "RGBA"
    else:
        wanted = "L" if image.mode in ("1", "L") else "RGB"
    # Converting into the same mode would be one more copy of a large picture.
    return image if image.mode == wanted else image.convert(wanted)


def _on_white(image: Image.Image) -> Image.Image:
    """A picture that nothing shows through, which JPEG cannot keep."""
    if image.mode != "RGBA":
        return image
    ground = Image.new("RGB", image.size, "white")
    ground.paste(image, mask=image.getchannel("A"))
    return ground


def _in_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """The colours as screens without that profile show them; a bad profile counts for nothing."""
    try:
        converted = ImageCms.profileToProfile(
            image, io.BytesIO(profile), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image
    return converted if converted is not None else image


def _written(image: Image.Image, shown_type: MediaType) -> bytes:
    target = io.BytesIO()
    if shown_type == "image/png":
        image.save(target, "PNG")
    else:
        image.save(target, "JPEG", quality=JPEG_QUALITY, progressive=True)
    return target.getvalue()
