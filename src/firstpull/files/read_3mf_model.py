"""One model part of a 3MF: its objects with their names, colours and sets of triangles.

Sources: 3MF Core Specification 1.3 (objects, base materials; triangle sets, from memory), its
Materials Extension 1.2 (colour groups) and Production Extension (paths).
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.dress import WHITE, Colours
from firstpull.files.mesh_content import numbers
from firstpull.files.pieces import Piece
from firstpull.files.refusals import damaged
from firstpull.files.xml_rows import MARK, Table, lifted

SITE = "http://schemas.microsoft.com/3dmanufacturing/"
CORE_SPACE = SITE + "core/2015/02"
MATERIAL_SPACE = SITE + "material/2015/02"
SETS_SPACE = SITE + "trianglesets/2021/07"
CORE, MATERIAL, SETS = (f"{{{s}}}" for s in (CORE_SPACE, MATERIAL_SPACE, SETS_SPACE))
PATH = f"{{{SITE}production/2015/06}}path"
CORNERS, LOOKS = ("v1", "v2", "v3"), ("pid", "p1", "p2", "p3")


@dataclass(frozen=True)
class Placed:
    """One object at one place: a build item or a component."""

    path: str
    object_id: str
    matrix: NDArray[np.float64]


@dataclass
class Model:
    """One model part of the archive, its objects by id."""

    unit: str = "millimeter"
    bodies: dict[str, Piece] = field(default_factory=dict)
    groups: dict[str, list[Placed]] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    sets: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Names of the sets of triangles; a face of body ``names`` n is in set n - 1."""
    supports: set[str] = field(default_factory=set)
    items: list[Placed] = field(default_factory=list)
    other_looks: bool = False


@dataclass
class _Object:
    """What has been met of an object that is not yet closed."""

    points: list[NDArray[np.float64]] = field(default_factory=list)
    corners: list[dict[str, NDArray[np.float64]]] = field(default_factory=list)
    group: list[Placed] = field(default_factory=list)
    sets: list[tuple[str, list[tuple[int, int]]]] = field(default_factory=list)
    spans: list[tuple[int, int]] = field(default_factory=list)
    rows: list[Any] = field(default_factory=list)


def elements(data: bytes, where: str) -> Iterator[Any]:
    """The elements of a document as they end; entities stay unexpanded, nothing is fetched."""
    from lxml import etree

    if b"<!DOCTYPE" in data[:65536] or b"<!ENTITY" in data:
        raise damaged(where, "defines entities in its XML", "a 3MF must not")
    try:
        for _, element in etree.iterparse(
            io.BytesIO(data),
            events=("end",),
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            remove_comments=True,
            remove_pis=True,
        ):
            if element.getroottree().docinfo.internalDTD is not None:
                raise damaged(where, "defines entities in its XML", "a 3MF must not")
            yield element
    except etree.XMLSyntaxError as fault:
        raise damaged(where, f"has XML that breaks off in line {fault.lineno}") from fault


def read_model(data: bytes, path: str, where: str) -> Model:
    """All objects of a model part, with the colours resolved."""
    rest, tables = lifted(data, namespace=CORE_SPACE)
    return _Reader(path, where, tables).read(rest)


class _Reader:
    """Takes the elements one after the other as they end."""

    def __init__(self, path: str, where: str, tables: list[Table]) -> None:
        self._path, self._where, self._tables = path, where, tables
        self._model, self._now = Model(), _Object()
        self._palettes: dict[int, Colours] = {}
        self._palette: list[tuple[int, ...]] = []
        self._looks: dict[str, tuple[dict[str, NDArray[np.float64]], str | None, str | None]] = {}

    def read(self, data: bytes) -> Model:
        """The model of a whole document."""
        for element in elements(data, self._where):
            tag = element.tag
            if tag in (CORE + "vertex", CORE + "triangle"):
                names = "xyz" if tag == CORE + "vertex" else (*CORNERS, *LOOKS)
                self._now.rows.append(tuple(element.get(name) for name in names))
                _forget(element)
            elif tag == CORE + "vertices":
                self._vertices(element)
            elif tag == CORE + "triangles":
                self._triangles(element)
            elif tag == CORE + "component":
                self._now.group.append(_placed(element, self._path, self._where))
            elif tag == CORE + "item":
                self._model.items.append(_placed(element, self._path, self._where))
            elif tag == CORE + "object":
                self._object(element)
            elif tag == CORE + "model":
                self._model.unit = element.get("unit", "millimeter")
            else:
                self._extra(element, tag)
        for name, (looks, pid, pindex) in self._looks.items():
            body = self._model.bodies[name]
            colours = self._coloured(len(body.mesh.faces), looks, pid, pindex, name)
            self._model.bodies[name] = Piece(body.mesh, colours, body.names)
        return self._model

    def _extra(self, element: Any, tag: str) -> None:
        """Palettes of colours and sets of triangles."""
        if tag in (CORE + "base", MATERIAL + "color"):
            shown = element.get("displaycolor" if tag == CORE + "base" else "color")
            self._palette.append(self._colour(shown))
        elif tag in (CORE + "basematerials", MATERIAL + "colorgroup"):
            self._palettes[int(element.get("id"))] = np.array(
                self._palette, dtype=np.uint8
            ).reshape(-1, 4)
            self._palette = []
        elif tag == SETS + "ref":
            self._now.spans.append((int(element.get("index")), int(element.get("index")) + 1))
        elif tag == SETS + "refrange":
            span = int(element.get("startindex")), int(element.get("endindex")) + 1
            self._now.spans.append(span)
        elif tag == SETS + "triangleset":
            self._now.sets.append((element.get("name") or "", self._now.spans))
            self._now.spans = []

    def _colour(self, text: str | None) -> tuple[int, ...]:
        """ "#RRGGBB" or "#RRGGBBAA" as bytes."""
        digits = (text or "").strip().removeprefix("#")
        if len(digits) not in (6, 8):
            raise damaged(self._where, f'has "{(text or "")[:24]}" where a colour should be')
        return tuple(bytes.fromhex(digits.ljust(8, "f")))

    def _vertices(self, element: Any) -> None:
        if (mark := element.get(MARK)) is not None:
            columns = self._tables[int(mark)].columns
            self._now.points.append(np.stack([columns[axis] for axis in "xyz"], axis=1))
            return
        words = [word for row in self._now.rows for word in row]
        self._now.rows = []
        self._now.points.append(self._numbers(words, "a coordinate").reshape(-1, 3))

    def _triangles(self, element: Any) -> None:
        if (mark := element.get(MARK)) is not None:
            self._now.corners.append(self._tables[int(mark)].columns)
            return
        rows, self._now.rows = self._now.rows, []
        corners = self._numbers([w for row in rows for w in row[:3]], "a vertex number")
        columns = dict(zip(CORNERS, corners.reshape(-1, 3).T, strict=True))
        for k, name in enumerate(LOOKS, start=3):
            if any(row[k] is not None for row in rows):
                words = ["nan" if row[k] is None else row[k] for row in rows]
                columns[name] = self._numbers(words, "a material")
        self._now.corners.append(columns)

    def _numbers(self, words: list[Any], what: str) -> NDArray[np.float64]:
        if None in words:
            raise damaged(self._where, "has a vertex or triangle without its numbers")
        return numbers([word.encode() for word in words], self._where, what)

    def _object(self, element: Any) -> None:
        name, now, model = str(element.get("id")), self._now, self._model
        self._now = _Object()
        model.names[name] = element.get("name") or ""
        if element.get("type") in ("support", "solidsupport"):
            model.supports.add(name)
        if now.group:
            model.groups[name] = now.group
        if now.points or now.corners:
            self._body(name, now)
            self._looks[name] = now.corners[0], element.get("pid"), element.get("pindex")
        elif not now.group:
            model.groups[name] = []
        element.clear()

    def _body(self, name: str, now: _Object) -> None:
        if len(now.points) != 1 or len(now.corners) != 1:
            raise damaged(self._where, f"has no vertices or no triangles in object {name}")
        vertices = now.points[0]
        faces = np.stack([now.corners[0][corner] for corner in CORNERS], axis=1)
        if len(faces) and not (faces.min() >= 0 and faces.max() < len(vertices)):
            raise damaged(
                self._where,
                f"names a vertex that object {name} does not have",
                f"it holds {len(vertices)}",
            )
        sets = None
        if now.sets:
            self._model.sets[name] = tuple(title for title, _ in now.sets)
            sets = np.zeros(len(faces), dtype=np.int32)
            for number, (_, spans) in enumerate(now.sets, start=1):
                for first, end in spans:
                    sets[first:end] = number
        self._model.bodies[name] = Piece(Mesh(vertices, faces.astype(np.int64)), None, sets)

    def _coloured(
        self,
        faces: int,
        looks: dict[str, NDArray[np.float64]],
        pid: str | None,
        pindex: str | None,
        name: str,
    ) -> Colours | None:
        """(F, 3, 4) the colours of an object's corners; None where it has none.

        A triangle without its own takes those of the object; a second and third corner
        without theirs take that of the first.
        """

        def column(key: str, default: Any) -> NDArray[np.float64]:
            own = looks.get(key, np.full(faces, np.nan))
            return np.where(np.isnan(own), default, own)

        group = column("pid", np.nan if pid is None else float(pid))
        first = column("p1", np.nan if pindex is None else float(pindex))
        entry = np.stack([first, column("p2", first), column("p3", first)], axis=1)
        if np.isnan(group).all():
            return None
        colours = np.tile(np.array(WHITE, dtype=np.uint8), (faces, 3, 1))
        found = False
        for number in np.unique(group[~np.isnan(group)]).tolist():
            palette = self._palettes.get(int(number))
            here = group == number
            if palette is None:
                self._model.other_looks = True
                continue
            chosen = entry[here]
            if not ((chosen >= 0) & (chosen < len(palette))).all():
                raise damaged(
                    self._where,
                    f"names a colour that group {number:.0f} does not have, in object {name}",
                    f"it holds {len(palette)}",
                )
            colours[here] = palette[chosen.astype(np.int64)]
            found = True
        return colours if found else None


def _forget(element: Any) -> None:
    """Drops rows that were read, so that a large file does not stay in memory twice."""
    before = element.getprevious()
    if before is not None:
        before.getparent().remove(before)


def _placed(element: Any, path: str, where: str) -> Placed:
    other = element.get(PATH)
    matrix = np.eye(4)
    if text := element.get("transform"):
        values = numbers([word.encode() for word in text.split()], where, "a placement")
        if len(values) != 12 or not np.isfinite(values).all():
            raise damaged(where, "has a placement of other than twelve numbers")
        matrix[:3, :] = values.reshape(4, 3).T
    return Placed(other.lstrip("/") if other else path, str(element.get("objectid")), matrix)
