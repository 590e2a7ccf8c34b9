"""ETags of single rows: an edit says which version it changes, so that nobody overwrites what they haven't seen."""

import hashlib
import json
from typing import Any

from django.db import transaction
from django.utils.http import parse_etags
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.utils.encoders import JSONEncoder

from inventory.common.problems import Problem


class MatchMissing(Problem):
    """An edit that doesn't say which version it changes."""

    status = 428
    title = "If-Match is missing"


class ChangedMeanwhile(Problem):
    """An edit of a version that is no longer there."""

    status = 412
    title = "This has changed meanwhile"


def etag(data: Any) -> str:
    """The ETag of what a row is shown as: the same contents give the same one, whoever asks."""
    text = json.dumps(data, cls=JSONEncoder, sort_keys=True, separators=(",", ":"))
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'


def tagged(data: Any, status: int = 200, **headers: str) -> Response:
    """`data` as an answer with its ETag."""
    return Response(data, status=status, headers={"ETag": etag(data), **headers})


def shown(request: Request, data: Any) -> Response:
    """`data` as the answer to a read: 304, without a body, where the caller has just this version."""
    found = tagged(data)
    known = parse_etags(request.headers.get("If-None-Match", ""))
    if "*" in known or found["ETag"] in {one.removeprefix("W/") for one in known}:
        return Response(status=304, headers={"ETag": found["ETag"]})
    return found


def require_match(request: Request, data: Any) -> None:
    """Refuse an edit unless its If-Match names the version `data`. Call it within the transaction that has locked the row."""
    given = request.headers.get("If-Match")
    if not given:
        raise MatchMissing("send If-Match with the ETag that reading this gave: an edit says which version it changes")
    known = parse_etags(given)
    if "*" not in known and etag(data) not in known:
        raise ChangedMeanwhile("somebody changed this since you read it: read it again, then send the edit with its new ETag")


class TaggedRows:
    """Detail actions of a view set: reading gives an ETag; PATCH and DELETE need it, and look at it with the row locked.

    The view set says in `change(row, data)` and `remove(row)` which service does it. PATCH is read by `patch_serializer_class`.
    """

    patch_serializer_class: type[BaseSerializer[Any]]

    def row(self: Any, pk: int) -> Any:
        """The row as it is shown; one that isn't of this workshop is a 404."""
        return get_object_or_404(self.get_queryset(), pk=pk)

    def lock(self: Any, pk: int) -> None:
        """Hold the row until the transaction ends. A view set whose service locks something else first overrides this."""
        self.get_queryset().model.objects.select_for_update(no_key=True).filter(pk=pk).first()

    def shown(self: Any, pk: int) -> Any:
        """What a reader is given of it now."""
        return self.serializer_class(self.row(pk), context=self.get_serializer_context()).data

    def retrieve(self, request: Request, pk: int) -> Response:
        """One of them, with its ETag."""
        return shown(request, self.shown(pk))

    @transaction.atomic
    def partial_update(self: Any, request: Request, pk: int) -> Response:
        """Change what is given; the answer is the row as it is then, with its new ETag."""
        row = self._seen(request, pk)
        asked = self.patch_serializer_class(row, data=request.data, partial=True, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        self.change(row, asked.validated_data)
        return tagged(self.shown(pk))

    @transaction.atomic
    def destroy(self: Any, request: Request, pk: int) -> Response:
        """Remove it."""
        self.remove(self._seen(request, pk))
        return Response(status=204)

    def _seen(self: Any, request: Request, pk: int) -> Any:
        """The row, locked, in the version that the caller has seen: all that a reader is shown counts as part of it."""
        self.row(pk)  # a 404 before anything is locked
        self.lock(pk)
        require_match(request, self.shown(pk))
        return self.row(pk)
