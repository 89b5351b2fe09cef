"""What a reader of a ripple run should know beside its values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from measurements.intake.columns import Table
from measurements.kinds.base import Flag, Setup
from measurements.kinds.instruments import instrument_flags, listed
from measurements.kinds.ripple.figure import frequency_text
from measurements.kinds.ripple.inputs import NO_LOAD_CURRENT_A, WAVEFORM, stated
from measurements.kinds.ripple.points import Point, one_voltage, partial_load, voltages_of
from measurements.kinds.ripple.waveform import CUTOFF_HZ, Waveform
from measurements.kinds.strongest import port_flags

# The project's own bounds.
_CLIPPED_SHARE = 0.005
_WEAK_SHARE = 0.1
_AC_COUPLED_SHARE = 0.05
_DC_COUPLED_SHARE = 0.25
_LEAST_RIPPLE_MV = 0.5
_LEAST_LOAD_A = 0.02


def remarks_on_readings(table: Table, setup: Setup, *, points: Sequence[Point]) -> tuple[Flag, ...]:
    """Every flag of a table of readings, each code at most once."""
    return (
        *_stated_bandwidth(setup),
        *_unused(table, setup),
        *_loads(points),
        *_small(points),
        *_small_currents(points),
        *_operating_points(points, setup),
        *_bench(setup),
    )


def remarks_on_waveform(waveform: Waveform, point: Point, setup: Setup) -> tuple[Flag, ...]:
    """Every flag of a waveform, each code at most once."""
    return (
        *_band(waveform, setup),
        *_record(waveform, setup),
        *_shape(waveform),
        *_operating_points((point,), setup),
        *_bench(setup),
    )


def _stated_bandwidth(setup: Setup) -> Iterator[Flag]:
    bandwidth = stated(setup, "bandwidth_mhz")
    if bandwidth is None:
        yield Flag(
            "bandwidth-unknown",
            "note",
            "The bandwidth of the readings is not stated; ripple without its bandwidth is hardly "
            f"comparable. {CUTOFF_HZ / 1e6:g} MHz is assumed.",
        )
    elif bandwidth * 1e6 < CUTOFF_HZ:
        yield _narrow(bandwidth * 1e6, because="the instrument's bandwidth")
    elif bandwidth * 1e6 > CUTOFF_HZ:
        yield Flag(
            "wide-bandwidth",
            "warning",
            f"The readings were taken in {bandwidth:g} MHz, wider than {CUTOFF_HZ / 1e6:g} MHz; "
            "they may be higher than those of others.",
        )


def _band(waveform: Waveform, setup: Setup) -> Iterator[Flag]:
    if waveform.cut:
        yield Flag(
            "band-limited",
            "note",
            f"Sampled at {waveform.sample_rate / 1e6:.4g} MS/s and limited to "
            f"{CUTOFF_HZ / 1e6:g} MHz; {waveform.cut} samples at each end, which the filter "
            "disturbs, are left out.",
        )
    instrument = stated(setup, "bandwidth_mhz")
    if instrument is not None and instrument * 1e6 < waveform.bandwidth_hz:
        yield _narrow(instrument * 1e6, because="the instrument's bandwidth")
    elif waveform.bandwidth_hz < CUTOFF_HZ * (1 - 1e-3):
        yield _narrow(
            waveform.bandwidth_hz, because=f"half of {waveform.sample_rate / 1e6:.4g} MS/s"
        )


def _narrow(bandwidth: float, *, because: str) -> Flag:
    return Flag(
        "narrow-bandwidth",
        "warning",
        f"Ripple is seen up to {frequency_text(bandwidth)} only ({because}); faster spikes are "
        f"missing, and the value may be lower than in {CUTOFF_HZ / 1e6:g} MHz.",
    )


def _record(waveform: Waveform, setup: Setup) -> Iterator[Flag]:
    if waveform.is_short and waveform.mains_hz is not None:
        yield Flag(
            "short-for-mains",
            "warning",
            f"The record of {1000 * waveform.duration_s:.4g} ms is shorter than one mains cycle "
            f"({1000 / waveform.mains_hz:.4g} ms): ripple at twice the mains frequency is not in "
            "it, and the true peak to peak may be larger.",
        )
    if setup.mains_hz is None and waveform.mains_hz is not None:
        yield Flag(
            "assumed-mains",
            "note",
            f"No mains frequency is stated; {waveform.mains_hz:g} Hz is assumed, usual with this "
            "mains voltage.",
        )
    nominal, mean = waveform.nominal_v, abs(waveform.mean_v)
    is_removed = mean <= _AC_COUPLED_SHARE * nominal
    # An AC coupling leaves less than the ripple itself, or a little offset, and no such number.
    is_thousandth = abs(1000 * mean - nominal) <= _DC_COUPLED_SHARE * nominal
    if is_thousandth and mean > waveform.peak_to_peak:
        yield Flag(
            "thousandth",
            "warning",
            f"The waveform's mean is {1000 * mean:.4g} mV, a thousandth of the stated "
            f"{nominal:g} V; check the unit of the column, such as V headed as mV.",
        )
    if not is_removed and abs(mean - nominal) > _DC_COUPLED_SHARE * nominal:
        yield Flag(
            "mean-differs",
            "warning",
            f"The waveform's mean is {waveform.mean_v:.4g} V, neither near zero, as behind an AC "
            f"coupling, nor near the stated {nominal:g} V; check voltage, probe factor and offset.",
        )


def _shape(waveform: Waveform) -> Iterator[Flag]:
    if waveform.line is None:
        yield Flag(
            "flat-record",
            "warning",
            "All samples are equal: the channel saw nothing, or its range was far too wide.",
        )
    elif waveform.line.share < _WEAK_SHARE:
        yield Flag(
            "weak-line",
            "note",
            f"The strongest line holds {waveform.line.share:.1%} of the ripple's power: noise or "
            "many lines, no single frequency.",
        )
    if waveform.clipped > _CLIPPED_SHARE:
        yield Flag(
            "clipped",
            "warning",
            f"{waveform.clipped:.1%} of the samples lie flat on one extreme: the record is "
            "probably clipped, and the true ripple larger. Choose a wider range.",
        )


def _unused(table: Table, setup: Setup) -> Iterator[Flag]:
    """What was given, but belongs to a waveform."""
    given = [
        f"{name} of the form"
        for name in ("output_nominal_v", "output_current_a")
        if setup.fields.get(name) not in (None, "")
    ]
    given += [f"the column {name}" for name in WAVEFORM if name in table]
    if given:
        yield Flag(
            "unused-input",
            "note",
            f"The file is a table of readings with voltage and current of its own; "
            f"{listed(given)} was not used.",
        )


def _small(points: Sequence[Point]) -> Iterator[Flag]:
    largest = max(point.ripple_mv for point in points)
    if largest < _LEAST_RIPPLE_MV:
        yield Flag(
            "small-ripple",
            "warning",
            f"The largest ripple is {largest:.3g} mV, less than the noise of an instrument that "
            "sees 20 MHz. Check the unit of the column, such as V headed as mV.",
        )


def _small_currents(points: Sequence[Point]) -> Iterator[Flag]:
    largest = max(point.current_a for point in points)
    if 0 < largest < _LEAST_LOAD_A:
        yield Flag(
            "small-load",
            "warning",
            f"The largest current is {1000 * largest:.3g} mA, hardly a load. Check the unit of the "
            "column, such as A headed as mA.",
        )


def _loads(points: Sequence[Point]) -> Iterator[Flag]:
    lacking = []
    for load, words in (("none", "without load"), ("full", "with load")):
        measured = {point.voltage_v for point in points if point.load == load}
        absent = [voltage for voltage in voltages_of(points) if voltage not in measured]
        if absent:
            lacking.append(f"{words} at {', '.join(f'{voltage:g}' for voltage in absent)} V")
    if lacking:
        yield Flag("missing-load", "note", f"No reading {' and none '.join(lacking)}.")


def _operating_points(points: Sequence[Point], setup: Setup) -> Iterator[Flag]:
    unknown = sorted({point.voltage_v for point in points if point.advertised_a is None})
    if unknown:
        voltages = ", ".join(f"{voltage:g}" for voltage in unknown)
        yield Flag(
            "assumed-rating",
            "note",
            f"No current is advertised in the catalogue at {voltages} V; below "
            f"{1000 * NO_LOAD_CURRENT_A:g} mA counts as no load, and the largest load as full.",
        )
    if partial := partial_load(points):
        yield Flag("partial-load", "warning", f"{partial} Values with load are listed apart.")
    if alone := one_voltage(points, setup):
        yield Flag("one-voltage", "note", f"{alone} It is listed apart.")
    yield from port_flags(setup)


def _bench(setup: Setup) -> Iterator[Flag]:
    if not str(setup.fields.get("capacitors") or "").strip():
        yield Flag(
            "capacitors-unknown",
            "note",
            "It is not stated which capacitors stood at the probe; they change the ripple that is "
            "seen.",
        )
    yield from instrument_flags(setup, quantities=("ripple",))
