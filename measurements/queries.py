"""Reading across models, for pages, API, charts and workers alike.

One function serves every surface, so that they cannot disagree.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal

from django.conf import settings
from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from catalog.models import Adapter, Device, LabelClaim, Port, Protocol, Viewer
from catalog.power_delivery.audit import audit
from catalog.power_delivery.augmented import Padding
from catalog.power_delivery.claims import Claim
from catalog.power_delivery.objects import DataObject, decode_all
from catalog.power_delivery.rules import Finding
from catalog.power_delivery.supplies import FixedSupply
from measurements.intake.rawstore import RawStore
from measurements.kinds import all_kinds, all_metrics
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    AdvertisedOutput,
    Condition,
    DeviceFacts,
    Kind,
    Measured,
    Metric,
    PlannedRun,
    PortFacts,
    PortProfiles,
    Setup,
    SharingClaim,
)
from measurements.kinds.coverage import all_points, held_points
from measurements.kinds.physical import physical_values
from measurements.metrics.efficiency import NAMED_LOADS
from measurements.models import Flag, Run, RunEvent, Value, Verdict, line_of

# A scan gives these for every port whose objects or protocols it read, however many.
PROFILE_COUNT = "profile-count"
_SCANNED = (PROFILE_COUNT, "protocol-count")

_LOADS = {
    "none": "no load",
    "full": "full load",
    **{f"{load:g} %": f"at {load:g} % load" for load in NAMED_LOADS},
}


def raw_store() -> RawStore:
    """The store of raw files that the settings name."""
    return RawStore(settings.RAW_DIR, limit=settings.MAX_UPLOAD_BYTES)


def method_of(metric: str) -> str:
    """The method version that computes a metric today."""
    return all_metrics()[metric].method


def metrics_listed() -> tuple[Metric, ...]:
    """Every metric that the site computes, in the order of declaration."""
    return tuple(all_metrics().values())


def run_to_compute(run_id: uuid.UUID) -> Run:
    """The run with all that its computation needs, in a fixed number of queries."""
    return (
        Run.objects.select_related("adapter", "port")
        .prefetch_related(
            "instruments",
            "adapter__ports",
            Prefetch("adapter__claims", LabelClaim.objects.select_related("port")),
        )
        .get(pk=run_id)
    )


def _port_facts(port: Port) -> PortFacts:
    return PortFacts(label=port.label, connector=port.connector, rated_power_w=port.rated_power_w)


def adapter_facts(adapter: Adapter) -> AdapterFacts:
    """What the pure core may know of an adapter: catalogue, label, and what its ports advertise.

    One query when ports and claims (with their port) were fetched with the adapter.
    """
    profiles = tuple(item.profiles for item in scanned_ports(adapter.pk))
    claims = tuple(adapter.claims.all())
    return AdapterFacts(
        rated_power_w=adapter.rated_power_w,
        supply=adapter.supply,  # type: ignore[arg-type]  # the column's choices are the literal's
        enclosure=adapter.enclosure or Adapter.Enclosure.PLASTIC,
        ports=tuple(_port_facts(port) for port in adapter.ports.all()),
        advertised=(
            *_advertised_by(profiles),
            *(
                AdvertisedOutput(
                    port=claim.port.label if claim.port else "",
                    voltage_v=claim.voltage_v,
                    current_a=claim.current_a,
                )
                for claim in claims
                # A rating for a combination of ports is not what the port gives alone.
                if claim.voltage_v is not None
                and claim.current_a is not None
                and not claim.combination
            ),
        ),
        profiles=profiles,
        sharing_claims=tuple(
            SharingClaim(claim.combination, claim.port.label, claim.power_w)
            for claim in claims
            if claim.port is not None and claim.power_w is not None
        ),
    )


def _advertised_by(profiles: Iterable[PortProfiles]) -> Iterator[AdvertisedOutput]:
    for port in profiles:
        for item in decode_all(port.words):
            if isinstance(item, FixedSupply) and item.voltage_v > 0 and item.current_max_a > 0:
                yield AdvertisedOutput(
                    port=port.port,
                    voltage_v=item.voltage_v,
                    current_a=item.current_max_a,
                    source="profile",
                )


@dataclass(frozen=True, slots=True)
class ScannedPort:
    """What a port advertises today, and the run that found it.

    `unread` are positions that the scan left out, though a later one is there.
    """

    profiles: PortProfiles
    run_id: uuid.UUID
    unread: tuple[int, ...] = ()

    @property
    def objects(self) -> tuple[DataObject, ...]:
        """The objects that were read."""
        read = decode_all(self.profiles.words)
        return tuple(item for item in read if item.position not in self.unread)


def scanned_ports(adapter_id: int) -> tuple[ScannedPort, ...]:
    """The scanned ports of an adapter, by the runs whose values stand. One query.

    A port's objects are those of the run that holds its standing count of profiles, and its
    protocols those of the run that holds the count of them.
    """
    rows = (
        Value.objects.current()
        .filter(metric__in=_SCANNED, adapter=adapter_id, run__isnull=False)
        .order_by("port")
        .values_list("port", "metric", "run_id", "run__details")
    )
    found: dict[str, ScannedPort] = {}
    for label, metric, run_id, details in rows:
        known = found.get(label, ScannedPort(PortProfiles(label), run_id))
        port = next(item for item in details["facts"]["ports"] if item["port"] == label)
        if metric == PROFILE_COUNT:
            words = tuple(int(word, 16) for word in port["words"])
            profiles = replace(known.profiles, words=words)
            found[label] = ScannedPort(profiles, run_id, tuple(port["unread"]))
        else:
            profiles = replace(known.profiles, protocols=tuple(port["protocols"]))
            found[label] = replace(known, profiles=profiles)
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class PortCapability:
    """A port of the catalogue with what a scan found it to advertise.

    `objects` are without the padding; `protocols` are names by slug, those of the catalogue
    and those of the scan; `run_id` is None for a port that was not scanned.
    """

    port: Port
    objects: tuple[DataObject, ...] = ()
    protocols: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    run_id: uuid.UUID | None = None


def port_capabilities(adapter: Adapter) -> tuple[PortCapability, ...]:
    """Every port with its capability and the audit of it.

    Two queries when ports, their protocols and the claims were fetched with the adapter.
    """
    scanned = {item.profiles.port: item for item in scanned_ports(adapter.pk)}
    names = dict(Protocol.objects.values_list("slug", "name")) if scanned else {}
    ports = sorted(adapter.ports.all(), key=lambda port: (port.position, port.pk))
    claims = tuple(adapter.claims.all())
    found = []
    for port in ports:
        protocols = {item.slug: item.name for item in port.protocols.all()}
        scan = scanned.get(port.label)
        if scan is None:
            found.append(PortCapability(port, protocols=protocols))
            continue
        protocols |= {slug: names.get(slug, slug) for slug in scan.profiles.protocols}
        objects = scan.objects
        rated = port.rated_power_w or (adapter.rated_power_w if len(ports) == 1 else None)
        findings = audit(
            objects,
            rated_power_w=adapter.rated_power_w,
            port_rated_power_w=rated,
            claims=[
                Claim(text=claim.text, voltage_v=claim.voltage_v, current_a=claim.current_a)
                for claim in claims
                if claim.voltage_v is not None
                and claim.current_a is not None
                and (claim.port_id == port.pk or (claim.port_id is None and len(ports) == 1))
            ],
        )
        found.append(
            PortCapability(
                port,
                objects=tuple(item for item in objects if not isinstance(item, Padding)),
                protocols=dict(sorted(protocols.items())),
                findings=findings if scan.profiles.words else (),
                run_id=scan.run_id,
            )
        )
    return tuple(found)


def devices_known(*, listed: bool = False) -> tuple[DeviceFacts, ...]:
    """The reference devices as the pure core takes them, all or only `listed` ones. One query."""
    devices = Device.objects.listed() if listed else Device.objects.all()
    return tuple(
        DeviceFacts(
            slug=device.slug,
            name=device.name,
            battery_wh=device.battery_wh,
            max_power_w=device.max_power_w,
            voltage_min_v=device.voltage_min_v,
            voltage_max_v=device.voltage_max_v,
        )
        for device in devices.order_by("slug")
    )


def setup_of(run: Run) -> Setup:
    """The conditions of a run as the pure core takes them; two queries after `run_to_compute`."""
    return Setup(
        adapter=adapter_facts(run.adapter),
        devices=devices_known(),
        line=run.line,  # type: ignore[arg-type]  # a database constraint holds the literal
        mains_v=run.mains_v,
        mains_hz=run.mains_hz,
        ambient_c=run.ambient_c,
        port=_port_facts(run.port) if run.port else None,
        accuracies=tuple(
            Accuracy(item.name, item.quantity, item.reading_percent, item.fixed)
            for item in sorted(run.instruments.all(), key=lambda item: item.name)
        ),
        fields=run.method_fields,
    )


def value_row(
    measured: Measured,
    *,
    adapter_id: int,
    run_id: uuid.UUID | None,
    current_from: datetime | None,
) -> Value:
    """An unsaved `Value` of what the core measured."""
    condition = measured.condition
    return Value(
        adapter_id=adapter_id,
        run_id=run_id,
        metric=measured.metric,
        condition_key=condition.key,
        line=condition.line,
        output_v=condition.output_v,
        load=condition.load,
        load_percent=condition.load_percent,
        device=condition.device,
        sensor=condition.sensor,
        port=condition.port,
        value=measured.value,
        standard_uncertainty=measured.standard_uncertainty,
        method=method_of(measured.metric),
        apart=measured.apart,
        current_from=current_from,
    )


def physical_measures(adapter: Adapter) -> tuple[Measured, ...]:
    """What follows from the catalogue's facts of an adapter alone."""
    return physical_values(
        rated_power_w=adapter.rated_power_w,
        length_mm=adapter.length_mm,
        width_mm=adapter.width_mm,
        height_mm=adapter.height_mm,
        mass_g=adapter.mass_g,
    )


def run_page(run_id: uuid.UUID, *, viewer: Viewer) -> Run | None:
    """A run for its page or the API, with everything shown there; None if hidden."""
    return (
        Run.objects.visible_to(viewer)
        .select_related("adapter__maker", "unit", "port", "raw", "received_by", "superseded_by")
        .defer("trace")
        .prefetch_related(
            "instruments",
            Prefetch("flags", Flag.objects.order_by("pk")),
            Prefetch("verdicts", Verdict.objects.order_by("pk")),
            Prefetch("events", RunEvent.objects.select_related("by").order_by("at", "pk")),
        )
        .filter(pk=run_id)
        .first()
    )


def values_of(run: Run) -> list[Value]:
    """What a run gives: of each metric and condition the latest value.

    Those that another run replaced are among them, and those of a withdrawn run, as they last
    stood. One that the run's file gave by an earlier method only is not.
    """
    latest: dict[tuple[str, str], Value] = {}
    for value in Value.objects.under_present_conditions().filter(run=run).order_by("pk"):
        latest[value.metric, value.condition_key] = value
    closed = [
        value.pk for value in latest.values() if value.current_until not in (None, run.withdrawn_at)
    ]
    gone = set(closed) - _replaced(closed) if closed else set()
    return [value for value in latest.values() if value.pk not in gone]


def _replaced(values: Iterable[int]) -> set[int]:
    """Those in whose place another run's value came at the moment when they were closed."""
    successors = Value.objects.filter(
        adapter=OuterRef("adapter"),
        metric=OuterRef("metric"),
        condition_key=OuterRef("condition_key"),
        current_from=OuterRef("current_until"),
    ).exclude(run=OuterRef("run"))
    found = Value.objects.filter(Exists(successors), pk__in=values)
    return set(found.values_list("pk", flat=True))


def stands(value: Value) -> bool:
    """Whether readers are shown this value today."""
    return value.current_from is not None and value.current_until is None


def runs_listed(*, viewer: Viewer) -> QuerySet[Run]:
    """Runs for a list, newest first, without their heavy columns."""
    return (
        Run.objects.visible_to(viewer)
        .select_related("adapter__maker", "unit", "port")
        .defer("trace", "plot", "problems", "reading_notes", "details")
        .order_by("-id")
    )


@dataclass(frozen=True, slots=True)
class QueueReport:
    """How many runs wait, are in work, and were set aside."""

    waiting: int
    computing: int
    set_aside: int


def queue_report() -> QueueReport:
    """The state of the queue, from the database, which is the queue."""
    states = list(
        Run.objects.filter(
            state__in=[Run.State.RECEIVED, Run.State.COMPUTING, Run.State.SET_ASIDE]
        ).values_list("state", flat=True)
    )
    return QueueReport(
        waiting=states.count(Run.State.RECEIVED),
        computing=states.count(Run.State.COMPUTING),
        set_aside=states.count(Run.State.SET_ASIDE),
    )


def _spoken(name: str) -> str:
    """A slug or the name of a column as words: ``prong face``."""
    return name.replace("-", " ").replace("_", " ")


def condition_in_words(condition: Condition) -> str:
    """A condition as a person reads it: ``230 V class mains, 20 V output``."""
    words = []
    if condition.line:
        words.append("230 V mains" if condition.line == "high" else "115 V mains")
    if condition.output_v is not None:
        words.append(f"{condition.output_v:g} V output")
    if condition.load:
        words.append(_LOADS.get(condition.load, f"at {condition.load}"))
    if condition.load_percent is not None:
        words.append(f"{condition.load_percent:g} % load")
    parts = (_spoken(condition.device), condition.port, _spoken(condition.sensor))
    words += [part for part in parts if part]
    return ", ".join(words) or "no condition"


def current_values(*, viewer: Viewer, metrics: Iterable[str] = ()) -> QuerySet[Value]:
    """Values that stand today, of adapters this person may know of."""
    values = Value.objects.current().visible_to(viewer)
    keys = tuple(metrics)
    return values.filter(metric__in=keys) if keys else values


@dataclass(frozen=True, slots=True)
class Planned:
    """A run that a method asks for, and what of it was handed in.

    `held` are the planned points, counted from 0, that accepted runs hold, `waiting` those that
    only runs not yet computed or judged hold. `run` holds the most of them; None without any.
    """

    kind: Kind
    asked: PlannedRun
    held: frozenset[int] = frozenset()
    waiting: frozenset[int] = frozenset()
    run: Run | None = None

    @property
    def state(self) -> Literal["accepted", "waiting", "partly", "missing"]:
        """Whether values stand from all its points, or wait, or some are there, or none."""
        if not self.held and not self.waiting:
            return "missing"
        if self.lacking:
            return "partly"
        return "waiting" if self.waiting else "accepted"

    @property
    def lacking(self) -> tuple[int, ...]:
        """The points that no run holds."""
        return tuple(sorted(all_points(self.asked) - self.held - self.waiting))


def plan_setup(adapter: Adapter) -> Setup:
    """What plans are made from: the adapter and the reference devices."""
    return Setup(adapter=adapter_facts(adapter), devices=devices_known(listed=True))


def planned_runs(adapter: Adapter, *, viewer: Viewer) -> tuple[Planned, ...]:
    """What every method asks for of an adapter, with what is there already.

    Several runs may hold the points of a planned one, and one run those of several. An accepted
    run answers before one that waits, a newer one before an older.
    """
    setup = plan_setup(adapter)
    ports = setup.adapter.ports
    only = ports[0].label if len(ports) == 1 else ""
    runs = sorted(
        Run.objects.visible_to(viewer)
        .filter(adapter=adapter, standing__in=[Run.Standing.ACCEPTED, Run.Standing.PROVISIONAL])
        .exclude(state=Run.State.REJECTED)
        .select_related("port")
        .defer("trace", "plot", "problems", "reading_notes")
        .order_by("-id"),
        key=lambda run: run.standing != Run.Standing.ACCEPTED,
    )
    return tuple(
        _planned(kind, asked, [run for run in runs if _answers(run, kind, asked, only=only)])
        for kind in leaders_first(all_kinds())
        for asked in kind.plan(setup)
    )


def leaders_first(kinds: Sequence[Kind]) -> list[Kind]:
    """Kinds whose runs others read come first: they settle the points of the rest."""
    followed = {slug for kind in kinds for slug in kind.follows}
    return sorted(kinds, key=lambda kind: kind.slug not in followed)


def _planned(kind: Kind, asked: PlannedRun, runs: Iterable[Run]) -> Planned:
    """The planned run with the points that these runs hold, the accepted ones first."""
    points = {run: held_points(asked, facts=run.details.get("facts", {})) for run in runs}
    holding = {run: found for run, found in points.items() if found}
    held: frozenset[int] = frozenset().union(
        *(found for run, found in holding.items() if run.standing == Run.Standing.ACCEPTED)
    )
    return Planned(
        kind,
        asked,
        held=held,
        waiting=frozenset().union(*holding.values()) - held,
        run=max(holding, key=lambda run: len(holding[run]), default=None),
    )


def _loaded(run: Run, *, only: str) -> str:
    """The port of a run; of an adapter with a single one, `only`, it need not be said."""
    return run.port.label if run.port is not None else only


def _answers(run: Run, kind: Kind, asked: PlannedRun, *, only: str) -> bool:
    said = asked.fields
    mains_v, port, device = said.get("mains_v"), said.get("port"), said.get("device")
    return (
        run.kind == kind.slug
        and (not mains_v or run.line == line_of(float(mains_v)))
        and (not port or _loaded(run, only=only) == port)
        and (not device or run.method_fields.get("device") == device)
    )
