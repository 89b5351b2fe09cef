"""Pictures and documents of runs and adapters: adding, taking off, serving."""

from __future__ import annotations

import logging
import uuid

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import get_conditional_response
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from catalog.models import Adapter
from measurements import queries
from measurements.actions import Refused
from measurements.attaching import MOST_PRESENT, attach, take_off
from measurements.attachment_forms import AttachmentForm, TakeOffForm
from measurements.intake.pictures import MOST_BYTES, MOST_PIXELS, Unfit
from measurements.models import Attachment, RawFile
from measurements.queries.attachments import (
    DOCUMENT,
    Owner,
    attachment,
    is_public,
    may_change_attachments,
    owner_of,
    sees_originals,
)
from measurements.views.upload import DISK_FULL

logger = logging.getLogger(__name__)

_ENDINGS = {"image/png": "png", "image/jpeg": "jpg", "application/pdf": "pdf"}


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def add_to_run(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """Attach a picture or document to a run."""
    run = queries.run_page(run_id, viewer=request.user)
    if run is None:
        raise Http404
    return _add(request, to=run)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def add_to_adapter(request: HttpRequest, slug: str) -> HttpResponse:
    """Attach a picture or document to an adapter."""
    adapters = Adapter.objects.visible_to(request.user).select_related("maker")
    return _add(request, to=get_object_or_404(adapters, slug=slug))


def _add(request: HttpRequest, *, to: Owner) -> HttpResponse:
    if not may_change_attachments(to, viewer=request.user):
        raise PermissionDenied
    if request.method != "POST":
        return _form_page(request, to=to, form=AttachmentForm())
    form = AttachmentForm(request.POST, request.FILES)
    if not form.is_valid():
        return _form_page(request, to=to, form=form, status=400)
    assert isinstance(request.user, User)
    try:
        added = attach(to=to, by=request.user, **form.said)
    except PermissionError as error:
        raise PermissionDenied from error
    except (Unfit, Refused) as error:
        form.add_error("file", str(error))
        return _form_page(
            request, to=to, form=form, status=409 if isinstance(error, Refused) else 400
        )
    except OSError as error:
        if error.errno not in DISK_FULL:
            raise
        form.add_error(
            "file",
            "The site’s disk is full; the file was not kept. Tell whoever runs the site, and "
            "send it again later.",
        )
        return _form_page(request, to=to, form=form, status=507)
    words = "Attached." if added.created else "This file is attached here already."
    messages.success(request, " ".join([words, *added.remarks]))
    return redirect(f"{to.get_absolute_url()}#attachments")


def _form_page(
    request: HttpRequest, *, to: Owner, form: AttachmentForm, status: int = 200
) -> HttpResponse:
    is_adapter = isinstance(to, Adapter)
    context = {
        "section": "adapters" if is_adapter else "bench",
        "owner": to,
        "adapter": to if isinstance(to, Adapter) else to.adapter,
        "kind": None if isinstance(to, Adapter) else to.declared_kind,
        "form": form,
        "most_present": MOST_PRESENT,
        "most_mib": MOST_BYTES >> 20,
        "most_megapixels": MOST_PIXELS // 1_000_000,
    }
    return render(request, "measurements/attachment_new.html", context, status=status)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def remove(request: HttpRequest, attachment_id: uuid.UUID) -> HttpResponse:
    """Take an attachment off, with the reason."""
    found = _visible(request, attachment_id)
    owner = owner_of(found)
    if not may_change_attachments(owner, viewer=request.user):
        raise PermissionDenied
    form = TakeOffForm(request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            assert isinstance(request.user, User)
            try:
                take_off(found, reason=form.cleaned_data["reason"], by=request.user)
            except PermissionError as error:
                raise PermissionDenied from error
            except Refused as error:
                messages.error(request, error.detail)
            else:
                messages.success(request, "Taken off: readers do not get it any more.")
            return redirect(f"{owner.get_absolute_url()}#attachments")
    context = {
        "section": "adapters" if isinstance(owner, Adapter) else "bench",
        "found": found,
        "owner": owner,
        "form": form,
        "is_document": found.media_type == DOCUMENT,
    }
    return render(request, "measurements/attachment_remove.html", context, status=status)


@require_safe
def shown(request: HttpRequest, attachment_id: uuid.UUID) -> HttpResponseBase:
    """The copy for everybody who may see it: a picture in the page, a document to be saved."""
    found = _visible(request, attachment_id)
    if found.removed_at is not None:
        raise Http404
    ending = _ENDINGS[found.media_type]
    return _served(
        request,
        found.shown,
        media_type=found.media_type,
        name=f"{slugify(found.title)[:80] or found.kind}.{ending}",
        is_saved=found.media_type == DOCUMENT,
        is_public=is_public(found),
    )


@require_safe
@login_required
def original(request: HttpRequest, attachment_id: uuid.UUID) -> HttpResponseBase:
    """The file as it came, with all that a camera wrote into it, for those who work here."""
    if not sees_originals(request.user):
        raise PermissionDenied
    found = _visible(request, attachment_id)
    name = "".join(sign for sign in found.file_name if sign.isprintable() and sign not in '/\\"')
    return _served(
        request,
        found.original,
        media_type="application/octet-stream",
        name=name.strip(". ") or f"{found.original_id[:12]}.bin",
        is_saved=True,
        is_public=False,
    )


def _visible(request: HttpRequest, attachment_id: uuid.UUID) -> Attachment:
    found = attachment(attachment_id, viewer=request.user)
    if found is None:
        raise Http404
    return found


def _served(
    request: HttpRequest,
    raw: RawFile,
    *,
    media_type: str,
    name: str,
    is_saved: bool,
    is_public: bool,
) -> HttpResponseBase:
    if not raw.held:
        return HttpResponse(
            "This file is not held here: it came with a package without files.",
            content_type="text/plain; charset=utf-8",
            status=404,
        )
    etag = f'"{raw.sha256}"'
    response: HttpResponseBase | None = get_conditional_response(request, etag=etag)
    if response is None:
        try:
            stored = queries.raw_store().open(raw.sha256)
        except FileNotFoundError:
            logger.exception("File %s of an attachment is missing", raw.sha256)
            return HttpResponse(
                "The stored file is missing. Whoever runs this site can restore it from a backup "
                "and check the store with “manage.py verify_store”.",
                content_type="text/plain; charset=utf-8",
                status=503,
            )
        response = FileResponse(stored, content_type=media_type)
        said = content_disposition_header(is_saved, name)
        assert said is not None  # only an inline answer without a name has none
        response.headers["Content-Disposition"] = said
    response.headers["ETag"] = etag
    # Asked for anew each time: what is taken off or put under embargo is gone at once.
    response.headers["Cache-Control"] = "public, no-cache" if is_public else "private, no-store"
    # A stranger's bytes: whatever they are, nothing in them runs or is guessed at.
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    return response
