"""Writing fields into a job sheet that a maker wrote: the rest of its text stays as it is.

The text is edited in place, by the marks that the YAML reader leaves on every field, so that
comments, order and spacing stay. What comes out is read again, and where anything but the
asked fields has changed it is refused: then the maker is given the lines to paste.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Mapping
from typing import Any

import yaml

from firstpull.core.sheet_check import BadSheet
from firstpull.services.read_sheet import sheet_from_text

INDENT = 2


class SheetNotEdited(BadSheet):
    """The text of a sheet is written in a way that is not edited by itself."""

    code = "sheet_not_edited"


def with_fields(text: str, fields: Mapping[str, Any], *, name: str = "the job sheet") -> str:
    """The sheet's text with some fields set, or taken out.

    Args:
        text: a good job sheet; it may be empty.
        fields: dotted name, such as "shell.pieces", to plain numbers, text, lists and mappings;
            None takes the field out. Numbers are written with up to 12 decimals.
        name: stands in refusals.

    Raises:
        BadSheet: the text is no good sheet, or would be none any more.
        SheetNotEdited: the text could not be edited; the remedy holds the lines to paste.

    >>> print(with_fields("shell:  # ours\\n  kind: laid\\n", {"shell.pieces": 2}), end="")
    shell:  # ours
      kind: laid
      pieces: 2
    """
    sheet_from_text(text, name=name)
    edited = text
    for field, value in fields.items():
        try:
            edited = _set(edited, field, value)
        except (yaml.YAMLError, IndexError) as error:
            raise _not_edited(name, fields) from error
    if not _only_these_changed(text, edited, fields):
        raise _not_edited(name, fields)
    sheet_from_text(edited, name=name)
    return edited


def lines_for(fields: Mapping[str, Any]) -> str:
    """The fields as lines of a sheet of their own; those without a value are left out.

    >>> print(lines_for({"master.up": [0, 0.5, 1.0], "shell.pieces": 2}), end="")
    master:
      up: [0, 0.5, 1]
    shell:
      pieces: 2
    """
    text = ""
    for field, value in fields.items():
        text = _set(text, field, value)
    return text


def _set(text: str, field: str, value: Any) -> str:
    group, _, key = field.rpartition(".")
    return _set_in_group(text, group, key, value) if group else _set_alone(text, key, value)


def _set_alone(text: str, key: str, value: Any) -> str:
    """A field that stands beside the groups."""
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    if isinstance(root, yaml.MappingNode) and root.value:
        return _set_within(text, None, root, key, value)
    return text if value is None else _on_new_line(text, len(text), _lines(key, value, 0))


def _set_in_group(text: str, group: str, key: str, value: Any) -> str:
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    if not isinstance(root, yaml.MappingNode) or not root.value:
        return (
            text
            if value is None
            else _on_new_line(text, len(text), _group_lines(group, key, value))
        )
    found = _entry(root, group)
    if found is None:
        if value is None:
            return text
        if root.flow_style:
            return _into_flow(text, root, f"{group}: {{{key}: {_flow(value)}}}")
        lines = _group_lines(group, key, value)
        return _on_new_line(text, len(text), lines)
    name, held = found
    if isinstance(held, yaml.MappingNode) and held.value:
        return _set_within(text, name, held, key, value)
    if value is None:
        return text
    if root.flow_style or isinstance(held, yaml.MappingNode):  # nothing, or {}
        start, end = held.start_mark.index, held.end_mark.index
        return text[:start] + f" {{{key}: {_flow(value)}}}" + text[end:]
    start, end = held.start_mark.index, held.end_mark.index
    text = text[:start] + text[end:]
    lines = _lines(key, value, name.start_mark.column + INDENT)
    return _on_new_line(text, _line_end(text, start), lines)


def _set_within(
    text: str, name: yaml.Node | None, group: yaml.MappingNode, key: str, value: Any
) -> str:
    """A field among others; ``name`` is that of their group, None for the whole sheet."""
    found = _entry(group, key)
    if found is None:
        if value is None:
            return text
        if group.flow_style:
            return _into_flow(text, group, f"{key}: {_flow(value)}")
        column = group.value[0][0].start_mark.column
        at = _line_end(text, _end(group))
        return _on_new_line(text, at, _lines(key, value, column))
    start, end = found[0].start_mark.index, _end(found[1])
    if value is not None:
        if group.flow_style:
            return text[:start] + f"{key}: {_flow(value)}" + text[end:]
        lines = _lines(key, value, found[0].start_mark.column)
        return text[:start] + _newline(text).join(lines).lstrip() + text[end:]
    if group.flow_style:
        return _out_of_flow(text, group, start, end)
    first = _line_start(text, start)
    if (
        name is not None and len(group.value) == 1
    ):  # the group's own line goes too where it holds nothing else
        own = text[_line_start(text, name.start_mark.index) : first].rstrip()
        if own == f"{name.value}:" and _line_end(text, name.end_mark.index) == first:
            first = _line_start(text, name.start_mark.index)
    return text[:first] + text[_line_end(text, end) :]


def _entry(node: yaml.MappingNode, key: str) -> tuple[yaml.Node, yaml.Node] | None:
    return next(((k, v) for k, v in node.value if k.value == key), None)


def _end(node: yaml.Node) -> int:
    """Where a value's own text ends; a block's mark lies beyond the comments after it."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(last, tuple) else last)
    return int(node.end_mark.index)


def _into_flow(text: str, group: yaml.MappingNode, entry: str) -> str:
    at = _end(group.value[-1][1])
    return text[:at] + ", " + entry + text[at:]


def _out_of_flow(text: str, group: yaml.MappingNode, start: int, end: int) -> str:
    """Without the entry and the comma after it, or before it where it is the last."""
    after = text[end:].lstrip()
    if after.startswith(","):
        return text[:start] + after[1:].lstrip()
    before = text[:start].rstrip()
    return (before[:-1] if before.endswith(",") else before) + text[end:]


def _on_new_line(text: str, at: int, lines: list[str]) -> str:
    newline = _newline(text)
    before = text[:at]
    if before and not before.endswith("\n"):
        before += newline
    return before + newline.join([*lines, ""]) + text[at:]


def _line_start(text: str, at: int) -> int:
    return text.rfind("\n", 0, at) + 1


def _line_end(text: str, at: int) -> int:
    """Behind the end of the line."""
    found = text.find("\n", at)
    return len(text) if found < 0 else found + 1


def _newline(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _group_lines(group: str, key: str, value: Any) -> list[str]:
    return [f"{group}:", *_lines(key, value, INDENT)]


def _lines(key: str, value: Any, column: int) -> list[str]:
    """A field in lines: walls and dabs one a line, all else in one."""
    indent = " " * column
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return [f"{indent}{key}:", *(f"{indent}{' ' * INDENT}- {_flow(item)}" for item in value)]
    return [f"{indent}{key}: {_flow(value)}"]


def _flow(value: Any) -> str:
    """A value on one line.

    >>> _flow([{"at": [0.5, -2.0, 1e-7], "radius_mm": 3}])
    '[{at: [0.5, -2, 0.0000001], radius_mm: 3}]'
    """
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {_flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_flow, value)) + "]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return "null"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return _quoted(value)
    assert isinstance(value, float)
    # never with an exponent: YAML takes 1e-07 for text
    return f"{value:.12f}".rstrip("0").rstrip(".")


def _quoted(text: str) -> str:
    """Text as a value: plain where nothing can mistake it.

    >>> _quoted("silicone-tin-30a"), _quoted("heron: second try"), _quoted("no")
    ('silicone-tin-30a', '"heron: second try"', '"no"')
    """
    is_plain = re.fullmatch(r"[A-Za-z][\w -]*\w", text, re.ASCII) is not None
    if is_plain and yaml.safe_load(text) == text:
        return text
    return json.dumps(text, ensure_ascii=False)


def _only_these_changed(before: str, after: str, fields: Mapping[str, Any]) -> bool:
    """Whether the edited text says what it said, but for these fields as they were asked for."""
    try:
        expected, found = (_said(text) for text in (before, after))
    except yaml.YAMLError:
        return False
    expected = copy.deepcopy(expected)
    for field, value in fields.items():
        group, _, key = field.rpartition(".")
        held = expected.setdefault(group, {}) if group else expected
        held.pop(key, None)
        if value is not None:
            held[key] = yaml.safe_load(_flow(value))
    return _without_empty(expected) == _without_empty(found)


def _said(text: str) -> dict[str, Any]:
    said = yaml.safe_load(text) or {}
    return {
        key: value or {} if isinstance(value, dict | None) else value for key, value in said.items()
    }


def _without_empty(said: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in said.items() if value != {}}


def _not_edited(name: str, fields: Mapping[str, Any]) -> SheetNotEdited:
    gone = [field for field, value in fields.items() if value is None]
    paste = lines_for({f: v for f, v in fields.items() if v is not None})
    parts = [
        f"Take out {', '.join(gone)}." if gone else "",
        f"Paste this:\n{paste}" if paste else "",
    ]
    return SheetNotEdited(
        where=f'Job sheet "{name}"',
        found="is written in a way that cannot be edited without touching the rest",
        remedy="Nothing was changed. " + " ".join(part for part in parts if part).rstrip(),
    )
