"""The job sheet as a form: every field with what it is, its range and its choices."""

from __future__ import annotations

from functools import cache
from typing import Any

from firstpull.core.material.row import find_material, materials_of
from firstpull.core.sheet import JobSheet, describe_fields
from firstpull.core.sheet_fields import FieldEntry

WORDS = {
    "mm": "millimetres",
    "cm": "centimetres",
    "in": "inches",
    "m": "metres",
    "laid": "laid by hand",
    "printed": "printed",
    "bulk volume": "level cups",
    "weight": "weight",
    "a4": "A4",
    "letter": "Letter",
}
"""What a choice is called, where its value is no word of its own."""


@cache
def sheet_form() -> dict[str, Any]:
    """All fields in their groups, as plain data."""
    schema = JobSheet.model_json_schema()
    groups: dict[str, list[dict[str, Any]]] = {}
    for entry in describe_fields():
        group, _, key = entry.name.rpartition(".")
        about = _properties(schema, group)[key]
        groups.setdefault(group, []).append(_field(entry, about))
    return {
        "groups": [
            {"name": name, "what": _what(name), "fields": fields} for name, fields in groups.items()
        ]
    }


def _properties(schema: dict[str, Any], group: str) -> dict[str, Any]:
    if not group:
        return dict(schema["properties"])
    name = schema["properties"][group]["$ref"].rpartition("/")[2]
    return dict(schema["$defs"][name]["properties"])


def _what(group: str) -> str:
    model = JobSheet.model_fields[group].annotation if group else None
    return (model.__doc__ or "").splitlines()[0] if model else "Beside the groups."


def _field(entry: FieldEntry, about: dict[str, Any]) -> dict[str, Any]:
    # an optional field is "this or null": its kind and limits stand in the first of the two
    kind = {**about, **about.get("anyOf", [{}])[0]}
    choices = _choices(kind)
    return {
        "name": entry.name,
        "what": entry.what,
        "why": entry.why,
        "default": entry.default,
        "empty": entry.empty,
        "unit": entry.unit,
        "kind": "choice" if choices else _kind(kind["type"]),
        "low": kind.get("minimum"),
        "high": kind.get("maximum"),
        "above": kind.get("exclusiveMinimum"),
        "choices": choices,
        "allowed": entry.allowed,
    }


def _kind(json_type: str) -> str:
    return {
        "number": "number",
        "integer": "whole",
        "string": "text",
        "boolean": "yes_no",
        "array": "list",
    }[json_type]


def _choices(kind: dict[str, Any]) -> list[dict[str, Any]] | None:
    if kind["material"] is not None:
        ids = [row.id for row in materials_of(kind["material"])]
        return [{"value": row_id, "words": find_material(row_id).name} for row_id in ids]
    if "enum" in kind:
        return [{"value": value, "words": WORDS[value]} for value in kind["enum"]]
    return None
