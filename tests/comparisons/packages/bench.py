"""A bench with everything that a package may hold, and much that it must not; all invented."""

from __future__ import annotations

import io
import uuid
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.core.management import call_command
from django.utils import timezone

from brickledger.management import demonstration
from brickledger.roles import give_role
from catalog.actions import PortFacts, save_adapter
from catalog.models import Adapter, Unit
from comparisons.actions import revise_comparison, save_comparison
from comparisons.models import Comparison
from comparisons.packages.exporting import export
from fixtures.scenario import scenario
from measurements import processing
from measurements.actions import RunFacts, accept_run, amend_run, withdraw_run
from measurements.attaching import attach
from measurements.intake.column_maps import Assigned
from measurements.intake.column_maps import ColumnMap as PureMap
from measurements.models import ColumnMap, Run
from tests.comparisons.publishing import published_as_read
from tests.factories.arrivals import foreign_log
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log, ready, receive
from tests.factories.pictures import picture
from tests.factories.result_tables import accepted_table, standby_table

TODAY = date(2026, 11, 25)
MOMENT = datetime(2026, 4, 4, 14, 30, 0, 123456, tzinfo=UTC)
# No byte of an exported package may spell one of these.
HIDDEN_ADAPTER, HIDDEN_MAKER = "Nightjar 99", "Umbrafall"
HIDDEN_WORDS = (
    *("Nightjar", "nightjar", "Umbrafall", "umbrafall", "waiting-note", "provisional-note"),
    *("petra-quince", "otto-fennel", "borrowed from Petra", "hidden-serial", "scope-original"),
)
ODD_NOTE = 'Two lines,\r\nthe "second" with a tab\t, an emoji 🔌 and a bell; =1+1'


def people() -> tuple[User, User]:
    """A reviewer and an editor, by names that must not come out."""
    made = []
    for name, role in (("petra-quince", "reviewer"), ("otto-fennel", "editor")):
        user = User.objects.create_user(username=name)
        give_role(user, role)
        made.append(user)
    return made[0], made[1]


def computed_scene(*, by: User) -> None:
    """Three adapters of the demonstration with all their runs, in all dialects."""
    scene = scenario(adapters=3, today=TODAY)
    demonstration.write_catalogue(scene)
    demonstration.make_accounts()
    for stage in demonstration.stages(scene):
        for sent in demonstration.send_logs(stage):
            processing.compute(sent.run_id)
            accept_run(Run.objects.get(pk=sent.run_id), by=by)
    # What an accepted scan or charge put back into the queue.
    for run_id in Run.objects.unfinished().values_list("pk", flat=True):
        processing.compute(run_id)


def _facts(run: Run, **changes: Any) -> RunFacts:
    said = RunFacts(
        adapter=run.adapter,
        kind=run.kind,
        unit=run.unit.serial,
        mains_v=run.mains_v,
        port=run.port,
        instruments=tuple(run.instruments.all()),
        method_fields=run.method_fields,
        note=run.note,
    )
    return replace(said, **changes)


def _standings(public: Adapter, hidden: Adapter, *, by: User) -> None:
    """Runs that were superseded, withdrawn, amended, and that readers may not see."""
    meter = make_meter(name="Bench meter, with comma", calibration_due=date(2027, 1, 1))
    accepted(public, no_load_log(0.051), by=by, note=ODD_NOTE, instruments=(meter,))
    accepted(public, no_load_log(0.052), by=by, measured_at=MOMENT, mains_hz=50.0)
    withdrawn = accepted(public, no_load_log(0.2), by=by, mains_v=115.0, ambient_c=23.25)
    withdraw_run(withdrawn, by=by, reason="The lead was loose.\nMeasured again.")
    amended = accepted(public, no_load_log(0.06), by=by, unit="A-2", note="first words")
    again = amend_run(amended, _facts(amended, mains_v=116.5), by=by, reason="110 V!", seen=0)
    processing.compute(again.pk)
    accept_run(Run.objects.get(pk=again.pk), by=by)
    moved = accepted(hidden, no_load_log(0.07), by=by, unit="hidden-serial")
    moved = amend_run(
        moved, _facts(moved, adapter=public, unit="A-3", port=None), by=by, reason="Moved.", seen=0
    )
    processing.compute(moved.pk)
    accept_run(Run.objects.get(pk=moved.pk), by=by)
    waiting = accepted(public, no_load_log(0.08), by=by, unit="A-4")
    amend_run(waiting, _facts(waiting, note="waiting-note"), by=by, reason="waiting-note", seen=0)
    ready(public, no_load_log(0.09), by=by, note="provisional-note")
    accepted(hidden, no_load_log(0.04), by=by)


def _mapped(public: Adapter, *, by: User) -> None:
    """A run that a column map of the bench explains, its map retired since."""
    headings = ("Takt (s)", "Kanal 1 (mW)", "Kanal 2 (mW)", "Netz (V)")
    pure = PureMap(
        headings=tuple((text, "") for text in headings),
        columns=(Assigned("time_s", "s"), Assigned("input_power_w", "mW"), None, None),
    )
    map_ = ColumnMap.objects.create(
        name="Long bench",
        kind="no-load",
        fingerprint=pure.fingerprint,
        content=pure.as_json(),
        made_by=by,
    )
    accepted(public, foreign_log(0.05), by=by, file_name="Prüfung 1.CSV", unit="mapped")
    map_.retired_at = timezone.now()
    map_.save()


def _published(public: Adapter, *, by: User) -> None:
    draft = Comparison(
        title="Two of them",
        notes="As of today.",
        with_tables=True,
        cell_notes=[{"adapter": public.slug, "metric": "no-load-power", "text": "Repeated."}],
        metric_conditions=[{"metric": "no-load-power", "conditions": {"line": "high"}}],
        blocks=["efficiency:high:20", "sharing:high"],
    )
    metrics = ("no-load-power", "power-density")
    others = list(Adapter.objects.published().exclude(pk=public.pk)[:1])
    save_comparison(
        draft,
        adapters=[public, *others],
        metrics=metrics,
        conditions={},
        groups={public.slug: "At home"},
        by=by,
    )
    first = published_as_read(draft, by=by)
    published_as_read(revise_comparison(first, by=by), by=by)
    revise_comparison(first, by=by)  # a draft, which nobody outside sees


def build() -> None:
    """Write the whole bench down."""
    _, editor = people()
    computed_scene(by=editor)
    public = make_adapter(
        "Duo 45",
        ports=(PortFacts("C1", "usb-c", 45.0, ("usb-pd",)), PortFacts("A1", "usb-a")),
        price="19.90",
        currency="EUR",
        released_on=date(2025, 2, 28),
    )
    hidden = make_adapter(
        HIDDEN_ADAPTER, maker=HIDDEN_MAKER, publish_on=timezone.now().date() + timedelta(days=30)
    )
    _standings(public, hidden, by=editor)
    _mapped(public, by=editor)
    Unit.objects.filter(adapter=public).update(source="borrowed from Petra")
    public.mass_g = 130.0
    save_adapter(public)  # power density gets a history
    content = standby_table((public.slug, 0.0501, 0.001), (hidden.slug, 0.03, None))
    accepted_table(content, by=editor)
    run = Run.objects.filter(adapter=public, standing="accepted").order_by("pk").first()
    assert run is not None
    shot = picture("JPEG", comment=b"scope-original")
    attach(shot, to=run, kind="scope-picture", title="Start-up", file_name="shot.jpg", by=editor)
    attach(
        picture(), to=hidden, kind="photograph", title=HIDDEN_ADAPTER, file_name="n.png", by=editor
    )
    _published(public, by=editor)


def exported(path: Path, *, with_raw: bool = False, **options: Any) -> Path:
    """A package of the site as it is."""
    export(path, with_raw=with_raw, **options)
    return path


def hashes(path: Path) -> dict[str, str]:
    """File of a package → SHA-256 of its bytes, but for the descriptor, which states a moment."""
    with zipfile.ZipFile(path) as archive:
        return {
            name: sha256(archive.read(name)).hexdigest()
            for name in archive.namelist()
            if name != "datapackage.json"
        }


def contents(path: Path) -> dict[str, bytes]:
    """Every file of a package."""
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(path: Path, files: Mapping[str, bytes]) -> Path:
    """A zip of these files."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return path


def said_by(name: str, *arguments: object) -> str:
    """What a command says on standard output."""
    out = io.StringIO()
    call_command(name, *map(str, arguments), stdout=out, stderr=io.StringIO())
    return out.getvalue()


def receive_again(adapter: Adapter, content: bytes, **facts: Any) -> uuid.UUID:
    """The run that answers when a file is handed in once more."""
    return receive(adapter, content, **facts).pk
