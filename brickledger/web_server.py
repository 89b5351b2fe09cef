"""How the web server runs; given to gunicorn as ``--config python:brickledger.web_server``.

Threads, so that one client that sends slowly holds up only itself. Eight of them hold up everybody:
a site that strangers reach stands behind a proxy that takes in whole requests first.
"""

from __future__ import annotations

import os
from typing import Any

from brickledger.supervisor import die_with_parent

workers = int(os.environ.get("WEB_CONCURRENCY", "2"))
# The site is loaded once and its workers forked from it: they start at once and share memory.
preload_app = True
worker_class = "gthread"
threads = 4
timeout = 60
graceful_timeout = 8  # within the supervisor's patience
keepalive = 5
loglevel = "warning"
control_socket_disable = True
# A request has to fit: a long query is answered with an error, not read for ever.
limit_request_line = 8190


def post_fork(server: Any, worker: Any) -> None:
    """Let no worker outlive the process that holds its socket."""
    die_with_parent()
    if os.getppid() != server.pid:
        os._exit(1)
