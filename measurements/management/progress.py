"""Progress bars of long commands: on a terminal's standard error, nowhere else."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TypeVar

from tqdm import tqdm

Item = TypeVar("Item")


def bar(items: Iterable[Item], *, total: int, what: str, unit: str) -> tqdm[Item]:
    """`items` with a bar beside them that counts up to `total`."""
    return tqdm(
        items,
        total=total,
        desc=what,
        unit=f" {unit}",
        file=sys.stderr,
        disable=not sys.stderr.isatty(),
        leave=False,
    )
