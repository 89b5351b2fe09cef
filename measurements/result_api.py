"""Tables of results that were computed elsewhere, over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.exceptions import NotFound, PermissionDenied
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.rest.calls import SAID, Call, FormBody, page_of
from catalog.rest.fields import utc_text
from catalog.rest.form_bodies import FILE
from catalog.rest.paging import PAGE_PARAMETERS, keyset_page
from catalog.rest.parsers import WholeMultiPartParser
from catalog.rest.problems import Fault, Invalid
from catalog.rest.views import ApiView, read_body
from measurements.answers import ResultTableAnswer, WholeResultTableAnswer
from measurements.management.packages import LARGEST_TABLE_BYTES, Package, PackageError
from measurements.management.results import TABLE, Results, bring_results
from measurements.management.table_files import tables_of
from measurements.models import ResultTable
from measurements.queries.result_tables import TablePage, table_page, tables_listed
from measurements.result_tables import accept_table, withdraw_table
from measurements.serializers import EmptyBody, WithdrawBody, value_json

MAX_ORIGIN = 300
ORIGIN = {
    "type": "string",
    "pattern": SAID,
    "maxLength": MAX_ORIGIN,
    "description": "Where the results come from; readers see it.",
}


def _summary(table: ResultTable, *, viewer: Any) -> dict[str, Any]:
    """A table as lists show it; what is wrong with its rows only for those who hand tables in."""
    works_here = bool(getattr(viewer, "has_perm", lambda _: False)("measurements.receive_run"))
    return {
        "id": str(table.pk),
        "file_name": table.file_name,
        "origin": table.origin,
        "standing": table.standing,
        "received_at": utc_text(table.received_at),
        "withdrawn_reason": table.withdrawn_reason,
        "raw_sha256": table.raw_id,
        "rows_read": table.rows_read,
        "rows_refused": table.rows_refused,
        "problems": table.problems if works_here else [],
    }


def _whole(found: TablePage, *, viewer: Any) -> dict[str, Any]:
    return {
        **_summary(found.table, viewer=viewer),
        "results": [
            {
                **value_json(row.value),
                "row": row.value.table_row,
                "note": row.remark,
                "fate": row.fate,
                "measured": value_json(row.measured) if row.measured else None,
            }
            for row in found.rows
        ],
    }


def _found(table_id: UUID, *, viewer: Any) -> TablePage:
    found = table_page(table_id, viewer=viewer)
    if found is None:
        raise NotFound(f"There is no table {table_id} here.")
    return found


class ResultTableList(ApiView):
    """Tables of results without raw records; the door for new ones."""

    parser_classes = [WholeMultiPartParser]
    parameters = PAGE_PARAMETERS
    permissions = {"POST": "measurements.receive_run"}
    calls = {
        "GET": Call({200: page_of(ResultTableAnswer)}),
        "POST": Call(
            {201: ResultTableAnswer, 200: ResultTableAnswer},
            body=FormBody({"file": FILE, "origin": ORIGIN}, ("file", "origin")),
            location=(200, 201),
        ),
    }

    def get(self, request: Request) -> Response:
        """List tables of results that were computed elsewhere."""
        page = keyset_page(tables_listed(viewer=self.viewer), asked=self.page, key="id")
        rows = [_summary(row, viewer=self.viewer) for row in page.rows]
        return Response({"results": rows, "next": page.next})

    package: Package
    file_name: str
    origin: str

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Check the form and read the table."""
        faults = [
            Fault(name[:80], "There is no field of this name. Known: file, origin.")
            for name in [*request.POST, *request.FILES]
            if name not in ("file", "origin")
        ]
        self.origin = request.POST.get("origin", "").strip()
        files = request.FILES.getlist("file")
        if not self.origin:
            faults.append(Fault("origin", "Say where the results come from; readers see it."))
        elif len(self.origin) > MAX_ORIGIN or "\0" in self.origin:
            faults.append(Fault("origin", f"At most {MAX_ORIGIN} characters of text."))
        if len(files) != 1:
            faults.append(Fault("file", "Send one table in this field."))
        elif (files[0].size or 0) > LARGEST_TABLE_BYTES:
            limit = LARGEST_TABLE_BYTES >> 20
            faults.append(Fault("file", f"The table is larger than {limit} MiB. Split it."))
        if faults:
            raise Invalid(faults)
        self.file_name = files[0].name or TABLE
        try:
            self.package = tables_of([(files[0].name or "table", files[0].read())])
            if not self.package.has(TABLE):
                raise PackageError("The file holds no results: columns adapter, metric, value.")
        except PackageError as error:
            raise Invalid([Fault("file", str(error))]) from error

    def post(self, request: Request) -> Response:
        """Hand in a table (multipart: file, origin); an editor accepts it.

        201 for a new table, which may hold refused rows (`problems`). The same file answers 200
        with the table that is there. A table of which no row can be taken in is refused.
        """
        found = self._received()
        if found.table is None:
            raise Invalid(
                Fault(item.field, f"Line {item.line}: {item.detail}") for item in found.refusals
            )
        return Response(
            _summary(found.table, viewer=self.viewer),
            status=201 if found.created else 200,
            headers={"Location": reverse("api-result-table", args=[found.table.pk])},
        )

    def _received(self) -> Results:
        try:
            return bring_results(
                self.package, by=self.person, origin=self.origin, file_name=self.file_name
            )
        except PackageError as error:
            raise Invalid([Fault("file", str(error))]) from error


class ResultTableDetail(ApiView):
    """One table of results."""

    calls = {"GET": Call({200: WholeResultTableAnswer})}

    def get(self, request: Request, table_id: UUID) -> Response:
        """Show a table with its results and what was measured beside them."""
        return Response(_whole(_found(table_id, viewer=self.viewer), viewer=self.viewer))


def _refuse_readers(table_id: UUID, *, viewer: Any) -> None:
    _found(table_id, viewer=viewer)
    if not viewer.has_perm("measurements.receive_run"):
        raise PermissionDenied("Your account may not do that to this table.")


class ResultTableAccept(ApiView):
    """Let a table's results stand."""

    calls = {"POST": Call({200: WholeResultTableAnswer}, body=EmptyBody)}

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse whoever hands in no tables."""
        _refuse_readers(kwargs["table_id"], viewer=self.viewer)

    def post(self, request: Request, table_id: UUID) -> Response:
        """Accept a table; its results replace those of earlier tables, never a measured one."""
        read_body(EmptyBody, request.data)
        accept_table(_found(table_id, viewer=self.viewer).table, by=self.person)
        return Response(_whole(_found(table_id, viewer=self.viewer), viewer=self.viewer))


class ResultTableWithdraw(ApiView):
    """Take a table's results back."""

    calls = {"POST": Call({200: WholeResultTableAnswer}, body=WithdrawBody)}

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse whoever hands in no tables."""
        _refuse_readers(kwargs["table_id"], viewer=self.viewer)

    def post(self, request: Request, table_id: UUID) -> Response:
        """Withdraw a table with a reason, which stays beside it."""
        reason = read_body(WithdrawBody, request.data)["reason"]
        withdraw_table(_found(table_id, viewer=self.viewer).table, by=self.person, reason=reason)
        return Response(_whole(_found(table_id, viewer=self.viewer), viewer=self.viewer))
