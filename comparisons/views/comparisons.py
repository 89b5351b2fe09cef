"""Comparison tables: the list, a table, and what editors do to them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from catalog.models import Viewer
from comparisons.actions import (
    MAX_ADAPTERS,
    Refused,
    compared_adapters,
    publish_comparison,
    revise_comparison,
    save_comparison,
)
from comparisons.forms import ComparisonForm, as_data
from comparisons.models import Comparison
from comparisons.queries.placements import HEADLINES
from comparisons.queries.tables import as_frozen, comparison_table, methods_of
from comparisons.views.csv_files import comparison_rows, csv_response

Response = HttpResponse | HttpResponseRedirect


def _person(request: HttpRequest) -> User | None:
    return request.user if isinstance(request.user, User) else None


def _visible(slug: str, *, viewer: Viewer) -> Comparison:
    found = (
        Comparison.objects.visible_to(viewer)
        .select_related("revises", "published_by")
        .filter(slug=slug)
        .first()
    )
    if found is None:
        raise Http404
    return found


def _table_of(comparison: Comparison, *, viewer: Viewer) -> dict[str, Any]:
    """What is shown: the frozen table of a published one, the live table of a draft."""
    if comparison.frozen is not None:
        frozen: dict[str, Any] = comparison.frozen
        return frozen
    return as_frozen(
        comparison_table(
            compared_adapters(comparison),
            metrics=comparison.metrics,
            conditions=comparison.conditions,
            viewer=viewer,
            tables=comparison.with_tables,
        )
    )


@require_safe
def comparison_list(request: HttpRequest) -> HttpResponse:
    """Published tables, newest first; drafts for those who write them."""
    visible = Comparison.objects.visible_to(request.user).defer("frozen")
    return render(
        request,
        "comparisons/comparison_list.html",
        {
            "published": visible.filter(state=Comparison.State.PUBLISHED).order_by("-published_at"),
            "drafts": visible.filter(state=Comparison.State.DRAFT).order_by("-changed_at"),
            "section": "comparisons",
        },
    )


@require_safe
def comparison_page(request: HttpRequest, slug: str) -> HttpResponse:
    """One table."""
    return _shown(request, _visible(slug, viewer=request.user))


def _shown(
    request: HttpRequest, comparison: Comparison, *, refused: Refused | None = None
) -> HttpResponse:
    table = _table_of(comparison, viewer=request.user)
    later = comparison.revisions.filter(state=Comparison.State.PUBLISHED).order_by("published_at")
    return render(
        request,
        "comparisons/comparison.html",
        {
            "comparison": comparison,
            "table": table,
            "title": table.get("title", comparison.title),
            "remarks": table.get("notes", comparison.notes).splitlines(),
            "methods": methods_of(table),
            "later": later.only("slug", "title", "published_at"),
            "refused": refused,
            "section": "comparisons",
        },
        status=409 if refused else 200,
    )


@require_safe
def comparison_csv(request: HttpRequest, slug: str) -> HttpResponse:
    """The table as a file, one row a cell."""
    comparison = _visible(slug, viewer=request.user)
    return csv_response(
        comparison_rows(_table_of(comparison, viewer=request.user)), name=comparison.slug
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@permission_required("comparisons.add_comparison", raise_exception=True)
def comparison_new(request: HttpRequest) -> Response:
    """Build a table. What the address carries is the table to start from."""
    if request.method == "POST":
        return _edited(request, Comparison())
    data = request.GET.copy()
    if "metric" not in data:
        data.setlist("metric", list(HEADLINES))
    return _builder(request, ComparisonForm(data, viewer=request.user), Comparison(), shown=False)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@permission_required("comparisons.change_comparison", raise_exception=True)
def comparison_edit(request: HttpRequest, slug: str) -> Response:
    """Change a draft."""
    comparison = _visible(slug, viewer=request.user)
    if comparison.state != Comparison.State.DRAFT:
        refused = Refused("A published comparison never changes; make a revision of it.")
        return _shown(request, comparison, refused=refused)
    if request.method == "POST":
        return _edited(request, comparison)
    data = as_data(comparison, adapters=compared_adapters(comparison))
    return _builder(request, ComparisonForm(data, viewer=request.user), comparison, shown=False)


def _edited(request: HttpRequest, comparison: Comparison) -> Response:
    """Save what was sent, or only look at it again with what was searched for."""
    form = ComparisonForm(request.POST, viewer=request.user)
    if request.POST.get("do") != "save":
        return _builder(request, form, comparison, shown=False)
    if form.is_valid():
        comparison.title = form.cleaned_data["title"]
        comparison.notes = form.cleaned_data["notes"]
        comparison.with_tables = form.with_tables
        try:
            saved = save_comparison(
                comparison,
                adapters=form.chosen,
                metrics=form.metrics,
                conditions=form.conditions,
                by=_person(request),
                unchanged_since=form.cleaned_data["seen"],
            )
        except Refused as refused:
            if not comparison._state.adding:
                form = _read_again(request, comparison)
            form.add_error(None, refused.detail)
        except ValidationError as wrong:
            for sentence in wrong.messages:
                form.add_error(None, sentence)
        else:
            messages.success(request, "The draft is saved; only editors see it.")
            return redirect(saved)
    return _builder(request, form, comparison, shown=True)


def _read_again(request: HttpRequest, comparison: Comparison) -> ComparisonForm:
    """The form as it was sent, under the time at which the stored draft was saved."""
    data = request.POST.copy()
    stored = Comparison.objects.only("changed_at").get(pk=comparison.pk)
    data["seen"] = stored.changed_at.isoformat()
    form = ComparisonForm(data, viewer=request.user)
    form.is_valid()
    return form


def _builder(
    request: HttpRequest, form: ComparisonForm, comparison: Comparison, *, shown: bool
) -> HttpResponse:
    """The builder with a table of what is ticked; mistakes only once it was to be saved."""
    form.is_valid()
    preview = None
    if form.chosen and form.metrics:
        preview = as_frozen(
            comparison_table(
                form.chosen[:MAX_ADAPTERS],
                metrics=form.metrics,
                conditions=form.conditions,
                viewer=request.user,
                tables=form.with_tables,
            )
        )
    wrong = shown and bool(form.errors)
    if not shown:
        form.errors.clear()  # nobody is told of a mistake before trying to save
    return render(
        request,
        "comparisons/comparison_form.html",
        {
            "form": form,
            "comparison": comparison,
            "show_errors": shown,
            "table": preview,
            "most": MAX_ADAPTERS,
            "section": "comparisons",
        },
        status=400 if wrong else 200,
    )


@require_POST
@login_required
@permission_required("comparisons.publish_comparison", raise_exception=True)
def comparison_publish(request: HttpRequest, slug: str) -> Response:
    """Freeze a draft at its address."""
    comparison = _visible(slug, viewer=request.user)
    try:
        published = publish_comparison(comparison, by=_person(request))
    except Refused as refused:
        return _shown(request, comparison, refused=refused)
    messages.success(request, "Published. The table no longer changes.")
    return redirect(published)


@require_POST
@login_required
@permission_required("comparisons.add_comparison", raise_exception=True)
def comparison_revise(request: HttpRequest, slug: str) -> Response:
    """Start a new draft from a published table."""
    comparison = _visible(slug, viewer=request.user)
    try:
        draft = revise_comparison(comparison, by=_person(request))
    except Refused as refused:
        return _shown(request, comparison, refused=refused)
    return redirect("comparison-edit", slug=draft.slug)
