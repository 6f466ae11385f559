"""The interface's own document: made plainer for those who generate clients from it."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

TITLE = "firstpull"
DESCRIPTION = """\
The interface of the app on this machine, the same that its own page uses.

Lengths are in millimetres, masses in grams and times in UTC; names carry their units. A request
that is refused answers with one shape, a Refusal: which one (`code`), where, what was found, the
limit, the next move, and all of it as one sentence. Scripts on the same machine need no key.
"""
TAGS = [
    {"name": "jobs", "description": "Jobs, their meshes and what was done."},
    {"name": "sheets", "description": "What a maker answers; all else is worked out."},
    {"name": "runs", "description": "Working out a plan."},
    {"name": "looks", "description": "What there is to see of a run."},
    {"name": "plans", "description": "The plan, its numbers and its files."},
    {"name": "materials", "description": "Figures of materials, and what this shop found."},
    {"name": "events", "description": "Changes as they happen."},
    {"name": "about", "description": "The program."},
]


def install_document(app: FastAPI, version: str) -> None:
    """``app.openapi()`` gives the document; made once."""

    def made() -> dict[str, Any]:
        if app.openapi_schema is None:
            raw = get_openapi(
                title=TITLE, version=version, description=DESCRIPTION, routes=app.routes, tags=TAGS
            )
            app.openapi_schema = _plainer(raw)
        return app.openapi_schema

    app.openapi = made  # type: ignore[method-assign]


def _plainer(value: Any) -> Any:
    """Titles that only repeat names dropped; "a number or null" as one type of two names.

    >>> _plainer({"title": "Due On", "anyOf": [{"type": "string"}, {"type": "null"}]})
    {'type': ['string', 'null']}
    """
    if isinstance(value, list):
        return [_plainer(item) for item in value]
    if not isinstance(value, dict):
        return value
    plain = {
        name: _plainer(item)
        for name, item in value.items()
        if not (name == "title" and isinstance(item, str) and _is_schema(value))
    }
    options = plain.get("anyOf")
    if not isinstance(options, list) or len(options) != 2 or options[1] != {"type": "null"}:
        return plain
    kind = options[0].get("type")
    if not isinstance(kind, str) or "enum" in options[0]:
        return plain
    rest = {name: item for name, item in plain.items() if name != "anyOf"}
    return {**options[0], **rest, "type": [kind, "null"]}


def _is_schema(value: dict[str, Any]) -> bool:
    """Whether this is a schema and not the document's head or a set of named fields."""
    return "version" not in value and bool({"type", "anyOf", "$ref", "items", "enum"} & set(value))
