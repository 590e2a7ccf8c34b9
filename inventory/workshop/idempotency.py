"""Creating requests that may be sent again: the same Idempotency-Key acts once, and gets the first answer each time."""

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import QueryDict
from django.utils import timezone
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.common.problems import Problem
from inventory.common.rows import find_or_make
from inventory.workshop.models import KeptAnswer, Member
from inventory.workshop.request import caller

HEADER = "Idempotency-Key"
REPLAYED = "Idempotent-Replay"
MOST_KEY = 255
KEPT_DAYS = 30  # ours: far longer than any outbox waits
_KEPT_HEADERS = ("Location", "ETag")

Args = ParamSpec("Args")
View = TypeVar("View")
Handler = Callable[Concatenate[View, Request, Args], Response]


class BadKey(Problem):
    """A key that can't be kept."""

    title = "This Idempotency-Key doesn't do"


class KeyReused(Problem):
    """The key stood for another request before: one of the two is a mistake."""

    status = 422
    title = "This Idempotency-Key was used before"


def once(handler: Handler[View, Args]) -> Handler[View, Args]:
    """Make a creating POST of an API view act once for each Idempotency-Key of the member who sends it.

    What it does and its answer are written in one transaction. Of two at once the later waits for the first, then gets its answer.
    Where the handler raises or answers with an error, all is taken back and the key stays free: put right, it may be sent again.
    Answers are kept for 30 days; older ones of the same member go when a new one is kept. Without the header it only acts in one
    transaction.
    """

    @wraps(handler)
    def guarded(view: View, request: Request, /, *args: Args.args, **kwargs: Args.kwargs) -> Response:
        key = request.headers.get(HEADER)
        with transaction.atomic():
            if key is None:
                return _undone_if_refused(handler(view, request, *args, **kwargs))
            kept, made = _kept(caller(request), _checked(key), fingerprint(request))
            if not made:
                return _again(kept)
            response = _undone_if_refused(handler(view, request, *args, **kwargs))
            if response.status_code < 400:  # noqa: PLR2004
                _keep(kept, response)
            return response

    guarded.acts_once = True  # type: ignore[attr-defined] # the API's description then knows of the header
    return guarded


def fingerprint(request: Request) -> str:
    """SHA-256 of method, path and body. Of a form with files the contents count, since its boundary differs each time it is sent."""
    seen = hashlib.sha256(f"{request.method}\n{request.path}\n".encode())
    if not (request.content_type or "").lower().startswith("multipart/"):
        seen.update(request.body)
        return seen.hexdigest()
    form = cast("QueryDict", request.data)
    for name, values in sorted(form.lists()):
        for value in values:
            seen.update(f"\n{len(name)}:{name}=".encode() + _bytes_of(value))
    return seen.hexdigest()


def _bytes_of(value: Any) -> bytes:
    if not isinstance(value, UploadedFile):
        return hashlib.sha256(str(value).encode()).digest()
    content = hashlib.sha256()
    for chunk in value.chunks():
        content.update(chunk)
    value.seek(0)
    return content.digest()


def _checked(key: str) -> str:
    if not key.strip() or len(key) > MOST_KEY or not key.isprintable():
        raise BadKey(f"an Idempotency-Key has 1 to {MOST_KEY} printable characters; a new UUID for each thing to be made does well")
    return key


def _kept(member: Member, key: str, seen: str) -> tuple[KeptAnswer, bool]:
    """The answer of this key, and whether it is still to be found. The row is written first: who comes later waits for it."""
    given = {"workshop_id": member.workshop_id, "member": member, "key": key}
    found, made = find_or_make(
        lambda: KeptAnswer.objects.filter(member=member, key=key).first(),
        lambda: KeptAnswer.objects.create(**given, fingerprint=seen, status=0),
    )
    if found.fingerprint != seen:
        raise KeyReused("this Idempotency-Key stood for another request before: use a new one for each thing to be made")
    return found, made


def _keep(kept: KeptAnswer, response: Response) -> None:
    kept.status = response.status_code
    kept.headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
    kept.body = None if response.data is None else json.loads(JSONRenderer().render(response.data))
    kept.save(update_fields=["status", "headers", "body"])
    KeptAnswer.objects.filter(member=kept.member_id, at__lt=timezone.now() - timedelta(days=KEPT_DAYS)).delete()


def _again(kept: KeptAnswer) -> Response:
    return Response(kept.body, status=kept.status, headers={**kept.headers, REPLAYED: "true"})


def _undone_if_refused(response: Response) -> Response:
    if response.status_code >= 400:  # noqa: PLR2004
        transaction.set_rollback(True)
    return response
