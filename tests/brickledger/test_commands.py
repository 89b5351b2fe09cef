"""The commands of the whole site: serve, demo, issue_token."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.test import APIRequestFactory

from brickledger import processes
from brickledger.authentication import TokenAuthentication
from brickledger.management import demonstration
from brickledger.models import ApiToken, SiteNotice, digest_of
from catalog.models import Adapter
from comparisons.models import Comparison
from fixtures.scenario import scenario
from measurements import processing
from measurements.models import RawFile, Run, Value
from tests.factories.catalog import make_adapter

ROOT = Path(__file__).resolve().parents[2]
PATIENT_S = 120


def issue(name: str, role: str) -> tuple[str, str]:
    """The token, and what the command says beside it."""
    out, err = io.StringIO(), io.StringIO()
    call_command("issue_token", name, "--role", role, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


@pytest.fixture
def taken_port() -> Iterator[int]:
    """A port where something listens."""
    with contextlib.closing(socket.socket()) as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield int(listener.getsockname()[1])


@pytest.fixture
def free_port() -> int:
    """A port where nothing listens at this moment."""
    with contextlib.closing(socket.socket()) as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@pytest.fixture
def command(tmp_path: Path) -> Callable[..., Any]:
    """Start a command as a person would, on an embedded site of its own."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("BRICKLEDGER_") and name not in ("DATABASE_URL", "CELERY_BROKER_URL")
    }
    environment["BRICKLEDGER_DATA_DIR"] = str(tmp_path / "site")

    def start(*words: object, **options: Any) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, str(ROOT / "manage.py"), *map(str, words)],
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            **{"stdin": subprocess.DEVNULL, "cwd": tmp_path, **options},
        )

    return start


# issue_token


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["reader", "reviewer", "editor"])
def test_a_token_is_printed_once_and_only_its_hash_is_kept(role: str) -> None:
    out, err = issue("Bench logger", role)
    token = out.strip()
    kept = ApiToken.objects.get()
    assert kept.digest == digest_of(token)
    assert token not in err
    assert token not in (kept.name, kept.prefix)
    assert len(token) >= 40  # 256 random bits in base 64
    request = APIRequestFactory().get("/", HTTP_AUTHORIZATION=f"Bearer {token}")
    found = TokenAuthentication().authenticate(request)
    assert found is not None
    user = found[0]
    assert user.username == "token-bench-logger"
    assert not user.has_usable_password()
    assert list(user.groups.values_list("name", flat=True)) == [role]


@pytest.mark.django_db
def test_a_second_token_of_the_same_name_shares_the_account_and_takes_its_role() -> None:
    first, second = issue("logger", "editor")[0], issue("logger", "reader")[0]
    assert first != second
    user = User.objects.get()
    assert list(user.groups.values_list("name", flat=True)) == ["reader"]
    assert not user.is_staff


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["", "  ", "—", "x" * 101])
def test_a_token_needs_a_name(name: str) -> None:
    with pytest.raises(CommandError, match="1 to 100 characters"):
        issue(name, "reader")
    assert not User.objects.exists()


def test_a_token_needs_one_of_the_roles() -> None:
    with pytest.raises(CommandError, match="invalid choice"):
        issue("logger", "owner")


@pytest.mark.django_db
def test_a_made_up_token_opens_nothing() -> None:
    issue("logger", "editor")
    request = APIRequestFactory().get("/", HTTP_AUTHORIZATION="Bearer made-up")
    with pytest.raises(AuthenticationFailed):
        TokenAuthentication().authenticate(request)


# serve


def test_a_port_that_is_taken_is_said_so(taken_port: int) -> None:
    with pytest.raises(CommandError, match=f"port {taken_port}: .*--port"):
        call_command("serve", port=taken_port)


def test_a_port_that_does_not_exist_is_said_so() -> None:
    with pytest.raises(processes.PortTaken, match="port 99999"):
        processes.require_free_port(host="127.0.0.1", port=99_999)


@pytest.mark.parametrize(
    ("host", "said"),
    [
        ("127.0.0.1", "http://127.0.0.1:8000/"),
        ("0.0.0.0", "http://127.0.0.1:8000/"),
        ("::1", "http://[::1]:8000/"),
    ],
)
def test_the_address_can_be_opened_by_a_browser_of_this_machine(host: str, said: str) -> None:
    assert processes.address(host=host, port=8000) == said


def test_nothing_answers_where_nothing_listens(free_port: int) -> None:
    assert not processes.answers(host="127.0.0.1", port=free_port)


def test_the_children_keep_the_working_directory_and_find_the_packages() -> None:
    for child in (processes.web(host="127.0.0.1", port=8000), processes.worker()):
        assert child.environment["PYTHONPATH"].split(os.pathsep)[0] == str(ROOT)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_serve_says_its_address_once_it_answers_and_stops_cleanly(
    number: signal.Signals, command: Callable[..., Any], free_port: int
) -> None:
    # Without a standard input at all, as under some service managers.
    with command("serve", "--port", free_port, preexec_fn=lambda: os.close(0)) as process:
        try:
            line = process.stdout.readline()
            assert line.startswith(f"Brickledger answers at http://127.0.0.1:{free_port}/")
            assert processes.answers(host="127.0.0.1", port=free_port)
        finally:
            process.send_signal(number)
        out, err = process.communicate(timeout=PATIENT_S)
    assert process.returncode == 0, err
    assert out.endswith("Stopped; nothing is left running.\n")
    assert not processes.answers(host="127.0.0.1", port=free_port)


# demo


def test_the_demonstration_is_complete_after_one_command(command: Callable[..., Any]) -> None:
    with command("demo", "--no-serve", "--adapters", "3") as process:
        out, err = process.communicate(timeout=PATIENT_S)
    assert process.returncode == 0, err
    assert demonstration.NOTICE in out
    assert "API token (role reviewer): " in out
    assert "Runs judged: " in out
    with command("verify_store") as process:
        verified, _ = process.communicate(timeout=PATIENT_S)
    assert verified.endswith("all intact.\n")


@pytest.mark.django_db
def test_the_demonstration_refuses_a_database_with_adapters_of_its_own() -> None:
    make_adapter("Solo 65", maker="Somebody")
    with pytest.raises(demonstration.Unfit, match="somebody-solo-65"):
        demonstration.require_fit_database(adapters=3)


@pytest.mark.django_db
def test_the_demonstration_does_not_take_over_an_account_of_the_site() -> None:
    User.objects.create_user("editor", password="someone's own")
    with pytest.raises(demonstration.Unfit, match="“editor”"):
        demonstration.require_fit_database(adapters=3)


def play(adapters: int) -> None:
    """The demonstration in this process, computed without a worker of its own."""
    demonstration.require_fit_database(adapters=adapters)
    scene = scenario(adapters=adapters)
    demonstration.write_catalogue(scene)
    demonstration.make_accounts()
    for stage in demonstration.stages(scene):
        sent = list(demonstration.send_logs(stage))
        for item in sent:
            processing.compute(item.run_id)
        assert len(list(demonstration.judge(sent))) == len(stage.runs)
    demonstration.publish_table()
    demonstration.make_token()


def held() -> dict[str, Any]:
    """What the site holds, so that any change shows."""
    return {
        "adapters": Adapter.objects.count(),
        "runs": sorted(Run.objects.values_list("pk", "state", "standing")),
        "raw": RawFile.objects.count(),
        "values": sorted(Value.objects.values_list("pk", "current_from", "current_until"), key=str),
        "comparisons": list(Comparison.objects.values_list("slug", "state", "frozen_hash")),
        "accounts": sorted(User.objects.values_list("username", flat=True)),
        "tokens": ApiToken.objects.count(),
        "notices": list(SiteNotice.objects.values_list("text", flat=True)),
    }


@pytest.mark.django_db
def test_the_demonstration_may_be_recomputed_repeated_and_grown_and_doubles_nothing() -> None:
    play(6)
    before = held()
    standings = {standing for _, _, standing in before["runs"]}
    assert standings == {"accepted", "superseded", "withdrawn"}
    assert before["comparisons"][0][1] == "published"
    # The same methods give the same values: not one row is written anew.
    call_command("recompute")
    assert held()["values"] == before["values"]
    play(6)
    assert held() == before
    play(4)
    assert held() == before
    play(7)
    after = held()
    assert after["adapters"] == 7
    assert set(before["runs"]) < set(after["runs"])
    assert after["comparisons"] == before["comparisons"]


@pytest.mark.django_db
def test_a_worker_that_does_nothing_is_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demonstration, "STALLED_AFTER_S", 0.0)
    monkeypatch.setattr(demonstration, "LOOK_EVERY_S", 0.0)
    scene = scenario(adapters=3)
    demonstration.write_catalogue(scene)
    demonstration.make_accounts()
    total = len(list(demonstration.send_logs(scene)))
    with pytest.raises(demonstration.Unfit, match=f"{total} received"):
        list(demonstration.computed(keep_going=lambda: None, total=total))


@pytest.mark.django_db
@pytest.mark.parametrize("number", ["2", "20001"])
def test_the_number_of_adapters_has_limits(number: str) -> None:
    with pytest.raises(CommandError, match="3 to 20,000"):
        call_command("demo", "--no-serve", "--adapters", number)


def test_the_demonstration_does_not_start_when_it_could_not_be_served(taken_port: int) -> None:
    with pytest.raises(CommandError, match="Cannot listen"):
        call_command("demo", port=taken_port)
