"""The bell: it may fail in any way, and no upload fails with it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from celery import current_app
from kombu.exceptions import OperationalError

from measurements import tasks
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import receive

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder_bell(tmp_path: Path) -> Iterator[Path]:
    """The embedded bell in a folder of its own, not made yet."""
    options = current_app.conf.broker_transport_options
    current_app.conf.broker_transport_options = {
        "data_folder_in": str(tmp_path / "bell" / "messages"),
        "data_folder_out": str(tmp_path / "bell" / "messages"),
        "control_folder": str(tmp_path / "bell" / "control"),
    }
    yield tmp_path / "bell"
    current_app.conf.broker_transport_options = options


def test_the_task_computes_the_run_that_the_message_names() -> None:
    run = receive(make_adapter())
    assert tasks.compute_run(str(run.pk)) == "ready"


def test_ringing_notes_when_it_rang(bell: list[str]) -> None:
    run = receive(make_adapter())
    assert tasks.ring(run.pk)
    run.refresh_from_db()
    assert run.rung_at is not None
    assert bell == [str(run.pk)]


def test_the_bell_is_rung_only_after_the_upload_is_committed(
    bell: list[str], django_capture_on_commit_callbacks: object
) -> None:
    run = receive(make_adapter())
    assert bell == []  # the test's transaction is still open
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
        second = receive(run.adapter, b"input_power_w\n0.1\n")
    assert bell == [str(second.pk)]


@pytest.mark.parametrize(
    "error",
    [
        OperationalError("no route to the broker"),
        OSError(111, "Connection refused"),
        ValueError("Expecting value: line 1 column 1"),
        RuntimeError("something nobody thought of"),
    ],
)
def test_a_broker_that_fails_in_any_way_is_no_error_of_the_callers(
    error: Exception, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(**_: object) -> None:
        raise error

    monkeypatch.setattr(tasks.compute_run, "apply_async", fail)
    monkeypatch.setattr(tasks, "mend_bell", lambda: False)
    run = receive(make_adapter())
    assert tasks.ring(run.pk) is False
    assert "waits for the sweeper" in caplog.text
    assert Run.objects.due().get() == run


def test_a_bell_that_was_in_disorder_is_mended_and_rung_once_more(
    monkeypatch: pytest.MonkeyPatch, folder_bell: Path
) -> None:
    rung: list[object] = []

    def ring_if_there(args: object, **_: object) -> None:
        if not (folder_bell / "messages").is_dir():
            raise OperationalError("no such folder")
        rung.append(args)

    monkeypatch.setattr(tasks.compute_run, "apply_async", ring_if_there)
    run = receive(make_adapter())
    assert tasks.ring(run.pk)
    assert rung == [(str(run.pk),)]


def test_a_control_file_cut_short_by_a_kill_is_removed_and_whole_ones_stay(
    folder_bell: Path,
) -> None:
    assert tasks.mend_bell()
    whole, cut = folder_bell / "control" / "a.exchange", folder_bell / "control" / "b.exchange"
    whole.write_text(json.dumps([["celery", "", "celery"]]))
    cut.write_text("")
    assert tasks.mend_bell()
    assert whole.exists()
    assert not cut.exists()


def test_another_broker_is_not_mended() -> None:
    options = current_app.conf.broker_transport_options
    current_app.conf.broker_transport_options = {"socket_timeout": 5}
    try:
        assert not tasks.mend_bell()
    finally:
        current_app.conf.broker_transport_options = options
