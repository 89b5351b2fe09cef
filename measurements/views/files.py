"""What a run gives as a file: its raw bytes, its trace, its chart."""

from __future__ import annotations

import csv
import logging
import uuid

from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from measurements import queries
from measurements.charts import STATE, read_shown, trace_svg
from measurements.models import Run
from measurements.views.drawings import (
    PARAMETERS,
    Form,
    asked_for,
    drawn,
    in_words,
    refused,
    wanted,
)

logger = logging.getLogger(__name__)


def _visible(request: HttpRequest, run_id: uuid.UUID) -> Run:
    runs = Run.objects.select_related("raw").visible_to(request.user)
    found = runs.filter(pk=run_id).first()
    if found is None:
        raise Http404
    return found


def _plain_name(name: str, *, otherwise: str) -> str:
    """A file name without what a header or a file system could stumble over."""
    kept = "".join(letter for letter in name if letter.isprintable() and letter not in '/\\"')
    return kept.strip(". ") or otherwise


@require_safe
def run_raw(request: HttpRequest, run_id: uuid.UUID) -> HttpResponseBase:
    """The original bytes, to be saved and never to be shown by a browser."""
    run = _visible(request, run_id)
    if not run.raw.held:
        return HttpResponse(
            "The raw file of this run is not held here: the run came with a package that left raw "
            f"files out. Its SHA-256 is {run.raw_id}; ask where the package came from.",
            content_type="text/plain; charset=utf-8",
            status=404,
        )
    try:
        stored = queries.raw_store().open(run.raw_id)
    except FileNotFoundError:
        logger.exception("Raw file of run %s is missing", run.pk)
        return HttpResponse(
            "The stored file is missing. Whoever runs this site can restore it from a backup "
            "and check the store with “manage.py verify_store”.",
            content_type="text/plain; charset=utf-8",
            status=503,
        )
    response = FileResponse(
        stored,
        as_attachment=True,
        filename=_plain_name(run.file_name, otherwise=f"{run.raw_id[:12]}.bin"),
        content_type="application/octet-stream",
    )
    # A stranger's bytes: whatever they are, nothing in them runs or is guessed at.
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cache-Control"] = "private"
    response.headers["ETag"] = f'"{run.raw_id}"'
    return response


def trace_columns(run: Run) -> list[str]:
    """The columns of the trace as they stand in its file, the plot's x axis first.

    The database may keep them in an order of its own.
    """
    x = (run.plot or {}).get("x", "")
    return sorted(run.trace or {}, key=lambda name: name != x)


@require_safe
def run_trace_csv(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """The down-sampled trace as CSV; a gap is an empty cell."""
    run = _visible(request, run_id)
    if not run.trace:
        raise Http404
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response.headers["Content-Disposition"] = content_disposition_header(
        True, f"{run.adapter.slug}-{run.kind}-{str(run.pk)[-12:]}-trace.csv"
    )
    names = trace_columns(run)
    writer = csv.writer(response)
    # Sensors are named by the sender: no spreadsheet may take a heading for a formula.
    writer.writerow(
        f"'{name}" if name.startswith(("=", "+", "-", "@", "\t", "\r")) else name for name in names
    )
    writer.writerows(zip(*(run.trace[name] for name in names), strict=True))
    return response


@require_safe
def run_chart(request: HttpRequest, run_id: uuid.UUID, form: Form = "svg") -> HttpResponseBase:
    """The chart of the trace, in a theme and a size; a stretch of it, and without some lines."""
    how = wanted(request, form)
    if how is None or set(request.GET) - PARAMETERS - {*STATE}:
        return refused(f"{', '.join(STATE)} say what is shown; nothing else is read")
    run = _visible(request, run_id)
    if run.plot is None or run.trace is None:
        raise Http404
    try:
        shown = read_shown(asked_for(request.GET), run.plot, run.trace)
    except ValueError as error:
        return in_words(str(error))
    return drawn(
        request,
        how,
        lambda theme, size: trace_svg(run, theme, size=size, shown=shown),
        # The fence rises with every computation: the drawing of an older one is not reused.
        state=(run.pk, run.fence, *shown.in_order),
        name=f"{run.adapter.slug}-{run.kind}-{str(run.pk)[-12:]}",
    )
