"""``issue_token``: a key for a program."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify

from brickledger.models import ApiToken
from brickledger.roles import ROLES, give_role

MOST_DAYS = 3650


class Command(BaseCommand):
    """Make a token for the account ``token-NAME``, which has no password."""

    help = "Prints a new API token once; only its hash is kept."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whose it is and what it may do."""
        parser.add_argument("name", help="what the token is for, such as bench-logger")
        parser.add_argument("--role", required=True, choices=ROLES)
        parser.add_argument("--days", type=int, help="how long it is good for (default: no end)")

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        """Print the token alone to standard output, what to know about it to standard error."""
        name, role, days = options["name"].strip(), options["role"], options["days"]
        username = f"token-{slugify(name)}"
        if not slugify(name) or len(name) > 100:
            raise CommandError("Give a name of 1 to 100 characters with letters or digits in it.")
        if days is not None and not 1 <= days <= MOST_DAYS:
            raise CommandError(f"Give --days as a whole number from 1 to {MOST_DAYS}.")
        user, created = User.objects.get_or_create(username=username)
        if created:
            user.set_unusable_password()
            user.save()
        give_role(user, role)
        expires_at = timezone.now() + timedelta(days=days) if days else None
        token = ApiToken.issue(name=name, user=user, role=role, expires_at=expires_at)
        self.stdout.write(token)
        end = f"until {expires_at:%Y-%m-%d}" if expires_at else "without end"
        self.stderr.write(
            f"Token of {username} ({role}, {end}). It is shown this once; "
            "send it as “Authorization: Bearer TOKEN”."
        )
