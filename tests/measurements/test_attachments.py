"""Attachments: who adds, takes off and sees them; how they are kept and counted."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.core.management import CommandError, call_command
from django.utils import timezone

from catalog.models import Adapter
from measurements import attaching, queries
from measurements.actions import Refused, accept_run, withdraw_run
from measurements.attaching import attach, take_off
from measurements.intake.pictures import Unfit
from measurements.models import Attachment, RawFile, Run
from measurements.queries.attachments import attached_to, attachment
from tests.factories.catalog import make_adapter
from tests.factories.measurements import ready
from tests.factories.pictures import PDF, picture

pytestmark = pytest.mark.django_db

MakePerson = Callable[[str], User]


def added(to: Run | Adapter, *, by: User | None, content: bytes | None = None) -> Attachment:
    return attach(
        picture() if content is None else content,
        to=to,
        kind="photograph",
        title="Label on the underside",
        file_name="IMG_0001.png",
        by=by,
    ).attachment


def run_in(standing: str, *, by: User, editor: User) -> Run:
    """A run that somebody handed in, and what an editor did to it."""
    run = ready(make_adapter(), by=by)
    if standing != "provisional":
        run = accept_run(run, by=editor)
    if standing == "withdrawn":
        run = withdraw_run(run, by=editor, reason="Wrong lead.")
    return run


@pytest.mark.parametrize(
    ("who", "standing", "may"),
    [
        ("reader", "provisional", False),
        ("reader", "accepted", False),
        ("own", "provisional", True),
        ("own", "accepted", False),
        ("own", "withdrawn", False),
        ("other reviewer", "provisional", False),
        ("other reviewer", "accepted", False),
        ("editor", "provisional", True),
        ("editor", "accepted", True),
        ("editor", "withdrawn", True),
        ("nobody", "accepted", False),
    ],
)
def test_who_may_attach_to_a_run_and_take_off(
    person: MakePerson, who: str, standing: str, may: bool
) -> None:
    own, editor = person("reviewer"), person("editor")
    run = run_in(standing, by=own, editor=editor)
    others = {"own": own, "editor": editor, "nobody": None}
    by = others[who] if who in others else person(who.rsplit(maxsplit=1)[-1])
    there = added(run, by=editor, content=picture("JPEG"))
    if may:
        assert added(run, by=by).added_by == by
        assert take_off(there, reason="Blurred.", by=by).removed_by == by
        return
    with pytest.raises(PermissionError):
        added(run, by=by)
    with pytest.raises(PermissionError):
        take_off(there, reason="Blurred.", by=by)
    assert list(Attachment.objects.present()) == [there]


@pytest.mark.parametrize(("role", "may"), [("reader", False), ("reviewer", True), ("editor", True)])
def test_who_may_attach_to_an_adapter(person: MakePerson, role: str, may: bool) -> None:
    adapter = make_adapter()
    if may:
        assert added(adapter, by=person(role)).adapter == adapter
    else:
        with pytest.raises(PermissionError):
            added(adapter, by=person(role))
        assert not Attachment.objects.exists()


@pytest.mark.parametrize(
    ("standing", "embargo", "seen_by"),
    [
        ("provisional", False, {"reviewer", "editor"}),
        ("accepted", False, {"public", "reader", "reviewer", "editor"}),
        ("withdrawn", False, {"public", "reader", "reviewer", "editor"}),
        ("accepted", True, {"reviewer", "editor"}),
    ],
)
def test_who_sees_what_is_attached_to_a_run(
    person: MakePerson, standing: str, embargo: bool, seen_by: set[str]
) -> None:
    editor = person("editor")
    run = run_in(standing, by=editor, editor=editor)
    there = added(run, by=editor)
    if embargo:
        tomorrow = timezone.now().date() + timedelta(days=1)
        Adapter.objects.update(publish_on=tomorrow)
    viewers: dict[str, User | AnonymousUser] = {"public": AnonymousUser(), "editor": editor}
    viewers |= {role: person(role) for role in ("reader", "reviewer")}
    seen = {name for name, viewer in viewers.items() if attachment(there.pk, viewer=viewer)}
    assert seen == seen_by


def test_what_is_kept_is_the_file_as_it_came_and_a_copy_to_show(editor: User) -> None:
    content = picture("JPEG") + b"<script>alert(1)</script>"
    there = added(make_adapter(), by=editor, content=content)
    store = queries.raw_store()
    assert store.path(there.original_id).read_bytes() == content
    assert b"<script" not in store.path(there.shown_id).read_bytes()
    assert RawFile.objects.get(pk=there.shown_id).size == len(
        store.path(there.shown_id).read_bytes()
    )
    assert (there.media_type, there.width, there.height) == ("image/jpeg", 64, 48)


def test_a_document_is_kept_once(editor: User) -> None:
    there = added(make_adapter(), by=editor, content=PDF)
    assert there.original_id == there.shown_id
    assert (there.media_type, there.width) == ("application/pdf", None)


def test_the_same_file_is_not_attached_twice_until_it_was_taken_off(editor: User) -> None:
    adapter = make_adapter()
    first, again = added(adapter, by=editor), added(adapter, by=editor)
    assert first == again
    take_off(first, reason="Blurred.", by=editor)
    assert added(adapter, by=editor) != first


def test_there_is_a_most_of_attachments(editor: User, monkeypatch: pytest.MonkeyPatch) -> None:
    assert attaching.MOST_PRESENT == 24
    monkeypatch.setattr(attaching, "MOST_PRESENT", 2)
    adapter, other = make_adapter(), make_adapter("Solo 30")
    first = added(adapter, by=editor)
    added(adapter, by=editor, content=picture("JPEG"))
    with pytest.raises(Refused, match="There are 2 attachments here already"):
        added(adapter, by=editor, content=PDF)
    added(other, by=editor, content=PDF)
    take_off(first, reason="Blurred.", by=editor)
    added(adapter, by=editor, content=PDF)
    assert Attachment.objects.present().filter(adapter=adapter).count() == 2


def test_what_cannot_be_attached_leaves_nothing(editor: User, own_raw_store: Path) -> None:
    with pytest.raises(Unfit):
        added(make_adapter(), by=editor, content=b"<svg></svg>")
    assert not RawFile.objects.exists()
    assert not own_raw_store.exists()


def test_no_letter_of_a_name_harms_a_database(editor: User) -> None:
    name = "a\r\nSet-Cookie: x=1\0" + 300 * "x" + ".png"
    there = attach(
        picture(), to=make_adapter(), kind="photograph", title="Body", file_name=name, by=editor
    ).attachment
    there.refresh_from_db()
    assert there.file_name.isprintable()
    assert len(there.file_name) == 255
    assert there.file_name.endswith(".png")


def test_what_happens_to_a_run_is_in_its_history(reviewer: User) -> None:
    run = ready(make_adapter(), by=reviewer)
    there = added(run, by=reviewer)
    take_off(there, reason="Shows a name.", by=reviewer)
    told = list(run.events.order_by("pk").values_list("what", "detail", "by"))[-2:]
    assert told == [
        ("attached", "photograph", reviewer.pk),
        ("attachment taken off", "Shows a name.", reviewer.pk),
    ]


def test_taking_off_needs_a_reason_and_happens_once(editor: User) -> None:
    there = added(make_adapter(), by=editor)
    with pytest.raises(Refused, match="Say why"):
        take_off(there, reason="  ", by=editor)
    take_off(there, reason="Blurred.", by=editor)
    with pytest.raises(Refused, match="already"):
        take_off(there, reason="Blurred.", by=editor)
    assert queries.raw_store().check(there.original_id) == "intact"


def test_only_who_works_here_is_told_what_was_taken_off(person: MakePerson) -> None:
    adapter, editor = make_adapter(), person("editor")
    there = added(adapter, by=editor)
    take_off(there, reason="Shows a name.", by=editor)
    assert [row.pk for row in attached_to(adapter, viewer=editor).removed] == [there.pk]
    for viewer in (AnonymousUser(), person("reader")):
        assert not attached_to(adapter, viewer=viewer).is_shown
        assert attachment(there.pk, viewer=viewer) is None


def test_the_store_is_verified_with_its_attachments(editor: User) -> None:
    there = added(make_adapter(), by=editor, content=picture("JPEG"))
    call_command("verify_store", stdout=StringIO(), stderr=StringIO())
    path = queries.raw_store().path(there.shown_id)
    path.chmod(0o600)
    path.write_bytes(b"altered")
    told = StringIO()
    with pytest.raises(CommandError, match="1 of 2 raw files"):
        call_command("verify_store", stdout=StringIO(), stderr=told)
    assert there.shown_id in told.getvalue()
