"""The API's description and its page."""

import json

import pytest
import yaml
from django.urls import reverse
from django.utils.text import slugify

from buildplan.site.reference import description, in_words, operations
from inventory.common.documents import MEDIA_TYPE

METHODS = ("get", "post", "patch", "put", "delete")
STATED = [
    (path, method, stated) for path, methods in description()["paths"].items() for method, stated in methods.items() if method in METHODS
]
NAMES = [f"{method} {path}" for path, method, _ in STATED]


def resolved(stated):
    reference = stated.get("$ref", "").removeprefix("#/components/responses/")
    return description()["components"]["responses"][reference] if reference else stated


@pytest.mark.parametrize(("path", "method", "stated"), STATED, ids=NAMES)
def test_every_operation_declares_its_problems(path, method, stated):
    answers = stated["responses"]

    assert {"401", "403", "429"} <= set(answers)
    assert "{" not in path or "404" in answers
    assert "requestBody" not in stated or "400" in answers
    for status, answer in answers.items():
        assert resolved(answer)["description"]
        assert status < "400" or list(resolved(answer)["content"]) == [MEDIA_TYPE]


@pytest.mark.parametrize(("path", "method", "stated"), STATED, ids=NAMES)
def test_every_operation_says_what_scope_it_takes(path, method, stated):
    assert stated["x-scope"] in {"read", "scan", "manage", "any"}


def test_edits_take_if_match_and_what_makes_takes_an_idempotency_key():
    item, items = description()["paths"]["/api/v1/items/{id}"], description()["paths"]["/api/v1/items"]

    for method in ("patch", "delete"):
        assert {"name": "If-Match", "in": "header", "required": True}.items() <= item[method]["parameters"][-1].items()
        assert {"412", "428"} <= set(item[method]["responses"])
    assert "ETag" in item["get"]["responses"]["200"]["headers"]
    assert items["post"]["parameters"][-1]["name"] == "Idempotency-Key"
    assert {"409", "422"} <= set(items["post"]["responses"])


@pytest.mark.parametrize("form", ["yaml", "json"])
def test_description_is_served_to_anybody(client, db, form):
    answer = client.get(f"/api/v1/openapi.{form}")

    assert (answer.status_code, answer["Content-Type"]) == (200, f"application/{form}")
    read = yaml.safe_load(answer.content) if form == "yaml" else json.loads(answer.content)
    assert read["openapi"].startswith("3.1")
    assert list(read["paths"]) == list(description()["paths"])


def test_pages_show_every_operation_with_its_examples(client, db):
    first = client.get(reverse("api")).content.decode()
    assert "Authorization: Bearer" in first

    parts = {tag: client.get(reverse("api-part", args=[slugify(tag)])).content.decode() for tag in operations()}
    assert sum(page.count("<details") for page in parts.values()) == len(STATED)
    for path, method, stated in STATED:
        named = f"{reverse('api-part', args=[slugify(stated['tags'][0])])}#{stated['operationId']}"
        assert f'href="{named}"' in first, f"{method} {path}"
        assert f'id="{stated["operationId"]}"' in parts[stated["tags"][0]], f"{method} {path}"
    assert "AN470AD4-6" in parts["items"]


def test_part_that_is_not_there_is_a_404(client, db):
    assert client.get(reverse("api-part", args=["no-part"])).status_code == 404


def test_page_names_the_parameters_scope_and_answers_of_an_operation():
    taught = next(one for one in operations()["items"] if one.id == "identifiers_create")

    assert (taught.method, taught.path, taught.scope) == ("POST", "/api/v1/identifiers", "scan")
    assert [(one.name, one.where, one.type, one.required) for one in taught.parameters] == [
        ("Idempotency-Key", "header", "text", False),
        ("item", "body", "text", True),
        ("text", "body", "text", True),
    ]
    assert json.loads(taught.request) == {"item": "AN470AD4-6", "text": "0012345678905"}
    assert json.loads(taught.answer)["own"] is False
    assert {"200", "201", "400", "404", "409", "422"} <= {one.status for one in taught.answers}


def test_example_of_a_list_is_a_page_of_it():
    listed = next(one for one in operations()["items"] if one.id == "items_list")

    assert set(json.loads(listed.answer)) == {"next", "previous", "results"}


@pytest.mark.parametrize(
    ("schema", "words"),
    [
        ({"type": "string"}, "text"),
        ({"type": ["string", "null"], "format": "date"}, "day or null"),
        ({"enum": ["good", None]}, "good, null"),
        ({"type": "array", "items": {"type": "integer"}}, "list of whole number"),
        ({"oneOf": [{"type": "string"}, {"type": "number"}]}, "text or number"),
        ({"$ref": "#/components/schemas/A"}, "true or false"),
        ({}, "anything"),
    ],
)
def test_schema_in_words(schema, words):
    assert in_words({"components": {"schemas": {"A": {"type": "boolean"}}}}, schema) == words
