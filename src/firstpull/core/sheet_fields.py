"""The fields of a sheet as a person reads about them: what, default, allowed, unit, why."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel, Field

from firstpull.core.material.row import Kind, materials_of

UNITS = {"cm3_h": "cm³/h", "mm": "mm", "c": "°C", "pct": "%", "deg": "degrees"}
"""What the end of a field's name says about its unit."""


@dataclass(frozen=True)
class FieldEntry:
    """One field of the sheet.

    Args:
        name: dotted, such as "skin.thickness_mm".
        what: what it is.
        default: its value when left out; None where kind or mesh decide.
        allowed: range or choices in words, unit included.
        unit: "mm", "°C" and the like; empty where it has none.
        why: why that default.
        empty: what leaving it out means where the default is None.
    """

    name: str
    what: str
    default: Any
    allowed: str
    unit: str
    why: str
    empty: str | None

    @property
    def default_words(self) -> str:
        """The default as it would be written in a sheet, or what an empty field means."""
        if self.default is None:
            return f"empty: {self.empty}"
        if isinstance(self.default, bool):
            return "yes" if self.default else "no"
        return f"{self.default:g}" if isinstance(self.default, float) else str(self.default)


def ask(
    default: Any,
    what: str,
    why: str,
    *,
    empty: str | None = None,
    material: Kind | None = None,
    allowed: str | None = None,
    **limits: Any,
) -> Any:
    """A field of a sheet; arguments as :class:`FieldEntry`.

    Args:
        material: the kind of row that the field names, where it names one.
        allowed: what may stand there, for lists; else it is told from kind and limits.
        limits: ge, le, gt and the like, inclusive bounds as pydantic takes them.
    """
    extra: dict[str, Any] = {"why": why, "empty": empty, "material": material, "allowed": allowed}
    return Field(default=default, description=what, json_schema_extra=extra, **limits)


@cache
def describe(sheet: type[BaseModel]) -> tuple[FieldEntry, ...]:
    """All fields of a sheet, its groups one level deep, in the order of the sheet."""
    found: list[FieldEntry] = []
    schema = sheet.model_json_schema()
    for name, field in schema["properties"].items():
        group = schema["$defs"].get(field.get("$ref", "").rpartition("/")[2])
        if group is None:
            found.append(_entry(name, field))
        else:
            found += [_entry(f"{name}.{key}", sub) for key, sub in group["properties"].items()]
    return tuple(found)


@cache
def describe_items(sheet: type[BaseModel]) -> tuple[FieldEntry, ...]:
    """The fields of what stands in lists, named after the list: "shell.walls.facing"."""
    found: list[FieldEntry] = []
    for name, field in sheet.model_fields.items():
        group = field.annotation
        if not (isinstance(group, type) and issubclass(group, BaseModel)):
            continue
        defs = group.model_json_schema().get("$defs", {})
        for key, sub in group.model_json_schema()["properties"].items():
            kind = {**sub, **sub.get("anyOf", [{}])[0]}
            item = defs.get(kind.get("items", {}).get("$ref", "").rpartition("/")[2])
            if item is not None:
                entries = item["properties"].items()
                found += [_entry(f"{name}.{key}.{part}", about) for part, about in entries]
    return tuple(found)


def _entry(name: str, field: dict[str, Any]) -> FieldEntry:
    ends = (unit for end, unit in UNITS.items() if name.endswith("_" + end))
    unit = next(ends, "")
    return FieldEntry(
        name=name,
        what=field["description"],
        default=field.get("default"),
        allowed=_allowed(field, unit),
        unit=unit,
        why=field["why"],
        empty=field["empty"],
    )


def _allowed(field: dict[str, Any], unit: str) -> str:
    if field["allowed"] is not None:
        return str(field["allowed"])
    if field["material"] is not None:
        return "one of " + ", ".join(row.id for row in materials_of(field["material"]))
    # an optional field is "this or null": the limits stand in the first of the two
    kind = {**field, **field.get("anyOf", [{}])[0]}
    if "enum" in kind:
        return "one of " + ", ".join(str(value) for value in kind["enum"])
    if kind["type"] == "boolean":
        return "yes or no"
    if kind["type"] == "string":
        plain = "" if "x00" in kind["pattern"] else ": letters, digits, spaces, - and _"
        return f"text of 1 to {kind['maxLength']} characters{plain}"
    whole = "a whole number from " if kind["type"] == "integer" else ""
    low = f"above {kind['exclusiveMinimum']:g}, up" if "minimum" not in kind else kind["minimum"]
    low = low if isinstance(low, str) else f"{low:g}"
    return f"{whole}{low} to {kind['maximum']:g} {unit}".strip()
