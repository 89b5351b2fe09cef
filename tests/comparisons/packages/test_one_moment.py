"""An export shows one moment of the database and keeps nobody from writing.

Sources: PostgreSQL's isolation level REPEATABLE READ and SQLite's write-ahead log, each tried by
a process of its own against a real database.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

ROOT = Path(__file__).resolve().parent.parent.parent.parent
# Adapters are written down by another thread after their table was read, before their ports are.
STORY = """
import threading, sys
from pathlib import Path
import django
django.setup()
from django.core.management import call_command
from django.db import connection
call_command("migrate", verbosity=0, interactive=False)
from comparisons.packages.archives import PackageWriter
from comparisons.packages.exporting import export
from tests.factories.catalog import make_adapter

make_adapter("Before 20")
whole, seen = PackageWriter.table, []

def write_meanwhile():
    make_adapter("Meanwhile 30")
    connection.close()

def with_a_writer(writer, table, rows):
    if table.name == "ports":
        thread = threading.Thread(target=write_meanwhile)
        thread.start()
        thread.join()
        seen.append(not thread.is_alive())
    return whole(writer, table, rows)

PackageWriter.table = with_a_writer
folder = Path(sys.argv[1])
made = export(folder / "first.zip")
print(made.rows["adapters"], made.rows["ports"], seen)
PackageWriter.table = whole
make_adapter("After 45")
made = export(folder / "second.zip")
print(made.rows["adapters"], made.rows["ports"])
"""


@pytest.mark.skipif(connection.vendor != "sqlite", reason="one database kind a run of the suite")
def test_what_is_written_meanwhile_is_in_the_next_package_on_sqlite(tmp_path: Path) -> None:
    assert _told(tmp_path, {"BRICKLEDGER_DATA_DIR": str(tmp_path / "data")}) == _EXPECTED


@pytest.mark.skipif(connection.vendor != "postgresql", reason="needs PostgreSQL (DATABASE_URL)")
def test_what_is_written_meanwhile_is_in_the_next_package_on_postgresql(
    tmp_path: Path, django_db_blocker: pytest.FixtureRequest
) -> None:
    name = f"moment_{os.getpid()}"
    said = connection.settings_dict
    with django_db_blocker.unblock(), connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
        cursor.execute(f"CREATE DATABASE {name}")
        try:
            address = f"postgres://{said['USER']}:{said['PASSWORD']}@{said['HOST']}:{said['PORT']}"
            environment = {
                "DATABASE_URL": f"{address}/{name}",
                "BRICKLEDGER_DATA_DIR": str(tmp_path / "data"),
            }
            assert _told(tmp_path, environment) == _EXPECTED
        finally:
            cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


_EXPECTED = ["1 1 [True]", "3 3"]


def _told(folder: Path, environment: dict[str, str]) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", STORY, str(folder)],
        cwd=ROOT,
        env={
            **{name: value for name, value in os.environ.items() if name != "DATABASE_URL"},
            "DJANGO_SETTINGS_MODULE": "brickledger.settings",
            "PYTHONPATH": str(ROOT),
            **environment,
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()
