"""What stands of tables of results, and what they never touch."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from catalog.actions import save_adapter
from catalog.models import Adapter
from measurements.actions import Refused, withdraw_run
from measurements.models import Ledger, ResultTable, Value
from measurements.queries.result_tables import table_page
from measurements.result_tables import accept_table, withdraw_table
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log
from tests.factories.result_tables import accepted_table, bring, received_table, standby_table

pytestmark = pytest.mark.django_db

SOLO = "northfold-solo-65"
FIRST = standby_table((SOLO, 0.05, 0.001))
SECOND = standby_table((SOLO, 0.06, None))


@pytest.fixture
def adapter() -> Adapter:
    return make_adapter()


def standing() -> list[float]:
    return list(Value.objects.of_tables().current().values_list("value", flat=True))


def test_nothing_stands_before_an_editor_accepts(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    table = received_table(FIRST, by=reviewer)
    assert standing() == []
    with pytest.raises(PermissionError):
        accept_table(table, by=reviewer)
    stamp = Ledger.read()
    accept_table(table, by=editor)
    assert standing() == [0.05]
    assert Ledger.read() != stamp
    with pytest.raises(Refused, match="accepted already"):
        accept_table(table, by=editor)


def test_a_later_table_replaces_and_its_withdrawal_reinstates(
    adapter: Adapter, editor: User
) -> None:
    first, second = accepted_table(FIRST, by=editor), accepted_table(SECOND, by=editor)
    assert standing() == [0.06]
    assert [row.fate for row in table_page(first.pk, viewer=editor).rows] == [  # type: ignore[union-attr]
        "replaced by a later table"
    ]
    with pytest.raises(Refused, match="Say why"):
        withdraw_table(second, by=editor, reason=" ")
    withdraw_table(second, by=editor, reason="Typed from memory.")
    assert standing() == [0.05]
    page = table_page(first.pk, viewer=None)
    assert page is not None
    assert [row.fate for row in page.rows] == ["stands"]  # one line, though it stood twice
    assert table_page(second.pk, viewer=None) is None
    again = bring(SECOND, by=editor)
    assert again.created
    assert again.table is not None
    accept_table(again.table, by=editor)
    assert standing() == [0.06]


def test_the_same_file_is_the_table_that_is_there_read_anew_while_provisional(
    adapter: Adapter, reviewer: User, editor: User
) -> None:
    content = standby_table((SOLO, 0.05, None), ("northfold-solo-99", 0.07, None))
    table = received_table(content, by=reviewer)
    assert (table.rows_read, table.rows_refused) == (2, 1)
    make_adapter("Solo 99")
    again = bring(content, by=reviewer)
    assert (again.created, again.table) == (False, table)
    table.refresh_from_db()
    assert (table.rows_refused, table.values.count()) == (0, 2)
    accept_table(table, by=editor)
    assert not bring(content, by=reviewer).created
    assert len(standing()) == 2


def test_runs_and_tables_leave_each_other_alone(adapter: Adapter, editor: User) -> None:
    first = accepted(adapter, no_load_log(0.04), by=editor)
    table = accepted_table(FIRST, by=editor)
    second = accepted(adapter, no_load_log(0.03), by=editor)
    measured = Value.objects.measured().current().filter(metric="no-load-power")
    assert measured.get().run == second
    withdraw_run(second, by=editor, reason="Wrong unit.")
    assert measured.get().run == first  # a result of a table keeps no place from it
    assert standing() == [0.05]
    withdraw_table(table, by=editor, reason="Doubt.")
    assert measured.get().run == first


def test_the_catalogue_leaves_results_of_tables_alone(adapter: Adapter, editor: User) -> None:
    head = "adapter,metric,line,value,standard_uncertainty"
    content = f"{head}\n{SOLO},power-density,,0.5,\n{SOLO},no-load-power,high,0.05,\n".encode()
    accepted_table(content, by=editor)
    adapter.mass_g = 150.0
    save_adapter(adapter)
    assert sorted(standing()) == [0.05, 0.5]
    density = Value.objects.measured().current().get(metric="power-density")
    assert density.value != 0.5


def test_the_database_holds_the_rules(adapter: Adapter, editor: User) -> None:
    accepted_table(FIRST, by=editor)
    row = Value.objects.of_tables().get()
    for change in (
        {"pk": None},  # two that stand in one place
        {"table_row": None},
        {"table": None, "table_row": None, "uncertainty_known": False},
        {"uncertainty_known": False},  # and yet with an uncertainty
    ):
        wrong = Value.objects.get(pk=row.pk)
        for name, value in change.items():
            setattr(wrong, name, value)
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong.save()
    assert ResultTable.objects.count() == 1
