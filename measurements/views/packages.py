"""Handing in many runs at once: a zip with ``runs.csv``, or a filled-in sheet."""

from __future__ import annotations

from pathlib import PurePosixPath

from django import forms
from django.conf import settings
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from measurements.management.bulk import known_columns
from measurements.management.opening import PACKAGE_SUFFIXES, package_in
from measurements.management.packages import PackageError
from measurements.management.receiving import Parcel, receive_package
from measurements.management.stores import WHILE_WAITING
from measurements.views.upload import DISK_FULL


class PackageForm(forms.Form):
    """The package, as a page sends it."""

    file = forms.FileField(
        label="Package",
        help_text="A zip with runs.csv and the files that it names, or a filled-in sheet (XLSX).",
        error_messages={
            "required": "Choose the package.",
            "empty": "The file is empty: it has no bytes.",
        },
        widget=forms.ClearableFileInput(attrs={"accept": ",".join(PACKAGE_SUFFIXES)}),
    )

    def clean_file(self) -> UploadedFile[bytes]:
        """Refuse what is neither a zip nor a workbook by its name."""
        sent: UploadedFile[bytes] = self.cleaned_data["file"]
        if PurePosixPath(sent.name or "").suffix.lower() not in PACKAGE_SUFFIXES:
            raise ValidationError(
                f"“{sent.name}” is neither a zip nor a workbook (XLSX). One data file is handed "
                "in on the page for a run."
            )
        return sent


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def package_new(request: HttpRequest) -> HttpResponse:
    """The form; after sending, what was received and what was refused and why."""
    if request.method != "POST":
        return _page(request, form=PackageForm())
    form = PackageForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form=form, status=400)
    sent: UploadedFile[bytes] = form.cleaned_data["file"]
    limit = settings.MAX_UPLOAD_BYTES
    if (sent.size or 0) > limit:
        form.add_error(
            "file",
            f"The package is larger than {limit >> 20} MiB. Split it, or let whoever runs the "
            "site take it in with the intake command.",
        )
        return _page(request, form=form, status=413)
    assert isinstance(request.user, User)
    parcel = Parcel()
    status = 200
    try:
        with package_in(sent, name=sent.name or "", limits=WHILE_WAITING) as package:
            receive_package(
                package,
                parcel=parcel,
                by=request.user,
                limits=WHILE_WAITING,
                name=sent.name or "",
            )
    except PackageError as error:
        form.add_error("file", str(error))
        status = 400
    except OSError as error:
        if error.errno not in DISK_FULL:
            raise
        form.add_error(
            "file",
            "The site’s disk is full. What is listed below was kept, the rest was not. Tell "
            "whoever runs the site, keep the package, and send it again later.",
        )
        status = 507
    return _page(request, form=form, parcel=parcel, status=status)


def _page(
    request: HttpRequest, *, form: PackageForm, parcel: Parcel | None = None, status: int = 200
) -> HttpResponse:
    context = {
        "section": "bench",
        "form": form,
        "parcel": parcel,
        "columns": sorted(known_columns()),
        "limits": WHILE_WAITING,
        "largest_mib": settings.MAX_UPLOAD_BYTES >> 20,
    }
    return render(request, "measurements/run_package.html", context, status=status)
