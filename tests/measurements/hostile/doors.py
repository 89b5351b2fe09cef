"""What every door is held to, whatever comes through it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client

from catalog.models import Adapter, Maker, Unit
from measurements.models import Arrival, RawFile, ResultTable, Run
from measurements.queries import raw_store

COUNTED = (Adapter, Maker, Unit, RawFile, Run, Arrival, ResultTable)


def counts() -> dict[str, int]:
    """How many rows there are of everything that a file may bring."""
    return {model.__name__: model._default_manager.count() for model in COUNTED}


def stored() -> list[Path]:
    """The files in the raw store, unfinished ones included."""
    return [path for path in raw_store().root.rglob("*") if path.is_file()]


@contextmanager
def nothing_kept() -> Iterator[None]:
    """Neither a row nor a file stays of what is done inside."""
    before, files = counts(), stored()
    yield
    assert counts() == before
    assert stored() == files


def assert_whole() -> None:
    """Every raw file has its record, every record its file, and nothing is half-written."""
    call_command("verify_store", stdout=io.StringIO())
    assert {path.name for path in stored()} == set(RawFile.objects.values_list("pk", flat=True))
    wanted = set(Run.objects.values_list("raw", flat=True))
    wanted |= set(Arrival.objects.values_list("raw", flat=True))
    wanted |= set(ResultTable.objects.values_list("raw", flat=True))
    assert wanted == set(RawFile.objects.values_list("pk", flat=True))
    assert Unit.objects.filter(runs=None).count() == 0


def dropped(client: Client, address: str, content: bytes, name: str, **said: Any) -> Any:
    """The answer of a page to a file, which is never a failure of the site."""
    answer = client.post(address, {"file": SimpleUploadedFile(name, content), **said})
    assert answer.status_code < 500
    return answer


def commanded(*arguments: object, **options: Any) -> tuple[str, int]:
    """All that the intake command says, and its exit code."""
    out = io.StringIO()
    try:
        call_command("intake", *map(str, arguments), stdout=out, stderr=out, **options)
    except CommandError as error:
        return f"{out.getvalue()}{error}", error.returncode
    return out.getvalue(), 0
