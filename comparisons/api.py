"""Rankings, placements and comparison tables over HTTP."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.urls import reverse
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.api import RATING_PARAMETERS, price_range, visible_adapter
from catalog.models import Adapter, Maker, Viewer
from catalog.rest.calls import Call, page_of
from catalog.rest.conditions import check_if_match, entity_tag
from catalog.rest.paging import MAX_LIMIT, PAGE_PARAMETERS, keyset_page, sequence_page
from catalog.rest.parameters import moment, number
from catalog.rest.problems import Fault, Invalid
from catalog.rest.views import ApiView, read_body, tagged
from comparisons.actions import publish_comparison, revise_comparison, save_comparison
from comparisons.answers import (
    ComparisonAnswer,
    ComparisonSummaryAnswer,
    PlacementAnswer,
    RankingAnswer,
)
from comparisons.models import Comparison
from comparisons.queries.cohorts import Filters, choose_condition, known_conditions
from comparisons.queries.placements import place_in_order, placements
from comparisons.queries.rankings import count_of_tables, ranking
from comparisons.ranking import Spread
from comparisons.serializers import (
    ComparisonBody,
    PublishBody,
    apart_json,
    comparison_fields,
    comparison_json,
    comparison_summary,
    placement_json,
    ranked_json,
    spread_json,
    still_there,
)
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.models import Value
from measurements.parameters import CONDITION_PARAMETERS, IN_OR_OUT
from measurements.queries import counts_tables
from measurements.serializers import EmptyBody, metric_json

AS_OF = moment.saying("What stood then; a date means the end of that day (UTC).")


class RankingDetail(ApiView):
    """The ranking of one metric under one condition."""

    parameters = {
        **PAGE_PARAMETERS,
        **CONDITION_PARAMETERS,
        **RATING_PARAMETERS,
        "profile_v": number(minimum=1, maximum=100).saying(
            "A scan that stands shows a data object of a port that reaches this voltage, V."
        ),
        "as_of": AS_OF,
        "tables": IN_OR_OUT,
    }
    calls = {"GET": Call({200: RankingAnswer})}

    def get(self, request: Request, metric: str) -> Response:
        """Rank adapters under the plainest condition that has every part asked for.

        `as_of` ranks what stood at a time; a date means the end of that day (UTC).
        `tables=in` counts results that came by a table, without a raw record.
        """
        declared = _ranked_metric(metric)
        given, after = self.given, self.page.after
        filters, tables = _filters(given), counts_tables(given.get("tables"))
        as_of, latest = given.get("as_of"), _last_change(declared, viewer=self.viewer)
        if after is not None:
            if "value" not in after:
                raise Invalid(
                    [Fault("after", "This cursor is of an earlier release; begin the walk anew.")]
                )
            # A walk goes on in the ranking as it was when the walk began. What was written while
            # a page was made may show on it; the key of its last row keeps the others in place.
            if as_of is None and after["seen"] != latest:
                as_of = datetime.fromisoformat(after["seen"])
        asked = {part: given[part] for part in CONDITION_PARAMETERS if part in given}
        known = known_conditions(declared, viewer=self.viewer, as_of=as_of, tables=tables)
        condition = choose_condition(known, asked=asked)
        answer: dict[str, Any] = {"metric": metric_json(declared)}
        if condition is None:
            empty = spread_json(Spread(count=0, median=None, quartiles=None))
            nothing: dict[str, Any] = {
                "results": [],
                "not_comparable": [],
                "of_tables": count_of_tables(
                    declared, None, viewer=self.viewer, filters=filters, as_of=as_of
                ),
                "next": None,
            }
            return Response({**answer, "condition": asked, "cohort": empty, **nothing})
        found = ranking(
            declared,
            condition,
            viewer=self.viewer,
            filters=filters,
            as_of=as_of,
            after=(after["value"], after["adapter"]) if after else None,
            limit=self.page.limit,
            tables=tables,
        )
        following = None
        if found.next_start is not None:
            last = found.rows[-1]
            following = {"value": last.value, "adapter": last.adapter.pk}
        seen = after["seen"] if after else latest
        return Response(
            {
                **answer,
                "condition": condition.as_json(),
                "cohort": spread_json(found.cohort.spread),
                "results": [ranked_json(row) for row in found.rows],
                "not_comparable": [apart_json(apart) for apart in found.apart],
                "of_tables": found.of_tables,
                "next": (self.page.link({**following, "seen": seen}) if following else None),
            }
        )


def _ranked_metric(key: str) -> Metric:
    metric = all_metrics().get(key)
    if metric is None:
        raise NotFound(f"No metric is called “{key[:80]}”; GET metrics/ lists them.")
    if not metric.ranked or not metric.better:
        raise NotFound(f"{metric.title} is not ranked; GET values/ lists its values.")
    return metric


def _filters(given: Mapping[str, Any]) -> Filters:
    maker = given.get("maker", "")
    if maker and not Maker.objects.filter(slug=maker).exists():
        raise Invalid([Fault("maker", "No maker has this slug.")])
    price_min, price_max = price_range(given)
    return Filters(
        power_min=given.get("power_min"),
        power_max=given.get("power_max"),
        ports_min=given.get("ports_min"),
        maker=maker,
        connector=given.get("connector", ""),
        profile_v=given.get("profile_v"),
        enclosure=given.get("enclosure", ""),
        year_min=given.get("year_min"),
        year_max=given.get("year_max"),
        price_min=price_min,
        price_max=price_max,
        currency=given.get("currency", ""),
    )


def _last_change(metric: Metric, *, viewer: Viewer) -> str:
    """When a value of the metric last began or ceased to stand; what stood then stands now."""
    found = (
        Value.objects.filter(metric=metric.key)
        .visible_to(viewer)
        .aggregate(begun=Max("current_from"), ceased=Max("current_until"))
    )
    return max((time.isoformat() for time in found.values() if time is not None), default="")


class PlacementList(ApiView):
    """One adapter's places."""

    page_size = MAX_LIMIT
    parameters = {**PAGE_PARAMETERS, "as_of": AS_OF, "tables": IN_OR_OUT}
    calls = {"GET": Call({200: page_of(PlacementAnswer)})}

    def get(self, request: Request, slug: str) -> Response:
        """List where an adapter stands in the history, each metric and condition."""
        adapter = visible_adapter(slug, viewer=self.viewer)
        found = placements(
            adapter,
            viewer=self.viewer,
            as_of=self.given.get("as_of"),
            tables=counts_tables(self.given.get("tables")),
        )
        page = sequence_page(found, asked=self.page, key=place_in_order)
        return Response({"results": [placement_json(row) for row in page.rows], "next": page.next})


def visible_comparison(slug: str, *, viewer: Viewer, lock: bool = False) -> Comparison:
    """The comparison of that slug. Raises `NotFound`, also for a hidden draft."""
    comparisons = Comparison.objects.visible_to(viewer).select_related("revises")
    if lock:
        comparisons = comparisons.select_for_update(of=("self",))
    comparison = comparisons.filter(slug=slug).first()
    if comparison is None:
        raise NotFound(f"No comparison is called “{slug[:170]}” here.")
    return comparison


def _write(comparison: Comparison, said: dict[str, Any], *, by: Any) -> Comparison:
    """Save what a validated body says. Raises `Invalid` for adapters that are not to be seen."""
    slugs = list(dict.fromkeys(said["adapters"]))
    found = {row.slug: row for row in Adapter.objects.visible_to(by).filter(slug__in=slugs)}
    if missing := [slug for slug in slugs if slug not in found]:
        raise Invalid(Fault("adapters", f"No adapter is called “{slug}” here.") for slug in missing)
    comparison.title = said["title"]
    comparison.notes = said.get("notes", comparison.notes)
    if "tables" in said:
        comparison.with_tables = said["tables"] == "in"
    for name in ("metric_conditions", "cell_notes", "blocks"):
        if name in said:
            setattr(comparison, name, said[name])
    return save_comparison(
        comparison,
        adapters=[found[slug] for slug in slugs],
        metrics=said["metrics"],
        conditions=said.get("conditions", {}),
        groups={item["adapter"]: item["group"] for item in said.get("groups", ())},
        by=by,
    )


class ComparisonList(ApiView):
    """Comparison tables."""

    parameters = PAGE_PARAMETERS
    permissions = {"POST": "comparisons.add_comparison"}
    calls = {
        "GET": Call({200: page_of(ComparisonSummaryAnswer)}),
        "POST": Call({201: ComparisonAnswer}, body=ComparisonBody, location=(201,)),
    }

    def get(self, request: Request) -> Response:
        """List comparisons in the order in which they were begun."""
        found = Comparison.objects.visible_to(self.viewer).defer("frozen")
        page = keyset_page(found, asked=self.page, key="pk")
        return Response(
            {"results": [comparison_summary(row) for row in page.rows], "next": page.next}
        )

    def post(self, request: Request) -> Response:
        """Begin a draft: adapters by metrics, narrowed by conditions."""
        comparison = _write(Comparison(), read_body(ComparisonBody, request.data), by=self.person)
        return _created(comparison, viewer=self.viewer)


def _created(comparison: Comparison, *, viewer: Viewer) -> Response:
    return tagged(
        comparison_json(comparison, viewer=viewer),
        status=201,
        headers={"Location": reverse("api-comparison", args=[comparison.slug])},
    )


class ComparisonDetail(ApiView):
    """One comparison table."""

    permissions = {"PATCH": "comparisons.change_comparison"}
    calls = {
        "GET": Call({200: ComparisonAnswer}),
        "PATCH": Call({200: ComparisonAnswer}, body=ComparisonBody, if_match=True),
    }

    def get(self, request: Request, slug: str) -> Response:
        """Show a comparison with its table."""
        comparison = visible_comparison(slug, viewer=self.viewer)
        return tagged(comparison_json(comparison, viewer=self.viewer))

    def patch(self, request: Request, slug: str) -> Response:
        """Change the fields of a draft that are sent; needs If-Match."""
        with transaction.atomic():
            comparison = visible_comparison(slug, viewer=self.viewer, lock=True)
            present = comparison_json(comparison, viewer=self.viewer)
            check_if_match(request, current=entity_tag(present))
            change = request.data
            if isinstance(change, Mapping):
                change = {**still_there(comparison_fields(comparison), change), **change}
            comparison = _write(comparison, read_body(ComparisonBody, change), by=self.person)
        return tagged(comparison_json(comparison, viewer=self.viewer))


class ComparisonPublish(ApiView):
    """Freeze a draft."""

    permissions = {"POST": "comparisons.publish_comparison"}
    calls = {"POST": Call({200: ComparisonAnswer}, body=PublishBody)}

    def post(self, request: Request, slug: str) -> Response:
        """Freeze values, runs and method versions of a draft under a hash, for readers.

        Where conditions of the table depart from each other, `departures_read` says that its
        sentences were read, by the seal that the draft's `departures` give; where they are
        others by now, the answer is a 409 that tells them. A call without this member publishes
        as it always did, and the frozen table tells readers that nobody said to have read them.
        """
        said = read_body(PublishBody, request.data)
        comparison = visible_comparison(slug, viewer=self.viewer)
        read = (said["departures_read"] or "") if "departures_read" in said else None
        publish_comparison(comparison, by=self.person, departures_read=read)
        return tagged(
            comparison_json(visible_comparison(slug, viewer=self.viewer), viewer=self.viewer)
        )


class ComparisonRevise(ApiView):
    """Begin anew from a published table."""

    permissions = {"POST": "comparisons.add_comparison"}
    calls = {"POST": Call({201: ComparisonAnswer}, body=EmptyBody, location=(201,))}

    def post(self, request: Request, slug: str) -> Response:
        """Begin a draft at a new address from a published comparison, which stays as it is."""
        read_body(EmptyBody, request.data)
        draft = revise_comparison(visible_comparison(slug, viewer=self.viewer), by=self.person)
        return _created(draft, viewer=self.viewer)
