"""What is made once for all processes that run tests."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


def folder_of_all(factory: pytest.TempPathFactory, name: str) -> Path:
    """A folder of that name which every process of this run finds; made where it is missing."""
    base = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent
    folder = base / name
    folder.mkdir(exist_ok=True)
    return folder


@contextmanager
def alone(lock: Path) -> Iterator[None]:
    """Keep out every other process that asks for the same lock."""
    with lock.open("a") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield
