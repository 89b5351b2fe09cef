"""Entity tags and conditional changes (RFC 9110, sections 8.8.3 and 13.1.1)."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.utils.http import parse_etags
from rest_framework.request import Request

from catalog.rest.problems import PreconditionFailed, PreconditionRequired


def entity_tag(content: Any) -> str:
    """A strong entity tag from what an answer says."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return f'"{hashlib.sha256(text.encode("ascii")).hexdigest()[:32]}"'


def check_if_match(request: Request, *, current: str) -> None:
    """Let a change go on only if it is a change of the present version.

    Call it with the row locked, inside the transaction of the change. Raises
    `PreconditionRequired` and `PreconditionFailed`.
    """
    header = request.headers.get("If-Match")
    if header is None:
        raise PreconditionRequired(
            "Send If-Match with the ETag of the version that you read, so that nobody's change "
            "is overwritten unseen."
        )
    # Compressing an answer turns its tag into a weak one on the way out (W/ before it). The
    # tag was strong when it was made, so a client may hand it back as it came.
    sent = {tag.removeprefix("W/") for tag in parse_etags(header)}
    if "*" not in sent and current not in sent:
        raise PreconditionFailed(
            "It has changed since you read it. Read it again, and repeat your change on that."
        )
