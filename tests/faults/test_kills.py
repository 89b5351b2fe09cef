"""Fifty kills at random moments: nothing that was acknowledged is lost, nothing is left undone.

The checker keeps its own list of acknowledgements and looks from outside, over HTTP. After a
failure, run again with BRICKLEDGER_FAULT_SEED set to the number that was printed.
"""

from __future__ import annotations

import hashlib
import os
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
import requests

from measurements.intake.tables import read_table
from measurements.kinds import get_kind
from measurements.kinds.base import AdapterFacts, PortFacts, Setup
from tests.faults.clients import Acknowledged, Client
from tests.faults.processes import Site, command_of, descendants_of, kill, own_services, wait_for

pytestmark = [
    pytest.mark.faults,
    pytest.mark.skipif(sys.platform != "linux", reason="looks for processes in /proc"),
]

KILLS = 50
CLIENTS = 3
SUPERVISOR_EVERY = 8  # kills; it also resets the delay before a child is started again
FINISHED = {"ready", "rejected", "set-aside"}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """A running site on a place of its own."""
    with own_services(tmp_path / "data") as environment:
        running = Site(environment, log=tmp_path / "site.log")
        running.start()
        try:
            running.wait_until_it_answers()
            yield running
        finally:
            if running.supervisor is not None and running.supervisor.poll() is None:
                running.stop()
            running.kill_broker()


@pytest.fixture
def seed() -> int:
    """The seed of this run; printed with a failure because pytest shows what was written."""
    chosen = int(os.environ.get("BRICKLEDGER_FAULT_SEED", time.time_ns() % 1_000_000))
    print(f"BRICKLEDGER_FAULT_SEED={chosen}")
    return chosen


def issue_token(site: Site) -> str:
    """A reviewer's token, made by the command."""
    issued = site.manage("issue_token", "fault tests", "--role", "reviewer")
    assert issued.returncode == 0, issued.stderr
    return issued.stdout.strip()


def ask(site: Site, path: str, token: str) -> requests.Response:
    """GET as the reviewer."""
    return requests.get(
        f"{site.address}/api/v1/{path}", headers={"Authorization": f"Bearer {token}"}, timeout=15
    )


def add_adapter(site: Site, token: str, name: str) -> str:
    """A new adapter's slug."""
    answer = requests.post(
        f"{site.address}/api/v1/adapters/",
        headers={"Authorization": f"Bearer {token}"},
        json={
            "maker": "Northfold",
            "name": name,
            "rated_power_w": 65,
            "ports": [{"label": "C1", "connector": "usb-c", "rated_power_w": 65}],
        },
        timeout=15,
    )
    assert answer.status_code == 201, answer.text
    return str(answer.json()["slug"])


def acknowledged_by(clients: Sequence[Client]) -> int:
    """How many uploads of all clients were acknowledged until now."""
    return sum(len(client.acknowledged) for client in clients)


def hurt(site: Site, chance: random.Random, clients: Sequence[Client]) -> Counter[str]:
    """Kill `KILLS` processes, and empty the broker now and then; what was done how often.

    Kills come no faster than uploads get through: where a start takes long, because much else
    runs on the machine, there would be kills and next to nothing for them to hurt.
    """
    done: Counter[str] = Counter()

    def as_many_came_through() -> bool:
        return acknowledged_by(clients) >= done.total() - done["bell"]

    while done.total() - done["bell"] < KILLS:
        wait_for(as_many_came_through, what="an upload to be acknowledged between kills")
        time.sleep(chance.uniform(0.02, 0.6))
        if chance.random() < 0.2:
            site.silence_bell()
            done["bell"] += 1
        if (done.total() - done["bell"]) % SUPERVISOR_EVERY == SUPERVISOR_EVERY - 1:
            below = site.kill_supervisor()
            wait_for(
                lambda left=below: not any(map(command_of, left)),
                what="the end of what a killed supervisor had started",
            )
            site.start()
            site.wait_until_it_answers()
            done["supervisor"] += 1
            continue
        what = chance.choice(["worker", "worker", "web worker", "web worker", "web"])
        pid = site.target(what, chance)
        if pid is not None and kill(pid):
            done[what] += 1
    return done


def numbers_without_faults(content: bytes, folder: Path) -> dict[str, tuple[float, float]]:
    """What the pure core computes from the same bytes: value and standard uncertainty."""
    file = folder / "log.csv"
    file.write_bytes(content)
    kind = get_kind("no-load")
    setup = Setup(
        adapter=AdapterFacts(rated_power_w=65.0, ports=(PortFacts("C1", "usb-c", 65.0),)),
        line="high",
        mains_v=230.0,
    )
    table = read_table(file, kind.columns, file_name="log.csv").table
    if table is None or kind.check(table, setup):
        return {}
    return {
        item.metric: (item.value, item.standard_uncertainty)
        for item in kind.measure(table, setup).values
    }


def all_runs(site: Site, token: str) -> list[dict[str, Any]]:
    """Every run that the site holds."""
    runs: list[dict[str, Any]] = []
    path: str | None = "runs/?limit=500"
    while path:
        page = ask(site, path, token).json()
        runs += page["results"]
        path = page["next"] and page["next"].split("/api/v1/", 1)[1]
    return runs


def check_one(site: Site, token: str, upload: Acknowledged, *, folder: Path) -> str:
    """Everything that was promised for one upload; the state it ended in."""
    run = ask(site, f"runs/{upload.run_id}/", token).json()
    assert run["raw_sha256"] == upload.sha256
    raw = ask(site, f"runs/{upload.run_id}/raw/", token)
    assert raw.status_code == 200
    assert hashlib.sha256(raw.content).hexdigest() == upload.sha256
    expected = numbers_without_faults(upload.content, folder)
    computed = {
        item["metric"]: (item["value"], item["standard_uncertainty"]) for item in run["metrics"]
    }
    if run["state"] == "set-aside":
        assert computed == {}
    else:
        assert computed == expected
        assert run["state"] == ("ready" if expected else "rejected")
    return str(run["state"])


def test_fifty_kills_lose_no_acknowledged_upload_and_leave_no_run_unfinished(
    site: Site, seed: int, tmp_path: Path
) -> None:
    chance = random.Random(seed)
    token = issue_token(site)
    clients = [
        Client(number, site.address, token, add_adapter(site, token, f"Solo {number}"))
        for number in range(CLIENTS)
    ]
    for client in clients:
        client.start()
    try:
        done = hurt(site, chance, clients)
        wait_for(lambda: acknowledged_by(clients) > KILLS, what="the clients to get through")
    finally:
        site.wait_until_it_answers()
        for client in clients:
            client.stop()
    print(f"Done: {dict(done)}; retries: {sum(client.retries for client in clients)}")
    uploads = [upload for client in clients for upload in client.acknowledged]
    assert [client.wrong_answers for client in clients] == [[]] * CLIENTS
    assert len(uploads) > KILLS  # the clients did get through between the kills

    def nothing_waits() -> bool:
        return not any(
            ask(site, f"runs/?state={state}&limit=1", token).json()["results"]
            for state in ("received", "computing")
        )

    wait_for(nothing_waits, what="every run to be finished")
    runs = all_runs(site, token)
    assert {run["state"] for run in runs} <= FINISHED
    # Every log was repeated until it was acknowledged, so runs and acknowledgements match.
    assert sorted(run["id"] for run in runs) == sorted(upload.run_id for upload in uploads)
    assert len({upload.sha256 for upload in uploads}) == len(uploads)
    ended = Counter(check_one(site, token, upload, folder=tmp_path) for upload in uploads)
    print(f"Ended: {dict(ended)}")
    assert ended["ready"] > 0
    assert ended["rejected"] > 0
    verified = site.manage("verify_store")
    assert verified.returncode == 0, verified.stderr
    assert verified.stdout == f"{len(uploads)} raw files, all intact.\n"
    assert site.stop() == 0


def test_a_polite_stop_leaves_no_process_and_exit_code_zero(site: Site) -> None:
    assert site.supervisor is not None
    wait_for(lambda: site.target("worker", random.Random(0)), what="a worker")
    below = [pid for pid in descendants_of(site.supervisor.pid) if command_of(pid)]
    assert len(below) >= 3  # web server, its workers, the worker
    assert site.stop() == 0
    assert [command_of(pid) for pid in below if command_of(pid)] == []


def test_killing_the_supervisor_takes_everything_below_it_along(site: Site) -> None:
    below = site.kill_supervisor()
    assert len(below) >= 3
    wait_for(lambda: not any(map(command_of, below)), what="the end of every process below")
