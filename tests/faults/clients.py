"""Clients that upload distinct logs, and their own record of what was acknowledged."""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass, field

import requests

PAUSE_S = 0.03


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """An upload that the site has answered with 2xx: the promise that it is kept."""

    run_id: str
    content: bytes

    @property
    def sha256(self) -> str:
        """Of the bytes that were sent."""
        return hashlib.sha256(self.content).hexdigest()


def log_of(client: int, number: int) -> bytes:
    """A short standby record, different for every client and number; each ninth is faulty."""
    power_w = 0.02 + 0.1 * client + number * 1e-5
    rows = [f"{second},{power_w + 1e-4 * (second % 3):.6f}" for second in range(60 + number % 7)]
    if number % 9 == 5:
        rows[20] = "20,-0.5"
    return "\n".join(["time_s,input_power_w", *rows, ""]).encode("ascii")


@dataclass
class Client:
    """Sends one log after the other; one that was not acknowledged is sent again."""

    number: int
    address: str
    token: str
    adapter: str
    acknowledged: list[Acknowledged] = field(default_factory=list)
    wrong_answers: list[str] = field(default_factory=list)
    retries: int = 0
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to send."""
        self._thread = threading.Thread(target=self._send_all, name=f"client-{self.number}")
        self._thread.start()

    def stop(self) -> None:
        """End once the present log is acknowledged."""
        self._stop.set()
        assert self._thread is not None
        self._thread.join()

    def _send_all(self) -> None:
        number = 0
        while not self._stop.is_set():
            content = log_of(self.number, number)
            while (run_id := self._send(content)) is None:
                self.retries += 1
                self._stop.wait(0.2)
            self.acknowledged.append(Acknowledged(run_id, content))
            number += 1
            self._stop.wait(PAUSE_S)

    def _send(self, content: bytes) -> str | None:
        try:
            answer = requests.post(
                f"{self.address}/api/v1/runs/",
                headers={"Authorization": f"Bearer {self.token}"},
                data={"adapter": self.adapter, "kind": "no-load", "mains_v": "230"},
                files={"file": (f"log-{self.number}.csv", content)},
                timeout=15,
            )
        except requests.RequestException:
            return None
        if answer.status_code in (200, 202):
            return str(answer.json()["id"])
        if answer.status_code < 500:
            self.wrong_answers.append(f"{answer.status_code} {answer.text[:200]}")
        return None
