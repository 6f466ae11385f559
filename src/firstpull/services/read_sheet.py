"""Reading a job sheet from a YAML file, with the line of every field kept for refusals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from firstpull.core.sheet import JobSheet
from firstpull.core.sheet_check import BadSheet, check_sheet
from firstpull.services.plain_text import plain_text

MOST_BYTES = 64 * 1024
"""A job sheet is a page of text; anything larger is some other file."""

DEEPEST = 6
"""A sheet goes no deeper: group, field, list of walls, wall, line, point."""


class UnreadableSheet(BadSheet):
    """The file is not a job sheet at all."""

    code = "unreadable_sheet"


@dataclass
class _Written:
    """What stands in the file: values by section, line and given names by dotted field."""

    values: dict[str, Any] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)
    given: set[str] = field(default_factory=set)


def read_sheet(path: Path | str) -> tuple[JobSheet, set[str]]:
    """The job sheet in a file and the dotted names of the fields the maker gave.

    An empty file and a field without a value take the defaults and do not count as given.

    Raises:
        UnreadableSheet: no such file, too large, not text, not YAML, or YAML that shares
            values with & and *, carries tags, or nests too deep.
        BadSheet: a field is unknown, given twice, of the wrong kind or out of range; says
            the line, the field, what was found and what is allowed.
    """
    path = Path(path)
    return sheet_from_text(sheet_text(path), name=path.name)


def sheet_from_text(text: str, *, name: str = "the job sheet") -> tuple[JobSheet, set[str]]:
    """As :func:`read_sheet`, from text; ``name`` stands in refusals.

    >>> sheet, given = sheet_from_text("skin: {thickness_mm: 8}")
    >>> sheet.skin.thickness_mm, given
    (8.0, {'skin.thickness_mm'})
    """
    written = _written_in(text, name)

    def place(field: str) -> str:
        line = written.lines.get(field) or written.lines.get(field.split(".")[0])
        return f'Line {line} of "{name}"' if line else f'"{name}"'

    return check_sheet(written.values, place=place), written.given


def sheet_text(path: Path) -> str:
    """The text in a sheet's file, without a byte order mark.

    Raises:
        UnreadableSheet: no such file, too large, or not UTF-8 text.
    """

    def refuse(found: str, remedy: str) -> UnreadableSheet:
        return _unreadable(path.name, found, remedy)

    return plain_text(path, refuse, meant="job sheet", most_bytes=MOST_BYTES)


def _written_in(text: str, name: str) -> _Written:
    written = _Written()
    try:
        _refuse_tricks(text, name)
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = "is not YAML" + (f" near line {mark.line + 1}" if mark is not None else "")
        found = f"{where}: {error.problem or error.context}"
        remedy = 'Write "name: value" lines, indented with spaces.'
        raise _unreadable(name, found, remedy) from error
    except yaml.YAMLError as error:
        found = "is not plain text: it holds characters that YAML forbids"
        raise _unreadable(name, found, "Save it as UTF-8 text.") from error
    if node is None or _is_empty(node):
        return written
    if not isinstance(node, yaml.MappingNode):
        found = "is not a job sheet: it holds no fields"
        raise _unreadable(name, found, 'Write "name: value" lines.')
    written.values = _group(node, "", written, name)
    return written


def _refuse_tricks(text: str, name: str) -> None:
    """Shared values, tags and deep nesting have no place in a sheet and can swell it."""
    depth = 0
    for event in yaml.parse(text, Loader=yaml.SafeLoader):
        line = event.start_mark.line + 1 if event.start_mark else 1
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            found = f"shares values with & or * in line {line}"
            raise _unreadable(name, found, "Write the value out where it is needed.")
        tag = getattr(event, "tag", None)
        if tag:
            found = f"carries a tag {tag} in line {line}"
            raise _unreadable(name, found, "Write the plain value.")
        depth += isinstance(event, yaml.CollectionStartEvent)
        depth -= isinstance(event, yaml.CollectionEndEvent)
        if depth > DEEPEST:
            found = f"nests groups too deep in line {line}"
            raise _unreadable(name, found, "A sheet has groups and fields, no more.")


def _group(node: yaml.MappingNode, prefix: str, written: _Written, name: str) -> dict[str, Any]:
    """The fields of a group; a field without a value is left out."""
    found: dict[str, Any] = {}
    for key_node, value_node in node.value:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, yaml.ScalarNode):
            remedy = "Put a plain name before the colon."
            raise _unreadable(name, f"has a field without a name in line {line}", remedy)
        key = prefix + str(key_node.value)
        if key in written.lines:
            raise BadSheet(
                where=f'Line {line} of "{name}"',
                found=f"gives {key} again",
                limit=f"it stands in line {written.lines[key]} already",
                remedy="Keep one of the two.",
            )
        written.lines[key] = line
        if _is_empty(value_node):
            if not _known_name(key):
                found[str(key_node.value)] = None
            continue
        if isinstance(value_node, yaml.MappingNode) and not prefix:
            found[str(key_node.value)] = _group(value_node, key + ".", written, name)
            continue
        found[str(key_node.value)] = _value(value_node, key, line, name)
        written.given.add(key)
    return found


def _value(node: yaml.Node, field: str, line: int, name: str) -> Any:
    try:
        return next(_plain([node]))
    except (ValueError, OverflowError, yaml.YAMLError) as error:
        raise BadSheet(
            where=f'Line {line} of "{name}": {field}',
            found="cannot be read as a number, a date or text",
            remedy="Put text in quotes; write a number in plain digits.",
        ) from error


def _plain(nodes: list[yaml.Node]) -> Iterator[Any]:
    for node in nodes:
        if isinstance(node, yaml.SequenceNode):
            yield list(_plain(node.value))
        elif isinstance(node, yaml.MappingNode):
            keys = _plain([key for key, _ in node.value])
            yield dict(zip(map(str, keys), _plain([v for _, v in node.value]), strict=True))
        else:
            yield yaml.SafeLoader("").construct_object(node)


def _is_empty(node: yaml.Node) -> bool:
    return isinstance(node, yaml.ScalarNode) and node.tag == "tag:yaml.org,2002:null"


def _known_name(field: str) -> bool:
    section = JobSheet.model_fields.get(field.split(".")[0])
    if section is None or "." not in field:
        return section is not None
    return field.split(".")[1] in getattr(section.annotation, "model_fields", {})


def _unreadable(name: str, found: str, remedy: str) -> UnreadableSheet:
    return UnreadableSheet(where=f'Job sheet "{name}"', found=found, remedy=remedy)
