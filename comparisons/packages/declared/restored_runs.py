"""Writing the runs of a package down on an empty site, from the tables that tell of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from catalog.models import Adapter
from comparisons.packages.site import Site, write_all
from comparisons.packages.tables import Row, Source
from measurements import queries
from measurements.actions import RunFacts, identity_of
from measurements.models import Instrument, RawFile, Run, RunEvent, line_of

_NOT_COMPUTED = "It was set aside on the site where it came from; recompute it."


def restore_files(source: Source, _site: Site) -> None:
    """The files by their hashes; those that the raw store has by now are held."""
    store = queries.raw_store()
    for row in source.rows("files"):
        said = {"size": row["size"], "stored_at": row["stored_at"]}
        said["held"] = store.check(row["sha256"]) == "intact"
        RawFile.objects.update_or_create(sha256=row["sha256"], defaults=said)


def restore_runs(source: Source, site: Site) -> None:
    """Every run with its instruments; what happened to it before is one event here."""
    used: dict[Any, list[Instrument]] = defaultdict(list)
    for row in source.rows("run_instruments"):
        used[row["run"]].append(site.instruments[row["instrument"]])
    tables = (source.rows(name) for name in ("runs", "records", "details"))
    write_all(
        Run,
        (
            _run(said, record, details, instruments=used[said["id"]], site=site)
            for said, record, details in zip(*tables, strict=True)
        ),
    )
    through = Run.instruments.through
    write_all(
        through,
        (
            through(run_id=run_id, instrument_id=instrument.pk)
            for run_id, instruments in used.items()
            for instrument in instruments
        ),
    )
    write_all(
        RunEvent,
        (
            RunEvent(run_id=run_id, what="imported", detail=site.origin)
            for run_id in site.adapter_of_run
        ),
    )


def facts_of(said: Row, *, instruments: Iterable[Instrument], site: Site) -> RunFacts:
    """What the upload of a run said, of which its identity is made."""
    port = site.ports[said["adapter"], said["port"]] if said["port"] else None
    return RunFacts(
        adapter=Adapter(pk=site.adapters[said["adapter"]], slug=said["adapter"]),
        kind=said["kind"],
        unit=said["unit"],
        mains_v=said["mains_v"],
        mains_hz=said["mains_hz"],
        ambient_c=said["ambient_c"],
        port=port,
        instruments=tuple(instruments),
    )


def _run(said: Row, record: Row, details: Row, *, instruments: list[Instrument], site: Site) -> Run:
    if not said["id"] == record["run"] == details["run"]:
        raise ValueError("runs.csv, records.csv and details.csv list the runs in another order.")
    facts = facts_of(said, instruments=instruments, site=site)
    site.adapter_of_run[said["id"]] = said["adapter"]
    fields = record["method_fields"]
    superseded = record["standing"] == Run.Standing.SUPERSEDED
    successor = record["superseded_by"]
    if superseded and successor is None:
        # Its successor is not shown, and a superseded run has one: itself stands in, and is
        # taken for none again by whoever exports it.
        successor = said["id"]
    return Run(
        id=said["id"],
        adapter_id=facts.adapter.pk,
        unit_id=site.units[said["adapter"], said["unit"]],
        kind=said["kind"],
        raw_id=record["sha256"],
        file_name=record["file_name"] or "",
        identity=identity_of(facts, record["sha256"], fields=fields),
        mains_v=said["mains_v"],
        mains_hz=said["mains_hz"],
        line=line_of(said["mains_v"]),
        ambient_c=said["ambient_c"],
        port=facts.port,
        method_fields=fields,
        measured_at=said["measured_at"],
        note=said["note"] or "",
        received_at=record["received_at"],
        state=record["state"],
        computed_at=record["computed_at"],
        error=_NOT_COMPUTED if record["state"] == Run.State.SET_ASIDE else "",
        fence=1,
        problems=record["problems"],
        problem_count=record["problem_count"],
        column_map_id=site.column_maps[record["column_map"]] if record["column_map"] else None,
        reading_notes=record["reading_notes"],
        trace=details["trace"],
        plot=details["plot"],
        details=details["details"],
        standing=record["standing"],
        accepted_at=record["accepted_at"],
        withdrawn_at=record["withdrawn_at"],
        withdrawn_reason=record["withdrawn_reason"] or "",
        superseded_by_id=successor,
    )
