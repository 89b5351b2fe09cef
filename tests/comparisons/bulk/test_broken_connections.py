"""What a client of the real web server gets when a download breaks: no end of the body.

RFC 9112, section 8: a chunked body is complete only with its last, empty chunk.
"""

from __future__ import annotations

import contextlib
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest
import requests

from comparisons.bulk.formats import FORMATS
from tests.faults.processes import ROOT, free_port

TRIES = 300


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """The broken site, served as the real one is."""
    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "--config", "python:brickledger.web_server"]
    command += ["--bind", f"127.0.0.1:{port}", "--log-level", "critical"]
    process = subprocess.Popen([*command, "tests.comparisons.bulk.broken_site"], cwd=ROOT)
    try:
        for _ in range(TRIES):
            assert process.poll() is None
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.1)
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(timeout=30)


@pytest.mark.parametrize("form", FORMATS)
def test_a_whole_download_ends(address: str, form: str) -> None:
    answer = requests.get(f"{address}/whole/{form}", timeout=30)
    assert answer.status_code == 200
    assert answer.headers["Transfer-Encoding"] == "chunked"
    assert answer.content


@pytest.mark.parametrize("form", FORMATS)
def test_a_broken_download_is_not_taken_for_a_whole_one(address: str, form: str) -> None:
    with requests.get(f"{address}/broken/{form}", timeout=30, stream=True) as answer:
        assert answer.status_code == 200
        with pytest.raises(requests.exceptions.ChunkedEncodingError):
            answer.content  # noqa: B018  reading is what fails
