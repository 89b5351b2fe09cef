"""The plan of an adapter: what is asked for, what is done, and the sheet that comes back."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from catalog.actions import PortFacts
from catalog.models import Adapter
from measurements import forms, kinds, processing, queries
from measurements.actions import accept_run, withdraw_run
from measurements.confined.work import look
from measurements.intake.columns import Column, Table
from measurements.kinds import get_kind
from measurements.kinds.base import Details, Field, Kind, Outcome, PlannedRun, Setup
from measurements.management import bulk, sheets
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log, ready, receive

pytestmark = pytest.mark.django_db

OPEN = None
EFFICIENCY_COLUMNS = (
    "output_nominal_v",
    "load_percent",
    "input_power_w",
    "output_voltage_v",
    "output_current_a",
)


def plan_of_standby(_: Setup) -> tuple[PlannedRun, ...]:
    """Two logs."""
    return tuple(
        PlannedRun(
            title=f"Standby, {mains_v:g} V mains",
            fields={"mains_v": mains_v, "mains_hz": hertz},
            columns=("time_s", "input_power_w"),
            rows=((0.0, None),),
            log=True,
            note="At least 15 minutes.",
        )
        for mains_v, hertz in ((230.0, 50.0), (115.0, 60.0))
    )


def plan_of_sweeps(given: Setup) -> tuple[PlannedRun, ...]:
    """One sweep an output voltage on the first port."""
    return tuple(
        PlannedRun(
            title=f"Sweep at {output_v:g} V on {given.adapter.ports[0].label}",
            fields={"mains_v": 230.0, "mains_hz": 50.0, "port": given.adapter.ports[0].label},
            columns=EFFICIENCY_COLUMNS,
            rows=tuple((output_v, load, None, None, None) for load in (100.0, 50.0, 25.0)),
        )
        for output_v in (20.0, 9.0)
    )


def plan_of_words(given: Setup) -> tuple[PlannedRun, ...]:
    """Words of every port, and none of the mains."""
    return (
        PlannedRun(
            title="What the ports say",
            fields={"device": ""},
            columns=("port", "word"),
            rows=tuple((port.label, None) for port in given.adapter.ports),
        ),
    )


seen: list[Table] = []


def nothing_of(table: Table, _: Setup) -> Outcome:
    """Compute nothing, and remember what was there to compute from."""
    seen.append(table)
    points = [{"port": port} for port in table.texts["port"]]
    return Outcome((), (), (), {"x": np.array([0.0])}, None, Details(facts={"points": points}))


WORDS = Kind(
    slug="words",
    title="Words of a port",
    summary="A made-up method.",
    columns=(
        Column("port", "Port", "", type="text"),
        Column("word", "Word", "", type="text"),
    ),
    metrics=(),
    check=lambda table, setup: (),
    measure=nothing_of,
    quantities=(),
    cautions=("Mind the words.",),
    fields=(Field("device", "Device", "", type="text"),),
    needs_mains=False,
    plan=plan_of_words,
)


@pytest.fixture(autouse=True)
def made_up(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Two real kinds with plans of this test's own, and one that is made up."""
    planned = (
        replace(get_kind("efficiency"), plan=plan_of_sweeps),
        replace(get_kind("no-load"), plan=plan_of_standby),
        WORDS,
    )
    for module in (kinds, forms, queries.plans, sheets, bulk):
        monkeypatch.setattr(module, "all_kinds", lambda: planned)
    # A process of its own would not know the made-up kind.
    monkeypatch.setattr(processing, "examine", lambda job, **_: look(job, told=lambda _words: None))
    seen.clear()
    # Metrics are remembered: those of these kinds while they are there, and no longer.
    kinds.all_metrics.cache_clear()
    yield
    kinds.all_metrics.cache_clear()


@pytest.fixture
def adapter(db: None) -> Adapter:
    return make_adapter(ports=(PortFacts("C1", "usb-c", 65.0), PortFacts("A1", "usb-a")))


def planned(adapter: Adapter, viewer: Any) -> dict[str, queries.Planned]:
    return {item.asked.title: item for item in queries.planned_runs(adapter, viewer=viewer)}


def states(adapter: Adapter, viewer: Any) -> dict[str, str]:
    return {title: item.state for title, item in planned(adapter, viewer).items()}


def sweep_log(*voltages: float, loads: tuple[int, ...] = (25, 50, 100)) -> bytes:
    rows = [
        f"{v:g},{load},{v * 3.25 * load / 90:.4f},{v:g},{3.25 * load / 100:.4f}"
        for v in voltages
        for load in loads
    ]
    heading = "output_nominal_v,load_percent,input_power_w,output_voltage_v,output_current_a"
    return "\n".join([heading, *rows, ""]).encode("ascii")


# what is done


def test_everything_is_missing_at_first(adapter: Adapter, reviewer: User) -> None:
    assert set(states(adapter, reviewer).values()) == {"missing"}
    assert list(states(adapter, reviewer)) == [
        "Sweep at 20 V on C1",
        "Sweep at 9 V on C1",
        "Standby, 230 V mains",
        "Standby, 115 V mains",
        "What the ports say",
    ]


def test_a_run_answers_what_was_asked_on_its_line_and_stands_when_accepted(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    run = receive(adapter, mains_v=229.6)
    assert states(adapter, reviewer)["Standby, 230 V mains"] == "waiting"
    assert states(adapter, reviewer)["Standby, 115 V mains"] == "missing"
    processing.compute(run.pk)
    accept_run(run, by=editor)
    assert states(adapter, reviewer)["Standby, 230 V mains"] == "accepted"
    # A newer run that waits does not hide the one that stands.
    receive(adapter, no_load_log(0.07), mains_v=230.0)
    assert states(adapter, reviewer)["Standby, 230 V mains"] == "accepted"
    withdraw_run(run, reason="wrong unit", by=editor)
    assert states(adapter, reviewer)["Standby, 230 V mains"] == "waiting"


def test_what_was_rejected_or_belongs_to_another_adapter_answers_nothing(
    adapter: Adapter, reviewer: User
) -> None:
    assert ready(adapter, b"time_s,input_power_w\n0,-1\n1,-1\n").state == Run.State.REJECTED
    receive(make_adapter("Solo 30", rated_power_w=30.0))
    assert states(adapter, reviewer)["Standby, 230 V mains"] == "missing"


def test_a_planned_port_and_a_planned_voltage_must_have_been_measured(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    c1, a1 = adapter.ports.order_by("position")
    ready(adapter, sweep_log(9), kind="efficiency", port=a1)
    assert states(adapter, reviewer)["Sweep at 9 V on C1"] == "missing"
    accepted(adapter, sweep_log(9, 15), kind="efficiency", port=c1, by=editor)
    found = states(adapter, reviewer)
    assert found["Sweep at 9 V on C1"] == "accepted"
    assert found["Sweep at 20 V on C1"] == "missing"


def test_a_run_without_every_planned_point_answers_in_part(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    c1 = adapter.ports.get(label="C1")
    accepted(adapter, sweep_log(20, 9, loads=(25, 100)), kind="efficiency", port=c1, by=editor)
    found = planned(adapter, reviewer)["Sweep at 20 V on C1"]
    # The plan has 100, 50 and 25 %.
    assert (found.state, found.lacking) == ("partly", (1,))
    assert states(adapter, reviewer)["Sweep at 9 V on C1"] == "partly"
    # What lacks may come with another run, and counts once that is accepted.
    rest = ready(adapter, sweep_log(20, loads=(50, 100)), kind="efficiency", port=c1)
    found = planned(adapter, reviewer)["Sweep at 20 V on C1"]
    assert (found.state, found.lacking) == ("waiting", ())
    accept_run(rest, by=editor)
    assert states(adapter, reviewer)["Sweep at 20 V on C1"] == "accepted"
    assert states(adapter, reviewer)["Sweep at 9 V on C1"] == "partly"


def test_a_run_with_every_point_is_shown_before_one_with_some(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    c1 = adapter.ports.get(label="C1")
    whole = accepted(adapter, sweep_log(20), kind="efficiency", port=c1, by=editor)
    ready(adapter, sweep_log(20, loads=(25, 100)), kind="efficiency", port=c1)
    found = planned(adapter, reviewer)["Sweep at 20 V on C1"]
    assert (found.state, found.run) == ("accepted", whole)


def test_every_planned_pair_of_words_must_be_there(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    one = b"port,word\nC1,0x0001912C\n"
    run = ready(adapter, one, kind="words", mains_v=None)
    assert run.state == Run.State.READY
    found = planned(adapter, reviewer)["What the ports say"]
    assert (found.state, found.lacking) == ("partly", (1,))
    both = one + b"A1,0x0001912C\n"
    accepted(adapter, both, kind="words", mains_v=None, by=editor)
    assert states(adapter, reviewer)["What the ports say"] == "accepted"


def test_a_planned_device_must_be_the_one_measured_with(
    adapter: Adapter, reviewer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = PlannedRun("Words of a laptop", {"device": "laptop"}, ("port", "word"), ())
    kind = replace(WORDS, plan=lambda given: (asked,))
    monkeypatch.setattr(queries.plans, "all_kinds", lambda: (kind,))
    receive(adapter, b"x", kind="words", method_fields={"device": "phone"}, mains_v=None)
    assert states(adapter, reviewer) == {"Words of a laptop": "missing"}
    receive(adapter, b"x", kind="words", method_fields={"device": "laptop"}, mains_v=None)
    assert states(adapter, reviewer) == {"Words of a laptop": "waiting"}


def test_a_plan_takes_the_same_queries_however_many_runs_there_are(
    adapter: Adapter, reviewer: User, django_assert_max_num_queries: Any
) -> None:
    for minute in range(5):
        receive(adapter, no_load_log(0.05 + minute / 100))
    with django_assert_max_num_queries(10):
        states(adapter, reviewer)


# the page


def plan_page(adapter: Adapter) -> str:
    return reverse("adapter-plan", args=[adapter.slug])


def test_only_who_may_hand_in_runs_sees_a_plan(
    client: Client, adapter: Adapter, person: Callable[[str], User]
) -> None:
    for name in ("adapter-plan", "adapter-plan-sheet"):
        address = reverse(name, args=[adapter.slug])
        client.logout()
        assert client.get(address).headers["Location"].startswith(reverse("sign-in"))
        client.force_login(person("reader"))
        assert client.get(address).status_code == 403
        client.force_login(person("reviewer"))
        assert client.get(address).status_code == 200
        assert client.post(address).status_code == 405
        assert client.get(address.replace(adapter.slug, "nothing")).status_code == 404


def test_the_page_says_what_is_missing_and_puts_cautions_before_points(
    client: Client, adapter: Adapter, reviewer: User
) -> None:
    run = receive(adapter, mains_v=115.0)
    client.force_login(reviewer)
    page = client.get(plan_page(adapter))
    text = page.text
    assert "0 of 5 planned runs are accepted, 1 waits to be judged, 4 are missing" in text
    assert run.get_absolute_url() in text
    for kind in (get_kind("efficiency"), get_kind("no-load"), WORDS):
        section = text[text.index(f'id="plan-{kind.slug}"') :]
        assert section.index("Before you start") < section.index("<h3>")
        assert section.index("Before you start") < section.index("<table>")
    assert "Conditions: mains 230\u00a0V, 50\u00a0Hz, port C1." in text
    assert "At least 15 minutes." in text


def test_the_page_names_the_points_that_lack(
    client: Client, adapter: Adapter, reviewer: User, editor: User
) -> None:
    c1 = adapter.ports.get(label="C1")
    accepted(adapter, sweep_log(20, loads=(25, 100)), kind="efficiency", port=c1, by=editor)
    client.force_login(reviewer)
    text = client.get(plan_page(adapter)).text
    assert "0 of 5 planned runs are accepted, 1 is there in part, 4 are missing" in text
    assert "<strong>Partly</strong>" in text
    lacking = "2 of 3 points; to measure: 20\u00a0V, 50\u00a0%"
    assert f"Sweep at 20 V on C1: {lacking}" in text
    assert f"There are {lacking}." in text


def test_the_link_to_the_upload_carries_what_was_planned(
    client: Client, adapter: Adapter, reviewer: User
) -> None:
    client.force_login(reviewer)
    sections = client.get(plan_page(adapter)).context["sections"]
    upload = sections[0].asked[0].upload
    assert parse_qs(urlsplit(upload).query) == {
        "adapter": [adapter.slug],
        "kind": ["efficiency"],
        "mains_v": ["230"],
        "mains_hz": ["50"],
        "port": ["C1"],
    }
    assert client.get(upload).status_code == 200


def test_an_adapter_without_plans_is_told_so(
    client: Client, adapter: Adapter, reviewer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        queries.plans, "all_kinds", lambda: (replace(WORDS, plan=lambda given: ()),)
    )
    client.force_login(reviewer)
    assert "No method plans a run of this adapter" in client.get(plan_page(adapter)).text


# the sheet


def sheet_at(path: Path, adapter: Adapter) -> Path:
    call_command("sheet", adapter.slug, out=path, stdout=io.StringIO())
    return path


def table(sheet: Worksheet) -> list[dict[str, Any]]:
    rows = list(sheet.iter_rows(values_only=True))
    return [dict(zip(map(str, rows[0]), row, strict=True)) for row in rows[1:]]


def test_the_sheet_lists_every_planned_run_with_its_worksheet(
    adapter: Adapter, tmp_path: Path
) -> None:
    book = load_workbook(sheet_at(tmp_path / "plan.xlsx", adapter))
    runs = table(book["runs"])
    assert book.sheetnames[:2] == ["runs", "Read me first"]
    assert [row["file"] for row in runs] == book.sheetnames[2:]
    assert list(runs[0]) == [
        *("adapter", "kind", "file", "planned", "unit", "measured_at", "mains_v", "mains_hz"),
        *("ambient_c", "port", "instruments", "note"),
        *(field.name for kind in kinds.all_kinds() for field in kind.fields),
        "fill_in",
    ]
    assert (runs[0]["mains_v"], runs[0]["mains_hz"], runs[0]["port"]) == (230, 50, "C1")
    assert runs[0]["fill_in"] == "input_power_w; output_voltage_v; output_current_a"
    assert table(book["1 Sweep at 20 V on C1"])[0] == {
        "output_nominal_v": 20,
        "load_percent": 100,
        "input_power_w": OPEN,
        "output_voltage_v": OPEN,
        "output_current_a": OPEN,
    }
    assert table(book["3 Standby, 230 V mains"]) == []
    assert book["runs"].freeze_panes == "E2"


def test_cautions_open_first_and_stand_before_the_list_of_worksheets(
    adapter: Adapter, tmp_path: Path
) -> None:
    book = load_workbook(sheet_at(tmp_path / "plan.xlsx", adapter))
    assert book.active is not None
    assert book.active.title == "Read me first"
    lines = [str(row[0]) for row in book["Read me first"].iter_rows(values_only=True)]
    place = {line: at for at, line in enumerate(lines)}
    for kind in (get_kind("efficiency"), get_kind("no-load"), WORDS):
        for caution in kind.cautions:
            assert place[caution] < place["How to fill in"] < place[f"Worksheets: {kind.title}"]
    assert any("not a certification" in line for line in lines)
    assert any("At least 15 minutes." in line for line in lines)


def test_page_and_command_give_the_same_cells(
    client: Client, adapter: Adapter, reviewer: User, tmp_path: Path
) -> None:
    client.force_login(reviewer)
    answer = client.get(reverse("adapter-plan-sheet", args=[adapter.slug]))
    assert answer["Content-Type"].startswith("application/vnd.openxmlformats-officedocument")
    assert f'filename="{adapter.slug}-plan.xlsx"' in answer["Content-Disposition"]
    sent = load_workbook(io.BytesIO(answer.content))
    written = load_workbook(sheet_at(tmp_path / "plan.xlsx", adapter))
    assert sent.sheetnames == written.sheetnames
    for name in sent.sheetnames:
        assert list(sent[name].values) == list(written[name].values)


def test_the_command_overwrites_nothing_and_knows_its_adapters(
    adapter: Adapter, tmp_path: Path
) -> None:
    filled = tmp_path / "plan.xlsx"
    filled.write_bytes(b"readings of a day")
    with pytest.raises(CommandError, match="may be filled in already"):
        sheet_at(filled, adapter)
    assert filled.read_bytes() == b"readings of a day"
    with pytest.raises(CommandError, match="No adapter is called “nothing”"):
        call_command("sheet", "nothing")
    with pytest.raises(CommandError, match="cannot be written"):
        sheet_at(tmp_path / "absent" / "plan.xlsx", adapter)


def test_a_sheet_nobody_wrote_into_hands_in_nothing(adapter: Adapter, tmp_path: Path) -> None:
    out = io.StringIO()
    call_command("intake", sheet_at(tmp_path / "plan.xlsx", adapter), stdout=out)
    assert out.getvalue() == ("0 read: 0 taken in, 0 already there, 0 refused, 5 not filled in.\n")
    assert not Run.objects.exists()


def test_a_filled_in_sheet_comes_back_as_runs_that_compute(
    adapter: Adapter, tmp_path: Path
) -> None:
    make_meter()
    path = sheet_at(tmp_path / "plan.xlsx", adapter)
    book = load_workbook(path)
    sweep = book["1 Sweep at 20 V on C1"]
    for row, load in ((2, 1.0), (4, 0.25)):
        sweep.cell(row, 3, 65 * load / 0.9)
        sweep.cell(row, 4, 20.0)
        sweep.cell(row, 5, 3.25 * load)
    standby = book["4 Standby, 115 V mains"]
    for second in range(901):
        standby.append([second, 0.05 + second % 2 / 1000])
    words = book["5 What the ports say"]
    words["B2"] = "0x0001912C"
    runs = book["runs"]
    heading = {cell.value: at for at, cell in enumerate(runs[1], start=1)}
    runs.cell(2, heading["instruments"], "Bench meter")
    runs.cell(2, heading["ambient_c"], 24.5)
    runs.cell(2, heading["lead_resistance_ohm"], 0.012)
    runs.cell(2, heading["measured_at"], "2026-04-04 14:30")
    runs.cell(5, heading["mains_v"], 114.6)
    book.save(path)

    out = io.StringIO()
    call_command("intake", path, stdout=out)
    assert out.getvalue() == "3 read: 3 taken in, 0 already there, 0 refused, 2 not filled in.\n"

    by_kind = {run.kind: run for run in Run.objects.all()}
    for run in by_kind.values():
        processing.compute(run.pk)
        run.refresh_from_db()
        assert (run.state, run.problems) == (Run.State.READY, [])
    sweep_run = by_kind["efficiency"]
    assert sweep_run.file_name == "plan.xlsx – 1 Sweep at 20 V on C1.csv"
    assert (sweep_run.mains_v, sweep_run.mains_hz, sweep_run.ambient_c) == (230.0, 50.0, 24.5)
    assert sweep_run.port is not None
    assert sweep_run.port.label == "C1"
    assert sweep_run.method_fields == {"lead_resistance_ohm": 0.012}
    assert sweep_run.measured_at is not None
    assert sweep_run.measured_at.isoformat() == "2026-04-04T14:30:00+00:00"
    assert [item.name for item in sweep_run.instruments.all()] == ["Bench meter"]
    points = sweep_run.values.filter(metric="efficiency").order_by("load_percent")
    # Closed form: 90 %, and the loss in the leads given back, I²R of U·I.
    assert {point.load_percent: point.value for point in points} == pytest.approx(
        {25.0: 90 * (1 + 0.25 * 3.25 * 0.012 / 20), 100.0: 90 * (1 + 3.25 * 0.012 / 20)}
    )
    # The point that was not measured keeps its line, empty.
    raw = queries.raw_store().path(sweep_run.raw_id).read_text("utf-8").splitlines()
    assert raw[0] == ",".join(EFFICIENCY_COLUMNS)
    assert raw[1].startswith("20,100,72.2222")
    assert raw[1].endswith(",20,3.25")
    assert raw[2] == ""
    assert by_kind["no-load"].line == "low"
    assert by_kind["no-load"].mains_v == 114.6
    assert by_kind["words"].mains_v is None
    assert seen[0].texts == {"port": ("C1",), "word": ("0x0001912C",)}

    again = io.StringIO()
    path.rename(tmp_path / "renamed.xlsx")
    call_command("intake", tmp_path / "renamed.xlsx", stdout=again)
    assert "0 taken in, 3 already there, 0 refused, 2 not filled in" in again.getvalue()


def test_a_run_of_an_adapter_with_one_port_need_not_name_it(reviewer: User) -> None:
    solo = make_adapter("Uno 65")
    title = "Sweep at 20 V on C1"
    assert states(solo, reviewer)[title] == "missing"
    ready(solo, sweep_log(20.0), kind="efficiency")
    assert states(solo, reviewer)[title] == "waiting"
