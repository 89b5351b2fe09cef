"""What editors do to comparison tables: build, preview, publish, revise."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from comparisons.actions import (
    MAX_ADAPTERS,
    Refused,
    compared_adapters,
    content_to_publish,
    publish_comparison,
    revise_comparison,
    save_comparison,
)
from comparisons.forms import ComparisonForm, as_data
from comparisons.forms.builder import moved
from comparisons.models import Comparison
from comparisons.queries.contents import (
    departures_of,
    general_remarks,
    groups_of,
    live_content,
)
from comparisons.queries.placements import HEADLINES
from comparisons.views.comparisons import shown, visible_comparison

Response = HttpResponse | HttpResponseRedirect

MOST_DRAFTS = 20


def _person(request: HttpRequest) -> User | None:
    return request.user if isinstance(request.user, User) else None


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
    return _builder(request, ComparisonForm(data, viewer=request.user), Comparison(), wrong=False)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@permission_required("comparisons.change_comparison", raise_exception=True)
def comparison_edit(request: HttpRequest, slug: str) -> Response:
    """Change a draft; adapters that the address names are added to it."""
    comparison = visible_comparison(slug, viewer=request.user)
    if comparison.state != Comparison.State.DRAFT:
        refused = Refused("A published comparison never changes; make a revision of it.")
        return shown(request, comparison, refused=refused)
    if request.method == "POST":
        return _edited(request, comparison)
    data = _stored(comparison)
    for added in request.GET.getlist("adapter"):
        data.appendlist("adapter", added)
    return _builder(request, ComparisonForm(data, viewer=request.user), comparison, wrong=False)


def _stored(comparison: Comparison) -> QueryDict:
    groups = groups_of(comparison)
    columns = {
        adapter.slug: groups.get(adapter.slug, "") for adapter in compared_adapters(comparison)
    }
    return as_data(comparison, columns=columns)


def _edited(request: HttpRequest, comparison: Comparison) -> Response:
    """Save what was sent, or only look at it again with what was searched, moved or added."""
    button = request.POST.get("do", "")
    form = ComparisonForm(moved(request.POST, button), viewer=request.user, button=button)
    if button != "save":
        return _builder(request, form, comparison, wrong=False)
    if form.is_valid():
        form.fill(comparison)
        try:
            saved = save_comparison(
                comparison,
                adapters=form.chosen,
                metrics=form.metrics,
                conditions=form.conditions,
                groups=form.groups,
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
    return _builder(request, form, comparison, wrong=True)


def _read_again(request: HttpRequest, comparison: Comparison) -> ComparisonForm:
    """The form as it was sent, under the time at which the stored draft was saved."""
    data = request.POST.copy()
    stored = Comparison.objects.only("changed_at").get(pk=comparison.pk)
    data["seen"] = stored.changed_at.isoformat()
    form = ComparisonForm(data, viewer=request.user)
    form.is_valid()
    return form


def _builder(
    request: HttpRequest, form: ComparisonForm, comparison: Comparison, *, wrong: bool
) -> HttpResponse:
    """The builder with a table of what is ticked; mistakes only once it was to be saved."""
    form.is_valid()
    preview = None
    if form.chosen and form.metrics:
        sketch = Comparison()
        form.fill(sketch)
        sketch.blocks = []  # drawn once it is saved: that is no matter of a moment
        preview = live_content(
            sketch,
            adapters=form.chosen[:MAX_ADAPTERS],
            groups=form.groups,
            viewer=request.user,
        )
    failed = wrong and bool(form.errors)
    if not wrong:
        form.errors.clear()  # nobody is told of a mistake before trying to save
    drafts = Comparison.objects.none()
    if comparison._state.adding and request.method == "GET" and form.chosen:
        drafts = (
            Comparison.objects.visible_to(request.user)
            .filter(state=Comparison.State.DRAFT)
            .only("slug", "title", "changed_at")
            .order_by("-changed_at")[:MOST_DRAFTS]
        )
    return render(
        request,
        "comparisons/comparison_form.html",
        {
            "form": form,
            "comparison": comparison,
            "show_errors": wrong,
            "table": preview,
            "remarks": general_remarks(preview) if preview else [],
            "departures": departures_of(preview) if preview else [],
            "drafts": drafts,
            "most": MAX_ADAPTERS,
            "section": "comparisons",
        },
        status=400 if failed else 200,
    )


@require_safe
@login_required
@permission_required("comparisons.change_comparison", raise_exception=True)
def comparison_preview(request: HttpRequest, slug: str) -> Response:
    """A draft as readers will see it once it is published."""
    comparison = visible_comparison(slug, viewer=request.user)
    if comparison.state != Comparison.State.DRAFT:
        return redirect(comparison)
    try:
        content = content_to_publish(comparison)
    except Refused as refused:
        return shown(request, comparison, refused=refused)
    return shown(request, comparison, preview=content)


@require_POST
@login_required
@permission_required("comparisons.publish_comparison", raise_exception=True)
def comparison_publish(request: HttpRequest, slug: str) -> Response:
    """Freeze a draft at its address, once its departures from like conditions were read."""
    comparison = visible_comparison(slug, viewer=request.user)
    try:
        published = publish_comparison(
            comparison,
            by=_person(request),
            departures_read=request.POST.get("departures_read", ""),
        )
    except Refused as refused:
        return shown(request, comparison, refused=refused)
    messages.success(request, "Published. The table no longer changes.")
    return redirect(published)


@require_POST
@login_required
@permission_required("comparisons.add_comparison", raise_exception=True)
def comparison_revise(request: HttpRequest, slug: str) -> Response:
    """Start a new draft from a published table."""
    comparison = visible_comparison(slug, viewer=request.user)
    try:
        draft = revise_comparison(comparison, by=_person(request))
    except Refused as refused:
        return shown(request, comparison, refused=refused)
    return redirect("comparison-edit", slug=draft.slug)
