"""The contract of independent kinds holds every folder to it, and can be broken."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from importlinter.domain.contract import InvalidContractOptions

from measurements.kinds import all_kinds
from tests.architecture.contracts import IndependentPackages, packages_in

ROOT = Path(__file__).resolve().parent.parent.parent


def test_the_packages_of_the_contract_are_the_kinds() -> None:
    assert packages_in("measurements.kinds") == sorted(
        f"measurements.kinds.{kind.slug.replace('-', '_')}" for kind in all_kinds()
    )


@pytest.mark.parametrize("options", [{}, {"modules": ["measurements.standards"]}])
def test_a_contract_over_nothing_is_refused(options: dict[str, list[str]]) -> None:
    with pytest.raises(InvalidContractOptions):
        IndependentPackages("Nothing", {}, options)


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """The sources of the site in a folder of their own."""
    python_only = shutil.ignore_patterns("templates", "static", "__pycache__", "data")
    for package in ("brickledger", "catalog", "comparisons", "measurements"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=python_only)
    (tmp_path / "tests" / "architecture").mkdir(parents=True)
    for file in ("tests/__init__.py", "tests/architecture/__init__.py"):
        (tmp_path / file).touch()
    for file in ("tests/architecture/contracts.py", "pyproject.toml"):
        shutil.copy(ROOT / file, tmp_path / file)
    return tmp_path


def linted(folder: Path) -> subprocess.CompletedProcess[str]:
    """The contract of the kinds, checked as the continuous check does."""
    return subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache", "--contract", "kinds"],
        cwd=folder,
        env={name: value for name, value in os.environ.items() if name != "PYTHONPATH"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    ("source", "kept"),
    [
        ("from measurements.kinds.base import Kind\n", True),
        ("from measurements.kinds.no_load import KIND\n", False),
    ],
)
def test_a_new_kind_is_held_to_it_without_being_named(
    copied: Path, source: str, kept: bool
) -> None:
    folder = copied / "measurements" / "kinds" / "hold_up"
    folder.mkdir()
    (folder / "__init__.py").write_text(source, "utf-8")
    done = linted(copied)
    assert (done.returncode == 0) is kept, done.stdout + done.stderr
    says = "measurements.kinds.hold_up is not allowed to import measurements.kinds.no_load"
    assert (says in done.stdout) is not kept
