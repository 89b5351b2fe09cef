"""Taking in many runs at once, through the same form and the same door as a single upload."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.contrib.auth.models import Permission, User

from measurements import processing
from measurements.actions import Refused, accept_run, receive_run
from measurements.forms import RunForm
from measurements.intake.decoding import printable
from measurements.intake.rawstore import TooLarge
from measurements.kinds import all_kinds
from measurements.management.packages import Package, PackageError, Row
from measurements.models import Run

ACCOUNT = "command-line"
_PERMISSIONS = (
    ("catalog", "view_unpublished"),
    ("catalog", "add_adapter"),
    ("measurements", "receive_run"),
    ("measurements", "accept_run"),
)
_WAIT_S = 0.2
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a row was not taken in: the table and line, the field where one is to blame."""

    table: str
    line: int
    field: str
    detail: str

    def __str__(self) -> str:
        where = f"{self.table}, line {self.line}" if self.line else self.table
        said = f"{where}{f', {self.field}' if self.field else ''}: {self.detail}"
        return printable(said, limit=len(said))  # it goes to a terminal


@dataclass(slots=True)
class Intake:
    """What became of the rows of a package."""

    received: list[Run] = field(default_factory=list)
    already_there: list[Run] = field(default_factory=list)
    refused_rows: int = 0
    refusals: list[Refusal] = field(default_factory=list)

    @property
    def read(self) -> int:
        """How many rows were read; every one was received, there already, or refused."""
        return len(self.received) + len(self.already_there) + self.refused_rows

    def refuse(self, refusals: Sequence[Refusal]) -> None:
        """Count one row as refused, for one reason or several."""
        self.refused_rows += 1
        self.refusals += refusals


def command_line_account() -> User:
    """The account in whose name the command line acts when none is named. It cannot sign in."""
    user, created = User.objects.get_or_create(username=ACCOUNT)
    if created:
        user.set_unusable_password()
        user.save()
    # At every call: an account of an earlier release may lack what was added since.
    user.user_permissions.set(
        Permission.objects.get(content_type__app_label=app_label, codename=codename)
        for app_label, codename in _PERMISSIONS
    )
    return user


def known_columns() -> frozenset[str]:
    """Every column that ``runs.csv`` may have: the fields of the upload, of any kind.

    ``id`` is the run's where an exported package was made; a run gets one of its own here.
    """
    common = set(RunForm.base_fields)
    return frozenset(
        common | {"id", "file"} | {item.name for kind in all_kinds() for item in kind.fields}
    )


def require_columns(rows: Sequence[Row], *, known: Iterable[str], needed: Iterable[str]) -> None:
    """Raise `PackageError` when the table lacks a column or has one that means nothing here."""
    if not rows:
        raise PackageError("The table has headings but no rows.")
    found = set(rows[0].cells)
    if missing := sorted(set(needed) - found):
        raise PackageError(f"The column {', '.join(missing)} is missing from the headings.")
    if unknown := sorted(found - set(known)):
        raise PackageError(
            f"No column is called {', '.join(repr(name) for name in unknown)}. "
            f"There are: {', '.join(sorted(known))}."
        )


def form_data(row: Row) -> tuple[dict[str, Any], str]:
    """The row as the upload form takes it, and the name of its file."""
    data: dict[str, Any] = {name: cell for name, cell in row.cells.items() if cell}
    file_name = data.pop("file", "")
    data.pop("id", None)
    if "instruments" in data:
        data["instruments"] = [
            name.strip() for name in data["instruments"].split(";") if name.strip()
        ]
    return data, file_name


def _with_points(form: RunForm, data: Mapping[str, Any]) -> dict[str, Any]:
    """Numbers with a decimal point, where the table's separator shows a decimal comma."""
    return {
        name: cell.replace(",", ".")
        if isinstance(form.fields.get(name), forms.FloatField) and _DECIMAL_COMMA.fullmatch(cell)
        else cell
        for name, cell in data.items()
    }


def take_in(row: Row, *, intake: Intake, package: Package, by: User, table: str) -> None:
    """Take in one row and note in `intake` what became of it.

    Raises `OSError` when the raw store cannot keep the file; nothing of the row is kept then.
    """

    def refusal(field_name: str, detail: str) -> Refusal:
        return Refusal(table, row.line, field_name, detail)

    data, file_name = form_data(row)
    form = RunForm(data, viewer=by)
    if row.decimal_comma:
        form = RunForm(_with_points(form, data), viewer=by)
    foreign = sorted(set(data) - set(form.fields)) if form.declared else []
    found = [
        refusal(name, "This kind of run has no such field; leave it empty.") for name in foreign
    ]
    found += [
        refusal("" if name == "__all__" else name, str(sentence))
        for name, sentences in form.errors.items()
        for sentence in sentences
    ]
    try:
        if file_name:
            package.require(file_name)
        else:
            found.append(refusal("file", "Name the data file of this run."))
    except PackageError as error:
        found.append(refusal("file", str(error)))
    if found:
        intake.refuse(found)
        return
    try:
        received = receive_run(
            form.facts(),
            chunks=package.chunks(file_name),
            file_name=package.title_of(file_name),
            by=by,
        )
    except (TooLarge, PackageError) as error:
        intake.refuse([refusal("file", str(error))])
        return
    (intake.received if received.created else intake.already_there).append(received.run)


def finish(run: Run) -> Run:
    """The run once it is computed, by whichever worker has it, else by this process."""
    while True:
        processing.compute(run.pk)
        run.refresh_from_db()
        if run.is_finished:
            return run
        time.sleep(_WAIT_S)


def accept(run: Run, *, by: User) -> str:
    """Finish and accept a run; "" when its values stand, else why they do not."""
    run = finish(run)
    if run.standing != Run.Standing.PROVISIONAL:
        return ""  # accepted before, and perhaps superseded since
    if run.state == Run.State.REJECTED:
        first = run.problems[0] if run.problems else {}
        place = f"line {first['row']}: " if first.get("row") else ""
        more = f" ({run.problem_count} problems)" if run.problem_count > 1 else ""
        return f"rejected: {place}{first.get('detail', '')}{more}"
    if run.state == Run.State.SET_ASIDE:
        return f"set aside: {run.error}"
    try:
        accept_run(run, by=by)
    except Refused as refused:
        return refused.detail
    return ""
