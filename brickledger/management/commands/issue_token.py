"""``issue_token``: a key for a program."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils.text import slugify

from brickledger.models import ApiToken
from brickledger.roles import ROLES, give_role


class Command(BaseCommand):
    """Make a token for the account ``token-NAME``, which has no password."""

    help = "Prints a new API token once; only its hash is kept."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whose it is and what it may do."""
        parser.add_argument("name", help="what the token is for, such as bench-logger")
        parser.add_argument("--role", required=True, choices=ROLES)

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        """Print the token alone to standard output, what to know about it to standard error."""
        name, role = options["name"].strip(), options["role"]
        username = f"token-{slugify(name)}"
        if not slugify(name) or len(name) > 100:
            raise CommandError("Give a name of 1 to 100 characters with letters or digits in it.")
        user, created = User.objects.get_or_create(username=username)
        if created:
            user.set_unusable_password()
            user.save()
        give_role(user, role)
        token = ApiToken.issue(name=name, user=user)
        self.stdout.write(token)
        self.stderr.write(
            f"Token of {username} ({role}). It is shown this once; "
            "send it as “Authorization: Bearer TOKEN”."
        )
