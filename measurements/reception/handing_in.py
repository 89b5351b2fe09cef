"""A file that was looked at becomes a run."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils import timezone

from measurements.actions import Received, Refused, RunFacts, receive_kept
from measurements.intake import column_maps
from measurements.intake.rawstore import Kept
from measurements.models import Arrival, ColumnMap
from measurements.reception.describing import held
from measurements.reception.questions import warnings_of

MAX_NAME = 80


@transaction.atomic
def hand_in(
    arrival: Arrival, facts: RunFacts, *, by: User, map_name: str = "", reason: str = ""
) -> Received:
    """Make the run of an arrival that was read as it is described now.

    A choice of columns that a person made is kept as a column map of the bench under
    `map_name`, and applies to the next file of that shape. `reason` says why the file is good in
    spite of warnings, and must be there when there are any. Raises `Refused`.
    """
    arrival = held(arrival)
    found = arrival.found
    if not arrival.is_read or found is None:
        raise Refused("The file is being read; look at what comes of it first.")
    if found["problem_count"] or found["failure"]:
        raise Refused("The file cannot be computed yet; mend what is listed first.")
    warnings = warnings_of(found)
    reason = " ".join(reason.split())
    if warnings and not reason:
        raise Refused(
            "There are warnings. Say why the file is good in spite of them, or put it away.",
            field="reason",
        )
    received = receive_kept(
        facts,
        Kept(sha256=arrival.raw_id, size=arrival.raw.size, created=False),
        file_name=arrival.file_name,
        by=by,
        column_map=_column_map(arrival, kind=facts.kind, name=map_name, by=by),
        remark=f"{', '.join(flag['code'] for flag in warnings)}: {reason}" if warnings else "",
    )
    arrival.run = received.run
    arrival.save(update_fields=["run"])
    return received


def _column_map(arrival: Arrival, *, kind: str, name: str, by: User) -> ColumnMap | None:
    """The map by which the file was read: one of the bench, or what a person settled, as a new one.

    Settled by a person is a choice of columns, and also a kind that the columns leave open.
    """
    in_use = ColumnMap.objects.in_use().select_for_update().filter(kind=kind)
    applied = ((arrival.found or {}).get("evidence") or {}).get("map_name", "")
    if applied and not arrival.chosen:
        return in_use.filter(name=applied).first()
    pure = settled_map(arrival, kind=kind)
    if pure is None:
        return None
    content = pure.as_json()
    same_shape = in_use.filter(fingerprint=pure.fingerprint).first()
    if same_shape is not None and same_shape.content == content:
        return same_shape
    name = " ".join(name.split())[:MAX_NAME] or name_for(pure)
    others = ColumnMap.objects.in_use().filter(name=name)
    if same_shape is not None:
        others = others.exclude(pk=same_shape.pk)
    if others.exists():
        raise Refused(
            f"Another column map is called “{name}”. Give this one a name of its own.",
            field="map_name",
        )
    if same_shape is not None:
        same_shape.retired_at = timezone.now()
        same_shape.save(update_fields=["retired_at"])
    try:
        with transaction.atomic():
            return ColumnMap.objects.create(
                name=name, kind=kind, fingerprint=pure.fingerprint, content=content, made_by=by
            )
    except IntegrityError as error:
        raise Refused(
            "Somebody saved a column map for these headings, or of this name, at the same moment. "
            "Look at the file once more.",
            field="map_name",
        ) from error


def settled_map(arrival: Arrival, *, kind: str) -> column_maps.ColumnMap | None:
    """What a person settled about the columns of a file that was read; None for nothing."""
    if arrival.chosen:
        return column_maps.ColumnMap.from_json(arrival.chosen)
    found = arrival.found or {}
    candidates, evidence = found.get("candidates"), found.get("evidence")
    if not candidates or not evidence:
        return None
    if candidates[0]["is_sure"] and candidates[0]["kind"] == kind:
        return None
    return column_maps.ColumnMap(
        headings=tuple((seen["text"], seen["unit_text"]) for seen in evidence["headings"]),
        columns=tuple(
            column_maps.Assigned(seen["column"], seen["read_unit"]) if seen["column"] else None
            for seen in evidence["headings"]
        ),
    )


def name_for(pure: column_maps.ColumnMap) -> str:
    """A name for a map that nobody named: its headings, shortened."""
    return ", ".join(text for text, _ in pure.headings if text)[:MAX_NAME] or "without headings"
