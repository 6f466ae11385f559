"""Own figures in a file: a YAML list, refused by line with one clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import yaml

from firstpull.core.errors import WorkshopError
from firstpull.core.material.own import BadOwnFigure, OwnFigure
from firstpull.core.material.shelf import package_shelf
from firstpull.services.plain_text import plain_text

MOST_BYTES = 256 * 1024
NUMBERS = ("low", "typical", "high")
FIELDS = ("material", "figure", *NUMBERS, "note")
EMPTY = "tag:yaml.org,2002:null"


class UnreadableFigures(WorkshopError):
    """The file is not a list of own figures at all."""

    code = "unreadable_own_figures"


def read_own_figures(path: Path) -> tuple[OwnFigure, ...]:
    """The own figures in a file, each checked against the row that it replaces.

    Raises:
        UnreadableFigures: no such file, too large, not text, or no YAML list.
        BadOwnFigure, UnknownMaterial: a figure does not fit its row; says the line.
    """

    def refuse(found: str, remedy: str) -> WorkshopError:
        return _unreadable(path.name, found, remedy)

    text = plain_text(path, refuse, meant="list", most_bytes=MOST_BYTES)
    return own_figures_from_text(text, name=path.name)


def own_figures_from_text(text: str, *, name: str = "own.yaml") -> tuple[OwnFigure, ...]:
    """As :func:`read_own_figures`, from text; ``name`` stands in refusals.

    >>> text = "- {material: urethane-fast, figure: pot_life, low: 3, typical: 4, high: 5, "
    >>> own_figures_from_text(text + "note: ten cups timed}")[0].typical
    4.0
    """
    entries = _entries(text, name)
    figures = tuple(_figure(node, name) for node in entries)

    def place(index: int) -> str:
        return _line(entries[index], name)

    package_shelf().with_own(figures, place=place)
    return figures


def _entries(text: str, name: str) -> list[yaml.MappingNode]:
    """The items of the list; an empty file has none."""
    try:
        for token in yaml.scan(text, Loader=yaml.SafeLoader):
            if isinstance(token, yaml.AliasToken | yaml.AnchorToken | yaml.TagToken):
                found = f"shares values or carries tags in line {token.start_mark.line + 1}"
                raise _unreadable(name, found, "Write each value out where it is needed.")
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except (yaml.YAMLError, RecursionError) as error:
        mark = getattr(error, "problem_mark", None)
        near = f" near line {mark.line + 1}" if mark is not None else ""
        remedy = "Begin each figure with a dash and write name: value pairs."
        raise _unreadable(name, f"is not YAML{near}", remedy) from error
    if node is None or node.tag == EMPTY:
        return []
    if not isinstance(node, yaml.SequenceNode):
        raise _unreadable(name, "is no list", "Begin each figure with a dash.")
    for item in node.value:
        if not isinstance(item, yaml.MappingNode):
            raise BadOwnFigure(
                where=_line(item, name),
                found="is not a group of fields",
                limit="a figure has " + ", ".join(FIELDS),
                remedy="Write each of them as name: value.",
            )
    return list(node.value)


def _figure(node: yaml.MappingNode, name: str) -> OwnFigure:
    said: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key = str(key_node.value)
        refuse = _refusing(_line(key_node, name))
        if key not in FIELDS:
            raise refuse(f'has a field "{key}" that is not known', "Take it out or correct it.")
        if key in said:
            raise refuse(f"gives {key} again", "Keep one of the two.")
        said[key] = _number(value_node, key, name) if key in NUMBERS else _words(value_node)
    missing = [field for field in FIELDS if said.get(field) in (None, "")]
    if missing:
        raise _refusing(_line(node, name))(
            f"gives no {', no '.join(missing)}", "Write what is missing."
        )
    return OwnFigure(**said)


def _number(node: yaml.Node, key: str, name: str) -> float:
    try:
        value = yaml.SafeLoader("").construct_object(node)
    except (ValueError, yaml.YAMLError):
        value = None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadOwnFigure(
            where=_line(node, name),
            found=f'has {key} "{str(node.value)[:40]}"',
            limit="it is a plain number in the row's own unit",
            remedy="Write it in digits with a point, without unit or quotes.",
        )
    return float(value)


def _words(node: yaml.Node) -> str:
    return "" if node.tag == EMPTY or not isinstance(node, yaml.ScalarNode) else str(node.value)


def _line(node: yaml.Node, name: str) -> str:
    return f'Line {node.start_mark.line + 1} of "{name}"'


def _refusing(where: str) -> Callable[[str, str], BadOwnFigure]:
    limit = "a figure has " + ", ".join(FIELDS)

    def refuse(found: str, remedy: str) -> BadOwnFigure:
        return BadOwnFigure(where=where, found=found, limit=limit, remedy=remedy)

    return refuse


def _unreadable(name: str, found: str, remedy: str) -> UnreadableFigures:
    return UnreadableFigures(where=f'The list of own figures "{name}"', found=found, remedy=remedy)
