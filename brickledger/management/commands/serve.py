"""``serve``: web server and worker together, on the embedded default or any other."""

from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections

from brickledger import processes
from brickledger.supervisor import Supervisor


def serve(supervisor: Supervisor, *, host: str, port: int, say: Any) -> None:
    """Run the site until someone stops it; says the address once it answers."""
    supervisor.children.append(processes.web(host=host, port=port))
    supervisor.run(until=lambda: processes.answers(host=host, port=port))
    if not supervisor.is_stopping:
        say(f"Brickledger answers at {processes.address(host=host, port=port)}  (Ctrl-C stops it)")
        supervisor.run()


class Command(BaseCommand):
    """Migrate, then keep web server and worker running until Ctrl-C."""

    help = "Migrates the database, then runs web server and worker; Ctrl-C stops both."

    def add_arguments(self, parser: CommandParser) -> None:
        """Where to listen."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on")

    def handle(self, *args: Any, **options: Any) -> None:
        """Serve; returns after a clean stop."""
        host, port = options["host"], options["port"]
        try:
            processes.require_free_port(host=host, port=port)
        except processes.PortTaken as taken:
            raise CommandError(str(taken)) from taken
        call_command("migrate", verbosity=0, interactive=False)
        connections.close_all()
        with Supervisor([processes.worker()], say=self.stderr.write) as supervisor:
            serve(supervisor, host=host, port=port, say=self._say)
        self._say("Stopped; nothing is left running.")

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
