"""The runs that the charging method asks for."""

from __future__ import annotations

from measurements.kinds.base import AdapterFacts, PlannedRun


def plan(adapter: AdapterFacts) -> tuple[PlannedRun, ...]:
    """One log of a whole charge at the strongest port, to be repeated for each device."""
    fields: dict[str, str | float] = {"device": ""}
    place = ""
    if adapter.ports:
        # Of several ports of one rating the first counts.
        strongest = max(adapter.ports, key=lambda port: port.rated_power_w or 0.0)
        fields["port"] = strongest.label
        place = f" on {strongest.label}"
    return (
        PlannedRun(
            title=f"Charge of a reference device{place}, from empty to full",
            fields=fields,
            columns=("time_s", "voltage_v", "current_a", "battery_percent", "input_power_w"),
            rows=(),
            log=True,
            note=(
                "One log for each reference device; name the device in the field. Start at 5 % or "
                "less and log every second until the device shows 100 % and the current has "
                "fallen. Battery level and input power may be left out; with input power, state "
                "the mains."
            ),
        ),
    )
