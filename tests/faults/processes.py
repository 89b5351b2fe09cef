"""The site as real processes on a place of its own, and ways to hurt it."""

from __future__ import annotations

import contextlib
import os
import random
import secrets
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
import requests

ROOT = Path(__file__).resolve().parents[2]
GIVE_UP_S = 60.0


@contextlib.contextmanager
def own_services(data_dir: Path) -> Iterator[dict[str, str]]:
    """The environment of a site that shares nothing with any other, and is gone afterwards.

    With DATABASE_URL set it lives in a new database of that server, and with CELERY_BROKER_URL
    naming a Redis server on one of its own, which `Site` starts and may kill; else on the
    embedded default.
    """
    environment = {
        **os.environ,
        "BRICKLEDGER_DATA_DIR": str(data_dir),
        "BRICKLEDGER_RAW_DIR": str(data_dir / "raw"),
        "BRICKLEDGER_LEASE_SECONDS": "2",
        "BRICKLEDGER_SWEEP_SECONDS": "0.5",
        "BRICKLEDGER_MAX_ATTEMPTS": "20",
        "BRICKLEDGER_RATE_TOKEN": "0",
        "BRICKLEDGER_RATE_ADDRESS": "0",
        "PYTHONPATH": str(ROOT),
    }
    if os.environ.get("CELERY_BROKER_URL", "").startswith("redis"):
        environment["CELERY_BROKER_URL"] = f"redis://127.0.0.1:{free_port()}/0"
    server = os.environ.get("DATABASE_URL", "")
    if not server.startswith("postgres"):
        yield environment
        return
    name = f"brickledger_faults_{secrets.token_hex(4)}"
    environment["DATABASE_URL"] = urlunsplit(urlsplit(server)._replace(path=f"/{name}"))
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            yield environment
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def free_port() -> int:
    """A port on which nothing listens at this moment."""
    with contextlib.closing(socket.socket()) as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def children_of(pid: int) -> list[int]:
    """The processes that `pid` started and that still run."""
    try:
        return [
            int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        ]
    except (FileNotFoundError, ProcessLookupError):
        return []


def command_of(pid: int) -> str:
    """The command line of a process, "" when it has ended."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    except (FileNotFoundError, ProcessLookupError):
        return ""


def descendants_of(pid: int) -> list[int]:
    """Children, their children, and so on."""
    found: list[int] = []
    for child in children_of(pid):
        found += [child, *descendants_of(child)]
    return found


def kill(pid: int) -> bool:
    """SIGKILL; False when the process had ended before."""
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:
        return False
    return True


@dataclass
class Site:
    """``manage.py serve`` and everything below it."""

    environment: dict[str, str]
    port: int = field(default_factory=free_port)
    log: Path | None = None
    supervisor: subprocess.Popen[bytes] | None = None
    broker: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self.port}"

    def manage(
        self, *arguments: str, within_s: float = GIVE_UP_S
    ) -> subprocess.CompletedProcess[str]:
        """Run another command on the same place, to its end."""
        return subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=within_s,
            check=False,
        )

    def start(self) -> None:
        """Start the supervisor, and its broker where it has one; returns at once."""
        assert self.log is not None
        self.start_broker()
        with self.log.open("ab") as log:
            self.supervisor = subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", str(self.port)],
                cwd=ROOT,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )

    def wait_until_it_answers(self) -> None:
        """Return once the API answers; fail when it never does."""
        give_up = time.monotonic() + GIVE_UP_S
        while time.monotonic() < give_up:
            with contextlib.suppress(requests.RequestException):
                if requests.get(f"{self.address}/api/v1/", timeout=2).status_code == 200:
                    return
            assert self.supervisor is not None
            if self.supervisor.poll() is not None:
                break
            time.sleep(0.1)
        raise AssertionError(f"The site does not answer.\n{self.log and self.log.read_text()}")

    def stop(self) -> int:
        """Stop politely; the exit code."""
        assert self.supervisor is not None
        self.supervisor.send_signal(signal.SIGTERM)
        code = self.supervisor.wait(timeout=GIVE_UP_S)
        self.kill_broker()
        return code

    def start_broker(self) -> None:
        """Start the Redis server of this site, empty, unless it runs or there is none."""
        address = urlsplit(self.environment.get("CELERY_BROKER_URL", ""))
        if address.scheme != "redis" or self.broker is not None:
            return
        self.broker = subprocess.Popen(
            ["redis-server", "--port", str(address.port), "--bind", "127.0.0.1", "--save", ""],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )

    def kill_broker(self) -> None:
        """SIGKILL the Redis server of this site, with every message that it holds."""
        if self.broker is not None:
            self.broker.kill()
            self.broker.wait()
            self.broker = None

    def kill_supervisor(self) -> list[int]:
        """SIGKILL the supervisor; the processes that it had below it."""
        assert self.supervisor is not None
        below = descendants_of(self.supervisor.pid)
        self.supervisor.kill()
        self.supervisor.wait()
        return below

    def target(self, what: str, chance: random.Random) -> int | None:
        """A process to kill: ``web``, ``web worker`` or ``worker``; None if none runs now."""
        assert self.supervisor is not None
        children = {pid: command_of(pid) for pid in children_of(self.supervisor.pid)}
        web = [pid for pid, command in children.items() if "gunicorn" in command]
        if what == "worker":
            found = [pid for pid, command in children.items() if "celery" in command]
        elif what == "web":
            found = web
        else:
            found = [below for pid in web for below in children_of(pid)]
        return chance.choice(found) if found else None

    def silence_bell(self) -> None:
        """Kill the broker with all its messages; the embedded bell loses its folders."""
        if self.broker is not None:
            self.kill_broker()
            time.sleep(0.5)  # uploads meet a broker that is not there
            self.start_broker()
            return
        bell = Path(self.environment["BRICKLEDGER_DATA_DIR"]) / "bell"
        for folder in ("messages", "control"):
            for file in (bell / folder).glob("*"):
                file.unlink(missing_ok=True)
            with contextlib.suppress(OSError):
                (bell / folder).rmdir()


def wait_for(condition: Any, *, what: str) -> None:
    """Return once `condition()` holds; fail when it never does."""
    give_up = time.monotonic() + GIVE_UP_S
    while not condition():
        assert time.monotonic() < give_up, f"Waited in vain for {what}."
        time.sleep(0.1)
