"""Declaration of the kind: columns, metrics and cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Across, Kind, Metric
from measurements.kinds.device_match.checks import check
from measurements.kinds.device_match.compute import measure
from measurements.kinds.device_match.plan import plan
from measurements.kinds.device_match.rate import derive

COLUMNS = (
    Column(
        name="device",
        title="Device",
        unit="",
        aliases=("device", "reference device", "sink"),
        type="text",
    ),
    Column(
        name="port",
        title="Port",
        unit="",
        aliases=("port", "output port", "receptacle"),
        type="text",
    ),
    Column(
        name="protocol",
        title="Protocol",
        unit="",
        required=False,
        aliases=("protocol", "negotiated protocol", "charging protocol"),
        type="text",
    ),
    Column(
        name="voltage_v",
        title="Voltage at the port",
        unit="V",
        aliases=("voltage", "v", "u", "output voltage", "v out", "vout", "vbus", "spannung"),
    ),
    Column(
        name="current_a",
        title="Current at the port",
        unit="A",
        aliases=("current", "i", "output current", "i out", "iout", "ibus", "strom"),
    ),
)

METRICS = (
    Metric(
        key="matched-power",
        title="Power drawn by a device",
        unit="W",
        better="higher",
        condition=("device",),
        definition=(
            "The most that a reference device drew from the adapter on any port on which it was "
            "tried, alone on the adapter and once its power stood still."
        ),
        formula="max over the ports of V · I",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="match-rate",
        title="Match rate",
        unit="%",
        better="higher",
        condition=(),
        definition=(
            "Share of the reference devices tried with the adapter that drew at least 90 % of the "
            "most that any accepted adapter gave them. It follows the history: another adapter's "
            "accepted run can change it. A device to which no adapter gave 0.5 W does not count; "
            "with fewer than two devices the rate is listed apart."
        ),
        formula=(
            "100 · n(P ≥ 0.9 · P_best) / n; u = 100 · √(Σ p (1 − p)) / n, "
            "p = Φ((P − 0.9 · P_best) / u(P − 0.9 · P_best))"
        ),
        source="common-practice",
        decimals=0,
    ),
)

CAUTIONS = (
    "A device under test is worth more than the test: use cables rated for its current, and stop "
    "when device, cable or plug grows hot or a battery swells.",
    "Charge batteries on a surface that does not burn, never unattended, and not outside the "
    "temperatures that the device's maker allows.",
    "Put a meter in the USB line only, with a tester made for it. An earthed probe on the floating "
    "output can short it through the device or the house wiring.",
    "Never open the adapter; work on mains wiring belongs to licensed people under local codes.",
    "A match is an indication from one device and one unit, never a certification.",
)

KIND = Kind(
    slug="device-match",
    title="Device match",
    summary=(
        "What each reference device draws from each port, and for how many devices the adapter "
        "comes close to the best."
    ),
    columns=COLUMNS,
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=("output_voltage", "output_current"),
    cautions=CAUTIONS,
    needs_mains=False,
    plan=plan,
    across=Across(reads=("matched-power",), gives=("match-rate",), derive=derive),
)
