"""plan.json is as its schema says, and docs/plan.md tells every key of the schema.

`FIRSTPULL_REWRITE=1 pytest tests/test_packet_schema.py` writes docs/plan.md anew.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sample_plan import sample_plan

DOCS = Path(__file__).parent.parent / "docs"
SCHEMA: dict[str, Any] = json.loads((DOCS / "plan.schema.json").read_text("utf-8"))
KINDS: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "boolean": (bool,),
    "integer": (int,),
    "number": (int, float),
    "null": (type(None),),
}
ORDER = (
    "part",
    "finding",
    "mould",
    "place",
    "piece",
    "bolt",
    "printed_part",
    "wall",
    "option",
    "check",
    "coat",
    "batch",
)
ORDER += ("sizes", "estimate", "why")


def resolved(schema: dict[str, Any]) -> dict[str, Any]:
    name = schema.get("$ref", "").rpartition("/")[2]
    return SCHEMA["$defs"][name] if name else schema


def faults(value: Any, schema: dict[str, Any], where: str = "plan") -> Iterator[str]:
    """The part of JSON Schema 2020-12 that this schema uses."""
    schema = resolved(schema)
    if "const" in schema and value != schema["const"]:
        yield f"{where} is {value!r}, not {schema['const']!r}"
    kinds = schema.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    if kinds and not any(_is(value, kind) for kind in kinds):
        yield f"{where} is {type(value).__name__}, not {kinds}"
        return
    if isinstance(value, dict):
        yield from (f"{where} lacks {k}" for k in schema.get("required", []) if k not in value)
        for key, part in schema.get("properties", {}).items():
            if key in value:
                yield from faults(value[key], part, f"{where}.{key}")
    if isinstance(value, list):
        if not schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", len(value)):
            yield f"{where} has {len(value)} items"
        for number, item in enumerate(value):
            yield from faults(item, schema.get("items", {}), f"{where}[{number}]")
    if _is(value, "number"):
        if value < schema.get("minimum", value):
            yield f"{where} is {value}, below {schema['minimum']}"
        if "exclusiveMinimum" in schema and value <= schema["exclusiveMinimum"]:
            yield f"{where} is {value}, not above {schema['exclusiveMinimum']}"


def _is(value: Any, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    return isinstance(value, KINDS[kind])


def unknown_keys(value: Any, schema: dict[str, Any], where: str = "plan") -> Iterator[str]:
    """Keys that the schema does not describe."""
    schema = resolved(schema)
    if isinstance(value, dict) and "properties" in schema:
        for key, inner in value.items():
            if key in schema["properties"]:
                yield from unknown_keys(inner, schema["properties"][key], f"{where}.{key}")
            else:
                yield f"{where}.{key}"
    if isinstance(value, list):
        for item in value:
            yield from unknown_keys(item, schema.get("items", {}), f"{where}[]")


def guide() -> str:
    """docs/plan.md, made from the schema."""
    lines = [
        "# plan.json",
        "",
        SCHEMA["description"],
        "",
        "The schema is [plan.schema.json](plan.schema.json); this page is made from it. A key",
        "in bold is always there.",
        "",
        "## The plan",
        "",
        *table(SCHEMA),
    ]
    for name in ORDER:
        definition = SCHEMA["$defs"][name]
        lines += [
            "",
            f"## {name}",
            "",
            definition["description"][:1].upper() + definition["description"][1:],
        ]
        if "properties" in definition:
            lines += ["", *table(definition)]
    return "\n".join(lines) + "\n"


def table(schema: dict[str, Any]) -> list[str]:
    return ["| key | kind | meaning |", "|---|---|---|", *rows(schema, "")]


def rows(schema: dict[str, Any], path: str) -> Iterator[str]:
    for key, part in schema["properties"].items():
        name = f"`{path}{key}`"
        shown = f"**{name}**" if key in schema.get("required", []) else name
        yield f"| {shown} | {kind_of(part)} | {part['description']} |"
        inner = part["items"] if part.get("type") == "array" else part
        if "properties" in inner:
            yield from rows(inner, f"{path}{key}{'[]' if inner is not part else ''}.")


def kind_of(part: dict[str, Any]) -> str:
    if "$ref" in part:
        name = part["$ref"].rpartition("/")[2]
        return f"[{name}](#{name})"
    if "const" in part:
        return f"`{part['const']}`"
    kind = part.get("type", "any")
    kind = kind if isinstance(kind, str) else " or ".join(kind)
    if kind == "array" and ("$ref" in part["items"] or "type" in part["items"]):
        return f"list of {kind_of(part['items'])}"
    return kind


def test_the_sample_plan_keeps_the_schema() -> None:
    assert list(faults(sample_plan(), SCHEMA)) == []


def test_the_sample_plan_has_no_key_that_the_schema_leaves_out() -> None:
    assert list(unknown_keys(sample_plan(), SCHEMA)) == []


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda p: p.pop("assumed"), "plan lacks assumed"),
        (lambda p: p.update(schema=2), "plan is 2"),
        (lambda p: p["parts"][0]["cast"].update(castings=0), "castings is 0"),
        (lambda p: p["parts"][0]["cast"].update(castings="9"), "castings is str"),
        (lambda p: p["parts"][0]["moulds"][0]["frame"]["to_mould"].pop(), "has 15 items"),
        (lambda p: p["parts"][0]["moulds"][0]["skin"].pop("mass_g"), "lacks mass_g"),
        (lambda p: p["parts"][0]["master"].update(closed=1), "closed is int"),
    ],
)
def test_a_spoilt_plan_is_noticed(spoil: Any, said: str) -> None:
    plan = sample_plan()
    spoil(plan)
    found = list(faults(plan, SCHEMA))
    assert found and any(said.removeprefix("plan ") in fault for fault in found)


def test_every_definition_is_used_and_told() -> None:
    text = json.dumps(SCHEMA)
    for name in SCHEMA["$defs"]:
        assert f'"#/$defs/{name}"' in text
    assert set(ORDER) == set(SCHEMA["$defs"])


def test_the_guide_is_made_from_the_schema() -> None:
    page = DOCS / "plan.md"
    if os.environ.get("FIRSTPULL_REWRITE"):
        page.write_text(guide(), encoding="utf-8")
    assert page.read_text("utf-8") == guide()
