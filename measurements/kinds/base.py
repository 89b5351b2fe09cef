"""The vocabulary in which a kind of run is declared.

A kind is a folder with one `KIND`. Upload form, checks, computation, result page, API,
chart, ranking and method page all come from that declaration; nothing else is edited.
Plain values in, frozen dataclasses out: no clock, no files, no database.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Literal

from measurements.intake.columns import Column, FloatArray, Problem, Table

Line = Literal["high", "low", ""]
Better = Literal["lower", "higher", ""]
SupplyClass = Literal["single", "adaptive", "multiple"]
VerdictOutcome = Literal["pass", "fail", "undecided"]


@dataclass(frozen=True, slots=True)
class Condition:
    """Under which a value holds; values are comparable only under the same condition.

    `output_v` [V] and `load_percent` [%] are None, the texts empty, where they do not apply.
    """

    line: str = ""
    output_v: float | None = None
    load: str = ""
    load_percent: float | None = None
    device: str = ""
    sensor: str = ""
    port: str = ""

    def as_json(self) -> dict[str, str | float]:
        """Only the parts that apply, in a fixed order."""
        parts = {item.name: getattr(self, item.name) for item in fields(self)}
        return {name: part for name, part in parts.items() if part not in ("", None)}

    @property
    def key(self) -> str:
        """Canonical text of the condition, such as ``line=high;output_v=20``."""
        return ";".join(
            f"{name}={part:g}" if isinstance(part, float | int) else f"{name}={part}"
            for name, part in self.as_json().items()
        )


@dataclass(frozen=True, slots=True)
class Metric:
    """A quantity that a kind computes, as the public contract lists it.

    `condition` names the parts of `Condition` under which it is ranked; `formula` is plain
    text that a reader can follow; `source` is a key of `measurements.standards.sources`.
    `method` is the version that changes when the same file would give another number.
    """

    key: str
    title: str
    unit: str
    better: Better
    condition: tuple[str, ...]
    definition: str
    formula: str
    source: str
    decimals: int
    method: str = "1.0"
    ranked: bool = True


@dataclass(frozen=True, slots=True)
class Field:
    """A method field of a kind, beside the fields common to all kinds.

    A field of type ``device`` takes the slug of a reference device of the catalogue. Values of
    runs in which a field that is to be `alike` differs are not on one footing.
    """

    name: str
    title: str
    help: str
    type: Literal["number", "json", "text", "device"] = "number"
    unit: str = ""
    required: bool = False
    minimum: float | None = None
    maximum: float | None = None
    alike: bool = False


@dataclass(frozen=True, slots=True)
class PortFacts:
    """A port as the catalogue has it; powers in W."""

    label: str
    connector: str
    rated_power_w: float | None = None


@dataclass(frozen=True, slots=True)
class AdvertisedOutput:
    """A voltage [V] and current [A] stated for one port or (``""``) any.

    `source` tells whether the port itself advertised it as a fixed supply when it was scanned
    (``profile``) or the maker printed it (``label``). What the port says counts first.
    """

    port: str
    voltage_v: float
    current_a: float
    source: Literal["profile", "label"] = "label"


@dataclass(frozen=True, slots=True)
class PortProfiles:
    """What a scan found a port to advertise.

    `words` are 32-bit power data objects by position (0 where nothing was read), `protocols`
    slugs of the catalogue's vocabulary.
    """

    port: str
    words: tuple[int, ...] = ()
    protocols: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SharingClaim:
    """Power [W] that the label promises for one port while `combination` is in use.

    `combination` is written as in the sharing method: labels joined by ``+``, such as ``C1+A1``.
    """

    combination: str
    port: str
    power_w: float


@dataclass(frozen=True, slots=True)
class DeviceFacts:
    """A reference device as the catalogue has it.

    `battery_wh` [Wh], `max_power_w` [W]; `voltage_min_v` to `voltage_max_v` [V] is the range in
    which it takes its highest power. None where nobody wrote it down.
    """

    slug: str
    name: str
    battery_wh: float | None = None
    max_power_w: float | None = None
    voltage_min_v: float | None = None
    voltage_max_v: float | None = None


@dataclass(frozen=True, slots=True)
class AdapterFacts:
    """What a computation may know of the adapter under test.

    `enclosure` is ``metal``, ``glass``, ``plastic`` or ``wood``; `supply` decides the row of
    the efficiency limits.
    """

    rated_power_w: float
    supply: SupplyClass = "adaptive"
    enclosure: str = "plastic"
    ports: tuple[PortFacts, ...] = ()
    advertised: tuple[AdvertisedOutput, ...] = ()
    profiles: tuple[PortProfiles, ...] = ()
    sharing_claims: tuple[SharingClaim, ...] = ()


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Accuracy of an instrument: ±(`reading_percent` % of the value + `fixed`).

    `fixed` is in W for input_power, V for output_voltage, A for output_current, K for
    temperature, mV for ripple.
    """

    name: str
    quantity: str
    reading_percent: float
    fixed: float


@dataclass(frozen=True, slots=True)
class Setup:
    """The conditions of one run. `mains_v` [V], `mains_hz` [Hz], `ambient_c` [°C].

    `devices` are all reference devices of the catalogue.
    """

    adapter: AdapterFacts
    line: Line = ""
    mains_v: float | None = None
    mains_hz: float | None = None
    ambient_c: float | None = None
    port: PortFacts | None = None
    accuracies: tuple[Accuracy, ...] = ()
    fields: Mapping[str, Any] = field(default_factory=dict)
    devices: tuple[DeviceFacts, ...] = ()

    def device(self, name: str) -> DeviceFacts | None:
        """The device with that slug or name, however its capitals are written."""
        wanted = name.strip().casefold()
        for device in self.devices:
            if wanted in (device.slug.casefold(), device.name.casefold()):
                return device
        return None

    def accuracies_of(self, quantity: str) -> tuple[Accuracy, ...]:
        """The instruments of this run that measure `quantity`."""
        return tuple(item for item in self.accuracies if item.quantity == quantity)


@dataclass(frozen=True, slots=True)
class Measured:
    """One computed value with its standard uncertainty (k = 1), in the metric's unit.

    A non-empty `apart` is the reason, as a sentence, why the value is not comparable with
    others; it is then kept out of rankings and listed beside them.
    """

    metric: str
    value: float
    standard_uncertainty: float
    condition: Condition
    apart: str = ""


@dataclass(frozen=True, slots=True)
class Flag:
    """A remark about a run. `severity` is ``note`` or ``warning``."""

    code: str
    severity: Literal["note", "warning"]
    detail: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """A value against one published limit, with a guard band of U (k = 2).

    `margin` is positive on the good side, in the metric's unit. `deviations` are sentences:
    where the measurement departs from the method that the standard prescribes.
    """

    scheme: str
    clause: str
    quantity: str
    condition: Condition
    limit: float
    sense: Literal["at most", "at least"]
    value: float
    expanded_uncertainty: float
    margin: float
    outcome: VerdictOutcome
    deviations: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlotLine:
    """A column of the trace drawn over the plot's x column."""

    column: str
    label: str
    mark: Literal["line", "point", "line-point"] = "line"


@dataclass(frozen=True, slots=True)
class PlotRule:
    """A straight line across the plot at `value` of `axis`, named by `label`."""

    axis: Literal["x", "y"]
    value: float
    label: str


@dataclass(frozen=True, slots=True)
class PlotBand:
    """A shaded stretch of the x axis, named by `label`."""

    start: float
    stop: float
    label: str


@dataclass(frozen=True, slots=True)
class Plot:
    """A chart of the trace: `title` is its finding, axis titles carry the unit."""

    title: str
    x: str
    x_title: str
    y_title: str
    lines: tuple[PlotLine, ...]
    rules: tuple[PlotRule, ...] = ()
    bands: tuple[PlotBand, ...] = ()


@dataclass(frozen=True, slots=True)
class Listing:
    """Rows of text kept with a run and shown on its page, such as the stages of a charge.

    Headings carry the unit; `numeric` are the columns, counted from 0, that hold numbers. A
    `prominent` one is shown on the adapter's page too.
    """

    key: str
    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()
    note: str = ""
    prominent: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a matrix: its value, or None with a `text` that says why or shows a word.

    `mark` is a word that sets the cell off (“falls to 5 V”), `note` a sentence behind it.
    """

    value: float | None = None
    text: str = ""
    mark: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Matrix:
    """Values over two categories, drawn as a table whose shade follows the value.

    `title` is the finding; `unit` and `decimals` are those of every value. `cells` has one
    tuple a row, as long as `columns`.
    """

    key: str
    title: str
    row_title: str
    column_title: str
    unit: str
    decimals: int
    better: Better
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class Details:
    """What is kept with a run beside its values, as plain JSON.

    `facts` has the shape that the kind's README states; other computations of the same
    adapter may read it.
    """

    facts: Mapping[str, Any] = field(default_factory=dict)
    listings: tuple[Listing, ...] = ()
    matrices: tuple[Matrix, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """All that a run's file gives. `trace` columns have equal length; without a `plot`, none."""

    values: tuple[Measured, ...]
    flags: tuple[Flag, ...]
    verdicts: tuple[Verdict, ...]
    trace: Mapping[str, FloatArray]
    plot: Plot | None
    details: Details = Details()


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """A run that the method asks for, with its operating points.

    `fields` are the fields of the upload other than adapter, kind and file, under their own
    names. `columns` are canonical headings and `rows` the planned points, None where the bench
    fills in. A `log` is written by an instrument: its rows are an example of the form only.
    """

    title: str
    fields: Mapping[str, str | float]
    columns: tuple[str, ...]
    rows: tuple[tuple[str | float | None, ...], ...]
    log: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class ValueMap:
    """Standing values of an adapter laid out as a grid on its page, one grid a mains line.

    `rows` names the part of the condition that makes the rows. Of one metric, `columns` names
    the part that makes the columns; of several, each is a column and `columns` is empty.
    """

    title: str
    metrics: tuple[str, ...]
    rows: Literal["output_v", "device", "port", "sensor"] = "output_v"
    columns: Literal["", "load_percent", "load", "device", "port", "sensor"] = ""


History = Mapping[str, tuple[Measured, ...]]


@dataclass(frozen=True, slots=True)
class Across:
    """Values of one adapter that follow from the standing values of every adapter.

    `reads` are the metrics that `derive` wants, `gives` those it computes. `derive` takes and
    returns adapter → values; it is called again whenever one of them changes anywhere.
    """

    reads: tuple[str, ...]
    gives: tuple[str, ...]
    derive: Callable[[History], History]


def _no_plan(_: Setup) -> tuple[PlannedRun, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of run.

    `check` returns what keeps a table from being computed (time that runs backward, an
    efficiency above one, ...); `measure` is called only when it returns nothing.
    `quantities` are the instrument quantities the kind can use; `cautions` are sentences
    shown wherever a page leads someone to this work. `plan` gives the runs that the method
    asks for, from a setup of which only the adapter and the devices are known. `follows` names
    kinds whose standing runs `measure` reads through the adapter's facts: when one of those
    changes, this adapter's runs of this kind are computed again.
    """

    slug: str
    title: str
    summary: str
    columns: tuple[Column, ...]
    metrics: tuple[Metric, ...]
    check: Callable[[Table, Setup], tuple[Problem, ...]]
    measure: Callable[[Table, Setup], Outcome]
    quantities: tuple[str, ...]
    cautions: tuple[str, ...]
    fields: tuple[Field, ...] = ()
    needs_mains: bool = True
    plan: Callable[[Setup], tuple[PlannedRun, ...]] = _no_plan
    follows: tuple[str, ...] = ()
    maps: tuple[ValueMap, ...] = ()
    across: Across | None = None
