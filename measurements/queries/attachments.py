"""Attachments for pages and the API: those of a run or an adapter, and one by itself."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from catalog.models import Adapter, Viewer
from measurements.models import Attachment, Run

Owner = Run | Adapter

DOCUMENT = "application/pdf"


@dataclass(frozen=True, slots=True)
class Attached:
    """What a page shows of the attachments of a run or an adapter.

    `removed` is told only to those who work here. `owner` is what they belong to.
    """

    owner: Owner
    pictures: Sequence[Attachment]
    documents: Sequence[Attachment]
    removed: Sequence[Attachment]
    may_change: bool
    works_here: bool

    @property
    def is_of_run(self) -> bool:
        """Whether they belong to a run, else to an adapter."""
        return isinstance(self.owner, Run)

    @property
    def is_shown(self) -> bool:
        """Whether there is anything to show, or to be added by this person."""
        return bool(self.pictures or self.documents or self.removed or self.may_change)


def may_change_attachments(owner: Owner, *, viewer: Viewer) -> bool:
    """Whether this person may add attachments and take them off.

    Of a run whoever may amend it; of an adapter whoever may change it.
    """
    if isinstance(owner, Run):
        return owner.may_be_amended_by(viewer)
    return _has(viewer, "catalog.change_adapter")


def sees_originals(viewer: Viewer) -> bool:
    """Whether this person gets files as they came, and those that were taken off."""
    return _has(viewer, "measurements.receive_run")


def _has(viewer: Viewer, permission: str) -> bool:
    return viewer is not None and bool(getattr(viewer, "has_perm", lambda _: False)(permission))


def attachments_of(owner: Owner) -> QuerySet[Attachment]:
    """All that was ever attached to it, in the order of coming."""
    of_owner = {"run": owner} if isinstance(owner, Run) else {"adapter": owner}
    return (
        Attachment.objects.filter(**of_owner)
        .select_related("original", "shown", "added_by", "removed_by")
        .order_by("added_at", "pk")
    )


def attached_to(owner: Owner, *, viewer: Viewer) -> Attached:
    """The attachments of a run or an adapter that this person may know of; one query."""
    works_here = sees_originals(viewer)
    rows = attachments_of(owner)
    if not works_here:
        rows = rows.filter(removed_at=None)
    found = list(rows)
    present = [row for row in found if row.removed_at is None]
    return Attached(
        owner=owner,
        pictures=[row for row in present if row.media_type != DOCUMENT],
        documents=[row for row in present if row.media_type == DOCUMENT],
        removed=[row for row in found if row.removed_at is not None],
        may_change=may_change_attachments(owner, viewer=viewer),
        works_here=works_here,
    )


def attachment(attachment_id: uuid.UUID, *, viewer: Viewer) -> Attachment | None:
    """One attachment; None if it is hidden, or taken off and the person does not work here."""
    rows = Attachment.objects.visible_to(viewer)
    if not sees_originals(viewer):
        rows = rows.present()
    return (
        rows.select_related("original", "shown", "run__adapter__maker", "adapter__maker")
        .filter(pk=attachment_id)
        .first()
    )


def owner_of(found: Attachment) -> Owner:
    """What it belongs to."""
    owner = found.run or found.adapter
    assert owner is not None  # the database holds that one of them is named
    return owner


def is_public(found: Attachment) -> bool:
    """Whether everybody may see it."""
    owner = owner_of(found)
    if found.removed_at is not None:
        return False
    if isinstance(owner, Run):
        return owner.is_public and owner.adapter.is_published
    return owner.is_published
