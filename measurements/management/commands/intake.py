"""``intake``: many runs at once, from a folder, a zip, a filled-in sheet, or one file."""

from __future__ import annotations

from argparse import RawDescriptionHelpFormatter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError, CommandParser

from measurements.actions import Refused
from measurements.management import bulk
from measurements.management.opening import (
    PACKAGE_SUFFIXES,
    WORKBOOK_SUFFIX,
    lone_file,
    open_package,
)
from measurements.management.packages import PackageError, Row
from measurements.management.progress import bar
from measurements.management.receiving import Parcel, receive_package, receive_tables
from measurements.management.stores import IN_BULK
from measurements.management.table_files import TABLES, tables_of
from measurements.models import ResultTable, Run
from measurements.result_tables import accept_table

DESCRIPTION = """\
Takes in runs in bulk; safe to repeat, because a file that is there already is left alone.

PATH is a folder or a zip with runs.csv, one row a run: adapter, kind, file, and where they
apply unit, measured_at, mains_v, mains_hz, ambient_c, port, instruments (separated by
semicolons), note and the fields of the kind. adapters.csv and ports.csv may bring adapters
along. With datapackage.json, sizes and hashes are checked.

results.csv brings results that were computed elsewhere, without their raw records: one row a
result, with adapter, metric, value, the parts of the metric's condition, and where they are
known unit, standard_uncertainty or expanded_uncertainty (k = 2). runs.csv may be absent then, and
where adapters.csv is there; each of these three tables may also be given by itself.

PATH may also be a workbook (XLSX) with a worksheet called runs of the same columns, file naming
the worksheet that holds the data, such as the sheet command writes; runs of which nothing was
filled in are left out. Or it is one data file, described by the options.
"""
# 128 and the number of SIGINT, as shells report it: common practice.
_INTERRUPTED = 130
_SAFE = (
    "What was taken in or accepted before is safe; run the same command again for the rest, and "
    "nothing comes in twice."
)
# Options of a single file, and the columns of runs.csv that they stand for.
_OPTIONS = (
    ("--adapter", "adapter", "the adapter's slug"),
    ("--kind", "kind", "the kind of run, such as no-load"),
    ("--unit", "unit", "serial of the unit"),
    ("--measured-at", "measured_at", "date and time, ISO 8601"),
    ("--mains-v", "mains_v", "mains voltage, V"),
    ("--mains-hz", "mains_hz", "mains frequency, Hz"),
    ("--ambient-c", "ambient_c", "ambient temperature, °C"),
    ("--port", "port", "label of the port"),
    ("--note", "note", "a remark"),
)


class Command(BaseCommand):
    """Take in a folder, a zip or a file of runs, and say what was refused and why."""

    help = DESCRIPTION

    def create_parser(self, *args: Any, **options: Any) -> CommandParser:
        """Keep the paragraphs of the help."""
        return super().create_parser(*args, formatter_class=RawDescriptionHelpFormatter, **options)

    def add_arguments(self, parser: CommandParser) -> None:
        """What to take in, in whose name, and whether to accept it."""
        parser.add_argument("path", type=Path, help="folder, zip, workbook or data file")
        parser.add_argument(
            "--accept", action="store_true", help="compute the runs and let their values stand"
        )
        parser.add_argument(
            "--user",
            default="",
            help="account in whose name this is done (default: one of the command line's own)",
        )
        for option, column, help_text in _OPTIONS:
            parser.add_argument(option, dest=column, default="", help=help_text)
        parser.add_argument(
            "--instrument",
            dest="instruments",
            action="append",
            default=[],
            help="name of an instrument; may be repeated",
        )
        parser.add_argument(
            "--field",
            dest="method_fields",
            action="append",
            default=[],
            metavar="NAME=VALUE",
            help="a field of the kind; may be repeated",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Take in and report; fails when anything was refused."""
        path: Path = options["path"]
        if not path.exists():
            raise CommandError(f"There is nothing at {path}.")
        by = self._person(options["user"], accepts=options["accept"])
        parcel = Parcel()
        try:
            self._take_in(path, parcel=parcel, by=by, options=options)
            failures = parcel.failures
            if options["accept"]:
                failures += self._accept_all(parcel, by=by)
        except KeyboardInterrupt:
            raise CommandError(f"Interrupted. {_SAFE}", returncode=_INTERRUPTED) from None
        if failures:
            raise CommandError(f"{failures} not as wished; see above.")

    def _take_in(self, path: Path, *, parcel: Parcel, by: User, options: dict[str, Any]) -> None:
        """Take in whatever is at `path` and report, however it ends."""
        try:
            if path.name.lower() in TABLES and not _describes(options):
                tables = tables_of([(path.name, path.read_bytes())])
                receive_tables(tables, parcel=parcel, by=by, name=path.name)
            elif path.is_dir() or _is_package(path, described=_describes(options)):
                self._package(path, parcel=parcel, by=by, options=options)
            else:
                row = _described_row(path, options)
                bulk.take_in(
                    row, intake=parcel.intake, package=lone_file(path), by=by, table=path.name
                )
        except PackageError as error:
            raise CommandError(f"{path}: {error}") from error
        except OSError as error:
            self._report(parcel)
            raise CommandError(
                f"Stopped: {error}. Mend the cause. Nothing of the present row was kept. {_SAFE}"
            ) from error
        except KeyboardInterrupt:
            self._report(parcel)
            raise
        self._report(parcel)

    def _accept_all(self, parcel: Parcel, *, by: User) -> int:
        """Accept what came; the number that could not be accepted."""
        failures = self._accept(parcel.intake.received + parcel.intake.already_there, by=by)
        if parcel.results and parcel.results.table:
            failures += self._accept_results(parcel.results.table, by=by)
        return failures

    def _person(self, username: str, *, accepts: bool) -> User:
        if not username:
            return bulk.command_line_account()
        person = User.objects.filter(username=username, is_active=True).first()
        if person is None:
            raise CommandError(f"No active account is called “{username}”.")
        if not person.has_perm("measurements.receive_run"):
            raise CommandError(f"“{username}” may not take in runs; a reviewer or editor may.")
        if accepts and not person.has_perm("measurements.accept_run"):
            raise CommandError(f"“{username}” may not accept runs; an editor may.")
        return person

    def _package(self, path: Path, *, parcel: Parcel, by: User, options: dict[str, Any]) -> None:
        if _describes(options):
            raise CommandError(
                "Options that describe a run go with one data file; in a package, "
                "runs.csv says what each file is."
            )
        with open_package(path, limits=IN_BULK) as package:
            receive_package(
                package, parcel=parcel, by=by, limits=IN_BULK, progress=_with_bar, name=path.name
            )

    def _report(self, parcel: Parcel) -> None:
        brought, intake = parcel.brought, parcel.intake
        if brought.added or brought.known:
            self.stdout.write(
                f"Adapters: {len(brought.added)} written down, "
                f"{len(brought.known)} known already and left as they are."
            )
        if brought.ports_added:
            self.stdout.write(f"Ports: {len(brought.ports_added)} added to known adapters.")
        results = parcel.results
        of_results = results.refusals if results else []
        for refusal in [*brought.refusals, *of_results, *intake.refusals]:
            self.stderr.write(str(refusal))
        if results:
            self.stdout.write(
                f"{results.read} results read: {results.taken_in} taken in, "
                f"{results.refused} refused."
            )
        left = f", {parcel.not_filled_in} not filled in" if parcel.not_filled_in else ""
        self.stdout.write(
            f"{intake.read} read: {len(intake.received)} taken in, "
            f"{len(intake.already_there)} already there, {intake.refused_rows} refused{left}."
        )

    def _accept(self, runs: Sequence[Run], *, by: User) -> int:
        accepted, failed = 0, 0
        for run in bar(runs, total=len(runs), what="Accepting", unit="runs"):
            if reason := bulk.accept(run, by=by):
                failed += 1
                self.stderr.write(f"{run.file_name} (run {run.pk}) {reason}")
            else:
                accepted += 1
        self.stdout.write(f"{accepted} stand, {failed} could not be accepted.")
        return failed

    def _accept_results(self, table: ResultTable, *, by: User) -> int:
        if table.accepted_at is not None:
            return 0
        try:
            accept_table(table, by=by)
        except Refused as refused:
            self.stderr.write(f"{table.file_name}: {refused.detail}")
            return 1
        self.stdout.write("The results stand, marked as from a table without raw record.")
        return 0


def _describes(options: dict[str, Any]) -> bool:
    columns = (*(column for _, column, _ in _OPTIONS), "instruments", "method_fields")
    return any(options[column] for column in columns)


def _is_package(path: Path, *, described: bool) -> bool:
    # A workbook that the options describe is the data file of one run.
    suffix = path.suffix.lower()
    return suffix in PACKAGE_SUFFIXES and not (described and suffix == WORKBOOK_SUFFIX)


def _with_bar(rows: Sequence[Row]) -> Iterable[Row]:
    return bar(rows, total=len(rows), what="Taking in", unit="runs")


def _described_row(path: Path, options: dict[str, Any]) -> Row:
    """One data file and the options that describe it, as a row of runs.csv."""
    if not options["adapter"] or not options["kind"]:
        raise CommandError(
            "One data file does not say what it is: give --adapter and --kind, and --mains-v "
            "where the kind needs it. A folder or zip says so in its runs.csv."
        )
    cells = {column: options[column] for _, column, _ in _OPTIONS if options[column]}
    for pair in options["method_fields"]:
        name, separator, value = pair.partition("=")
        if not separator or name in cells or name not in bulk.known_columns():
            raise CommandError(f"--field takes NAME=VALUE with a field of the kind, not “{pair}”.")
        cells[name] = value
    if options["instruments"]:
        cells["instruments"] = ";".join(options["instruments"])
    return Row(0, {**cells, "file": path.name}, decimal_comma=False)
