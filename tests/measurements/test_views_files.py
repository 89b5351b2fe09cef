"""What a run gives as a file: raw bytes that nothing runs, the trace, the chart."""

from __future__ import annotations

import csv
import io
from xml.etree import ElementTree

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from measurements import queries
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log, receive

pytestmark = pytest.mark.django_db


def address(name: str, run: Run) -> str:
    return reverse(name, args=[run.pk])


def test_raw_bytes_come_back_as_they_came_and_are_only_saved(client: Client, editor: User) -> None:
    content = no_load_log(0.05)
    run = accepted(make_adapter(), content, by=editor)

    answer = client.get(address("run-raw", run))

    assert b"".join(answer) == content
    assert answer.headers["Content-Type"] == "application/octet-stream"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="log.csv"'
    assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("sent", "given"),
    [
        # The encoded form is the example of RFC 6266, section 5.
        ("€ rates", "attachment; filename*=utf-8''%E2%82%AC%20rates"),
        ("../../etc/passwd", 'attachment; filename="etcpasswd"'),
        ("a\r\nSet-Cookie: x=1.csv", 'attachment; filename="aSet-Cookie: x=1.csv"'),
        ('say "hi".csv', 'attachment; filename="say hi.csv"'),
    ],
)
def test_no_file_name_harms_a_header_or_a_folder(
    client: Client, editor: User, sent: str, given: str
) -> None:
    run = accepted(make_adapter(), by=editor, file_name=sent)

    answer = client.get(address("run-raw", run))

    assert answer.headers["Content-Disposition"] == given
    answer.close()


def test_a_name_of_nothing_but_dots_is_replaced(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor, file_name="...")

    answer = client.get(address("run-raw", run))

    assert f"{run.raw_id[:12]}.bin" in answer.headers["Content-Disposition"]
    answer.close()


def test_a_raw_file_that_is_missing_is_said_to_be(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    queries.raw_store().path(run.raw_id).unlink()

    answer = client.get(address("run-raw", run))

    assert answer.status_code == 503
    assert "verify_store" in answer.text


def test_the_trace_is_csv_with_empty_cells_for_gaps(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    Run.objects.filter(pk=run.pk).update(
        trace={"time_min": [0.0, 1.5, 3.0], "=cmd_c": [20.25, None, 21.0]}
    )

    answer = client.get(address("run-trace-csv", run))

    assert list(csv.reader(io.StringIO(answer.text))) == [
        ["time_min", "'=cmd_c"],
        ["0.0", "20.25"],
        ["1.5", ""],
        ["3.0", "21.0"],
    ]
    assert answer.headers["Content-Disposition"].startswith("attachment")


def test_the_chart_is_svg_for_both_themes_and_kept_by_the_browser(
    client: Client, editor: User
) -> None:
    run = accepted(make_adapter(), by=editor)
    light = client.get(address("run-chart", run))
    dark = client.get(address("run-chart", run), {"theme": "dark", "size": "narrow"})

    for answer in (light, dark):
        assert answer.headers["Content-Type"] == "image/svg+xml"
        assert answer.headers["Cache-Control"] == "private, no-cache"
        assert ElementTree.fromstring(answer.text).tag.endswith("}svg")
    assert light.headers["ETag"] != dark.headers["ETag"]
    again = client.get(address("run-chart", run), headers={"If-None-Match": light.headers["ETag"]})
    assert again.status_code == 304


def test_a_chart_is_drawn_for_a_stretch_and_without_a_line(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    chart = address("run-chart", run)
    whole = client.get(chart)
    part = client.get(chart, {"from": "2", "to": "5"})
    less = client.get(chart, {"hide": "input_power_w"})
    assert ElementTree.fromstring(part.text).get("data-x") == "2.0 5.0"
    assert len({answer.headers["ETag"] for answer in (whole, part, less)}) == 3
    picture = client.get(address("run-chart-png", run), {"from": "2", "to": "5"})
    assert picture.content[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"from": "5", "to": "2"}, "5 is not less than 2"),
        ({"from": "soon"}, "“from” is a number"),
        ({"from": "9e9"}, "lies outside"),
        ({"hide": "<b>"}, "no line “<b>”"),
    ],
)
def test_a_stretch_that_there_is_not_is_a_400_that_says_so(
    client: Client, editor: User, query: dict[str, str], said: str
) -> None:
    run = accepted(make_adapter(), by=editor)
    drawing = client.get(address("run-chart", run), query)
    assert (drawing.status_code, said in drawing.text) == (400, True)
    assert drawing.headers["Content-Type"].startswith("text/plain")
    page = client.get(run.get_absolute_url(), query)
    assert page.status_code == 400
    assert f"The whole chart is shown: {escape(drawing.text)}" in page.text
    assert f'src="{address("run-chart", run)}?size=wide"' in page.text


def test_the_page_of_a_run_shows_and_offers_the_stretch_of_its_address(
    client: Client, editor: User
) -> None:
    run = accepted(make_adapter(), by=editor)
    page = client.get(run.get_absolute_url(), {"from": "2", "to": "6", "stray": "1"}).text
    chart = address("run-chart", run)
    assert page.count(f"{chart}?from=2&amp;to=6&amp;") == 8
    figure = page.partition("data-chart")[2].partition("</figure>")[0]
    assert "stray" not in figure
    # Half and twice of it, around the middle.
    assert 'data-zoom="closer" href="?from=3&amp;to=5"' in page
    assert 'data-zoom="wider" href="?from=0&amp;to=8"' in page
    assert 'data-zoom="whole" href="?"' in page
    assert ">2 to 6 of 0 to " in page
    for name, value in (("from", "2"), ("to", "6")):
        assert f'<input name="{name}" value="{value}"' in page


def test_a_recomputed_run_is_drawn_anew(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    etag = client.get(address("run-chart", run)).headers["ETag"]
    Run.objects.filter(pk=run.pk).update(fence=run.fence + 1)

    answer = client.get(address("run-chart", run), headers={"If-None-Match": etag})

    assert answer.status_code == 200


@pytest.mark.parametrize("query", [{"theme": "pink"}, {"size": "huge"}, {"colour": "red"}])
def test_a_chart_of_another_kind_is_a_400(
    client: Client, editor: User, query: dict[str, str]
) -> None:
    run = accepted(make_adapter(), by=editor)

    assert client.get(address("run-chart", run), query).status_code == 400


def test_a_run_that_is_not_computed_has_neither_chart_nor_trace(
    client: Client, editor: User
) -> None:
    run = receive(make_adapter(), by=editor)
    client.force_login(editor)

    assert client.get(address("run-chart", run)).status_code == 404
    assert client.get(address("run-trace-csv", run)).status_code == 404
    raw = client.get(address("run-raw", run))
    assert raw.status_code == 200
    raw.close()
