"""Charges laid over each other: what is compared, and what is said not to be."""

from __future__ import annotations

import csv
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.utils.html import escape

from catalog.models import Device
from comparisons.queries.charge_overlays import Axis, Overlay, overlay
from measurements.metrics.simultaneous import simultaneous_factor
from measurements.models import Run
from tests.comparisons.charging import adapter, charged, laptop, log

__all__ = ["charged", "laptop"]

pytestmark = pytest.mark.django_db


def laid(laptop: Device, *runs: Run, by: Axis = "time") -> Overlay:
    ids = [run.pk for run in runs]
    return overlay(laptop, ids, reference=ids[0], by=by, viewer=None)


def test_a_stronger_adapter_differs_and_an_equal_one_does_not(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    one, same, fast = adapter("One"), adapter("Same"), adapter("Fast")
    # The same unit three times: how well the bench repeats.
    *_, first = [charged(one, log(amperes)) for amperes in (2.0, 2.004, 1.996)]
    found = laid(laptop, first, charged(same, log(2.002)), charged(fast, log(3.0)))
    reference, equal, faster = found.curves
    assert reference.is_reference
    assert reference.against is None
    assert equal.differing == ()
    assert "does not differ" in equal.verdict
    assert {item.metric.key for item in faster.differing} >= {"charge-to-80", "charge-mean-power"}
    # From 2 % to 80 % at 3 A instead of 2 A: 0.78 · 2 Ah · (1/3 − 1/2) h.
    to_80 = next(item for item in faster.differences if item.metric.key == "charge-to-80")
    assert to_80.difference == pytest.approx(-0.78 * 2 * 60 / 6, abs=0.5)
    assert faster.against is not None
    # Once the faster one is full, the reference still gives its 20 V · 1.996 A.
    assert faster.against.largest == pytest.approx(39.92)
    assert found.repeats["charge-mean-power"].degrees_of_freedom == 2
    assert found.title == "Invented Fast charges it measurably differently"


def test_by_level_the_power_of_both_is_compared_where_both_have_it(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    runs = charged(adapter("One"), log(2.0)), charged(adapter("Fast"), log(3.0))
    against = laid(laptop, *runs, by="level").curves[1].against
    assert against is not None
    # 2 % is that in which they start, and in 3 % the power may still come up.
    assert (against.start, against.end) == (4, 99)
    assert against.mean == pytest.approx(20.0, abs=0.03)
    assert against.largest == pytest.approx(20.0, abs=0.4)


def test_the_factor_grows_with_the_quantities_that_are_judged(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    run, other = charged(adapter("One"), log(2.0)), charged(adapter("Two"), log(2.0))
    curve = laid(laptop, run, other).curves[1]
    assert len(curve.judged) == 7
    values = {value.metric: value for row in (run, other) for value in row.values.all()}
    to_80 = next(item for item in curve.judged if item.metric.key == "charge-to-80")
    assert to_80.expanded == pytest.approx(
        simultaneous_factor(float("inf"), comparisons=7)
        * values["charge-to-80"].standard_uncertainty
        * 2**0.5
    )


def test_another_start_level_is_said_and_not_compared(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    runs = charged(adapter("One"), log(2.0)), charged(adapter("Late"), log(2.0, start=30))
    found = laid(laptop, *runs)
    late = found.curves[1]
    assert late.judged == ()
    assert (late.against, late.not_compared) == (
        None,
        "they started at 30 % and 2 %",
    )
    assert any("started at 30 %" in warning for warning in found.warnings)
    assert any("repeatability is not known" in warning for warning in found.warnings)
    # Nothing was judged, so nothing is called alike.
    assert found.title == "Invented laptop charged by Invented One and Invented Late"
    by_level = laid(laptop, *runs, by="level").curves[1]
    assert by_level.against is not None
    assert by_level.against.largest == pytest.approx(0, abs=1e-6)


def test_only_what_was_judged_is_called_alike(laptop: Device, charged: Callable[..., Run]) -> None:
    runs = [
        charged(adapter("One"), log(2.0)),
        charged(adapter("Same"), log(2.0)),
        charged(adapter("Late"), log(2.0, start=30)),
    ]
    title = laid(laptop, *runs).title
    assert title == "Invented Same charges the Invented laptop as Invented One does"


def test_a_charge_cut_short_says_nothing_of_energy(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    whole = log(2.0)
    short = b"\n".join([*whole.splitlines()[:250], b""])
    found = laid(laptop, charged(adapter("One"), whole), charged(adapter("Short"), short))
    judged = {item.metric.key for item in found.curves[1].judged}
    assert judged == {"charge-to-20", "charge-to-50", "charge-peak-power"}
    assert found.curves[1].differing == ()
    (paused_or_short, _) = found.warnings
    assert paused_or_short == (
        "Invented Short beside the reference: they ended at 70 % and 100 %. Energy and mean power "
        "are not compared."
    )


def test_an_inferred_level_is_not_laid_over_a_measured_one_unsaid(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    without = b"\n".join(row.rsplit(b",", 1)[0] for row in log(2.0).splitlines())
    runs = charged(adapter("One"), log(2.0)), charged(adapter("Unlevelled"), without)
    found = laid(laptop, *runs, by="level")
    assert found.curves[1].not_compared == ("the battery level of Invented Unlevelled is inferred")
    assert found.curves[1].x.size > 90
    assert any("Invented Unlevelled is inferred" in warning for warning in found.warnings)
    assert not any("is inferred" in warning for warning in laid(laptop, *runs).warnings)


def test_repeats_are_those_of_one_port_and_one_line(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    tested = adapter("One")
    c1, c2 = tested.ports.all()
    charged(tested, log(2.0), port=c1, mains_v=230.0)
    charged(tested, log(2.1), port=c2, mains_v=230.0)
    last = charged(tested, log(2.2), port=c1, mains_v=115.0)
    assert laid(laptop, last).repeats == {}
    last = charged(tested, log(2.002), port=c1, mains_v=230.0)
    spread = laid(laptop, last).repeats["charge-mean-power"]
    assert spread.degrees_of_freedom == 1
    assert spread.deviation == pytest.approx(0.04 / 2**0.5, rel=0.05)


def test_a_run_from_before_curves_were_kept_is_named(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    old, new = charged(adapter("Old"), log(2.0)), charged(adapter("New"), log(2.0))
    del old.details["facts"]["curves"]
    old.save()
    curve = laid(laptop, old, new).curves[1]
    assert "the run of the reference was computed before" in curve.not_compared
    assert "compute it again" in curve.not_compared
    assert curve.against is None
    del old.details["facts"]["pace"]
    old.save()
    found = laid(laptop, old, new)
    assert found.curves[1].judged == ()
    assert any("before the pace of a start was kept" in warning for warning in found.warnings)


def test_the_page_draws_what_its_address_says(
    client: Client, laptop: Device, charged: Callable[..., Run], django_assert_num_queries: Any
) -> None:
    one, fast = adapter("One"), adapter("Fast")
    charged(one, log(2.0))
    charged(fast, log(3.0))
    assert "Invented laptop" in client.get("/charges/").content.decode()
    query = f"?adapter={one.slug}&adapter={fast.slug}&reference={fast.slug}&by=level"
    page = client.get(f"/charges/laptop/{query}")
    assert page.status_code == 200
    assert "Invented One charges it measurably differently" in page.content.decode()
    chart = client.get(f"/charges/laptop/curves.svg{query}&theme=dark&size=narrow")
    assert chart.status_code == 200
    assert chart.content.startswith(b"<svg")
    again = client.get(
        f"/charges/laptop/curves.svg{query}&theme=dark&size=narrow",
        headers={"If-None-Match": chart["ETag"]},
    )
    assert again.status_code == 304
    picture = client.get(f"/charges/laptop/curves.png{query}&size=film")
    assert (picture["Content-Type"], picture.content[:8]) == ("image/png", b"\x89PNG\r\n\x1a\n")
    assert "/charges/laptop/curves.png?adapter=" in page.content.decode()
    listed = client.get(f"/adapters/{one.slug}/").content.decode()
    assert f"/charges/laptop/?adapter={one.slug}" in listed


def test_a_stretch_of_the_curves_keeps_what_is_laid_over_each_other(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    one, fast = adapter("One"), adapter("Fast")
    charged(one, log(2.0))
    charged(fast, log(3.0))
    laid = f"adapter={one.slug}&adapter={fast.slug}"
    shown = f"{laid}&from=10&to=20&hide=curve_1"
    page = client.get(f"/charges/laptop/?{shown}")
    assert page.status_code == 200
    assert f"curves.svg?{escape(shown)}&amp;size=wide" in page.text
    for tested in (one, fast):
        assert f'<input type="hidden" name="adapter" value="{tested.slug}">' in page.text
    chart = client.get(f"/charges/laptop/curves.svg?{shown}")
    assert 'data-x="10.0 20.0"' in chart.text
    assert chart["ETag"] != client.get(f"/charges/laptop/curves.svg?{laid}")["ETag"]
    for path in ("", "curves.svg"):
        refused = client.get(f"/charges/laptop/{path}?{laid}&hide=curve_2")
        assert refused.status_code == 400
        assert "There is no line “curve_2”" in refused.text


def test_the_numbers_of_an_overlay_are_those_of_its_curves(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    one, fast = adapter("One"), adapter("Fast")
    runs = charged(one, log(2.0)), charged(fast, log(3.0))
    query = f"?adapter={one.slug}&adapter={fast.slug}"
    answer = client.get(f"/charges/laptop/curves.csv{query}")
    heading, *rows = csv.reader(answer.text.splitlines())
    assert heading == ["time_min", "power_w Invented One", "power_w Invented Fast"]
    for column, curve in enumerate(laid(laptop, *runs).curves, start=1):
        given = {float(row[0]): float(row[column]) for row in rows if row[column]}
        assert given == pytest.approx(dict(zip(curve.x, curve.power_w, strict=True)))
    assert answer["Content-Disposition"] == 'attachment; filename="charges-laptop.csv"'
    assert f"/charges/laptop/curves.csv{query}" in unescape(
        client.get(f"/charges/laptop/{query}").text
    )
    assert client.get("/charges/laptop/curves.csv").status_code == 404
    assert client.get("/charges/laptop/curves.csv?adapter=nobody").status_code == 400


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("", 200),
        ("?adapter=nobody", 400),
        ("?by=colour", 400),
        ("?adaptor=one", 400),
        ("?reference=nobody", 400),
        ("?run=nobody", 400),
        ("?run=01a210b3-56e3-72d7-b70f-b43452099e01", 400),
    ],
)
def test_a_wrong_address_says_what_is_wrong(
    client: Client, laptop: Device, query: str, status: int
) -> None:
    assert client.get(f"/charges/laptop/{query}").status_code == status
    assert client.get(f"/charges/laptop/curves.svg{query}").status_code == (
        404 if not query else 400
    )
    assert client.get("/charges/nothing/").status_code == 404


def test_more_curves_than_can_be_told_apart_are_refused(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    made = [adapter(f"Number {number}") for number in range(7)]
    for number, tested in enumerate(made):
        charged(tested, log(2.0 + number / 10))
    query = "&".join(f"adapter={tested.slug}" for tested in made)
    page = client.get(f"/charges/laptop/?{query}")
    assert page.status_code == 400
    assert "at most 6 curves" in page.content.decode()


def test_a_charge_without_any_level_is_drawn_empty_by_level(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    unknown = b"\n".join(row.rsplit(b",", 1)[0] for row in log(2.0).splitlines()[:200])
    run = charged(adapter("Unknown"), unknown)
    chart = client.get(f"/charges/laptop/curves.svg?run={run.pk}&by=level")
    assert chart.status_code == 200
    assert chart.content.startswith(b"<svg")
    other = charged(adapter("One"), log(2.0))
    found = laid(laptop, other, run, by="level")
    assert found.curves[1].not_compared == "the log of Invented Unknown has no battery level"
