"""Timing for the benchmarks: ratios of medians, printed, never asserted."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable


def median_s(action: Callable[[], object], *, rounds: int = 5) -> float:
    """Median duration of `action` [s], after one round that is not counted."""
    action()
    durations = []
    for _ in range(rounds):
        begin = time.perf_counter()
        action()
        durations.append(time.perf_counter() - begin)
    return statistics.median(durations)


def report(what: str, *, duration_s: float, yardstick: str, yardstick_s: float) -> None:
    """Print a duration as a multiple of the yardstick's."""
    print(
        f"\n{what}: {1e3 * duration_s:.0f} ms, {duration_s / yardstick_s:.1f} times "
        f"{yardstick} ({1e3 * yardstick_s:.0f} ms)"
    )
