"""Two packages of one bench, built once: every test starts from an empty site."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from measurements import tasks
from measurements.models import RawFile, Run
from tests.comparisons.packages import bench
from tests.once import alone, folder_of_all


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Say of the tests that only look at packages that a database is needed to write them."""
    for item in items:
        if "built" in getattr(item, "fixturenames", ()) and not item.get_closest_marker(
            "django_db"
        ):
            item.add_marker(pytest.mark.django_db)


@dataclass(frozen=True, slots=True)
class Built:
    """The packages with and without raw files, and what the bench had that is not in them."""

    plain: Path
    raw: Path
    again: Path
    parquet: Path
    runs_of_the_bench: int
    files_of_the_bench: int


@pytest.fixture(scope="session")
def built(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Built:
    """Build the bench, write the packages, and take the bench back; or find them written."""
    folder = folder_of_all(tmp_path_factory, "packages")
    note = folder / "counts.json"
    with alone(folder / "begun"):
        if not note.exists():
            with django_db_blocker.unblock():
                note.write_text(json.dumps(_write_packages(folder)), encoding="utf-8")
    runs, files = json.loads(note.read_text(encoding="utf-8"))
    return Built(
        plain=folder / "plain.zip",
        raw=folder / "raw.zip",
        again=folder / "again.zip",
        parquet=folder / "parquet.zip",
        runs_of_the_bench=runs,
        files_of_the_bench=files,
    )


def _write_packages(folder: Path) -> tuple[int, int]:
    """How many runs and files the bench had."""
    with (
        override_settings(RAW_DIR=folder / "raw"),
        pytest.MonkeyPatch.context() as patch,
        transaction.atomic(),
    ):
        patch.setattr(tasks.compute_run, "apply_async", lambda *_, **__: None)
        bench.build()
        bench.exported(folder / "plain.zip")
        bench.exported(folder / "raw.zip", with_raw=True)
        bench.exported(folder / "again.zip", with_raw=True)
        bench.exported(folder / "parquet.zip", with_raw=True, with_parquet=True)
        counts = Run.objects.count(), RawFile.objects.count()
        transaction.set_rollback(True)
    return counts
