"""Pictures from outside: told by their bytes, decoded as a whole, written anew.

Facts of the formats: PNG specification, third edition (W3C), 5.2, 5.3, 11.2.1, 13.12; Exif 2.32
(CIPA DC-008), tags 274 Orientation, 34853 GPSInfo, 271 Make, 42033 BodySerialNumber;
ISO 32000-1, 7.5.2, 7.5.5, 7.6. The library is the reference for what a turned picture is.
"""

from __future__ import annotations

import io
import zipfile
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageOps

from measurements.intake import pictures
from measurements.intake.pictures import LONGEST_SIDE, Unfit, check_attached
from tests.factories.pictures import PDF, corners, picture, png_claiming, saved

ORIENTATION, GPS, MAKE, BODY_SERIAL, EXIF_IFD = 274, 34853, 271, 42033, 34665


def shown(content: bytes) -> Image.Image:
    checked = check_attached(content)
    assert checked.shown is not None
    image = Image.open(io.BytesIO(checked.shown))
    image.load()
    assert image.size == (checked.width, checked.height)
    return image


def notes(*, orientation: int = 1) -> Image.Exif:
    """What a camera writes into a picture."""
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKE] = "Northfold Optics"
    exif.get_ifd(EXIF_IFD)[BODY_SERIAL] = "SN-4711-0815"
    exif.get_ifd(GPS).update({1: "N", 2: (48.0, 8.0, 14.5), 3: "E", 4: (11.0, 34.0, 31.2)})
    return exif


@pytest.mark.parametrize(
    ("kind", "shown_type"),
    [("PNG", "image/png"), ("JPEG", "image/jpeg"), ("WEBP", "image/jpeg")],
)
def test_nothing_that_a_camera_writes_is_left(kind: str, shown_type: str) -> None:
    content = picture(kind, exif=notes(), icc_profile=_profile())
    before = Image.open(io.BytesIO(content)).getexif()
    assert before.get_ifd(GPS)[2]  # the test writes what it looks for
    assert b"SN-4711-0815" in content

    checked = check_attached(content)

    assert checked.shown_type == shown_type
    after = shown(content)
    assert dict(after.getexif()) == {}
    assert "icc_profile" not in after.info
    for trace in (b"SN-4711-0815", b"Northfold Optics", b"Exif", b"eXIf", b"iCCP", b"ICC_PROFILE"):
        assert trace not in (checked.shown or b"")


def test_texts_and_comments_go_too() -> None:
    meant = picture("JPEG", comment=b"at home, second floor", xmp=b"<x:xmpmeta>at home</x:xmpmeta>")
    assert b"at home" in meant
    assert b"at home" not in (check_attached(meant).shown or b"at home")


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_picture_is_turned_as_its_orientation_says(kind: str, orientation: int) -> None:
    content = picture(kind, exif=notes(orientation=orientation))

    seen = shown(content)

    with Image.open(io.BytesIO(content)) as image:
        reference = ImageOps.exif_transpose(image)
    assert seen.size == reference.size
    difference = np.abs(
        np.asarray(seen.convert("RGB"), float) - np.asarray(reference.convert("RGB"), float)
    )
    assert difference.mean() < 3  # JPEG is encoded once more; PNG differs by nothing
    assert kind == "JPEG" or difference.max() == 0


def test_an_orientation_of_6_puts_the_stored_left_column_on_top() -> None:
    # Exif 2.32, tag 274, value 6: row 0 is the visual right side, column 0 the visual top.
    seen = shown(picture("PNG", exif=notes(orientation=6)))
    assert seen.size == (48, 64)
    assert seen.getpixel((47, 0)) == (255, 0, 0)
    assert seen.getpixel((0, 0)) == (0, 0, 255)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA"])
def test_a_scope_picture_stays_as_it_is_pixel_by_pixel(mode: str) -> None:
    drawn = corners(mode=mode)
    seen = shown(saved(drawn))
    assert seen.format == "PNG"
    assert np.array_equal(np.asarray(seen.convert("RGBA")), np.asarray(drawn.convert("RGBA")))


def test_sixteen_bits_a_sample_become_eight() -> None:
    # PNG 13.12: the lower byte may be left out. A reader that clips would make all of it white.
    levels = np.array([[0, 0x1000, 0x80FF, 0xFFFF]], dtype=np.uint16)
    seen = shown(saved(Image.fromarray(levels)))
    assert np.asarray(seen).tolist() == [[0, 0x10, 0x80, 0xFF]]


def test_what_shows_through_a_webp_is_white_as_jpeg_has_no_holes() -> None:
    clear = Image.new("RGBA", (32, 32), (255, 0, 0, 0))
    pixel = shown(saved(clear, "WEBP", lossless=True)).getpixel((16, 16))
    assert pixel == (255, 255, 255)


def test_colours_of_another_space_are_shown_in_srgb() -> None:
    # The reference is the colour management of the library, asked from outside.
    image = Image.new("RGB", (16, 16), (200, 60, 60))
    wide = _wide_profile()
    expected = ImageCms.profileToProfile(
        image, io.BytesIO(wide), ImageCms.createProfile("sRGB"), outputMode="RGB"
    )
    assert expected is not None
    assert expected.getpixel((8, 8)) != (200, 60, 60)
    assert shown(saved(image, icc_profile=wide)).getpixel((8, 8)) == expected.getpixel((8, 8))


def test_a_colour_profile_of_rubbish_costs_nothing() -> None:
    assert shown(picture("JPEG", icc_profile=b"rubbish")).size == (64, 48)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
@pytest.mark.parametrize("size", [(3000, 40), (40, 3000)])
def test_a_large_picture_is_made_smaller(kind: str, size: tuple[int, int]) -> None:
    seen = shown(picture(kind, size=size))
    assert max(seen.size) == LONGEST_SIDE
    assert min(seen.size) == 32


def test_the_first_of_several_pictures_is_shown_and_said_to_be() -> None:
    frames = [Image.new("RGB", (8, 8), "green")]
    content = saved(Image.new("RGB", (8, 8), "red"), save_all=True, append_images=frames)
    checked = check_attached(content)
    assert checked.remarks == ("The file holds 2 pictures; the first one is shown.",)
    assert shown(content).getpixel((4, 4)) == (255, 0, 0)


def test_nothing_that_was_hung_on_behind_survives() -> None:
    tail = io.BytesIO()
    with zipfile.ZipFile(tail, "w") as archive:
        archive.writestr("index.html", "<script>alert(1)</script>")
    for kind in ("PNG", "JPEG"):
        content = picture(kind) + b"<html><script>alert(1)</script></html>" + tail.getvalue()
        assert zipfile.is_zipfile(io.BytesIO(content))  # it passes for both
        copy = check_attached(content).shown
        assert copy is not None
        assert b"<script" not in copy
        assert not zipfile.is_zipfile(io.BytesIO(copy))


@pytest.mark.parametrize(
    ("width", "height"), [(100_000, 100_000), (7_746, 7_746), (2**31 - 1, 1), (60_000_001, 1)]
)
def test_a_header_that_claims_too_much_is_refused_before_decoding(
    width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "_shown", _never)
    with pytest.raises(Unfit, match="more than 60 million pixels"):
        check_attached(png_claiming(width, height))


def _never(*_: Any) -> Any:
    raise AssertionError("this must not be decoded")


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.9])
def test_a_picture_that_is_cut_off_is_refused(kind: str, share: float) -> None:
    noise = np.random.default_rng(4).integers(0, 255, (64, 64, 3), dtype=np.uint8)
    content = saved(Image.fromarray(noise), kind)
    check_attached(content)
    with pytest.raises(Unfit, match="damaged or cut off"):
        check_attached(content[: max(int(share * len(content)), 16)])


def test_a_png_whose_sum_is_wrong_is_refused() -> None:
    content = bytearray(picture("PNG"))
    content[content.index(b"IDAT") + 12] ^= 0xFF  # PNG 5.3: every chunk carries its CRC
    with pytest.raises(Unfit, match="damaged"):
        check_attached(bytes(content))


@pytest.mark.parametrize(
    "content",
    [
        b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        b"<!DOCTYPE html><script>alert(1)</script>",
        b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
        b"PK\x03\x04rest",
        b"MZ\x90\x00",
        b"II*\x00\x08\x00\x00\x00",
        b"\n%PDF-1.4\n%%EOF",
        b"time_s,input_power_w\n0,0.05\n",
    ],
    ids=["svg", "html", "gif", "zip", "program", "tiff", "late-pdf", "csv"],
)
def test_every_other_type_is_refused_with_what_to_do(content: bytes) -> None:
    with pytest.raises(Unfit, match="PNG, JPEG and WebP pictures and PDF documents are taken"):
        check_attached(content)


def test_an_empty_file_and_one_that_is_too_large_are_refused() -> None:
    with pytest.raises(Unfit, match="empty"):
        check_attached(b"")
    with pytest.raises(Unfit, match="larger than 20 MiB"):
        check_attached(picture() + bytes(pictures.MOST_BYTES))


def test_a_document_is_handed_on_as_it_came() -> None:
    checked = check_attached(PDF)
    assert (checked.media_type, checked.shown, checked.width) == ("application/pdf", None, None)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (PDF.replace(b"%%EOF\n", b""), "cut off"),
        (PDF.replace(b"/Root", b"/Encrypt 5 0 R /Root"), "encrypted"),
    ],
)
def test_a_document_that_nobody_could_open_is_refused(content: bytes, words: str) -> None:
    with pytest.raises(Unfit, match=words):
        check_attached(content)


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_no_damage_gets_further_than_a_refusal(data: st.DataObject) -> None:
    content = bytearray(_WHOLE[data.draw(st.sampled_from(sorted(_WHOLE)))])
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, len(content) - 1))
        content[place] = data.draw(st.integers(0, 255))
    try:
        checked = check_attached(bytes(content[: data.draw(st.integers(1, len(content)))]))
    except Unfit:
        return
    if checked.shown is not None:
        Image.open(io.BytesIO(checked.shown)).load()


_WHOLE = {kind: picture(kind, exif=notes(orientation=6)) for kind in ("PNG", "JPEG", "WEBP")}


def _profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def _wide_profile() -> bytes:
    """sRGB's own profile with red and green swapped round: a space that is surely another."""
    content = bytearray(_profile())
    red, green = content.index(b"rXYZ"), content.index(b"gXYZ")
    content[red : red + 4], content[green : green + 4] = b"gXYZ", b"rXYZ"
    return bytes(content)
