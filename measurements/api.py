"""Runs, instruments, values, metrics and limits over HTTP."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from uuid import UUID

import numpy as np
from django.conf import settings
from django.contrib.auth.models import User
from django.http import FileResponse, QueryDict
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.cache import get_conditional_response
from rest_framework.exceptions import NotFound, PermissionDenied
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.api import visible_adapter
from catalog.models import Adapter
from catalog.rest.calls import Call, Download, page_of
from catalog.rest.fields import fault_of_plain
from catalog.rest.form_bodies import form_body
from catalog.rest.paging import MAX_LIMIT, PAGE_PARAMETERS, keyset_page, sequence_page
from catalog.rest.parameters import number, one_of, since, slug, whole
from catalog.rest.parsers import WholeMultiPartParser
from catalog.rest.problems import Conflict, Fault, Invalid, PayloadTooLarge, faults_of
from catalog.rest.views import ApiView, read_body, tagged
from measurements import queries
from measurements.actions import RunFacts, accept_run, amend_run, receive_kept, withdraw_run
from measurements.amendments import amendments_told, as_uploaded, texts_of_changes
from measurements.answers import (
    InstrumentAnswer,
    LimitAnswer,
    MetricAnswer,
    PortCapabilityAnswer,
    RunAnswer,
    RunSummaryAnswer,
    TraceAnswer,
    ValueAnswer,
)
from measurements.forms import RunForm, fields_of_all_kinds
from measurements.intake.rawstore import Kept
from measurements.kinds import all_kinds, all_metrics
from measurements.metrics.downsample import downsample
from measurements.metrics.limits import limits_for
from measurements.models import Instrument, Run
from measurements.parameters import CONDITION_PARAMETERS, IN_OR_OUT, OUTPUT_V
from measurements.processing import TRACE_POINTS
from measurements.serializers import (
    AmendBody,
    EmptyBody,
    InstrumentBody,
    WithdrawBody,
    instrument_json,
    metric_json,
    port_json,
    run_json,
    run_summary,
    value_json,
)

# What a multipart body may hold beside the file itself.
FORM_ALLOWANCE_BYTES = 2**20


class AdapterPorts(ApiView):
    """The outputs of one adapter."""

    page_size = MAX_LIMIT
    parameters = PAGE_PARAMETERS
    calls = {"GET": Call({200: page_of(PortCapabilityAnswer)})}

    def get(self, request: Request, slug: str) -> Response:
        """List an adapter's ports with what they advertise and what the audit finds."""
        adapter = visible_adapter(slug, viewer=self.viewer)
        page = sequence_page(
            queries.port_capabilities(adapter),
            asked=self.page,
            key=lambda row: (row.port.position, row.port.pk),
        )
        return Response({"results": [port_json(row) for row in page.rows], "next": page.next})


class InstrumentList(ApiView):
    """The instruments of the bench."""

    parameters = PAGE_PARAMETERS
    permissions = {"POST": "measurements.add_instrument"}
    calls = {
        "GET": Call({200: page_of(InstrumentAnswer)}),
        "POST": Call({201: InstrumentAnswer}, body=InstrumentBody),
    }

    def get(self, request: Request) -> Response:
        """List instruments with their stated accuracy, in the order of entry."""
        page = keyset_page(Instrument.objects.all(), asked=self.page, key="pk")
        return Response({"results": [instrument_json(row) for row in page.rows], "next": page.next})

    def post(self, request: Request) -> Response:
        """Write down an instrument, to be named by the runs that used it."""
        instrument = Instrument(**read_body(InstrumentBody, request.data))
        instrument.full_clean()
        instrument.save()
        return Response(instrument_json(instrument), status=201)


def visible_run(run_id: UUID, *, viewer: Any) -> Run:
    """The run with all that is shown of it. Raises `NotFound`, also for a hidden one."""
    run = queries.run_page(run_id, viewer=viewer)
    if run is None:
        raise NotFound(f"There is no run {run_id} here.")
    return run


def _whole(run_id: UUID, *, viewer: Any) -> dict[str, Any]:
    """The run as its call shows it to this person. Raises `NotFound`."""
    run = visible_run(run_id, viewer=viewer)
    return run_json(run, amendments=amendments_told(run, viewer=viewer))


class RunList(ApiView):
    """Every run that may be shown; the door for new ones."""

    parser_classes = [WholeMultiPartParser]
    parameters = {
        **PAGE_PARAMETERS,
        "adapter": slug.saying("An adapter's slug."),
        "kind": one_of(*(kind.slug for kind in all_kinds())).saying("The method."),
        "state": one_of(*Run.State.values).saying("How far the computation is."),
        "standing": one_of(*Run.Standing.values).saying("What the bench holds of it."),
        "updated_since": since.saying("Only those with which anything happened since then."),
    }
    permissions = {"POST": "measurements.receive_run"}
    calls = {
        "GET": Call({200: page_of(RunSummaryAnswer)}),
        "POST": Call(
            {202: RunSummaryAnswer, 200: RunSummaryAnswer},
            body=form_body({**RunForm.base_fields, **fields_of_all_kinds()}),
            location=(200, 202),
        ),
    }

    facts: RunFacts
    kept: Kept

    def get(self, request: Request) -> Response:
        """List runs, newest first."""
        runs = queries.runs_listed(
            viewer=self.viewer, touched_since=self.given.get("updated_since")
        )
        if "adapter" in self.given:
            runs = runs.filter(adapter=known_adapter(self.given["adapter"], viewer=self.viewer))
        runs = runs.filter(
            **{
                name: self.given[name]
                for name in ("kind", "state", "standing")
                if name in self.given
            }
        )
        page = keyset_page(runs, asked=self.page, key="id", newest_first=True)
        return Response({"results": [run_summary(row) for row in page.rows], "next": page.next})

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse what can be refused from the headers, before the body is read."""
        super().initial(request, *args, **kwargs)
        if request.method == "POST":
            _refuse_unread(request)

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Check the form, and keep the file before anything is written about it."""
        form = RunForm(request.POST, viewer=self.viewer)
        faults = [*_form_faults(form, request.POST), *_file_faults(request)]
        if faults:
            raise Invalid(faults)
        self.facts = form.facts()
        self.kept = queries.raw_store().keep(request.FILES["file"].chunks())

    def post(self, request: Request) -> Response:
        """Hand in a raw file with its conditions (multipart); it is kept before the answer.

        202 for a new run. The same file for the same adapter, kind and condition answers 200
        with the run that is there, so a request that is sent again, with or without an
        Idempotency-Key, never makes a second run.
        """
        file = request.FILES["file"]
        received = receive_kept(self.facts, self.kept, file_name=file.name or "", by=self.person)
        return Response(
            run_summary(received.run),
            status=202 if received.created else 200,
            headers={"Location": reverse("api-run", args=[received.run.pk])},
        )


def known_adapter(slug: str, *, viewer: Any) -> Adapter:
    """The adapter that a filter names. Raises `Invalid`, also for a hidden one."""
    adapter = Adapter.objects.visible_to(viewer).filter(slug=slug).first()
    if adapter is None:
        raise Invalid([Fault("adapter", f"No adapter is called “{slug}” here.")])
    return adapter


def _refuse_unread(request: Request) -> None:
    """Refuse what can be refused from the headers, before the body is read."""
    stated = str(request.META.get("CONTENT_LENGTH") or "0")
    limit = settings.MAX_UPLOAD_BYTES
    if stated.isdecimal() and int(stated) > limit + FORM_ALLOWANCE_BYTES:
        raise PayloadTooLarge(
            f"The body is larger than the {limit:,} bytes accepted for one file. "
            "Split the log, or leave out columns that are not needed."
        )


def _form_faults(form: RunForm, said: QueryDict) -> list[Fault]:
    """Everything that is wrong with the fields beside the file."""
    known = set(form.fields)
    if form.declared is None:
        # Without a valid kind nobody can say which method fields belong here.
        known.update(field.name for kind in all_kinds() for field in kind.fields)
    faults = []
    for name, texts in said.lists():
        if name == "file":
            faults.append(Fault("file", "Send the file as a file, not as text."))
        elif name not in known:
            names = ", ".join(sorted({*known, "file"}))
            faults.append(Fault(name[:80], f"There is no field of this name. Known: {names}."))
        elif len(texts) > 1 and name != "instruments":
            faults.append(Fault(name, "Give this field once."))
        elif fault := fault_of_plain(list(texts)):
            faults.append(Fault(name, fault))
    if faults:
        return faults  # no database is asked about text that it cannot hold
    form.is_valid()
    return faults_of(dict(form.errors))


def _file_faults(request: Request) -> list[Fault]:
    files = request.FILES.getlist("file")
    faults = [
        Fault(name[:80], "There is no file field of this name; send the file as “file”.")
        for name in request.FILES
        if name != "file"
    ]
    if len(files) > 1:
        faults.append(Fault("file", "Send one file; each file is a run of its own."))
    elif not files and "file" not in request.POST:
        faults.append(Fault("file", "Send the raw file in this field."))
    elif files and not files[0].size:
        faults.append(Fault("file", "The file is empty."))
    return faults


class RunDetail(ApiView):
    """One run."""

    calls = {"GET": Call({200: RunAnswer})}

    def get(self, request: Request, run_id: UUID) -> Response:
        """Show a run: state, standing, flags, problems, metrics, verdicts."""
        return tagged(_whole(run_id, viewer=self.viewer))


class RunRaw(ApiView):
    """The file of a run."""

    calls = {"GET": Call({200: Download(("application/octet-stream",))})}

    def get(self, request: Request, run_id: UUID) -> HttpResponseBase:
        """Download the original bytes."""
        run = visible_run(run_id, viewer=self.viewer)
        if not run.raw.held:
            raise NotFound(
                "The raw file of this run is not held here: the run came with a package without "
                f"raw files. Its SHA-256 is {run.raw_id}."
            )
        tag = f'"{run.raw_id}"'
        # Asked before the file is opened: an answer that is replaced later is never closed.
        if known := get_conditional_response(request._request, etag=tag):
            known["ETag"] = tag
            return known
        name = "".join(sign if sign.isprintable() else "_" for sign in run.file_name)
        answer = FileResponse(
            queries.raw_store().open(run.raw_id),
            as_attachment=True,
            filename=name or f"{run.raw_id}.bin",
            content_type="application/octet-stream",
        )
        answer["ETag"] = tag
        answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
        return answer


class RunTrace(ApiView):
    """The record of a run, thinned for drawing."""

    parameters = {"points": whole(minimum=2, maximum=TRACE_POINTS).saying("Rows at most.")}
    calls = {"GET": Call({200: TraceAnswer})}

    def get(self, request: Request, run_id: UUID) -> Response:
        """Show at most `points` rows of the trace that keep every column's extremes."""
        run = Run.objects.visible_to(self.viewer).filter(pk=run_id).first()
        if run is None:
            raise NotFound(f"There is no run {run_id} here.")
        if run.trace is None:
            raise Conflict(f"The run is {run.get_state_display()}; only a ready run has a trace.")
        x = str((run.plot or {}).get("x", ""))
        columns = {name: np.array(column, dtype=np.float64) for name, column in run.trace.items()}
        points = self.given.get("points", TRACE_POINTS)
        thinned = downsample(columns, points=points, x=x) if columns else {}
        return tagged(
            {
                "id": str(run.pk),
                "x": x,
                "columns": {
                    name: [None if np.isnan(item) else float(item) for item in column]
                    for name, column in thinned.items()
                },
            }
        )


def _refuse_judgement(run: Run, *, by: User) -> None:
    if not run.may_be_judged_by(by):
        raise PermissionDenied("Only an editor may do that to this run.")


class RunAccept(ApiView):
    """Let a run's values stand."""

    calls = {"POST": Call({200: RunAnswer}, body=EmptyBody)}

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse whoever may not judge it."""
        _refuse_judgement(visible_run(kwargs["run_id"], viewer=self.viewer), by=self.person)

    def post(self, request: Request, run_id: UUID) -> Response:
        """Accept a ready run; its values replace earlier ones of the same condition."""
        read_body(EmptyBody, request.data)
        run = visible_run(run_id, viewer=self.viewer)
        accept_run(run, by=self.person)
        return Response(_whole(run_id, viewer=self.viewer))


class RunWithdraw(ApiView):
    """Take a run out of every ranking."""

    calls = {"POST": Call({200: RunAnswer}, body=WithdrawBody)}

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse whoever may not judge it."""
        _refuse_judgement(visible_run(kwargs["run_id"], viewer=self.viewer), by=self.person)

    def post(self, request: Request, run_id: UUID) -> Response:
        """Withdraw a run with a reason, which readers see."""
        reason = read_body(WithdrawBody, request.data)["reason"]
        run = visible_run(run_id, viewer=self.viewer)
        withdraw_run(run, by=self.person, reason=reason)
        return Response(_whole(run_id, viewer=self.viewer))


class RunAmend(ApiView):
    """Correct what was said about the file of a run."""

    calls = {"POST": Call({200: RunAnswer}, body=AmendBody)}

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse whoever may not amend it."""
        run = visible_run(kwargs["run_id"], viewer=self.viewer)
        if not run.may_be_amended_by(self.person):
            raise PermissionDenied("Your account may not amend this run.")

    def post(self, request: Request, run_id: UUID) -> Response:
        """Amend a run's conditions, with a reason which readers see; it is computed anew.

        `changes` takes the fields of an upload, as JSON values; null takes one back. The run is
        provisional until somebody accepts it.
        """
        body = read_body(AmendBody, request.data)
        run = visible_run(run_id, viewer=self.viewer)
        seen = run.amendments.count()
        fields = RunForm(viewer=self.viewer, kind=run.kind).fields
        texts, faults = texts_of_changes(body["changes"], fields=fields)
        said = {**as_uploaded(run), **texts, "kind": run.kind}
        form = RunForm(said, viewer=self.viewer, kind=run.kind)
        if not faults and not form.is_valid():
            faults = faults_of(dict(form.errors))
        if faults:
            raise Invalid([Fault(f"changes.{item.field}", item.detail) for item in faults])
        amend_run(run, form.facts(), by=self.person, reason=body["reason"], seen=seen)
        return Response(_whole(run_id, viewer=self.viewer))


class MetricList(ApiView):
    """Every metric that the site computes."""

    page_size = MAX_LIMIT
    parameters = PAGE_PARAMETERS
    calls = {"GET": Call({200: page_of(MetricAnswer)})}

    def get(self, request: Request) -> Response:
        """List metrics: key, title, unit, better direction, definition, source, method."""
        page = sequence_page(
            queries.metrics_listed(),
            asked=self.page,
            key=lambda row: (list(all_metrics()).index(row.key),),
        )
        return Response({"results": [metric_json(row) for row in page.rows], "next": page.next})


class ValueList(ApiView):
    """The values that stand today."""

    parameters = {
        **PAGE_PARAMETERS,
        "metric": one_of(*all_metrics()).saying("A metric's key."),
        **CONDITION_PARAMETERS,
        "adapter": slug.saying("An adapter's slug."),
        "tables": IN_OR_OUT,
        "updated_since": since.saying(
            "Only those that began to stand, or came out of embargo, since then."
        ),
    }
    calls = {"GET": Call({200: page_of(ValueAnswer)})}

    def get(self, request: Request) -> Response:
        """List accepted values, narrowed by metric, adapter and the parts of the condition.

        `tables=in` adds results that came by a table, where nothing measured stands.
        """
        given = self.given
        tables = queries.counts_tables(given.get("tables"))
        values = queries.current_values(viewer=self.viewer, tables=tables).select_related("adapter")
        if "adapter" in given:
            values = values.filter(adapter=known_adapter(given["adapter"], viewer=self.viewer))
        plain = ("metric", "line", "output_v", "load", "device", "sensor", "port")
        values = values.filter(**{name: given[name] for name in plain if name in given})
        if "updated_since" in given:
            values = values.filter(queries.begun_since(given["updated_since"]))
        page = keyset_page(values, asked=self.page, key="pk")
        return Response({"results": [value_json(row) for row in page.rows], "next": page.next})


class LimitList(ApiView):
    """Published limits for a rating."""

    parameters = {
        "rated_power_w": number(above=0, maximum=10_000).saying("Rated output power, W.").needed(),
        "output_v": OUTPUT_V.saying("Output voltage, V; with output_a it gives the basic row."),
        "output_a": number(above=0, maximum=1000).saying("Output current, A."),
        "supply": one_of(*Adapter.Supply.values).saying("Class of supply; adaptive if not given."),
    }
    calls = {"GET": Call({200: page_of(LimitAnswer)})}

    def get(self, request: Request) -> Response:
        """Work out every scheme's limits for a rated power in W, and an output in V and A."""
        given = dict(self.given)
        limits = limits_for(given.pop("rated_power_w"), **given)
        return Response({"results": [asdict(limit) for limit in limits], "next": None})
