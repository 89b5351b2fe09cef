"""A database of many tested adapters, written in bulk; numbers are drawn, not computed."""

from __future__ import annotations

import hashlib

import numpy as np
from django.utils import timezone

from catalog.models import Adapter, Maker, Port, Unit
from measurements.kinds.base import Condition
from measurements.models import Ledger, RawFile, Run, Value

BATCH = 2000
MAKERS = 40
# Metric, condition, centre and spread of the drawn values.
_DRAWN = (
    ("no-load-power", Condition(line="high"), 0.10, 0.03),
    ("no-load-power", Condition(line="low"), 0.07, 0.02),
    ("no-load-energy", Condition(line="high"), 0.9, 0.3),
    ("average-efficiency", Condition(line="high", output_v=5.0), 86.0, 2.0),
    ("average-efficiency", Condition(line="high", output_v=9.0), 88.0, 2.0),
    ("average-efficiency", Condition(line="high", output_v=20.0), 91.0, 1.5),
    ("efficiency-at-10", Condition(line="high", output_v=20.0), 84.0, 3.0),
    ("full-load-loss", Condition(line="high", output_v=20.0), 6.0, 1.0),
    ("surface-temperature", Condition(line="high"), 68.0, 6.0),
    ("thermal-headroom", Condition(line="high"), 9.0, 6.0),
)


def fill(adapters: int, *, seed: int = 20261124) -> None:
    """Write `adapters` adapters with two ports, one accepted run and ten standing values each."""
    random = np.random.default_rng(seed)
    now = timezone.now()
    Maker.objects.bulk_create(
        Maker(name=f"Invented maker {number}", slug=f"maker-{number}") for number in range(MAKERS)
    )
    makers = list(Maker.objects.order_by("pk"))
    powers = random.choice([20, 30, 45, 65, 100, 140], size=adapters)
    tested = Adapter.objects.bulk_create(
        (
            Adapter(
                maker=makers[number % MAKERS],
                name=f"Model {number}",
                slug=f"model-{number}",
                rated_power_w=float(powers[number]),
            )
            for number in range(adapters)
        ),
        batch_size=BATCH,
    )
    Port.objects.bulk_create(
        (
            Port(adapter=adapter, label=label, connector="usb-c", position=position)
            for adapter in tested
            for position, label in enumerate(("C1", "C2"))
        ),
        batch_size=BATCH,
    )
    units = Unit.objects.bulk_create(
        (Unit(adapter=adapter, serial="1") for adapter in tested), batch_size=BATCH
    )
    hashes = [hashlib.sha256(adapter.slug.encode()).hexdigest() for adapter in tested]
    RawFile.objects.bulk_create(
        (RawFile(sha256=digest, size=1) for digest in hashes), batch_size=BATCH
    )
    runs = Run.objects.bulk_create(
        (
            Run(
                adapter=adapter,
                unit=unit,
                kind="no-load",
                raw_id=digest,
                file_name="log.csv",
                identity=digest,
                mains_v=230.0,
                line="high",
                state=Run.State.READY,
                standing=Run.Standing.ACCEPTED,
                accepted_at=now,
            )
            for adapter, unit, digest in zip(tested, units, hashes, strict=True)
        ),
        batch_size=BATCH,
    )
    for metric, condition, centre, spread in _DRAWN:
        numbers = np.abs(random.normal(centre, spread, size=adapters)) + 1e-3
        Value.objects.bulk_create(
            (
                Value(
                    adapter=adapter,
                    run=run,
                    metric=metric,
                    condition_key=condition.key,
                    line=condition.line,
                    output_v=condition.output_v,
                    value=float(number),
                    standard_uncertainty=0.01 * centre,
                    method="1.0",
                    current_from=now,
                )
                for adapter, run, number in zip(tested, runs, numbers, strict=True)
            ),
            batch_size=BATCH,
        )
    Ledger.turn()
