"""Bearer tokens for programs."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from brickledger.models import ApiToken, digest_of


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer TOKEN``; only the token's hash is looked up."""

    def authenticate(self, request: Request) -> tuple[Any, ApiToken] | None:
        """The token's user, None when no token was sent. Raises `AuthenticationFailed`."""
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        if len(words) != 2:
            raise AuthenticationFailed("Write the header as “Authorization: Bearer TOKEN”.")
        token = words[1].decode("utf-8", "replace")
        found = ApiToken.objects.select_related("user").filter(digest=digest_of(token)).first()
        if found is None or not found.is_usable or not found.user.is_active:
            raise AuthenticationFailed("This token is unknown, expired or revoked.")
        return found.user, found

    def authenticate_header(self, request: Request) -> str:
        """What a 401 asks for."""
        return 'Bearer realm="brickledger"'
