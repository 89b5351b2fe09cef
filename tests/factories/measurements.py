"""Runs for tests, through the one door and the real computation."""

from __future__ import annotations

from typing import Any

from catalog.models import Adapter
from measurements import processing
from measurements.actions import RunFacts, accept_run, receive_run
from measurements.models import Instrument, Run


def make_meter(**facts: Any) -> Instrument:
    """A power meter with a small error."""
    return Instrument.objects.create(
        **{
            "name": "Bench meter",
            "quantity": "input_power",
            "reading_percent": 0.1,
            "fixed": 0.0005,
            **facts,
        }
    )


def no_load_log(power_w: float = 0.05, *, minutes: float = 15.0, ripple_w: float = 0.0002) -> bytes:
    """A steady standby record, one sample a second."""
    samples = int(minutes * 60) + 1
    rows = (
        f"{second},{power_w + (ripple_w if second % 2 else -ripple_w):.6f}"
        for second in range(samples)
    )
    return "\n".join(["time_s,input_power_w", *rows, ""]).encode("ascii")


def efficiency_log(*voltages: float, loss: float = 1.0) -> bytes:
    """A sweep at 25, 50, 75 and 100 % of 3 A at each voltage, the input `loss` times higher."""
    rows = [
        f"{volts},{loss * volts * amperes / 0.9:.4f},{volts},{amperes}"
        for volts in voltages
        for amperes in (0.75, 1.5, 2.25, 3.0)
    ]
    head = "output_nominal_v,input_power_w,output_voltage_v,output_current_a"
    return "\n".join([head, *rows, ""]).encode("ascii")


def receive(
    adapter: Adapter,
    content: bytes | None = None,
    *,
    kind: str = "no-load",
    by: Any = None,
    mains_v: float | None = 230.0,
    file_name: str = "log.csv",
    **facts: Any,
) -> Run:
    """A run as it stands right after its upload."""
    chunks = [no_load_log() if content is None else content]
    said = RunFacts(adapter=adapter, kind=kind, mains_v=mains_v, **facts)
    return receive_run(said, chunks=chunks, file_name=file_name, by=by).run


def ready(adapter: Adapter, content: bytes | None = None, **facts: Any) -> Run:
    """A computed run."""
    run = receive(adapter, content, **facts)
    processing.compute(run.pk)
    run.refresh_from_db()
    return run


def accepted(adapter: Adapter, content: bytes | None = None, *, by: Any, **facts: Any) -> Run:
    """A run whose values stand."""
    return accept_run(ready(adapter, content, **facts), by=by)
