"""A reference device: which adapters charge it at full speed, and what each gave it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from catalog.models import Device
from comparisons.charts.overlays import MOST_CURVES
from comparisons.facts.device_sentences import full_speed_sentences, smallest_sentences
from comparisons.facts.paired import FULL_SPEED_PERCENT
from comparisons.forms.devices import DeviceTrialsForm
from comparisons.queries.device_answers import device_answers
from comparisons.queries.device_rows import TrialRow, chosen_trials, trial_rows, untried
from comparisons.queries.device_trials import MILESTONES, device_trials
from comparisons.ranking import expanded
from comparisons.views.csv_files import Row, csv_response
from measurements.kinds import all_metrics, get_kind
from measurements.models import Value

ROWS_A_PAGE = 50
UNTRIED_NAMED = 24
# More lines than this are hard to tell apart at a glance; the page of charges draws more.
CURVES_SHOWN = min(4, MOST_CURVES)


@require_safe
def device_page(request: HttpRequest, slug: str) -> HttpResponse:
    """The answers in sentences, and a page of the table behind them."""
    device = get_object_or_404(Device.objects.listed(), slug=slug)
    form = DeviceTrialsForm(request.GET, viewer=request.user)
    context = {
        "section": "adapters",
        "device": device,
        "form": form,
        "share": FULL_SPEED_PERCENT,
        "milestones": [all_metrics()[key] for key in MILESTONES],
        "kinds": [get_kind("device-match"), get_kind("charge")],
    }
    if not form.is_valid():
        return render(request, "comparisons/device.html", context, status=400)
    trials = device_trials(device, viewer=request.user, filters=form.filters, tables=form.counts)
    shown = chosen_trials(trials, speed=form.at_speed, sort=form.order)
    start = form.cleaned_data["start"] or 0
    if start and start >= len(shown):
        form.add_error("start", f"The table has {len(shown)} rows.")
        return render(request, "comparisons/device.html", context, status=400)
    rows = trial_rows(
        shown, viewer=request.user, tables=form.counts, start=start, limit=ROWS_A_PAGE
    )
    answers = device_answers(trials)
    context |= {
        "trials": trials,
        "answers": answers,
        "full_speed": [
            *full_speed_sentences(answers, device, among=form.filters_in_words),
        ],
        "smallest": [*smallest_sentences(answers)],
        "rows": rows,
        "count": len(shown),
        "start": start,
        "last": start + len(rows),
        "next_start": start + len(rows) if start + len(rows) < len(shown) else None,
        "previous_start": max(0, start - ROWS_A_PAGE) if start else None,
        "curves": _curves(rows),
        "charged": any(row.charge or any(row.times) for row in rows),
        "reasons": [
            (row.adapter, reason)
            for row in rows
            for reason in dict.fromkeys(value.apart for value in row.times if value and value.apart)
        ],
        "untried": untried(
            device,
            viewer=request.user,
            filters=form.filters,
            tables=form.counts,
            named=UNTRIED_NAMED,
        ),
    }
    return render(request, "comparisons/device.html", context)


def _curves(rows: Sequence[TrialRow]) -> str:
    """The query of an overlay of the first charges on this page; "" for fewer than two."""
    charged = [row.adapter.slug for row in rows if row.charge is not None and row.charge.run_id]
    if len(charged) < 2:
        return ""
    return urlencode([("adapter", slug) for slug in charged[:CURVES_SHOWN]])


@require_safe
def device_csv(request: HttpRequest, slug: str) -> HttpResponse:
    """Every row of exactly the view that the same query shows as a page."""
    device = get_object_or_404(Device.objects.listed(), slug=slug)
    form = DeviceTrialsForm(request.GET, viewer=request.user)
    if not form.is_valid():
        context = {"section": "adapters", "device": device, "form": form}
        return render(request, "comparisons/device.html", context, status=400)
    trials = device_trials(device, viewer=request.user, filters=form.filters, tables=form.counts)
    shown = chosen_trials(trials, speed=form.at_speed, sort=form.order)
    rows = trial_rows(
        shown,
        viewer=request.user,
        tables=form.counts,
        start=form.cleaned_data["start"] or 0,
    )
    return csv_response(_csv_rows(rows), name=device.slug)


def _csv_rows(rows: Sequence[TrialRow]) -> Iterator[Row]:
    """A header and one row an adapter; empty where nothing stands."""
    timed = [name for key in MILESTONES for name in (f"{key}_min", f"{key}_expanded_k2")]
    yield (
        *("adapter", "maker", "name", "volume_cm3", "mass_g", "power_w", "power_expanded_k2"),
        *("share_percent", "full_speed", "beyond_doubt", "port", "protocol"),
        *("voltage_v", "current_a", *timed, "power_run", "charge_run", "not_comparable"),
    )
    for row in rows:
        adapter, pair = row.adapter, row.pair
        judged = row.share is not None
        yield (
            *(adapter.slug, adapter.maker.name, adapter.name),
            *(_or_empty(adapter.volume_cm3), _or_empty(adapter.mass_g)),
            *_cells(row.power),
            "" if row.share is None else 100 * row.share,
            ("yes" if row.full else "no") if judged else "",
            ("yes" if row.sure else "no") if judged else "",
            *((pair.port, pair.protocol, pair.voltage_v, pair.current_a) if pair else [""] * 4),
            *(cell for value in row.times for cell in _cells(value)),
            _run(row.power),
            _run(row.charge),
            " ".join(dict.fromkeys(value.apart for value in row.times if value and value.apart)),
        )


def _cells(value: Value | None) -> tuple[float | str, float | str]:
    """A value and its U; empty where nothing stands, U also where nobody stated it."""
    if value is None:
        return "", ""
    return value.value, _or_empty(expanded(value.stated_uncertainty))


def _or_empty(number: float | None) -> float | str:
    return "" if number is None else number


def _run(value: Value | None) -> str:
    return "" if value is None or value.run_id is None else str(value.run_id)
