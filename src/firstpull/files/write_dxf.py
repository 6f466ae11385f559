"""Writes a drawing as DXF in millimetres, as cutters and drawing programs read it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path

from firstpull.files.drawing import BAR_MM, TEXT_MM, TICKS_MM, Drawing, one_line, plain

DIGITS = 6
BAR_LAYER = "scale-bar"
MILLIMETRES = 4  # of $INSUNITS
FORBIDDEN = '<>/\\":;?*|=`,'

Pair = tuple[int, object]

# Handles that others refer to; the rest are numbered from FIRST_FREE.
BLOCKS, LAYERS, STYLES, LTYPES, VIEWS, UCS, APPS, DIMS, PORTS = range(1, 10)
MODEL, PAPER, ROOT, GROUPS, PLOT_STYLES, PLOT_NORMAL = range(0x10, 0x16)
FIRST_FREE = 0x20


def write_dxf(path: str | Path, drawing: Drawing) -> None:
    """Writes a drawing as DXF; an older file is replaced.

    Raises:
        NothingToDraw: there is no line.
        OSError: the file cannot be written.
    """
    Path(path).write_bytes(dxf_bytes(drawing))


def dxf_bytes(drawing: Drawing) -> bytes:
    """A drawing as DXF of the release of the year 2000, units millimetres.

    Each line is an LWPOLYLINE on the layer of its name, closed ones with their flag set; bar
    and text are on a layer of their own. Characters that layer names may not have become "_".
    The same drawing gives the same bytes.

    Raises:
        NothingToDraw: there is no line.
    """
    handles = count(FIRST_FREE)
    entities = list(_entities(drawing, handles))
    tables = list(_tables(drawing, handles))
    blocks = list(_blocks(handles))
    pairs = [
        *_section("HEADER", _header(drawing, next(handles))),
        *_section("CLASSES", []),
        *_section("TABLES", tables),
        *_section("BLOCKS", blocks),
        *_section("ENTITIES", entities),
        *_section("OBJECTS", list(_objects())),
        (0, "EOF"),
    ]
    return "".join(f"{code:3d}\n{value}\n" for code, value in pairs).encode("ascii")


def layer_name(name: str) -> str:
    """A name that a layer can have.

    >>> layer_name('trim: "left" / rim')
    'trim_ _left_ _ rim'
    """
    kept = "".join("_" if c in FORBIDDEN else c for c in one_line(name))[:200]
    return kept or "lines"


def _section(name: str, pairs: list[Pair]) -> list[Pair]:
    return [(0, "SECTION"), (2, name), *pairs, (0, "ENDSEC")]


def _header(drawing: Drawing, seed: int) -> list[Pair]:
    left, bottom, wide, high = drawing.sheet_mm
    return [
        (9, "$ACADVER"), (1, "AC1015"),
        (9, "$HANDSEED"), (5, f"{seed:X}"),
        (9, "$INSUNITS"), (70, MILLIMETRES),
        (9, "$MEASUREMENT"), (70, 1),
        (9, "$LUNITS"), (70, 2),
        (9, "$EXTMIN"), *_point(left, bottom), (30, "0"),
        (9, "$EXTMAX"), *_point(left + wide, bottom + high), (30, "0"),
    ]  # fmt: skip


def _tables(drawing: Drawing, handles: Iterator[int]) -> Iterator[Pair]:
    def entry(kind: str, owner: int, record: str, name: str, *rest: Pair) -> list[Pair]:
        number = 105 if kind == "DIMSTYLE" else 5
        return [
            (0, kind), (number, f"{next(handles):X}"), (330, f"{owner:X}"),
            (100, "AcDbSymbolTableRecord"), (100, record), (2, name), *rest,
        ]  # fmt: skip

    def line_type(name: str) -> list[Pair]:
        rest: list[Pair] = [(70, 0), (3, ""), (72, 65), (73, 0), (40, "0")]
        return entry("LTYPE", LTYPES, "AcDbLinetypeTableRecord", name, *rest)

    def layer(name: str) -> list[Pair]:
        rest: list[Pair] = [(70, 0), (62, 7), (6, "Continuous"), (390, f"{PLOT_NORMAL:X}")]
        return entry("LAYER", LAYERS, "AcDbLayerTableRecord", name, *rest)

    def block(name: str, handle: int) -> list[Pair]:
        return [
            (0, "BLOCK_RECORD"), (5, f"{handle:X}"), (330, f"{BLOCKS:X}"),
            (100, "AcDbSymbolTableRecord"), (100, "AcDbBlockTableRecord"), (2, name), (340, "0"),
        ]  # fmt: skip

    style = entry(
        "STYLE", STYLES, "AcDbTextStyleTableRecord", "Standard",
        (70, 0), (40, "0"), (41, "1"), (50, "0"), (71, 0), (42, "2.5"), (3, "txt"), (4, ""),
    )  # fmt: skip
    yield from _table("VPORT", PORTS, [])
    yield from _table("LTYPE", LTYPES, [line_type(n) for n in ("ByBlock", "ByLayer", "Continuous")])
    yield from _table("LAYER", LAYERS, [layer(n) for n in _layer_names(drawing)])
    yield from _table("STYLE", STYLES, [style])
    yield from _table("VIEW", VIEWS, [])
    yield from _table("UCS", UCS, [])
    app = entry("APPID", APPS, "AcDbRegAppTableRecord", "ACAD", (70, 0))
    yield from _table("APPID", APPS, [app])
    dims = entry("DIMSTYLE", DIMS, "AcDbDimStyleTableRecord", "Standard", (70, 0))
    yield from _table("DIMSTYLE", DIMS, [dims], (100, "AcDbDimStyleTable"))
    records = [block("*Model_Space", MODEL), block("*Paper_Space", PAPER)]
    yield from _table("BLOCK_RECORD", BLOCKS, records)


def _table(kind: str, handle: int, entries: list[list[Pair]], *rest: Pair) -> Iterator[Pair]:
    yield from [(0, "TABLE"), (2, kind), (5, f"{handle:X}"), (330, "0")]
    yield from [(100, "AcDbSymbolTable"), (70, len(entries)), *rest]
    for entry in entries:
        yield from entry
    yield (0, "ENDTAB")


def _layer_names(drawing: Drawing) -> list[str]:
    """Every layer once, as capitals do not tell layers apart."""
    found: dict[str, str] = {}
    for name in ("0", *(layer_name(layer.name) for layer in drawing.layers), BAR_LAYER):
        found.setdefault(name.lower(), name)
    return [_encoded(name) for name in found.values()]


def _blocks(handles: Iterator[int]) -> Iterator[Pair]:
    for name, owner in (("*Model_Space", MODEL), ("*Paper_Space", PAPER)):
        yield from [
            (0, "BLOCK"), (5, f"{next(handles):X}"), (330, f"{owner:X}"), (100, "AcDbEntity"),
            (8, "0"), (100, "AcDbBlockBegin"), (2, name), (70, 0), (10, "0"), (20, "0"),
            (30, "0"), (3, name), (1, ""),
            (0, "ENDBLK"), (5, f"{next(handles):X}"), (330, f"{owner:X}"), (100, "AcDbEntity"),
            (8, "0"), (100, "AcDbBlockEnd"),
        ]  # fmt: skip


def _entities(drawing: Drawing, handles: Iterator[int]) -> Iterator[Pair]:
    def start(kind: str, layer: str, record: str) -> list[Pair]:
        return [
            (0, kind), (5, f"{next(handles):X}"), (330, f"{MODEL:X}"), (100, "AcDbEntity"),
            (8, _encoded(layer)), (100, record),
        ]  # fmt: skip

    def polyline(layer: str, flat: list[list[float]], closed: bool) -> Iterator[Pair]:
        yield from start("LWPOLYLINE", layer, "AcDbPolyline")
        yield from [(90, len(flat)), (70, int(closed)), (43, "0")]
        for x, y in flat:
            yield from _point(x, y)

    for layer in drawing.layers:
        for curve in layer.figure.curves:
            yield from polyline(layer_name(layer.name), curve.flat_mm.tolist(), curve.is_closed)
    x, y = drawing.bar_at_mm
    yield from polyline(BAR_LAYER, [[x, y], [x + BAR_MM, y]], False)
    for tick in TICKS_MM:
        yield from polyline(BAR_LAYER, [[x + tick, y], [x + tick, y + 2.0]], False)
    for tx, ty, text in drawing.notes:
        yield from start("TEXT", BAR_LAYER, "AcDbText")
        yield from [*_point(tx, ty), (30, "0"), (40, plain(TEXT_MM, DIGITS)), (1, _encoded(text))]
        yield (100, "AcDbText")


def _objects() -> Iterator[Pair]:
    def dictionary(handle: int, owner: int, entries: list[tuple[str, int]]) -> list[Pair]:
        held: list[Pair] = [p for name, at in entries for p in ((3, name), (350, f"{at:X}"))]
        return [
            (0, "DICTIONARY"), (5, f"{handle:X}"), (330, f"{owner:X}"), (100, "AcDbDictionary"),
            (281, 1), *held,
        ]  # fmt: skip

    yield from dictionary(ROOT, 0, [("ACAD_GROUP", GROUPS), ("ACAD_PLOTSTYLENAME", PLOT_STYLES)])
    yield from dictionary(GROUPS, ROOT, [])
    styles = dictionary(PLOT_STYLES, ROOT, [("Normal", PLOT_NORMAL)])
    styles[0] = (0, "ACDBDICTIONARYWDFLT")
    yield from [*styles, (100, "AcDbDictionaryWithDefault"), (340, f"{PLOT_NORMAL:X}")]
    yield from [(0, "ACDBPLACEHOLDER"), (5, f"{PLOT_NORMAL:X}"), (330, f"{PLOT_STYLES:X}")]


def _point(x: float, y: float) -> list[Pair]:
    return [(10, plain(x, DIGITS)), (20, plain(y, DIGITS))]


def _encoded(text: str) -> str:
    """Text in ASCII; other characters by their number, as the format has it."""
    return "".join(c if " " <= c <= "~" else f"\\U+{ord(c):04X}" for c in text)
