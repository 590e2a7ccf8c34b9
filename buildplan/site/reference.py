"""The API's description, and what its page shows of it."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from drf_spectacular.generators import SchemaGenerator

_METHODS = ("get", "post", "put", "patch", "delete")
_TYPES = {"string": "text", "integer": "whole number", "number": "number", "boolean": "true or false", "object": "object"}
_FORMATS = {"date": "day", "date-time": "instant", "uuid": "UUID", "email": "e-mail address", "binary": "file"}

Schema = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One thing that an operation is told. `where` is path, query, header or body; `type` says in words what does."""

    name: str
    where: str
    type: str
    required: bool
    help: str


@dataclass(frozen=True, slots=True)
class Answer:
    """A status that an operation may answer, and what it then means."""

    status: str
    help: str


@dataclass(frozen=True, slots=True)
class Operation:
    """One method of one address. Examples are JSON as it is sent; empty where there is none. `scope` is what a token must be allowed."""

    id: str
    method: str
    path: str
    title: str
    help: str
    scope: str
    parameters: tuple[Parameter, ...]
    request: str
    answer: str
    answers: tuple[Answer, ...]


@cache
def description() -> dict[str, Any]:
    """The OpenAPI document. It follows from the code alone, so each process makes it once."""
    found: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return found


@cache
def operations() -> dict[str, list[Operation]]:
    """Every operation by its tag, tags in the order of the alphabet, operations in that of their addresses."""
    whole, found = description(), dict[str, list[Operation]]()
    for path, methods in whole["paths"].items():
        for method in (name for name in _METHODS if name in methods):
            stated = methods[method]
            found.setdefault(stated.get("tags", ["other"])[0], []).append(_operation(whole, path, method, stated))
    return dict(sorted(found.items()))


def _operation(whole: Schema, path: str, method: str, stated: Schema) -> Operation:
    help_text = stated.get("description", "")
    answers = {code: _resolved(whole, answer) for code, answer in stated["responses"].items()}
    return Operation(
        id=stated["operationId"],
        method=method.upper(),
        path=path,
        title=stated.get("summary") or help_text.split(".")[0],
        help=help_text,
        scope=stated.get("x-scope", "read"),
        parameters=(*(_parameter(whole, one) for one in stated.get("parameters", ())), *_body(whole, stated)),
        request=_example(stated.get("requestBody", {})),
        answer=next((text for code, answer in answers.items() if code < "300" and (text := _example(answer))), ""),
        answers=tuple(Answer(code, answer.get("description", "")) for code, answer in answers.items()),
    )


def _parameter(whole: Schema, stated: Schema) -> Parameter:
    schema = stated.get("schema", {})
    return Parameter(stated["name"], stated["in"], in_words(whole, schema), stated.get("required", False), stated.get("description", ""))


def _body(whole: Schema, stated: Schema) -> Iterable[Parameter]:
    """The fields of a body."""
    bodies: list[Schema] = list(stated.get("requestBody", {}).get("content", {}).values())
    schema = _resolved(whole, bodies[0].get("schema", {})) if bodies else {}
    required = schema.get("required", ())
    for name, field in schema.get("properties", {}).items():
        yield Parameter(name, "body", in_words(whole, field), name in required, field.get("description", ""))


def in_words(whole: Schema, schema: Schema) -> str:
    """What a schema takes, for a person."""
    schema = _resolved(whole, schema)
    if "enum" in schema:
        return ", ".join("null" if value is None else str(value) for value in schema["enum"])
    if several := [one for key in ("oneOf", "anyOf", "allOf") for one in schema.get(key, ())]:
        return " or ".join(dict.fromkeys(in_words(whole, one) for one in several))
    kind = schema.get("type", "anything")
    if isinstance(kind, list):
        return " or ".join(in_words(whole, {**schema, "type": one}) if one != "null" else "null" for one in kind)
    if kind == "array":
        return f"list of {in_words(whole, schema.get('items', {}))}"
    return _FORMATS.get(schema.get("format", "")) or _TYPES.get(kind, str(kind))


def _resolved(whole: Schema, schema: Schema) -> Schema:
    """What a reference stands for."""
    while "$ref" in schema:
        found: Any = whole
        for name in schema["$ref"].removeprefix("#/").split("/"):
            found = found[name]
        schema = found
    return schema


def _example(stated: Schema) -> str:
    """The first example of a body."""
    for content in stated.get("content", {}).values():
        for example in content.get("examples", {}).values():
            return json.dumps(example["value"], indent=2, ensure_ascii=False, default=str)
    return ""
