"""Tables of results that were computed elsewhere: handing in, the list, one table."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from uuid import UUID

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import UploadedFile
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from measurements import queries
from measurements.actions import Refused
from measurements.management import results
from measurements.management.opening import package_in
from measurements.management.packages import LARGEST_TABLE_BYTES, Package, PackageError
from measurements.management.receiving import Parcel, receive_tables
from measurements.management.stores import WHILE_WAITING
from measurements.management.table_files import tables_of
from measurements.models import ResultTable
from measurements.queries import result_tables
from measurements.result_tables import accept_table, withdraw_table
from measurements.views.upload import DISK_FULL

MOST_FILES = 3
ROWS_A_PAGE = 200


class ManyFilesInput(forms.ClearableFileInput):
    """A control for several files at once."""

    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """One file or several, as a list."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile[bytes]]:
        """Each file by itself."""
        sent = data if isinstance(data, list | tuple) else [data]
        return [super(ManyFilesField, self).clean(item, initial) for item in sent or [None]]


class TableForm(forms.Form):
    """Tables as a page sends them."""

    sent = ManyFilesField(
        label="Tables",
        help_text="results.csv, and with it adapters.csv and ports.csv if you like; a workbook "
        "(XLSX) with worksheets of these names; or a zip that holds them.",
        error_messages={
            "required": "Choose the table.",
            "empty": "A file is empty: it has no bytes.",
        },
        widget=ManyFilesInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx,.zip"}),
    )
    origin = forms.CharField(
        label="Where the results come from",
        max_length=300,
        required=False,
        help_text="The bench, the year, the report; readers see it. Needed for results.",
    )

    def clean_sent(self) -> list[UploadedFile[bytes]]:
        """Refuse more files than there are tables, and files that are too large."""
        sent: list[UploadedFile[bytes]] = self.cleaned_data["sent"]
        if len(sent) > MOST_FILES:
            raise forms.ValidationError(
                f"{len(sent)} files were sent; send one of each: results, adapters, ports."
            )
        if any(_is_zip(item) for item in sent) and len(sent) > 1:
            raise forms.ValidationError("Send a zip by itself.")
        for item in sent:
            limit = settings.MAX_UPLOAD_BYTES if _is_zip(item) else LARGEST_TABLE_BYTES
            if (item.size or 0) > limit:
                raise forms.ValidationError(
                    f"“{item.name}” is larger than {limit >> 20} MiB. Split it."
                )
        return sent


def _is_zip(sent: UploadedFile[bytes]) -> bool:
    return (sent.name or "").lower().endswith(".zip")


@contextmanager
def _opened(sent: list[UploadedFile[bytes]]) -> Iterator[Package]:
    """The files as a package of tables. Raises `PackageError`."""
    if _is_zip(sent[0]):
        with package_in(sent[0], name=sent[0].name or "", limits=WHILE_WAITING) as package:
            if package.has(package.table):
                raise PackageError(
                    "The zip lists runs (runs.csv). Hand it in on the page “Hand in a package”; "
                    "its tables are taken in there too."
                )
            yield package
    else:
        yield tables_of([(item.name or "table", item.read()) for item in sent])


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def result_table_new(request: HttpRequest) -> HttpResponse | HttpResponseRedirect:
    """The form; after sending, the table, or what was refused and why."""
    if request.method != "POST":
        return _new(request, form=TableForm())
    form = TableForm(request.POST, request.FILES)
    if not form.is_valid():
        return _new(request, form=form, status=400)
    assert isinstance(request.user, User)
    sent, origin = form.cleaned_data["sent"], form.cleaned_data["origin"]
    parcel, status = Parcel(), 200
    try:
        with _opened(sent) as package:
            origin = origin or results.title_of(package, otherwise="")
            if package.has(results.TABLE) and not origin:
                form.add_error("origin", "Say where the results come from; readers see it.")
                return _new(request, form=form, status=400)
            receive_tables(
                package,
                parcel=parcel,
                by=request.user,
                name=sent[0].name or "",
                origin=origin,
                file_name=_name_of_results(sent),
            )
    except PackageError as error:
        form.add_error("sent", str(error))
        status = 400
    except OSError as error:
        if error.errno not in DISK_FULL:
            raise
        form.add_error(
            "sent",
            "The site’s disk is full; the results were not kept. Tell whoever runs the site, "
            "keep the table, and send it again later.",
        )
        status = 507
    found = parcel.results
    if found is not None and found.table is not None and not parcel.brought.refusals:
        words = "Received" if found.created else "This table is here already"
        messages.success(
            request, f"{words}: {found.taken_in} of {found.read} rows can be taken in."
        )
        return redirect(found.table)
    if parcel.failures and status == 200:
        status = 400
    return _new(request, form=form, parcel=parcel, status=status)


def _name_of_results(sent: list[UploadedFile[bytes]]) -> str:
    """The name of the file that holds the results, where one was sent by itself."""
    return sent[0].name or "" if len(sent) == 1 and not _is_zip(sent[0]) else results.TABLE


def _new(
    request: HttpRequest, *, form: TableForm, parcel: Parcel | None = None, status: int = 200
) -> HttpResponse:
    context = {
        "section": "bench",
        "form": form,
        "parcel": parcel,
        "columns": results.COLUMNS,
        "needed": results.NEEDED,
        "largest_mib": LARGEST_TABLE_BYTES >> 20,
        "most_rows": results.MOST_ROWS,
    }
    return render(request, "measurements/result_table_new.html", context, status=status)


@require_safe
def result_table_list(request: HttpRequest) -> HttpResponse:
    """The tables, newest first."""
    tables = result_tables.tables_listed(viewer=request.user).order_by("-received_at", "pk")
    page = Paginator(tables, 50).get_page(request.GET.get("page"))
    context = {"section": "bench", "page": page}
    return render(request, "measurements/result_table_list.html", context)


@require_safe
def result_table(request: HttpRequest, table_id: UUID) -> HttpResponse:
    """One table: where it comes from, its results, and beside them what was measured."""
    return _table(request, table_id)


def _table(request: HttpRequest, table_id: UUID, *, refused: Refused | None = None) -> HttpResponse:
    found = result_tables.table_page(table_id, viewer=request.user)
    if found is None:
        raise Http404
    context = {
        "section": "bench",
        "found": found,
        "table": found.table,
        "page": Paginator(found.rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "is_own": request.user.pk is not None and found.table.received_by_id == request.user.pk,
        "refused": refused,
    }
    return render(
        request, "measurements/result_table.html", context, status=409 if refused else 200
    )


@require_safe
@login_required
@permission_required("measurements.receive_run", raise_exception=True)
def result_table_raw(request: HttpRequest, table_id: UUID) -> HttpResponseBase:
    """The file as it came. It may name adapters under embargo, so readers do not get it."""
    table = get_object_or_404(ResultTable.objects.select_related("raw"), pk=table_id)
    if not table.raw.held:
        return HttpResponse(
            "This file is not held here: the table came with a package, which leaves it out.",
            content_type="text/plain; charset=utf-8",
            status=404,
        )
    answer = FileResponse(
        queries.raw_store().open(table.raw_id),
        as_attachment=True,
        filename="".join(sign if sign.isprintable() else "_" for sign in table.file_name),
        content_type="application/octet-stream",
    )
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer


@require_POST
@login_required
@permission_required("measurements.receive_run", raise_exception=True)
def result_table_accept(request: HttpRequest, table_id: UUID) -> HttpResponse:
    """Let the results stand."""
    table = get_object_or_404(ResultTable, pk=table_id)
    assert isinstance(request.user, User)
    try:
        accept_table(table, by=request.user)
    except PermissionError as error:
        raise PermissionDenied(str(error)) from error
    except Refused as refused:
        return _table(request, table_id, refused=refused)
    messages.success(request, "Accepted. The results stand, marked as from a table.")
    return redirect(table)


@require_POST
@login_required
@permission_required("measurements.receive_run", raise_exception=True)
def result_table_withdraw(request: HttpRequest, table_id: UUID) -> HttpResponse:
    """Take the results back."""
    table = get_object_or_404(ResultTable, pk=table_id)
    assert isinstance(request.user, User)
    try:
        reason = request.POST.get("reason", "").replace("\0", "")[:500]
        withdraw_table(table, by=request.user, reason=reason)
    except PermissionError as error:
        raise PermissionDenied(str(error)) from error
    except Refused as refused:
        return _table(request, table_id, refused=refused)
    messages.success(request, "Withdrawn. What an earlier table had stands again.")
    return redirect(table)
