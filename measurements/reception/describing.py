"""What a person says about a file that arrived, and that it will not be handed in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from measurements.actions import Refused
from measurements.intake.column_maps import ColumnMap
from measurements.models import Arrival
from measurements.reception.reading import ring_arrival

# What has no part in reading or computing: saying it needs no second look.
_UNREAD = ("note", "unit")


def held(arrival: Arrival) -> Arrival:
    """The arrival as it is now, locked. Raises `Refused` when it waits no longer."""
    now = Arrival.objects.select_for_update(of=("self",)).get(pk=arrival.pk)
    if now.run_id is not None:
        raise Refused("This file was handed in already.")
    if now.put_away_at is not None:
        raise Refused("This file was put away. Drop it again to hand it in.")
    return now


@transaction.atomic
def describe(arrival: Arrival, *, said: Mapping[str, Any], chosen: ColumnMap | None) -> Arrival:
    """Say what is known of the file, as the fields of an upload, and how its columns are read.

    It is read again when that can change what comes of it. Raises `Refused`.
    """
    arrival = held(arrival)
    fresh = {name: text for name, text in said.items() if text}
    columns = chosen.as_json() if chosen else None
    is_as_before = columns == arrival.chosen and _read_of(fresh) == _read_of(arrival.said)
    arrival.said, arrival.chosen = fresh, columns
    if not is_as_before:
        arrival.revision += 1
        arrival.step = ""
        transaction.on_commit(lambda: ring_arrival(arrival.pk))
    arrival.save(update_fields=["said", "chosen", "revision", "step"])
    return arrival


def _read_of(said: Mapping[str, Any]) -> dict[str, Any]:
    return {name: text for name, text in said.items() if name not in _UNREAD}


@transaction.atomic
def put_away(arrival: Arrival) -> None:
    """Take the file off the list of those that wait; its bytes stay. Raises `Refused`."""
    arrival = held(arrival)
    arrival.put_away_at = timezone.now()
    arrival.save(update_fields=["put_away_at"])
