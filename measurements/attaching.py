"""What people do to attachments: add one, take one off. Page, API and demonstration come here."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from catalog.models import Adapter
from measurements.actions import Person, Refused
from measurements.intake.pictures import Checked, check_attached
from measurements.intake.rawstore import Kept, RawStore
from measurements.models import Attachment, RawFile, Run, RunEvent
from measurements.queries.attachments import Owner, may_change_attachments, owner_of

MOST_PRESENT = 24


@dataclass(frozen=True, slots=True)
class Added:
    """An attachment, whether this call made it, and what a person might miss in it."""

    attachment: Attachment
    created: bool
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ready:
    """A picture or document that was looked at and is durable, as it came and as it is shown."""

    checked: Checked
    original: Kept
    shown: Kept


def attach(
    content: bytes, *, to: Owner, kind: str, title: str, file_name: str, by: Person
) -> Added:
    """Keep a picture or document beside a run or an adapter.

    Both the file as it came and the copy that is shown are durable before the row is written.
    The same file that is there already, present and as the same kind, is that attachment. Raises
    `PermissionError`, `pictures.Unfit`, `Refused` where there are enough, and `OSError`; in all
    of them there is no attachment more than before.
    """
    ready = make_ready(content, to=to, by=by)
    return attach_ready(ready, to=to, kind=kind, title=title, file_name=file_name, by=by)


def make_ready(content: bytes, *, to: Owner, by: Person) -> Ready:
    """Look at a file and keep it: the slow part, which no transaction should wait for.

    Raises `PermissionError`, `pictures.Unfit` and `OSError`.
    """
    if not may_change_attachments(to, viewer=by):
        raise PermissionError("Your account may not attach anything to this.")
    checked = check_attached(content)
    # The bounds of an attachment are checked by now; that of an upload is for logs.
    store = RawStore(settings.RAW_DIR)
    original = store.keep([content])
    shown = original if checked.shown is None else store.keep([checked.shown])
    return Ready(checked, original, shown)


def attach_ready(
    ready: Ready, *, to: Owner, kind: str, title: str, file_name: str, by: Person
) -> Added:
    """Write down a file that was made ready. Raises `Refused` where there are enough."""
    checked, original, shown = ready.checked, ready.original, ready.shown
    with transaction.atomic():
        owner = _held_still(to, by=by)
        of_owner = {"run": owner} if isinstance(owner, Run) else {"adapter": owner}
        present = Attachment.objects.present().filter(**of_owner)
        if there := present.filter(original_id=original.sha256, kind=kind).first():
            return Added(there, False, checked.remarks)
        if present.count() >= MOST_PRESENT:
            raise Refused(
                f"There are {MOST_PRESENT} attachments here already, and that is the most. "
                "Take one off first.",
                field="file",
            )
        added = Attachment(**of_owner, kind=kind, title=title, added_by=by)
        _write(added, checked, original=original, shown=shown, file_name=file_name)
        _tell(owner, by=by, what="attached", detail=added.get_kind_display())
    return Added(added, True, checked.remarks)


def _write(
    added: Attachment, checked: Checked, *, original: Kept, shown: Kept, file_name: str
) -> None:
    for kept in (original, shown):
        RawFile.objects.write_down(kept.sha256, size=kept.size)
    added.original_id, added.shown_id = original.sha256, shown.sha256
    added.media_type = checked.shown_type
    added.width, added.height = checked.width, checked.height
    added.file_name = "".join(sign for sign in file_name if sign.isprintable())[-255:]
    added.save()


@transaction.atomic
def take_off(found: Attachment, *, reason: str, by: Person) -> Attachment:
    """Show an attachment no longer; its row and its files are kept.

    Raises `PermissionError`, and `Refused` where it is taken off already or no reason is given.
    """
    owner = _held_still(owner_of(found), by=by)
    now = Attachment.objects.get(pk=found.pk)
    if now.removed_at is not None:
        raise Refused("It was taken off already.")
    if not reason.strip():
        raise Refused("Say why it is taken off.", field="reason")
    now.removed_at, now.removed_by, now.removed_reason = timezone.now(), by, reason.strip()
    now.save(update_fields=["removed_at", "removed_by", "removed_reason"])
    _tell(owner, by=by, what="attachment taken off", detail=now.removed_reason)
    return now


def _held_still(owner: Owner, *, by: Person) -> Owner:
    """The run or adapter as it is now, locked so that attachments are counted one by one.

    Raises `PermissionError` where that changed since it was read.
    """
    now: Owner
    if isinstance(owner, Run):
        now = Run.objects.select_for_update(no_key=True).get(pk=owner.pk)
    else:
        now = Adapter.objects.select_for_update(no_key=True).get(pk=owner.pk)
    if not may_change_attachments(now, viewer=by):
        raise PermissionError("Your account may not change what is attached to this.")
    return now


def _tell(owner: Owner, *, by: Person, what: str, detail: str) -> None:
    """Write it into the history of a run; an adapter has none."""
    if isinstance(owner, Run):
        RunEvent.objects.create(run=owner, by=by, what=what, detail=detail)
