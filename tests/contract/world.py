"""A small site for made-up calls: something to find at every address, shown and hidden."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import User
from django.utils import timezone

from brickledger.models import ApiToken
from brickledger.roles import give_role
from catalog.actions import PortFacts, save_device
from catalog.models import Device
from comparisons.actions import publish_comparison, save_comparison
from comparisons.models import Comparison
from measurements.attaching import attach
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log, ready, receive
from tests.factories.pictures import picture
from tests.factories.result_tables import accepted_table, received_table, standby_table

IDENTITIES = ("anonymous", "reader", "reviewer", "editor")


@dataclass(frozen=True, slots=True)
class World:
    """Tokens by identity, and for each variable of an address what it may stand for."""

    tokens: dict[str, str]
    known: dict[str, list[str]]

    def headers(self, identity: str) -> dict[str, str]:
        """What a caller of that identity sends."""
        token = self.tokens.get(identity)
        return {"Authorization": f"Bearer {token}"} if token else {}


def make_world() -> World:
    """Two adapters, one of them under embargo, with runs of several standings, and the rest."""
    tokens = {}
    for role in IDENTITIES[1:]:
        person = User.objects.create_user(username=f"{role}-made-up")
        give_role(person, role)
        tokens[role] = ApiToken.issue(name=role, user=person)
    editor = User.objects.get(username="editor-made-up")
    meter = make_meter()
    solo = make_adapter(ports=(PortFacts("C1", "usb-c", 65.0), PortFacts("A1", "usb-a")))
    duo = make_adapter("Duo 45", rated_power_w=45.0)
    hidden = make_adapter("Later 30", publish_on=timezone.now().date().replace(year=2099))
    save_device(Device(name="Slate tablet", battery_wh=38.0))
    runs: list[Any] = [
        accepted(solo, by=editor, instruments=(meter,)),
        accepted(duo, no_load_log(0.07), by=editor),
        ready(duo, no_load_log(0.08)),
        receive(solo, no_load_log(0.09)),
        accepted(hidden, no_load_log(0.06), by=editor),
    ]
    tables = [
        received_table(standby_table((solo.slug, 0.061, 0.001)), by=editor),
        accepted_table(standby_table((duo.slug, 0.062, 0.001)), by=editor),
    ]
    attach(
        to=solo, content=picture(), kind="photograph", title="Label", file_name="l.png", by=editor
    )
    drafts = [
        save_comparison(
            Comparison(title=title),
            adapters=[solo, duo],
            metrics=["no-load-power", "power-density"],
            conditions={},
            by=editor,
        )
        for title in ("Standby", "Standby of spring")
    ]
    publish_comparison(drafts[1], by=editor)
    return World(
        tokens,
        {
            "adapters": [solo.slug, duo.slug, hidden.slug],
            "comparisons": [draft.slug for draft in drafts],
            "run_id": [str(run.pk) for run in runs],
            "table_id": [str(table.pk) for table in tables],
            "metric": ["no-load-power", "average-efficiency"],
            "maker": ["northfold"],
            "device": ["slate-tablet"],
            "instruments": [meter.name],
        },
    )
