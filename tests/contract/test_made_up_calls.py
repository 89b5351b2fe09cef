"""Calls made up from the description (schemathesis, all checks), as every kind of caller.

A run of the suite makes few of each, at random. Many, and those at every edge of the description:
``BRICKLEDGER_EXAMPLES=200 python -m pytest tests/contract/test_made_up_calls.py``.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from django.test import override_settings
from hypothesis import HealthCheck
from hypothesis import settings as examples
from pytest_django.fixtures import Settings

from brickledger.wsgi import application
from tests.contract.sense import made_sensible
from tests.contract.world import IDENTITIES, World, make_world
from tests.description import described

EXAMPLES = int(os.environ.get("BRICKLEDGER_EXAMPLES", "3"))

schema = schemathesis.openapi.from_dict(described())
schema.app = application
schema.config.phases.coverage.enabled = EXAMPLES >= 50
# RFC 6585, section 3: the status for a change that does not say what it is a change of.
schema.config.checks.missing_required_header.expected_statuses.append("428")
# RFC 9110, section 13.2.1: conditions come before the content, so a stale one hides a wrong body.
schema.config.checks.negative_data_rejection.expected_statuses.append("412")


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the site of all calls keeps its files."""
    return tmp_path_factory.mktemp("raw")


@pytest.fixture(autouse=True)
def own_raw_store(files: Path, settings: Settings) -> None:
    """The files of the site, in place of a folder for each test."""
    settings.RAW_DIR = files


@pytest.fixture
def connection_kept() -> Iterator[None]:
    """Leave the connection open that a test and what it asks share.

    The start and the end of a request close a connection that is inside a transaction, as a
    test's always is; only an SQLite database in memory bears it.
    """
    for moment in (request_started, request_finished):
        moment.disconnect(close_old_connections)
    yield
    for moment in (request_started, request_finished):
        moment.connect(close_old_connections)


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any, files: Path) -> Iterator[World]:
    """One site for all calls, taken back at the end; what a test changes is taken back before."""
    with (
        override_settings(RAW_DIR=files),
        django_db_blocker.unblock(),
        transaction.atomic(),
    ):
        yield make_world()
        transaction.set_rollback(True)
    # Files that the transport left open complain here, and not in a test that comes later.
    gc.collect()


# The transport of the checks closes no file that it was answered with; servers do (PEP 3333).
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.django_db
@pytest.mark.usefixtures("connection_kept")
@pytest.mark.parametrize("identity", IDENTITIES)
@schema.parametrize()
@examples(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    database=None,
)
def test_a_made_up_call_is_answered_as_described(case: Any, identity: str, world: World) -> None:
    sensible = made_sensible(case, world)
    # The transport of the checks unpacks nothing.
    sensible.call_and_validate(headers={**world.headers(identity), "Accept-Encoding": "identity"})
