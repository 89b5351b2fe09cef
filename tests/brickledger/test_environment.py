"""Settings from the environment: a mistake never stops the reading, and is never lost."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from brickledger.environment import Environment, secret_key


@pytest.mark.parametrize(
    ("raw", "meant"),
    [("1", True), ("Yes", True), (" on ", True), ("0", False), ("false", False), ("", False)],
)
def test_a_flag_is_read_from_the_usual_words(raw: str, meant: bool) -> None:
    environment = Environment({"FLAG": raw})
    assert environment.flag("FLAG", default=not meant) is meant
    assert environment.mistakes == []


def test_a_flag_that_is_neither_yes_nor_no_counts_as_no_and_is_reported() -> None:
    environment = Environment({"FLAG": "maybe"})
    assert environment.flag("FLAG", default=True) is False
    (mistake,) = environment.mistakes
    assert mistake.name == "FLAG"
    assert "maybe" in mistake.message


@pytest.mark.parametrize("default", [True, False])
def test_a_flag_that_is_not_set_keeps_its_default(default: bool) -> None:
    assert Environment({}).flag("FLAG", default=default) is default


@pytest.mark.parametrize("raw", ["1", "30", " 2.5 ", "100"])
def test_a_number_within_its_range_is_taken(raw: str) -> None:
    environment = Environment({"N": raw})
    assert environment.number("N", 7, minimum=1, maximum=100) == float(raw)
    assert environment.mistakes == []


@pytest.mark.parametrize("raw", ["0.9", "101", "nan", "inf", "ten", "1,5"])
def test_a_number_out_of_range_or_unreadable_falls_back_and_is_reported(raw: str) -> None:
    environment = Environment({"N": raw})
    assert environment.number("N", 7, minimum=1, maximum=100) == 7
    (mistake,) = environment.mistakes
    assert raw in mistake.message
    assert "from 1 to 100" in mistake.message
    assert "7" in mistake.hint


def test_words_are_separated_by_commas_and_blanks_are_left_out() -> None:
    assert Environment({"W": " a, ,b "}).words("W", "x") == ["a", "b"]
    assert Environment({}).words("W", "x,y") == ["x", "y"]


def test_blank_text_counts_as_unset() -> None:
    assert Environment({"T": "  "}).text("T", "default") == "default"


def test_the_key_is_made_once_and_only_its_owner_may_read_it(tmp_path: Path) -> None:
    environment = Environment({})
    key = secret_key(environment, tmp_path / "data")
    assert len(key) >= 50
    assert secret_key(environment, tmp_path / "data") == key
    assert stat.S_IMODE((tmp_path / "data" / "secret_key").stat().st_mode) == 0o600


def test_a_given_key_is_used_and_none_is_written(tmp_path: Path) -> None:
    environment = Environment({"DJANGO_SECRET_KEY": "given"})
    assert secret_key(environment, tmp_path / "data") == "given"
    assert not (tmp_path / "data").exists()


def test_a_folder_that_cannot_be_written_is_reported_and_a_key_is_there_all_the_same(
    tmp_path: Path,
) -> None:
    (tmp_path / "file").write_text("in the way")
    environment = Environment({})
    assert len(secret_key(environment, tmp_path / "file" / "data")) >= 50
    (mistake,) = environment.mistakes
    assert mistake.name == "BRICKLEDGER_DATA_DIR"


def test_a_key_file_left_empty_by_a_killed_process_does_not_give_an_empty_key(
    tmp_path: Path,
) -> None:
    (tmp_path / "secret_key").touch()
    assert len(secret_key(Environment({}), tmp_path)) >= 50
