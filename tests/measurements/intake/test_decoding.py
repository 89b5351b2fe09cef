"""Which bytes are text, and in which encoding."""

from __future__ import annotations

from pathlib import Path

import pytest

from measurements.intake.decoding import BLOCK_BYTES, Refused, printable, utf8_text

TEXT = "time_s;Größe °C\n0;1\n"


def read(path: Path, data: bytes) -> tuple[str, str]:
    path.write_bytes(data)
    with utf8_text(path) as text:
        return text.encoding, text.path.read_bytes()[text.start :].decode("utf-8")


@pytest.mark.parametrize(
    ("encoding", "label"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8 with byte order mark"),
        ("utf-16", "UTF-16 (little-endian)"),
        ("utf-16-le", "UTF-16 (little-endian, without mark)"),
        ("utf-16-be", "UTF-16 (big-endian, without mark)"),
        ("latin-1", "Latin-1"),
    ],
)
def test_encodings_are_recognised(tmp_path: Path, encoding: str, label: str) -> None:
    assert read(tmp_path / "log", TEXT.encode(encoding)) == (label, TEXT)


def test_big_endian_utf_16_with_its_mark_is_recognised(tmp_path: Path) -> None:
    data = b"\xfe\xff" + TEXT.encode("utf-16-be")
    assert read(tmp_path / "log", data) == ("UTF-16 (big-endian)", TEXT)


def test_windows_1252_is_told_from_latin_1_by_its_upper_signs(tmp_path: Path) -> None:
    assert read(tmp_path / "log", "5 € – ok\n".encode("cp1252")) == ("Windows-1252", "5 € – ok\n")


@pytest.mark.parametrize("ends", ["\r", "\r\n", "\n"])
def test_every_line_end_gives_the_same_lines(tmp_path: Path, ends: str) -> None:
    _, text = read(tmp_path / "log", TEXT.replace("\n", ends).encode())
    assert text.replace("\r\n", "\n") == TEXT


def test_what_straddles_two_blocks_is_read_whole(tmp_path: Path) -> None:
    for head in ("x" * (BLOCK_BYTES - 1), "x" * (BLOCK_BYTES - 2) + "\n"):
        for tail in ("\r\nend\r\n", "°C\n", "\rend\n"):
            _, text = read(tmp_path / "log", (head + tail).encode())
            expected = head + (tail if tail != "\rend\n" else "\nend\n")
            assert text == expected


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"time_s\n0\0\n", "zero bytes"),
        (b"\xff\xfet\x00i\x00\x00\xd8", "damaged"),
        (b"\xff\xfe\x00\x00t\x00\x00\x00", "zero characters"),
    ],
)
def test_what_is_no_text_is_refused_with_what_to_do(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "log"
    path.write_bytes(data)
    with pytest.raises(Refused, match=said) as refusal, utf8_text(path):
        pass
    assert any(word in refusal.value.problem.detail for word in ("Send", "Save", "save"))


def test_the_copy_of_a_foreign_encoding_is_removed(tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.write_bytes(TEXT.encode("utf-16"))
    with utf8_text(path) as text:
        copy = text.path
        assert copy != path
    assert not copy.exists()


def test_messages_carry_no_invisible_signs_and_no_long_cells() -> None:
    assert printable("a\u202eb\nc") == "a\\u202eb\\nc"
    assert printable("x" * 100) == "x" * 39 + "…"
