"""News for feed readers: runs as they are accepted (Atom, RFC 4287)."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.contrib.syndication.views import Feed
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.feedgenerator import Atom1Feed
from django.views.decorators.http import condition, require_safe

from comparisons.queries.placements import HEADLINES
from comparisons.ranking import expanded
from measurements.kinds import all_metrics
from measurements.models import Ledger, Run, Value
from measurements.queries import condition_in_words, runs_listed

# Generic for the type checker only.
if TYPE_CHECKING:
    _Feed = Feed["Entry", Any]
else:
    _Feed = Feed

ENTRIES = 50
VALUES_TOLD = 4


@dataclass(frozen=True, slots=True)
class Entry:
    """An accepted run with those of its values that are told: the first that stand."""

    run: Run
    values: Sequence[Value]

    @property
    def is_withdrawn(self) -> bool:
        """Whether it was taken back after it was accepted."""
        return self.run.withdrawn_at is not None

    @property
    def accepted_at(self) -> datetime:
        """When readers first could see it."""
        assert self.run.accepted_at is not None  # only such runs are told of
        return self.run.accepted_at


def entries() -> list[Entry]:
    """The newest accepted runs that the public may see, newest first, in two queries."""
    runs = runs_listed(viewer=None).filter(accepted_at__isnull=False)
    newest = list(runs.order_by("-accepted_at", "-id")[:ENTRIES])
    told: dict[UUID | None, list[Value]] = defaultdict(list)
    for value in sorted(Value.objects.current().filter(run__in=newest), key=_importance):
        if value.metric in all_metrics():
            told[value.run_id].append(value)
    return [Entry(run, told[run.pk][:VALUES_TOLD]) for run in newest]


def _importance(value: Value) -> tuple[int, bool, float, str]:
    """What readers ask for first, in the order of declaration; 230 V before 115 V."""
    order = (*HEADLINES, *all_metrics())
    place = order.index(value.metric) if value.metric in order else len(order)
    return place, value.line != "high", -(value.output_v or 0.0), value.condition_key


def in_words(value: Value) -> str:
    """A value with U at k = 2, its unit and its condition."""
    metric = all_metrics()[value.metric]
    figure = f"{value.value:.{metric.decimals}f}"
    spread = expanded(value.stated_uncertainty)
    if spread is not None:
        figure += f" ± {spread:.{metric.decimals}f}"
    unit = f" {metric.unit}" if metric.unit else ""
    return f"{metric.title} {figure}{unit} ({condition_in_words(value.condition)})"


class AcceptedRuns(_Feed):
    """The newest accepted runs, as everybody may see them, whoever asks.

    A run that is withdrawn stays in its place and says so, with the reason: readers who were
    told its values have to be told that they stand no more. One that waits after an amendment
    or came under embargo is not told of.
    """

    feed_type = Atom1Feed
    title = "Accepted runs"
    subtitle = "Measurements of USB power adapters, as this bench accepts them."
    author_name = "Brickledger"
    language = "en-gb"

    def link(self) -> str:
        """The list of runs."""
        return reverse("run-list")

    def feed_url(self) -> str:
        """The feed's own address."""
        return reverse("accepted-feed")

    def items(self) -> list[Entry]:
        """The newest runs."""
        return entries()

    def item_title(self, item: Entry) -> str:
        """Which adapter, and what was done."""
        said = f"{item.run.adapter}: {item.run.declared_kind.title.lower()} measured"
        return f"Withdrawn: {said}" if item.is_withdrawn else said

    def item_description(self, item: Entry) -> str:
        """The main values in a sentence, or why they stand no more."""
        if item.is_withdrawn:
            return f"This run was withdrawn: {item.run.withdrawn_reason}"
        if item.values:
            return f"{'; '.join(in_words(value) for value in item.values)}. U at k = 2."
        if item.run.standing == Run.Standing.SUPERSEDED:
            return "The values of this run were replaced by those of a later one."
        return "No value of this run stands."

    def item_link(self, item: Entry) -> str:
        """The run's page."""
        return item.run.get_absolute_url()

    def item_guid(self, item: Entry) -> str:
        """The run's id, which holds at whatever address the site is."""
        return item.run.pk.urn

    def item_pubdate(self, item: Entry) -> datetime:
        """When it was accepted."""
        return item.accepted_at

    def item_updateddate(self, item: Entry) -> datetime:
        """When it was accepted or withdrawn."""
        return item.run.withdrawn_at or item.accepted_at


def _tag(request: HttpRequest) -> str:
    """A tag for the feed: an embargo ends with a day, and addresses in it name the host."""
    content = (Ledger.read(), timezone.now().date(), request.scheme, request.get_host())
    return f'W/"{hashlib.sha256(repr(content).encode()).hexdigest()[:32]}"'


_feed = AcceptedRuns()


@condition(etag_func=_tag)
@require_safe
def accepted_runs(request: HttpRequest) -> HttpResponse:
    """The feed; 304 for a reader who has it, before it is made."""
    answer = _feed(request)
    # A run that ceases to be told of makes the feed older, not newer: only the tag tells.
    del answer["Last-Modified"]
    return answer
