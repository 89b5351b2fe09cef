"""Which adapters advertise a voltage, by the scans that stand."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from catalog.power_delivery.objects import decode
from catalog.queries import as_one_parameter
from measurements.intake.columns import FloatArray
from measurements.models import Ledger, Run, Value
from measurements.queries.ports import PROFILE_COUNT

Range = tuple[float, float]
_RunKey = tuple[uuid.UUID, int]

# Data objects state voltages in steps of 50 mV at the finest that matters here (20 mV in
# programmable ones), so that this only forgives how a decimal number is stored.
TOLERANCE_V = 0.001

# More runs than this are not named one by one when they are read.
_NAMED_AT_MOST = 500


@dataclass(frozen=True, slots=True)
class _Index:
    """Ranges of voltage of every advertised object, in rows that run in parallel. [V]"""

    stamp: uuid.UUID
    adapter_ids: FloatArray
    lowest_v: FloatArray
    highest_v: FloatArray


class _Remembered:
    """What this process has read: the index of one stamp, and the objects of every run in it.

    A run's objects change only when it is computed again, under a higher fence. So a change to
    what stands costs the runs that are new, not all of them.
    """

    def __init__(self) -> None:
        self.index: _Index | None = None
        self.objects: Mapping[_RunKey, Mapping[str, tuple[Range, ...]]] = {}


_remembered = _Remembered()


def adapters_reaching(voltage_v: float) -> Any:
    """Ids of the adapters of which a scan that stands shows a data object reaching a voltage [V].

    A fixed supply reaches its one voltage, every other object all those from its lowest to its
    highest. The ids come as something that a filter takes on the right of ``__in``: one
    parameter however many they are. Two queries, three after a scan that was not read yet.
    """
    index = _index()
    reaches = (index.lowest_v - TOLERANCE_V <= voltage_v) & (
        voltage_v <= index.highest_v + TOLERANCE_V
    )
    return as_one_parameter(np.unique(index.adapter_ids[reaches]).astype(np.int64).tolist())


def _index() -> _Index:
    stamp = Ledger.read()
    held = _remembered.index
    if held is None or held.stamp != stamp:
        held = _remembered.index = _read(stamp)
    return held


def _read(stamp: uuid.UUID) -> _Index:
    scans = list(
        Value.objects.current()
        .filter(metric=PROFILE_COUNT, run__isnull=False)
        .values_list("adapter_id", "port", "run_id", "run__fence")
    )
    known = _objects_of({(run_id, fence) for _, _, run_id, fence in scans})
    _remembered.objects = known
    rows = [
        (adapter_id, lowest_v, highest_v)
        for adapter_id, port, run_id, fence in scans
        for lowest_v, highest_v in known.get((run_id, fence), {}).get(port, ())
    ]
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return _Index(stamp, table[:, 0], table[:, 1], table[:, 2])


def _objects_of(wanted: set[_RunKey]) -> dict[_RunKey, Mapping[str, tuple[Range, ...]]]:
    """The ranges that each run read, by port."""
    known = {key: ports for key, ports in _remembered.objects.items() if key in wanted}
    missing = wanted - known.keys()
    if not missing:
        return known
    runs = Run.objects.filter(values__metric=PROFILE_COUNT, values__current_until=None)
    if len(missing) <= _NAMED_AT_MOST:
        runs = Run.objects.filter(pk__in={run_id for run_id, _ in missing})
    read = runs.values_list("pk", "fence", "details__facts__ports")
    for run_id, fence, ports in read.iterator(chunk_size=2_000):
        if (run_id, fence) in missing:
            known[run_id, fence] = {item["port"]: _ranges(item["words"]) for item in ports or ()}
    return known


def _ranges(words: Iterable[str]) -> tuple[Range, ...]:
    found = (_range(word) for word in words)
    return tuple(item for item in found if item is not None)


@lru_cache(maxsize=4096)
def _range(word: str) -> Range | None:
    """Lowest and highest voltage of an object; None of padding and of kinds that state none. [V]

    Where it stands in its message decides about its flags only.
    """
    item = decode(int(word, 16), position=1)
    if item.voltage_min_v is None or item.voltage_max_v is None:
        return None
    return item.voltage_min_v, item.voltage_max_v
