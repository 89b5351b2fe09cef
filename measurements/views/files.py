"""What a run gives as a file: its raw bytes, its trace, its chart."""

from __future__ import annotations

import csv
import logging
import uuid

from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import get_conditional_response
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from measurements import queries
from measurements.charts import EDITION, SIZES, THEMES, trace_svg
from measurements.models import Run

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
    # The database may keep the columns in an order of its own: the plot's x axis comes first.
    x = (run.plot or {}).get("x", "")
    names = sorted(run.trace, key=lambda name: name != x)
    writer = csv.writer(response)
    # Sensors are named by the sender: no spreadsheet may take a heading for a formula.
    writer.writerow(
        f"'{name}" if name.startswith(("=", "+", "-", "@", "\t", "\r")) else name for name in names
    )
    writer.writerows(zip(*(run.trace[name] for name in names), strict=True))
    return response


@require_safe
def run_chart(request: HttpRequest, run_id: uuid.UUID) -> HttpResponseBase:
    """The chart of the trace as SVG, in a theme and a size."""
    theme = request.GET.get("theme", "light")
    size = request.GET.get("size", "wide")
    if theme not in THEMES or size not in SIZES or set(request.GET) - {"theme", "size"}:
        return HttpResponse(
            f"theme is one of {', '.join(THEMES)}; size is one of {', '.join(SIZES)}.",
            content_type="text/plain; charset=utf-8",
            status=400,
        )
    run = _visible(request, run_id)
    if run.plot is None or run.trace is None:
        raise Http404
    # The fence rises with every computation, so that the drawing of an older one is not reused.
    etag = f'"{run.pk}-{run.fence}-{theme}-{size}-{EDITION}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        svg = trace_svg(
            run,
            "dark" if theme == "dark" else "light",
            size="narrow" if size == "narrow" else "wide",
        )
        response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["ETag"] = etag
    response.headers["Cache-Control"] = "private, no-cache"
    return response
