"""The shell in plan.json and in the plan's folder: pieces, printed parts, loose pieces, gauges."""

from __future__ import annotations

from collections.abc import Mapping
from string import ascii_lowercase
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.gauges import Gauge, guide_as_json
from firstpull.core.mould.joint import Part
from firstpull.core.mould.piece import Piece
from firstpull.core.sheet import JobSheet
from firstpull.files.drawing import Drawing, Layer
from firstpull.files.write_dxf import dxf_bytes
from firstpull.files.write_svg import svg_bytes
from firstpull.services.choice import wall_as_json
from firstpull.services.plan_geometry import Geometry
from firstpull.services.plan_work import Work

ANY_ORDER, IN_ORDER = "any order", "in this order"


def shell_meshes(folder: str, shape: Geometry) -> dict[str, Mesh]:
    """Shell pieces, the parts of those that were cut, and loose pieces, by their path.

    Args:
        folder: the part's folder in the plan.
        shape: of the part.
    """
    meshes = {}
    for number, piece in enumerate(shape.built.pieces, start=1):
        meshes[_piece_file(folder, number)] = piece.mesh
        for index, part in enumerate(piece.parts if is_cut(piece) else ()):
            meshes[_part_file(folder, number, index)] = part.mesh
    for number, loose in enumerate(shape.loose, start=1):
        meshes[_loose_file(folder, number)] = loose.mesh
    return meshes


def is_cut(piece: Piece) -> bool:
    """Whether a shell piece is printed in several parts."""
    return len(piece.parts) > 1


def shell_as_json(
    shape: Geometry, work: Work, sheet: JobSheet, *, folder: str, closed: Mapping[str, bool]
) -> dict[str, Any]:
    """The rigid support.

    Args:
        shape, work: of the part.
        sheet: the job's answers.
        folder: the part's folder in the plan.
        closed: for each file of a solid, whether it is closed as written.
    """
    parting = shape.built.parting
    pieces = enumerate(shape.built.pieces, start=1)
    loose = enumerate(shape.loose, start=1)
    return {
        "kind": sheet.shell.kind,
        "material": work.shell.id,
        "thickness_mm": sheet.shell.thickness_used_mm,
        "clearance_mm": sheet.shell.clearance_used_mm,
        "draft_deg": sheet.shell.draft_used_deg,
        "removal": IN_ORDER if parting.is_ordered else ANY_ORDER,
        "walls": [wall_as_json(wall) for wall in parting.walls],
        "pieces": [_piece(piece, number, work, folder, closed) for number, piece in pieces],
        "loose": [_file(_loose_file(folder, n), closed) | piece.as_json() for n, piece in loose],
        "stays_deep": [stay.as_json() for stay in shape.shell.loosened.stays],
    }


def fill_as_json(shape: Geometry, work: Work, *, folder: str) -> dict[str, Any]:
    """The fill guide, its gauges with the files that they are drawn in."""
    guide = shape.shell.guide
    density = work.silicone.estimate("density").p50
    told = guide_as_json(guide.guide, guide.gauges, grams_per_cm3=density)
    for place in told["places"]:
        if place["gauge"] is not None:
            place["gauge"]["files"] = list(_gauge_files(folder, place["number"]))
    return told


def gauge_drawings(folder: str, gauges: tuple[Gauge, ...], *, part: str) -> dict[str, bytes]:
    """Each gauge at full size as SVG and DXF, by its path in the plan's folder.

    Args:
        folder: the part's folder in the plan.
        gauges: of a fill guide.
        part: what stands in the caption.
    """
    drawn: dict[str, bytes] = {}
    for gauge in gauges:
        cut, marks = gauge.figures()
        words = f"Profile gauge: {gauge.label} · {part}"
        drawing = Drawing(words, [Layer("cut", cut), Layer("marks", marks)])
        svg, dxf = _gauge_files(folder, gauge.place.number)
        drawn |= {svg: svg_bytes(drawing), dxf: dxf_bytes(drawing)}
    return drawn


def _piece(
    piece: Piece, number: int, work: Work, folder: str, closed: Mapping[str, bool]
) -> dict[str, Any]:
    mass = work.pieces_g[number - 1]
    told = _file(_piece_file(folder, number), closed) | {
        "pull": _rounded(np.array(piece.pull), 6),
        "volume_cm3": round(piece.volume_cm3, 2),
        "mass_g": round(mass.p50, 1),
        "mass_spread_g": mass.as_json(),
        "bolts": [_rounded(bolt, 1) for bolt in piece.bolts_mm],
    }
    if piece.parts:
        told["parts"] = [
            _part(part, _printed_file(piece, folder, number, index), closed)
            for index, part in enumerate(piece.parts)
        ]
        told["joints"] = [
            {
                "bolts_mm": [_rounded(place, 1) for place in joint.bolts_mm],
                "dowels_mm": [_rounded(place, 1) for place in joint.dowels_mm],
            }
            for joint in piece.joints
        ]
    return told


def _part(part: Part, file: str, closed: Mapping[str, bool]) -> dict[str, Any]:
    return _file(file, closed) | {
        "volume_cm3": round(part.volume_cm3, 2),
        "size_mm": _rounded(np.array(part.fit.size_mm), 1),
        "rotation": [_rounded(row, 6) for row in part.fit.rotation],
    }


def _file(file: str, closed: Mapping[str, bool]) -> dict[str, Any]:
    return {"file": file, "closed": closed[file]}


def _piece_file(folder: str, number: int) -> str:
    return f"{folder}/mould/shell-{number}.stl"


def _part_file(folder: str, number: int, index: int) -> str:
    return f"{folder}/mould/shell-{number}-{part_letter(index)}.stl"


def _printed_file(piece: Piece, folder: str, number: int, index: int) -> str:
    """A piece that was not cut is its own part."""
    return _part_file(folder, number, index) if is_cut(piece) else _piece_file(folder, number)


def _loose_file(folder: str, number: int) -> str:
    return f"{folder}/mould/loose-{number}.stl"


def _gauge_files(folder: str, number: int) -> tuple[str, str]:
    name = f"{folder}/mould/gauges/pocket-{number}"
    return f"{name}.svg", f"{name}.dxf"


def part_letter(index: int) -> str:
    """The letter of a printed part.

    >>> part_letter(0), part_letter(25), part_letter(26)
    ('a', 'z', 'aa')
    """
    more, last = divmod(index, len(ascii_lowercase))
    return (part_letter(more - 1) if more else "") + ascii_lowercase[last]


def _rounded(values: Floats, digits: int) -> list[float]:
    return [round(float(v), digits) + 0.0 for v in values]
