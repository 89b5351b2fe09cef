"""Bearer tokens for programs."""

from __future__ import annotations

import logging
from datetime import timedelta

from django.db import DatabaseError
from django.db.models import Q
from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from brickledger.models import ApiToken, TokenUser, digest_of
from brickledger.rate_limits import count_failure

logger = logging.getLogger(__name__)

USE_NOTED_EVERY = timedelta(minutes=1)


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer TOKEN``; only the token's hash is looked up."""

    def authenticate(self, request: Request) -> tuple[TokenUser, ApiToken] | None:
        """The token's account, narrowed to the token's role; None when no token was sent.

        Raises `AuthenticationFailed`, and `Throttled` for an address that fails too often.
        """
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        if len(words) != 2:
            count_failure(request)
            raise AuthenticationFailed("Write the header as “Authorization: Bearer TOKEN”.")
        token = words[1].decode("utf-8", "replace")
        found = ApiToken.objects.select_related("user").filter(digest=digest_of(token)).first()
        if found is None or not found.is_usable or not found.user.is_active:
            count_failure(request)
            raise AuthenticationFailed("This token is unknown, expired or revoked.")
        _note_use(found)
        return TokenUser.of(found.user, role=found.role), found

    def authenticate_header(self, request: Request) -> str:
        """What a 401 asks for."""
        return 'Bearer realm="brickledger"'


def _note_use(token: ApiToken) -> None:
    """Write down that the token is in use, unless that was done a moment ago."""
    now = timezone.now()
    if token.last_used_at is not None and now - token.last_used_at < USE_NOTED_EVERY:
        return
    unnoted = Q(last_used_at=None) | Q(last_used_at__lte=now - USE_NOTED_EVERY)
    try:
        ApiToken.objects.filter(unnoted, pk=token.pk).update(last_used_at=now)
    except DatabaseError:
        # Whoever only reads must not fail because the database takes no writes just now.
        logger.warning("The use of a token was not noted", exc_info=True)
