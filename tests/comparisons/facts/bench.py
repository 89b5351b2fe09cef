"""A small invented bench for fact sheets: one adapter with a bit of everything, nine rivals."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from catalog.actions import PortFacts
from catalog.models import Adapter, Device
from measurements.kinds.base import Condition
from measurements.models import Flag, Run, Value, Verdict
from tests.comparisons.populations import stand
from tests.factories.catalog import make_adapter

MEASURED = datetime(2026, 3, 12, 9, 0, tzinfo=UTC)
RIVALS = 9
HIGH, LOW = Condition(line="high"), Condition(line="low")
TABLET = Condition(device="hayrick-tablet")
TOP = Condition(line="high", sensor="top_face")


def give(
    adapter: Adapter, metric: str, value: float, u: float, at: Condition, **said: Any
) -> Value:
    """A value of a run of a known day."""
    row = stand(adapter, value, metric=metric, condition=at, standard_uncertainty=u, **said)
    assert row.run_id is not None
    details = DETAILS[metric](value) if metric in DETAILS else {}
    Run.objects.filter(pk=row.run_id).update(measured_at=MEASURED, details=details)
    return row


def _paired(power_w: float) -> dict[str, Any]:
    """What a run of devices keeps: the tablet on C1."""
    pair = {"device": "hayrick-tablet", "port": "C1", "protocol": "usb-pd"}
    return {
        "facts": {
            "pairs": [{**pair, "voltage_v": 15.0, "current_a": power_w / 15, "power_w": power_w}]
        }
    }


def _shared(total_w: float) -> dict[str, Any]:
    """What a run of sharing keeps: two ports with and without a third, the third only named."""
    headings = ("Combination", "Port", "Voltage, V", "Current, A", "Power, W", "U (k = 2), W")
    ports = {"C1": 64.94, "C2": 30.06}
    return {
        "facts": {
            "combinations": [
                {"combination": "C1", "ports": {"C1": {"power_w": 99.9}}, "total_w": 99.9},
                {
                    "combination": "C2+C1",
                    "ports": {port: {"power_w": power} for port, power in ports.items()},
                    "total_w": total_w,
                },
                {"combination": "C1+C2+A1", "ports": {"C1": {"power_w": 65.0}}, "total_w": None},
            ]
        },
        "listings": [
            {
                "key": "ports",
                "title": "Every port of every combination",
                "numeric": (2, 3, 4, 5),
                "note": "",
                "headings": headings,
                "rows": [
                    ("C1", "C1", "20.00", "5.000", "99.90", "0.2"),
                    ("C2+C1", "C1", "20.00", "3.247", "64.94", "0.13"),
                    ("C2+C1", "C2", "15.00", "2.004", "30.06", "0.062"),
                ],
            }
        ],
    }


def _scanned(_: float) -> dict[str, Any]:
    """What a scan keeps: 5 V 3 A and 20 V 5 A on C1 (USB PD fixed supplies, see the decoder)."""
    words = ["0x0801912C", "0x000641F4"]
    port = {"port": "C1", "words": words, "unread": [], "protocols": []}
    return {"facts": {"ports": [port]}}


DETAILS = {
    "matched-power": _paired,
    "sharing-total": _shared,
    "profile-count": _scanned,
    "top-pdo-power": _scanned,
}


def fact_bench() -> Adapter:
    """The adapter ``northfold-trio-100`` and its rivals, with values chosen by hand."""
    Device.objects.create(slug="hayrick-tablet", name="Hayrick tablet", max_power_w=45.0)
    trio = make_adapter(
        "Trio 100",
        rated_power_w=100.0,
        ports=(
            PortFacts("C1", "usb-c", 100.0),
            PortFacts("C2", "usb-c", 100.0),
            PortFacts("A1", "usb-a"),
        ),
        price="49.90",
        currency="EUR",
    )
    rivals = [make_adapter(f"Rival {number}", maker="Mossgantry") for number in range(RIVALS)]
    for number, rival in enumerate(rivals):
        # The first rival lies within U of the adapter, the others far behind.
        give(rival, "no-load-power", 0.0502 if number == 0 else 0.08 + number / 100, 0.0005, HIGH)
        give(rival, "ripple-loaded", 60.0 + 10 * number, 1.0, HIGH)
        give(rival, "matched-power", 44.0 if number == 0 else 20.0, 0.1, TABLET)
        if number < 2:
            give(
                rival, "average-efficiency", 90.0 - number, 0.1, Condition(line="high", output_v=20)
            )
    standby = give(trio, "no-load-power", 0.05, 0.0005, HIGH)
    give(trio, "average-efficiency", 91.236, 0.1, Condition(line="high", output_v=20))
    give(trio, "surface-temperature", 66.61, 0.45, TOP)
    heat = give(trio, "thermal-headroom", -1.25, 0.4, HIGH, apart="The room was at 31 °C.")
    give(trio, "ripple-loaded", 41.2, 1.3, HIGH)
    give(trio, "profile-count", 2.0, 0.0, Condition(port="C1"))
    give(trio, "top-pdo-power", 100.0, 0.0, Condition(port="C1"))
    give(trio, "sharing-total", 95.0, 0.07, Condition())
    give(trio, "matched-power", 27.96, 0.03, TABLET)
    assert heat.run is not None
    Flag.objects.create(
        run=heat.run,
        code="ambient-off",
        severity="warning",
        detail="The ambient was 31 °C; the method asks for 25 ± 2 °C.",
    )
    verdict = {
        "run_id": standby.run_id,
        "clause": "no-load criteria",
        "quantity": "no-load-power",
        "condition_key": HIGH.key,
        "condition": HIGH.as_json(),
        "sense": "at most",
        "value": 0.05,
        "expanded_uncertainty": 0.001,
    }
    Verdict.objects.create(
        scheme="coc-v5-tier-2", limit=0.0505, margin=0.0005, outcome="undecided", **verdict
    )
    Verdict.objects.create(
        scheme="level-vi",
        limit=0.21,
        margin=0.16,
        outcome="pass",
        deviations=["Warm-up not recorded."],
        **verdict,
    )
    return trio
