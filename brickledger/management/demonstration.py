"""The invented bench, put on the site the way people would do it: catalogue, uploads, verdicts.

Everything here may be repeated: what is there already is left alone.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from typing import Any
from uuid import UUID

from django.contrib.auth.models import User
from django.db import transaction

from brickledger.models import ApiToken, SiteNotice
from brickledger.roles import ROLES, give_role
from catalog.actions import ClaimFacts, PortFacts, get_maker, get_unit, save_adapter
from catalog.models import Adapter, Device
from comparisons.actions import content_to_publish, publish_comparison, save_comparison
from comparisons.models import Comparison
from comparisons.queries.contents import seal_of
from fixtures.scenario import DemoAdapter, DemoRun, Scenario, scenario
from measurements.actions import accept_run, receive_run, withdraw_run
from measurements.forms import RunForm
from measurements.models import Instrument, Run

NOTICE = (
    "Invented demonstration data: every maker, adapter, person and number on this site is made up."
)
TOKEN_NAME = "demonstration"
COMPARISON_TITLE = "Four adapters for a large laptop"
COMPARED_METRICS = ("no-load-power", "average-efficiency", "thermal-headroom", "power-density")
COMPARED_ADAPTERS = 4
COMPARED_BLOCKS = ("charges:hayrick-light-laptop", "efficiency:high:20", "sharing:high")
REMARK = "The published limit lies within its uncertainty, so the verdict on it is undecided."
STALLED_AFTER_S = 60.0
LOOK_EVERY_S = 0.25
ACCEPTED_AT_ONCE = 40

# What the adapter row takes from the scenario under the same name.
_COPIED = {item.name for item in fields(DemoAdapter)} - {
    *("maker", "slug", "ports", "claims", "unit_serials")
}


class Unfit(Exception):
    """The demonstration cannot go on; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Sent:
    """A raw log on the site, and what the bench does with its run once it is computed."""

    run_id: UUID
    then: str
    reason: str


@dataclass(frozen=True, slots=True)
class Account:
    """An account of the demonstration with the password it has from now on."""

    username: str
    password: str


def require_fit_database(*, adapters: int) -> None:
    """Raise `Unfit` when the database holds adapters or people not of the demonstration."""
    held = set(Adapter.objects.values_list("slug", flat=True))
    invented = {item.slug for item in scenario(adapters=max(adapters, len(held), 3)).adapters}
    if foreign := sorted(held - invented):
        raise Unfit(
            f"This database holds adapters of its own ({foreign[0]} and {len(foreign) - 1} more); "
            "invented data would mix with them. Set BRICKLEDGER_DATA_DIR (or DATABASE_URL) to "
            "an empty place and run the demonstration there."
        )

    if not SiteNotice.objects.filter(text=NOTICE).exists():
        taken = User.objects.filter(username__in=ROLES).values_list("username", flat=True).first()
        if taken is not None:
            raise Unfit(
                f"This site has an account “{taken}” of its own, whose password the demonstration "
                "would replace. Run it on an empty place (BRICKLEDGER_DATA_DIR)."
            )


def make_accounts() -> tuple[Account, ...]:
    """One account a role, each with a new password."""
    accounts = []
    for role in ROLES:
        user, _ = User.objects.get_or_create(username=role)
        password = secrets.token_urlsafe(9)
        user.set_password(password)
        user.save()
        give_role(user, role)
        accounts.append(Account(role, password))
    return tuple(accounts)


def make_token() -> str:
    """A new token of the reviewer's; the one of an earlier demonstration stops working."""
    ApiToken.objects.filter(name=TOKEN_NAME).delete()
    return ApiToken.issue(name=TOKEN_NAME, user=User.objects.get(username="reviewer"))


@transaction.atomic
def write_catalogue(scene: Scenario) -> int:
    """Write down what the bench has; the number of adapters that are new."""
    SiteNotice.objects.get_or_create(text=NOTICE)
    for tool in scene.instruments:
        Instrument.objects.get_or_create(name=tool.name, defaults=_facts(tool, leave_out="name"))
    for device in scene.devices:
        Device.objects.get_or_create(
            name=device.name,
            defaults={"slug": device.slug, **_facts(device, leave_out="name")},
        )
    known = set(Adapter.objects.values_list("slug", flat=True))
    new = [item for item in scene.adapters if item.slug not in known]
    for item in new:
        adapter = Adapter(
            slug=item.slug,
            maker=get_maker(item.maker),
            **{name: getattr(item, name) for name in _COPIED},
        )
        save_adapter(
            adapter,
            ports=[
                PortFacts(port.label, port.connector, port.rated_power_w, port.protocols)
                for port in item.ports
            ],
            claims=[
                ClaimFacts(
                    text=claim.text,
                    port=claim.port or "",
                    voltage_v=claim.voltage_v,
                    current_a=claim.current_a,
                    combination=claim.combination,
                    power_w=claim.power_w,
                )
                for claim in item.claims
            ],
        )
        for serial in item.unit_serials:
            get_unit(adapter, serial=serial)
    return len(new)


def _facts(item: Any, *, leave_out: str) -> dict[str, Any]:
    return {
        field.name: getattr(item, field.name) for field in fields(item) if field.name != leave_out
    }


def stages(scene: Scenario) -> tuple[Scenario, ...]:
    """The scenario in the parts that the bench hands in, each to be accepted before the next.

    The port scans come first: what a port advertises sets the full load of later runs, which
    would all be computed once more when a scan is accepted after them.
    """
    return tuple(replace(scene, runs=scene.runs.part(scans=scans)) for scans in (True, False))


def send_logs(scene: Scenario) -> Iterator[Sent]:
    """Upload every raw log as the reviewer, through the form and the door of every upload."""
    reviewer = User.objects.get(username="reviewer")
    there: dict[tuple[str, str, str], UUID] = {
        (slug, kind, raw): pk
        for slug, kind, raw, pk in Run.objects.order_by("pk").values_list(
            "adapter__slug", "kind", "raw", "pk"
        )
    }
    for log in scene.runs:
        # Also a run that was withdrawn since: its file does not come in once more.
        key = (log.adapter, log.kind, hashlib.sha256(log.content).hexdigest())
        run_id = there.get(key) or _send(log, by=reviewer)
        yield Sent(run_id, log.then, log.reason)


def _send(log: DemoRun, *, by: User) -> UUID:
    said = {
        "adapter": log.adapter,
        "kind": log.kind,
        "instruments": list(log.instruments),
        **log.fields,
    }
    form = RunForm(said, viewer=by)
    if not form.is_valid():
        raise Unfit(f"The invented log {log.file_name} was refused: {form.errors.as_text()}")
    return receive_run(form.facts(), chunks=[log.content], file_name=log.file_name, by=by).run.pk


def computed(*, keep_going: Callable[[], None], total: int) -> Iterator[int]:
    """Yield once for each run that the worker has finished with, until all are.

    `keep_going` is called between looks. Raises `Unfit` when nothing moves for a while.
    """
    finished, moved_at = 0, time.monotonic()
    while finished < total:
        keep_going()
        now_finished = total - Run.objects.unfinished().count()
        if now_finished > finished:
            moved_at = time.monotonic()
            yield from range(finished, now_finished)
            finished = now_finished
        elif time.monotonic() - moved_at > STALLED_AFTER_S:
            raise Unfit(
                f"The worker has finished nothing for {STALLED_AFTER_S:g} s. Runs by state: "
                f"{_states()}. Its messages above say why; run the same command again to go on."
            )
        else:
            time.sleep(LOOK_EVERY_S)


def _states() -> str:
    counts = Counter(Run.objects.values_list("state", flat=True))
    return ", ".join(f"{count} {state}" for state, count in sorted(counts.items()))


def judge(sent: list[Sent]) -> Iterator[Sent]:
    """Accept and withdraw as the editor, in the order of measurement. Raises `Unfit`."""
    editor = User.objects.get(username="editor")
    for start in range(0, len(sent), ACCEPTED_AT_ONCE):
        batch = sent[start : start + ACCEPTED_AT_ONCE]
        with transaction.atomic():
            runs = Run.objects.in_bulk([item.run_id for item in batch])
            for item in batch:
                _judge(runs[item.run_id], item, by=editor)
        yield from batch


def _judge(run: Run, item: Sent, *, by: User) -> None:
    if item.then == "leave" or run.standing != Run.Standing.PROVISIONAL:
        return
    if run.state != Run.State.READY:
        raise Unfit(
            f"The invented log {run.file_name} ended {run.state}, not ready: "
            f"{run.error or run.problems[:1]}"
        )
    run = accept_run(run, by=by)
    if item.then == "withdraw":
        withdraw_run(run, by=by, reason=item.reason)


def publish_table() -> Comparison:
    """A published comparison of some of the strongest adapters; the first one if there is any."""
    there = Comparison.objects.filter(
        title=COMPARISON_TITLE, state=Comparison.State.PUBLISHED
    ).first()
    if there is not None:
        return there
    editor = User.objects.get(username="editor")
    tested = (
        Adapter.objects.published()
        .filter(
            runs__standing=Run.Standing.ACCEPTED, runs__kind="efficiency", rated_power_w__lte=160
        )
        .distinct()
        .order_by("-rated_power_w", "slug")[: COMPARED_ADAPTERS - 1]
    )
    first = Adapter.objects.get(slug="northfold-trio-140")
    draft = save_comparison(
        Comparison(
            title=COMPARISON_TITLE,
            notes=NOTICE,
            cell_notes=[{"adapter": first.slug, "metric": COMPARED_METRICS[0], "text": REMARK}],
            blocks=list(COMPARED_BLOCKS),
        ),
        adapters=[first, *(adapter for adapter in tested if adapter != first)],
        metrics=COMPARED_METRICS,
        conditions={"line": "high"},
        by=editor,
    )
    read = seal_of(content_to_publish(draft))
    return publish_comparison(draft, by=editor, departures_read=read)
