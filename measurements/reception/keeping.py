"""A file arrives: its bytes are durable before anything is read from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from measurements import queries
from measurements.models import Arrival, RawFile
from measurements.queries.file_names import said_by_name
from measurements.reception.reading import ring_arrival


def keep_arrival(
    chunks: Iterable[bytes], *, file_name: str, by: User, said: Mapping[str, Any] | None = None
) -> tuple[Arrival, bool]:
    """Keep a file for ever and write down that it waits for its description; whether it is new.

    The same bytes under the same name that wait for the same person already are that arrival.
    What the name says by a pattern of the bench is the first description, over which `said`
    goes, the fields of an upload as texts. Raises `rawstore.TooLarge` and `OSError` with
    nothing kept.
    """
    kept = queries.raw_store().keep(chunks)
    name = file_name[:255]
    with transaction.atomic():
        RawFile.objects.write_down(kept.sha256, size=kept.size)
        there = Arrival.objects.waiting().filter(by=by, raw_id=kept.sha256, file_name=name).first()
        if there is not None:
            return there, False
        by_name = said_by_name(name, viewer=by)
        arrival = Arrival.objects.create(
            raw_id=kept.sha256,
            file_name=name,
            by=by,
            said={
                **(by_name.fields if by_name else {}),
                **{field: text for field, text in (said or {}).items() if text},
            },
        )
        transaction.on_commit(lambda: ring_arrival(arrival.pk))
    return arrival, True
