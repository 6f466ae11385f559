"""The interface's document tells a scripter everything, for every address."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from firstpull.web.document import TAGS, _plainer
from firstpull.web.openapi import document
from firstpull.web.refusals import status_of
from firstpull.web.shapes.base import Refusal
from web_office import EmptyDesk, client_of, office_over

DOCUMENT = document()
CALLS = [
    pytest.param(path, call, id=call["operationId"])
    for path, methods in DOCUMENT["paths"].items()
    for call in methods.values()
]


@pytest.mark.parametrize(("path", "call"), CALLS)
def test_every_address_documents_its_refusals(path: str, call: dict[str, Any]) -> None:
    """Each refusal has the one shape, and stands under the status that its code has."""
    refused = {int(s): answer for s, answer in call["responses"].items() if int(s) >= 400}
    assert {403, 422, 500} <= set(refused)
    assert 404 in refused or "{" not in path
    for status, answer in refused.items():
        shape = answer["content"]["application/json"]["schema"]["$ref"].rsplit("/", 1)[-1]
        assert shape == ("ChangedRefusal" if status == 409 else "Refusal")
        codes = answer["description"].removeprefix("Refused: ").split(", ")
        assert {status_of(code) for code in codes} == {status}


@pytest.mark.parametrize(("path", "call"), CALLS)
def test_every_address_is_named_and_told(path: str, call: dict[str, Any]) -> None:
    assert re.fullmatch(r"[a-z]+(_[a-z0-9]+)+", call["operationId"])
    assert len(call["tags"]) == 1 and call["tags"][0] in {tag["name"] for tag in TAGS}
    assert call["summary"][0].isupper() and not call["summary"].endswith(".")
    given = [call["responses"][s] for s in call["responses"] if int(s) < 300 and s != "204"]
    assert len(given) == 1
    for content in given[0]["content"].values():
        assert content["schema"], "an answer without a shape"


def schemas(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
    for item in value.values() if isinstance(value, dict) else value:
        if isinstance(item, dict | list):
            yield from schemas(item)


def test_names_of_calls_are_unique() -> None:
    names = [call["operationId"] for methods in DOCUMENT["paths"].values()
             for call in methods.values()]  # fmt: skip
    assert len(names) == len(set(names)) > 5


def test_an_empty_field_needs_no_choice_of_types() -> None:
    """A generated client reads "a number or null", not a union of two classes."""
    for schema in schemas(DOCUMENT):
        options = schema.get("anyOf", [])
        assert not any(o.get("type", "null") != "null" and "enum" not in o for o in options), schema


def test_the_shape_of_a_refusal_is_the_one_that_is_sent(tmp_path: Path) -> None:
    body = client_of(office_over(EmptyDesk(tmp_path))).get("/api/nowhere").json()
    assert set(Refusal.model_fields) == set(body)


def test_a_field_called_title_keeps_its_place() -> None:
    made = _plainer({"properties": {"title": {"title": "Title", "type": "string"}}})
    assert made == {"properties": {"title": {"type": "string"}}}


def test_the_app_hands_out_the_document_and_a_page_made_of_it(tmp_path: Path) -> None:
    client = client_of(office_over(EmptyDesk(tmp_path)))
    assert client.get("/api/openapi.json").json() == json.loads(json.dumps(DOCUMENT))
    page = client.get("/api/docs").text
    for methods in DOCUMENT["paths"].values():
        for call in methods.values():
            assert f'id="{call["operationId"]}"' in page
    assert "<script" not in page and "http://" not in page and "https://" not in page
