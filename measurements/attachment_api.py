"""Pictures and documents of runs and adapters, over HTTP."""

from __future__ import annotations

from abc import abstractmethod
from typing import Any
from uuid import UUID

from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.api import visible_adapter
from catalog.rest.calls import Call, page_of
from catalog.rest.fields import fault_of_plain, utc_text
from catalog.rest.form_bodies import form_body
from catalog.rest.paging import MAX_LIMIT, PAGE_PARAMETERS, sequence_page
from catalog.rest.parsers import WholeMultiPartParser
from catalog.rest.problems import Fault, Invalid, PayloadTooLarge, faults_of
from catalog.rest.views import ApiView
from measurements.answers import AddedAttachmentAnswer, AttachmentAnswer
from measurements.api import FORM_ALLOWANCE_BYTES, visible_run
from measurements.attaching import Ready, attach_ready, make_ready
from measurements.attachment_forms import AttachmentForm
from measurements.intake.pictures import MOST_BYTES, Unfit
from measurements.models import Attachment
from measurements.queries.attachments import Owner, attachments_of, may_change_attachments


def attachment_json(row: Attachment) -> dict[str, Any]:
    """One attachment; sizes in bytes and pixels are those of the file at `address`."""
    return {
        "id": str(row.pk),
        "kind": row.kind,
        "title": row.title,
        "media_type": row.media_type,
        "bytes": row.shown.size,
        "width": row.width,
        "height": row.height,
        "sha256": row.shown_id,
        "added_at": utc_text(row.added_at),
        "address": row.get_absolute_url(),
    }


class _Attachments(ApiView):
    """What both lists share."""

    parser_classes = [WholeMultiPartParser]
    page_size = MAX_LIMIT
    parameters = PAGE_PARAMETERS
    calls = {
        "GET": Call({200: page_of(AttachmentAnswer)}),
        "POST": Call(
            {201: AddedAttachmentAnswer, 200: AddedAttachmentAnswer},
            body=form_body(AttachmentForm.base_fields),
            location=(200, 201),
        ),
    }

    def listed(self, owner: Owner) -> Response:
        """The present attachments, in the order of coming."""
        rows = list(attachments_of(owner).filter(removed_at=None))
        page = sequence_page(
            rows, asked=self.page, key=lambda row: (row.added_at.isoformat(), row.pk.hex)
        )
        return Response({"results": [attachment_json(row) for row in page.rows], "next": page.next})

    ready: Ready
    said: dict[str, Any]

    @abstractmethod
    def owner(self, **named: Any) -> Owner:
        """The run or adapter of the address. Raises `NotFound`."""

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Look at the file and keep it, if this caller may attach it."""
        owner = self.owner(**kwargs)
        if not may_change_attachments(owner, viewer=self.person):
            raise PermissionDenied("Your account may not attach anything to this.")
        _refuse_unread(request)
        if faults := _faults(request):
            raise Invalid(faults)
        form = AttachmentForm(request.POST, request.FILES)
        if not form.is_valid():
            raise Invalid(faults_of(dict(form.errors)))
        self.said = form.said
        try:
            self.ready = make_ready(self.said.pop("content"), to=owner, by=self.person)
        except Unfit as error:
            raise Invalid([Fault("file", str(error))]) from error

    def added(self, owner: Owner) -> Response:
        """The new attachment, or the one that is there. Raises problems."""
        added = attach_ready(self.ready, to=owner, by=self.person, **self.said)
        row = added.attachment
        return Response(
            {**attachment_json(row), "remarks": list(added.remarks)},
            status=201 if added.created else 200,
            headers={"Location": row.get_absolute_url()},
        )


class RunAttachments(_Attachments):
    """Pictures and documents of a run."""

    def owner(self, **named: Any) -> Owner:
        """The run of the address. Raises `NotFound`."""
        return visible_run(named["run_id"], viewer=self.viewer)

    def get(self, request: Request, run_id: UUID) -> Response:
        """List the pictures and documents that are attached to a run."""
        return self.listed(visible_run(run_id, viewer=self.viewer))

    def post(self, request: Request, run_id: UUID) -> Response:
        """Attach a picture or document to a run (multipart: kind, title, file).

        201 for a new one; the same file as the same kind answers 200 with the one that is there.
        """
        return self.added(self.owner(run_id=run_id))


class AdapterAttachments(_Attachments):
    """Pictures and documents of an adapter."""

    def owner(self, **named: Any) -> Owner:
        """The adapter of the address. Raises `NotFound`."""
        return visible_adapter(named["slug"], viewer=self.viewer)

    def get(self, request: Request, slug: str) -> Response:
        """List the pictures and documents that are attached to an adapter."""
        return self.listed(visible_adapter(slug, viewer=self.viewer))

    def post(self, request: Request, slug: str) -> Response:
        """Attach a picture or document to an adapter (multipart: kind, title, file).

        201 for a new one; the same file as the same kind answers 200 with the one that is there.
        """
        return self.added(self.owner(slug=slug))


def _refuse_unread(request: Request) -> None:
    """Refuse by the stated length, before the body is read."""
    stated = str(request.META.get("CONTENT_LENGTH") or "0")
    if stated.isdecimal() and int(stated) > MOST_BYTES + FORM_ALLOWANCE_BYTES:
        raise PayloadTooLarge(f"A picture or document may have {MOST_BYTES >> 20} MiB.")


def _faults(request: Request) -> list[Fault]:
    """What is wrong with the names and texts of the form, before any of it is used."""
    faults = []
    for name, texts in request.POST.lists():
        if name == "file":
            faults.append(Fault("file", "Send the file as a file, not as text."))
        elif name not in AttachmentForm.base_fields:
            known = ", ".join(AttachmentForm.base_fields)
            faults.append(Fault(name[:80], f"There is no field of this name. Known: {known}."))
        elif len(texts) > 1:
            faults.append(Fault(name, "Give this field once."))
        elif fault := fault_of_plain(list(texts)):
            faults.append(Fault(name, fault))
    for name in request.FILES:
        if name != "file":
            faults.append(
                Fault(name[:80], "There is no file field of this name; send the file as “file”.")
            )
    if len(request.FILES.getlist("file")) > 1:
        faults.append(Fault("file", "Send one file; each is an attachment of its own."))
    return faults
