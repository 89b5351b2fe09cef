"""``demo``: the invented bench from nothing, computed by a real worker, then served."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections
from django.utils import timezone
from tqdm import tqdm

from brickledger import processes
from brickledger.management import demonstration
from brickledger.management.commands.serve import serve
from brickledger.management.demonstration_pictures import attach_pictures
from brickledger.supervisor import Supervisor
from fixtures.scenario import scenario

Item = TypeVar("Item")
HOST = "127.0.0.1"


class Command(BaseCommand):
    """Make the demonstration and serve it."""

    help = (
        "Makes an invented catalogue and invented raw logs, uploads them, waits for a real worker "
        "to compute them, and serves the site. May be repeated."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """How much, and where to serve."""
        parser.add_argument("--port", type=int, default=8000, help="port to serve on")
        parser.add_argument(
            "--no-serve", action="store_true", help="stop when the demonstration is complete"
        )
        parser.add_argument(
            "--adapters", type=int, default=86, help="number of adapters, 3 to 20,000"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Make, report, serve."""
        port, serves = options["port"], not options["no_serve"]
        if not 3 <= options["adapters"] <= 20_000:
            raise CommandError("--adapters is a number from 3 to 20,000.")
        try:
            if serves:
                processes.require_free_port(host=HOST, port=port)
            call_command("migrate", verbosity=0, interactive=False)
            demonstration.require_fit_database(adapters=options["adapters"])
            with Supervisor([processes.worker()], say=self.stderr.write) as supervisor:
                report = self._make(supervisor, adapters=options["adapters"])
                self._say(report)
                if serves:
                    connections.close_all()
                    serve(supervisor, host=HOST, port=port, say=self._say)
        except (demonstration.Unfit, processes.PortTaken) as problem:
            raise CommandError(str(problem)) from problem
        if serves:
            self._say("Stopped; nothing is left running.")
        else:
            self._say("Complete. `python manage.py serve` serves it.")

    def _make(self, supervisor: Supervisor, *, adapters: int) -> str:
        def keep_going() -> None:
            if supervisor.is_stopping:
                raise demonstration.Unfit(
                    "Stopped before the demonstration was complete; run it again to go on."
                )
            supervisor.tend()

        keep_going()
        scene = scenario(adapters=adapters, today=timezone.now().date())
        # The catalogue first: its notice marks the accounts as the demonstration's.
        new = demonstration.write_catalogue(scene)
        accounts = demonstration.make_accounts()
        self._say(f"{len(scene.adapters)} invented adapters ({new} new).")
        for stage in demonstration.stages(scene):
            total = len(stage.runs)
            sending = self._with_bar(demonstration.send_logs(stage), total, "Raw logs sent")
            sent = list(_each(sending, keep_going))
            computing = demonstration.computed(keep_going=keep_going, total=total)
            for _ in self._with_bar(computing, total, "Runs computed"):
                pass
            judging = self._with_bar(demonstration.judge(sent), total, "Runs judged")
            for _ in _each(judging, keep_going):
                pass
        attach_pictures(scene)
        table = demonstration.publish_table()
        token = demonstration.make_token()
        return "\n".join(
            (
                "",
                demonstration.NOTICE,
                "",
                *(f"  {item.username:<9} password {item.password}" for item in accounts),
                f"  API token (role reviewer): {token}",
                "",
                "Look at:",
                "  /rankings/no-load-power/         standby power, best first",
                "  /adapters/northfold-trio-140/    one adapter; its standby verdict is undecided",
                f"  {table.get_absolute_url():<32} a frozen comparison",
                "  /charges/                        whole charges of two devices, curve over curve",
                "  /runs/                           the bench; sign in as reviewer or editor",
                "",
            )
        )

    def _with_bar(self, items: Iterable[Item], total: int, what: str) -> Iterator[Item]:
        """Pass the items on beside a bar on a terminal, else say the count at the end."""
        on_terminal = sys.stderr.isatty()
        count = 0
        for item in tqdm(items, total=total, desc=what, disable=not on_terminal, file=sys.stderr):
            count += 1
            yield item
        if not on_terminal:
            self._say(f"{what}: {count} of {total}.")

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()


def _each(items: Iterable[Item], keep_going: Callable[[], None]) -> Iterator[Item]:
    for item in items:
        keep_going()
        yield item
