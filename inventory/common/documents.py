"""Errors of the API as RFC 9457 problem documents, from this one module."""

from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404
from rest_framework import exceptions, serializers
from rest_framework.response import Response
from rest_framework.views import exception_handler

from inventory.common.problems import Problem

MEDIA_TYPE = "application/problem+json"
TYPE = "urn:rivetloft:problem:"


class ProblemOut(serializers.Serializer[Any]):
    """A problem document (RFC 9457)."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(required=False)
    errors = serializers.DictField(required=False, help_text="what is wrong with each field that was sent")  # type: ignore[assignment]


def document(status: int, title: str, detail: str = "", **members: Any) -> dict[str, Any]:
    """One problem document."""
    found: dict[str, Any] = {"type": "about:blank", "title": title, "status": status}
    if detail:
        found["detail"] = detail
    return {**found, **members}


def of_problem(problem: Problem) -> dict[str, Any]:
    """The document of a problem, with its own type and members where it has some."""
    named = {"type": TYPE + problem.kind} if problem.kind else {}
    return document(problem.status, problem.title, str(problem), **problem.members, **named)


def handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's hook: known errors become problem documents, unknown ones stay a 500."""
    if isinstance(error, Problem):
        return _response(of_problem(error), {})
    if isinstance(error, RequestDataTooBig):
        return _response(document(413, "This body is too large", "send it in smaller parts"), {})
    response = exception_handler(error, context)
    if response is None:
        return None
    headers = {name: response[name] for name in ("WWW-Authenticate", "Retry-After") if name in response}
    return _response(_of_drf(error, response), headers)


def _of_drf(error: Exception, response: Response) -> dict[str, Any]:
    if isinstance(error, Http404):
        return document(404, "Not found")
    if isinstance(error, exceptions.ValidationError):
        return document(response.status_code, "The request doesn't read", errors=_by_field(response.data))
    if isinstance(error, PermissionDenied | exceptions.PermissionDenied):
        return document(403, "Not allowed", str(error))
    detail = response.data.get("detail", "") if isinstance(response.data, dict) else ""
    return document(response.status_code, response.status_text, str(detail))


def _by_field(errors: Any) -> dict[str, Any]:
    return errors if isinstance(errors, dict) else {"non_field_errors": errors}


def _response(body: dict[str, Any], headers: dict[str, str]) -> Response:
    return Response(body, status=body["status"], headers=headers, content_type=MEDIA_TYPE)
