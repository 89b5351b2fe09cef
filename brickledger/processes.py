"""The two processes of the site as the supervisor starts them."""

from __future__ import annotations

import http.client
import os
import socket
import sys
from contextlib import closing

from django.conf import settings

from brickledger.supervisor import Child


class PortTaken(Exception):
    """Nothing can listen there; the message says why and what to do."""


def web(*, host: str, port: int) -> Child:
    """The web server on `host` and `port`."""
    bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    return Child(
        "web server",
        (
            *(sys.executable, "-m", "gunicorn", "brickledger.wsgi"),
            *("--config", "python:brickledger.web_server", "--bind", bind),
        ),
        _import_path(),
    )


def worker() -> Child:
    """The worker: one run at a time, and the sweeper beside it.

    Gossip, mingling and heartbeats are how workers speak with each other; ours only need
    the database.
    """
    return Child(
        "worker",
        (
            *(sys.executable, "-m", "celery", "-q", "-A", "brickledger", "worker"),
            *("--pool", "solo", "--loglevel", "WARNING"),
            *("--without-gossip", "--without-mingle", "--without-heartbeat"),
        ),
        # The arithmetic of a run is small; threads of the linear algebra library only get
        # in the way of the web server.
        {**_import_path(), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    )


def _import_path() -> dict[str, str]:
    """Lets a child find the site's packages without changing its working directory, to which
    paths in the settings may be relative."""
    there = os.environ.get("PYTHONPATH", "")
    return {"PYTHONPATH": os.pathsep.join(filter(None, (str(settings.BASE_DIR), there)))}


def require_free_port(*, host: str, port: int) -> None:
    """Raise `PortTaken` when the web server could not listen there."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with closing(socket.socket(family, socket.SOCK_STREAM)) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
        except (OSError, OverflowError) as error:
            raise PortTaken(
                f"Cannot listen on {host} port {port}: "
                f"{getattr(error, 'strerror', None) or error}. "
                "Stop what runs there, or name another port with --port."
            ) from error


def address(*, host: str, port: int) -> str:
    """Where a browser of this machine finds the site."""
    if host in ("0.0.0.0", "::"):
        host = "127.0.0.1"
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def answers(*, host: str, port: int) -> bool:
    """Whether the web server answers there by now, with whatever it has to say."""
    near = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    with closing(http.client.HTTPConnection(near, port, timeout=2)) as connection:
        try:
            connection.request("GET", "/api/v1/")
            return connection.getresponse().status > 0
        except (OSError, http.client.HTTPException):
            return False
