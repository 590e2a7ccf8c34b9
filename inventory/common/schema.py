"""What every operation of the API says alike in its description: its problems, and the headers of edits and of creating requests."""

from http import HTTPStatus
from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.utils import OpenApiExample

from inventory.common.documents import MEDIA_TYPE, ProblemOut
from inventory.common.etags import TaggedRows
from inventory.common.scopes import scope_of

_SAID = {
    400: "The request doesn't read, or asks for what makes no sense.",
    401: "No token, one that is no good, or nobody signed in.",
    403: "The token's scope, or the member's role, doesn't reach this.",
    404: "There is none here. What is another workshop's is not here.",
    409: "It can't be done as things are now; the sentence says why.",
    412: "It has changed since it was read: read it again.",
    413: "The body is too large.",
    415: "The body is of a type that isn't read here.",
    422: "The Idempotency-Key was used for another request before.",
    428: "If-Match is missing.",
    429: "Too many requests: wait as long as Retry-After says.",
}
_TOO_MANY = 429
_RETRY_AFTER = {"Retry-After": {"schema": {"type": "integer"}, "description": "seconds"}}
_EDITS = frozenset({"PATCH", "PUT", "DELETE"})
_IF_MATCH = {
    "in": "header",
    "name": "If-Match",
    "schema": {"type": "string"},
    "required": True,
    "description": "the ETag that reading it gave: an edit says which version it changes",
}
_IF_NONE_MATCH = {
    "in": "header",
    "name": "If-None-Match",
    "schema": {"type": "string"},
    "description": "an ETag that is known already: where it still holds, the answer is 304",
}
_IDEMPOTENCY_KEY = {
    "in": "header",
    "name": "Idempotency-Key",
    "schema": {"type": "string", "minLength": 1, "maxLength": 255},
    "description": "new for each thing to be made: the same again acts once and gets the first answer, with Idempotent-Replay: true",
}
_ETAG = {"ETag": {"schema": {"type": "string"}, "description": "names this version; If-Match sends it back"}}
_LOCATION = {"Location": {"schema": {"type": "string"}, "description": "where it can be read"}}


def problems(*statuses: int) -> dict[tuple[int, str], type[ProblemOut]]:
    """Further problems of an operation, for `extend_schema(responses=...)`: those that don't follow from what it is, such as 409."""
    return {(status, MEDIA_TYPE): ProblemOut for status in statuses}


def shown_as(value: Any, *statuses: str) -> OpenApiExample:
    """An example of an answer."""
    return OpenApiExample("answer", value=value, response_only=True, status_codes=list(statuses or ("200", "201")))


def sent_as(value: Any) -> OpenApiExample:
    """An example of a request."""
    return OpenApiExample("request", value=value, request_only=True)


class ApiSchema(AutoSchema):
    """drf-spectacular's own, with what follows from an operation's kind.

    Each may answer 401, 403 and 429; one with an id 404; one with parameters or a body 400; PATCH, PUT and DELETE of `TaggedRows` take
    If-Match; a POST marked `once` takes an Idempotency-Key.
    """

    def get_operation(self, *args: Any, **kwargs: Any) -> Any:
        """One operation."""
        operation = super().get_operation(*args, **kwargs)
        if operation is None:
            return None
        operation["parameters"] = [*operation.get("parameters", []), *self._headers()]
        operation["x-scope"] = scope_of(self.view, self.method)
        answers = {code: self._answer(code, answer) for code, answer in operation["responses"].items()}
        for status in self._problems(operation):
            answers.setdefault(str(status), self._problem(status))
        if self._tagged and self.method == "GET":
            answers["304"] = {"description": "It is still the version that If-None-Match names."}
        operation["responses"] = dict(sorted(answers.items()))
        return operation

    def get_filter_backends(self) -> list[Any]:
        """Those of a view that has filters."""
        return super().get_filter_backends() if hasattr(self.view, "filterset_class") else []

    @property
    def _tagged(self) -> bool:
        return "{" in self.path and isinstance(self.view, TaggedRows)

    @property
    def _once(self) -> bool:
        action = getattr(self.view, getattr(self.view, "action", None) or self.method.lower(), None)
        return self.method == "POST" and hasattr(action, "acts_once")

    def _headers(self) -> list[dict[str, Any]]:
        if self._once:
            return [_IDEMPOTENCY_KEY]
        if not self._tagged or self.method not in {*_EDITS, "GET"}:
            return []
        return [_IF_MATCH if self.method in _EDITS else _IF_NONE_MATCH]

    def _problems(self, operation: dict[str, Any]) -> set[int]:
        found = {401, 403, 429}
        if "{" in self.path:
            found.add(404)
        if "requestBody" in operation:
            found |= {400, 413, 415}
        if any(one["in"] == "query" for one in operation["parameters"]):
            found.add(400)
        if self._tagged and self.method in _EDITS:
            found |= {412, 428}
        return found | ({400, 422} if self._once else set())

    def _problem(self, status: int) -> dict[str, Any]:
        """The answer of a status, described once for all operations."""
        shared = ResolvedComponent(f"Problem{status}", ResolvedComponent.RESPONSE, object=f"Problem{status}")  # type: ignore[no-untyped-call]
        if shared not in self.registry:
            shape = self.resolve_serializer(ProblemOut, "response").ref
            example = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, "detail": _SAID[status]}
            content = {MEDIA_TYPE: {"schema": shape, "examples": {"problem": {"value": example}}}}
            shared.schema = {"description": _SAID[status], "content": content, **({"headers": _RETRY_AFTER} if status == _TOO_MANY else {})}
            self.registry.register(shared)
        return {"$ref": f"#/components/responses/{shared.name}"}

    def _answer(self, code: str, answer: dict[str, Any]) -> dict[str, Any]:
        """One that the view declares: a plain problem becomes the shared one, others get their headers."""
        if int(code) in _SAID and list(answer.get("content", {}).values()) == [
            {"schema": self.resolve_serializer(ProblemOut, "response").ref}
        ]:
            return self._problem(int(code))
        headers = _ETAG if self._tagged and code == "200" else _LOCATION if self._once and code == "201" else {}
        said = {"description": answer.get("description") or HTTPStatus(int(code)).phrase}
        return {**answer, **said, **({"headers": {**headers, **answer.get("headers", {})}} if headers else {})}
