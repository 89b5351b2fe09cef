"""Writes over the API: each is recorded with what it changed, and done once under one key.

Idempotency-Key as in the IETF draft draft-ietf-httpapi-idempotency-key-header-07 (from memory:
the draft could not be read here).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Collection
from typing import Any

from django.contrib.auth.models import User
from django.core.files.uploadedfile import UploadedFile
from django.core.serializers.json import DjangoJSONEncoder
from django.db import IntegrityError, transaction
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.models import Write
from catalog.rest.problems import Fault, Invalid, KeyUsedBefore

HEADER = "Idempotency-Key"
MAX_KEY = 200
_KEY = re.compile(rf"[!-~]{{1,{MAX_KEY}}}")
# What a repeat is told beside the body; everything else is made anew.
_KEPT_HEADERS = ("Location", "ETag")
_IN_PROGRESS = 0


def key_of(request: Request) -> str:
    """The key under which the request is to be done once, "" without one. Raises `Invalid`."""
    key = request.headers.get(HEADER)
    if key is None:
        return ""
    if not _KEY.fullmatch(key):
        detail = f"Write 1 to {MAX_KEY} visible ASCII characters, such as a random UUID."
        raise Invalid([Fault(HEADER, detail)])
    return key


def fingerprint(request: Request) -> str:
    """One hash for what is asked: method, address, version and body, files by their content."""
    body = request.data
    version = request.headers.get("If-Match", "")
    said: Any = body
    if isinstance(body, MultiValueDict | QueryDict):
        said = {
            name: [_digest(item) if isinstance(item, UploadedFile) else item for item in items]
            for name, items in body.lists()
        }
    text = json.dumps(
        [request.method, request.path, version, said], sort_keys=True, ensure_ascii=True
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _digest(file: UploadedFile[bytes]) -> dict[str, str]:
    digest = hashlib.sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    file.seek(0)
    return {"name": file.name or "", "sha256": digest.hexdigest()}


def recorded(
    request: Request,
    act: Callable[[], Response],
    *,
    made: Collection[int],
    address: str | None,
) -> Response:
    """Do a write and record it, both or neither; a repeat under its key gets the first answer.

    `made` are the statuses that say that something was changed.

    Two requests of one key at the same moment wait for each other. A refusal is not kept: the
    same key may be tried again. Raises `Invalid` and `KeyUsedBefore`.
    """
    key = key_of(request)
    asked = fingerprint(request) if key else ""
    write = Write(
        door=Write.Door.API,
        user=request.user if isinstance(request.user, User) else None,
        token=str(request.auth or "")[:120],
        address=address,
        method=request.method or "",
        path=request.path[:300],
        status=_IN_PROGRESS,
        key=key,
        fingerprint=asked,
    )
    with transaction.atomic():
        if key and (earlier := _begun(write)):
            return _repeated(earlier, asked=asked)
        response = act()
        write.status = response.status_code
        write.subject = str(response.get("Location", "") or request.path)[:300]
        if key:
            headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
            plain = json.loads(json.dumps(response.data, cls=DjangoJSONEncoder))
            write.answer = {"body": plain, "headers": headers}
        if key or response.status_code in made:
            write.save()
        return response


def _begun(write: Write) -> Write | None:
    """Claim the key for this write; the earlier write that has it, if there is one."""
    same = Write.objects.filter(user=write.user, key=write.key)
    if earlier := same.answering().first():
        return earlier
    same.forget_answers()
    try:
        with transaction.atomic():
            write.save()
    except IntegrityError:
        # Another request of the same key was done while this one waited for the row.
        return same.get()
    return None


def _repeated(earlier: Write, *, asked: str) -> Response:
    if earlier.fingerprint != asked:
        raise KeyUsedBefore(
            "This Idempotency-Key was used for another request. Make a new one for each request."
        )
    kept = earlier.answer or {}
    return Response(kept.get("body"), status=earlier.status, headers=kept.get("headers"))
