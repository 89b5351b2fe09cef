"""The door for files: drop one or many, or a package; each is kept before anything is read."""

from __future__ import annotations

import errno
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from measurements.forms import RunForm
from measurements.intake.rawstore import TooLarge
from measurements.kinds import all_kinds, get_kind
from measurements.management.opening import is_package, package_in
from measurements.management.packages import PackageError
from measurements.management.receiving import Parcel, receive_package
from measurements.management.stores import WHILE_WAITING
from measurements.models import Arrival
from measurements.reception import keep_arrival
from measurements.reception.fields import ask_openly, said_in

DISK_FULL = (errno.ENOSPC, errno.EDQUOT)
MOST_FILES = 100


@dataclass(slots=True)
class Delivery:
    """What became of the files that were sent together."""

    arrivals: list[Arrival] = field(default_factory=list)
    parcels: list[tuple[str, Parcel]] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)
    status: int = 400


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def run_new(request: HttpRequest) -> HttpResponse:
    """Where files are dropped. A plan links here with the conditions of a run to be made."""
    asked = request.POST if request.method == "POST" else request.GET
    said = said_in(asked)
    form = RunForm(said, viewer=request.user) if said else RunForm(viewer=request.user)
    wrong = [name for name in ("adapter", "kind") if said.get(name) and name in form.errors]
    if wrong or request.method != "POST":
        return _page(request, form=form, said=said, wrong=wrong, status=400 if wrong else 200)
    assert isinstance(request.user, User)
    files = request.FILES.getlist("file")
    delivery = Delivery()
    if not files:
        delivery.refused.append(("", "Choose at least one file."))
    elif len(files) > MOST_FILES:
        delivery.refused.append(
            (
                "",
                f"{len(files)} files came; {MOST_FILES} are taken at once. Send a package instead.",
            )
        )
    else:
        _take(files, delivery=delivery, said=said, by=request.user)
    if delivery.parcels:
        return _came_of_it(request, delivery)
    if not delivery.arrivals:
        return _page(
            request, form=form, said=said, refused=delivery.refused, status=delivery.status
        )
    for name, sentence in delivery.refused:
        messages.error(request, f"“{name}” was not kept: {sentence}")
    alone = len(delivery.arrivals) == 1 and not delivery.refused
    address = delivery.arrivals[0].get_absolute_url() if alone else reverse("arrivals")
    if request.headers.get("Accept") == "application/json":
        # The script goes there itself: a request that followed would use up the messages.
        return JsonResponse({"location": address}, status=201)
    return redirect(address)


def _take(
    files: Iterable[UploadedFile[bytes]], *, delivery: Delivery, said: dict[str, object], by: User
) -> None:
    """Keep each file, or take in the package that it is, and note what became of it."""
    for sent in files:
        name = sent.name or "file"
        if not sent.size:
            sentence = "It is empty: it has no bytes. Export it again from the instrument."
            delivery.refused.append((name, sentence))
            continue
        try:
            if is_package(sent, name=name):
                _take_package(sent, name=name, delivery=delivery, by=by)
            else:
                arrival, _ = keep_arrival(sent.chunks(), file_name=name, by=by, said=said)
                delivery.arrivals.append(arrival)
        except TooLarge as error:
            delivery.refused.append((name, str(error)))
            delivery.status = 413
        except PackageError as error:
            delivery.refused.append((name, str(error)))
        except OSError as error:
            if error.errno not in DISK_FULL:
                raise
            delivery.refused.append(
                (
                    name,
                    "The site’s disk is full, so it was not kept. Tell whoever runs the site, keep "
                    "your file, and send it again later.",
                )
            )
            delivery.status = 507
            return


def _take_package(sent: UploadedFile[bytes], *, name: str, delivery: Delivery, by: User) -> None:
    limit = settings.MAX_UPLOAD_BYTES
    if (sent.size or 0) > limit:
        raise TooLarge(limit)
    parcel = Parcel()
    with package_in(sent, name=name, limits=WHILE_WAITING) as package:
        delivery.parcels.append((name, parcel))
        receive_package(package, parcel=parcel, by=by, limits=WHILE_WAITING, name=name)


def _page(
    request: HttpRequest,
    *,
    form: RunForm,
    said: dict[str, object],
    wrong: Iterable[str] = (),
    refused: Iterable[tuple[str, str]] = (),
    status: int = 200,
) -> HttpResponse:
    ask_openly(form, adapter="as the file’s name says", kind="as the columns say")
    kind = get_kind(form.declared.slug) if form.declared and not list(wrong) else None
    context = {
        "section": "bench",
        "form": form,
        "said": [
            (name, item)
            for name, given in said.items()
            if name not in ("adapter", "kind")
            for item in (given if isinstance(given, list) else [given])
        ],
        "faults": [(name, form.errors[name][0]) for name in wrong],
        "refused": list(refused),
        "kind": kind,
        "kinds": all_kinds(),
        "largest_mib": settings.MAX_UPLOAD_BYTES >> 20,
        "most_files": MOST_FILES,
        "waiting": Arrival.objects.waiting().of(request.user).count(),
    }
    return render(request, "measurements/run_new.html", context, status=status)


def _came_of_it(request: HttpRequest, delivery: Delivery) -> HttpResponse:
    context = {
        "section": "bench",
        "parcels": delivery.parcels,
        "refused": delivery.refused,
        "arrivals": delivery.arrivals,
    }
    status = delivery.status if delivery.refused else 200
    return render(request, "measurements/parcels.html", context, status=status)
