"""Two packages of one bench, built once: every test starts from an empty site."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.db import transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from measurements import tasks
from measurements.models import RawFile, Run
from tests.comparisons.packages import bench


class Built:
    """The packages with and without raw files, and what the bench had that is not in them."""

    def __init__(self, folder: Path) -> None:
        self.plain = bench.exported(folder / "plain.zip")
        self.raw = bench.exported(folder / "raw.zip", with_raw=True)
        self.again = bench.exported(folder / "again.zip", with_raw=True)
        self.parquet = bench.exported(folder / "parquet.zip", with_raw=True, with_parquet=True)
        self.runs_of_the_bench = Run.objects.count()
        self.files_of_the_bench = RawFile.objects.count()


@pytest.fixture(scope="package")
def built(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Built:
    """Build the bench, write the packages, and take the bench back."""
    folder = tmp_path_factory.mktemp("packages")
    with (
        django_db_blocker.unblock(),
        override_settings(RAW_DIR=folder / "raw"),
        pytest.MonkeyPatch.context() as patch,
        transaction.atomic(),
    ):
        patch.setattr(tasks.compute_run, "apply_async", lambda *_, **__: None)
        bench.build()
        made = Built(folder)
        transaction.set_rollback(True)
    return made
