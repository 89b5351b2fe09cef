"""A small site with one thing of each sort, and the way to ask it as anybody."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.contrib import admin
from django.contrib.auth.models import User
from django.core.signals import request_finished
from django.db import close_old_connections, transaction
from django.http import HttpResponse
from django.http.cookie import SimpleCookie
from django.test import Client
from django.urls import URLResolver, get_resolver
from django.utils import timezone

from brickledger.models import ApiToken, SiteNotice
from brickledger.roles import ROLES, give_role
from catalog.models import Adapter, Device, Protocol
from comparisons.actions import publish_comparison, save_comparison
from comparisons.models import Comparison
from measurements.actions import accept_run
from measurements.attaching import attach
from measurements.models import Amendment, FileNamePattern, Run
from tests.brickledger.permission_matrix import HIDDEN, PEOPLE
from tests.comparisons.charging import log as charge_log
from tests.factories.arrivals import arrived, foreign_log
from tests.factories.catalog import make_adapter
from tests.factories.measurements import make_meter, ready
from tests.factories.pictures import picture
from tests.factories.result_tables import accepted_table, received_table, standby_table
from tests.measurements.test_column_maps_of_runs import saved as saved_map

ELSEWHERE = "api/v1/(anything else)"
"""The route that catches whatever else is asked of the API."""

NAMED = {
    ELSEWHERE: "/api/v1/nowhere/",
    "admin/app_list": "/admin/catalog/",
    "admin/(?P<url>.*)$": "/admin/nowhere/",
}
"""Addresses of the patterns that are no plain paths."""

BODIES: dict[str, dict[str, Any]] = {
    "accept": {},
    "publish": {},
    "revise": {},
    "withdraw": {"reason": "Asked by the matrix."},
    "amend": {"reason": "Asked by the matrix.", "changes": {"note": "Asked by the matrix."}},
}
"""Sound bodies of the API by the last word of an address; elsewhere an empty one is refused only
after the question of who asks."""

REACHED = frozenset({400, 409, 411, 412, 413, 415, 428})
"""What a harmless body is told by a call that would have been allowed."""


def routes() -> dict[str, str]:
    """The pattern of every address of the site, with the name of its route."""
    return dict(_walk(get_resolver()))


def _walk(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, str]]:
    for item in resolver.url_patterns:
        pattern = before + str(item.pattern)
        if isinstance(item, URLResolver):
            yield from _walk(item, pattern)
        else:
            renamed = {"api-unknown": ELSEWHERE, "app_list": "admin/app_list"}
            name = item.name or ""
            yield renamed.get(name, pattern), name


@dataclass(slots=True)
class Caller:
    """Somebody who asks, in a browser or with a token."""

    who: str
    role: str
    client: Client
    cookies: SimpleCookie = field(default_factory=SimpleCookie)

    def outcome(self, method: str, address: str) -> str:
        """What a harmless request comes to, in one letter of the table; nothing stays of it."""
        is_api = address.startswith("/api/")
        body: dict[str, Any] = {}
        if method not in ("GET", "HEAD", "OPTIONS"):
            last = address.rstrip("/").rpartition("/")[2]
            body["data"] = BODIES.get(last, {}) if is_api else BODIES["withdraw"]
            if is_api:
                body["content_type"] = "application/json"
        self.client.cookies = SimpleCookie(self.cookies.output(header="", sep=";"))
        with transaction.atomic():
            answer = getattr(self.client, method.lower())(address, **body)
            # As the client does with answers that it closes itself: the database connection stays.
            request_finished.disconnect(close_old_connections)
            answer.close()
            request_finished.connect(close_old_connections)
            transaction.set_rollback(True)
        return letter_of(answer)


def letter_of(answer: HttpResponse) -> str:
    """The letter of the table for an answer; ! for one that stands in no table."""
    status = answer.status_code
    if status == 401 or (status == 302 and re.search("/(sign-in|login)/", answer["Location"])):
        return "S"
    known = {403: "F", 404: "N", 405: "M"}
    return known.get(status) or ("O" if status < 400 or status in REACHED else "!")


@dataclass(slots=True)
class World:
    """The site's content by the names that the addresses give it, and who may ask for it."""

    open_things: dict[str, str]
    queries: dict[str, str]
    hidden_things: dict[str, dict[str, str]]
    browsers: list[Caller]
    programs: list[Caller]

    def address(self, pattern: str, *, hidden: str = "") -> str:
        """The address of a pattern, for the thing that everybody may see or for a hidden one."""
        if pattern in NAMED:
            return NAMED[pattern]
        things = {**self.open_things, **self.hidden_things.get(hidden, {})}
        plain = pattern.removeprefix("api/v1/")

        def filled(found: re.Match[str]) -> str:
            # What a name means may depend on where it stands: adapters/<slug>, devices/<slug>.
            before, name = plain[: plain.index(found[0])].strip("/"), found[1]
            keys = (f"{before}:{name}", f"{before.split('/')[0]}:{name}", name)
            return next(things[key] for key in keys if key in things)

        filled_in = re.sub(r"<(?:\w+:)?(\w+)>", filled, pattern)
        return f"/{filled_in}{self.queries.get(pattern, '')}"


def make_world() -> World:
    """Everything, through the actions that people use."""
    people = {"superuser": User.objects.create_superuser("superuser")}
    for role in ROLES:
        people[role] = User.objects.create_user(role)
        give_role(people[role], role)
    editor, reviewer = people["editor"], people["reviewer"]
    make_meter()
    laptop = Device.objects.create(slug="laptop", name="Invented laptop", battery_wh=40)
    shown = make_adapter("Solo 65")
    run = accept_run(ready(shown, by=editor), by=editor)
    table = accepted_table(standby_table((shown.slug, 0.1, 0.001)), by=editor)
    laid = _charges(shown, laptop, by=editor)
    published = publish_comparison(_comparison("Open", shown, by=editor), by=editor)
    pattern = FileNamePattern.objects.create(pattern="{adapter}_*", made_by=editor)
    ApiToken.issue(name="test", user=people["reader"])
    things = {
        "adapters:slug": shown.slug,
        "other": make_adapter("Duo 65").slug,
        "devices:slug": laptop.slug,
        "comparisons:slug": published.slug,
        "position": "1",
        "metric": "no-load-power",
        "device": laptop.slug,
        "kind": "no-load",
        "run_id": str(run.pk),
        "arrival_id": str(arrived(reviewer, foreign_log(0.05)).pk),
        "table_id": str(table.pk),
        "attachment_id": _attached(shown, by=editor),
        "runs/new/names:pk": str(pattern.pk),
        "runs/new/maps:pk": str(saved_map().pk),
        "account/tokens:pk": str(ApiToken.objects.get().pk),
        "content_type_id": "1",
        "object_id": "1",
    }
    hidden = _hidden(shown, editor=editor, reviewer=reviewer)
    return World(
        open_things={**things, **_rows_of_the_admin(run)},
        hidden_things=hidden,
        queries={f"charges/<slug:device>/curves.{form}": laid for form in ("svg", "png", "csv")},
        browsers=_browsers(people),
        programs=_programs(people),
    )


def _rows_of_the_admin(run: Run) -> dict[str, str]:
    """A row of every table that the admin pages show, by the names of its addresses."""
    SiteNotice.objects.create(text="All data are invented.")
    Protocol.objects.get_or_create(slug="own", defaults={"name": "Own"})
    Amendment.objects.create(run=run, reason="Wrong port.", before={}, after={}, identity="x")
    found: dict[str, str] = {}
    for model in admin.site._registry:
        row = model._default_manager.first()
        assert row is not None, f"The world has no {model._meta.verbose_name}"
        address = f"admin/{model._meta.app_label}/{model._meta.model_name}"
        found |= {f"{address}:object_id": str(row.pk), f"{address}:id": str(row.pk)}
    return found


def _hidden(shown: Adapter, *, editor: User, reviewer: User) -> dict[str, dict[str, str]]:
    """Things that are not public, by the names of the table."""
    secret = make_adapter("Solo 66", publish_on=timezone.now().date() + timedelta(days=30))
    of_secret = accept_run(ready(secret, by=editor), by=editor)
    own = ready(make_adapter("Solo 67"), by=reviewer)
    rejected = ready(make_adapter("Solo 68"), b"time_s,input_power_w\n0,x\n", by=reviewer)
    others = ready(make_adapter("Solo 69"), by=editor)
    table = received_table(standby_table((shown.slug, 0.2, 0.001)), by=editor)
    under_embargo, provisional, with_problems, not_let_out = HIDDEN
    return {
        under_embargo: {
            "adapters:slug": secret.slug,
            "run_id": str(of_secret.pk),
            "attachment_id": _attached(secret, by=editor),
        },
        provisional: {"run_id": str(own.pk)},
        with_problems: {"run_id": str(rejected.pk)},
        not_let_out: {
            "run_id": str(others.pk),
            "arrival_id": str(arrived(editor, foreign_log(0.06)).pk),
            "table_id": str(table.pk),
            "comparisons:slug": _comparison("Draft", shown, by=editor).slug,
        },
    }


def _browsers(people: dict[str, User]) -> list[Caller]:
    callers = []
    for who in PEOPLE:
        client = Client(raise_request_exception=False)
        if who != "anonymous":
            client.force_login(people[who])
        callers.append(Caller(who, who, client, client.cookies))
    return callers


def _programs(people: dict[str, User]) -> list[Caller]:
    """A token of each role with the account of that role, and a superuser's for reading."""
    callers = []
    for account, role in [*((role, role) for role in ROLES), ("superuser", "reader")]:
        key = ApiToken.issue(name="test", user=people[account], role=role)
        client = Client(raise_request_exception=False, headers={"Authorization": f"Bearer {key}"})
        callers.append(Caller(f"{role} token of {account}", role, client))
    return callers


def _charges(adapter: Adapter, device: Device, *, by: User) -> str:
    """Two charges that may be laid over each other; the query that asks for them."""
    said: dict[str, Any] = {"kind": "charge", "mains_v": None, "by": by}
    runs = [
        accept_run(
            ready(adapter, charge_log(amperes), method_fields={"device": device.slug}, **said),
            by=by,
        )
        for amperes in (3.0, 2.0)
    ]
    return "?" + "&".join(f"run={run.pk}" for run in runs)


def _attached(to: Adapter, *, by: User) -> str:
    said = {"kind": "photograph", "title": "Label", "file_name": "a.png"}
    return str(attach(picture(), to=to, by=by, **said).attachment.pk)


def _comparison(title: str, *adapters: Adapter, by: User) -> Comparison:
    return save_comparison(
        Comparison(title=title, blocks=["charges:laptop"]),
        adapters=adapters,
        metrics=["no-load-power"],
        conditions={},
        by=by,
    )
