"""The rigid shell: a band of even thickness around everything its pieces sweep out.

Each piece is made from its own swept field and cut exactly at the parting walls and the
board, so it leaves along its pull by construction. What a sweep adds to the skin is silicone
fill, and the skin is made from the same fields. Where pieces must come off in order, a later
one also keeps clear of the fill that earlier ones leave behind.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, signed_distance
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of_largest, solid
from firstpull.core.mould.body import Body
from firstpull.core.mould.bolts import place_bolts
from firstpull.core.mould.build_box import BuildBox
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.piece import FLANGE_WIDTH_MM, Build, Piece, build_piece
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import made_to_rise, swept, with_soft_valleys

EDGE_STEPS = np.float32(0.35)  # that a later piece keeps farther from the edges of fill
SEAM_MM = 0.01  # halves of the skin overlap: cut on the same plane, some stayed two solids


@dataclass(frozen=True)
class SkinAndShell:
    """The silicone skin with its fill, and the shell's pieces in the order they come off.

    Args:
        skin: closed; flange, keys and fill included, the body left out.
        skin_cm3: its volume, fill included.
        fill_cm3: the silicone that only closes what would lock the shell.
        pieces: the shell.
        parting: the plane and pulls they were made with.
        clearance_mm: between skin and shell.
        fill: where the skin is thicker than plain.
    """

    skin: Mesh
    skin_cm3: float
    fill_cm3: float
    pieces: tuple[Piece, ...]
    parting: Parting
    clearance_mm: float
    fill: Fill


def room_for_shell(*, thickness_mm: float, clearance_mm: float) -> float:
    """How far beyond the skin its distance must be known to build the shell."""
    return clearance_mm + thickness_mm + FLANGE_WIDTH_MM + 3.0


def build_shell(
    body: Body,
    shape: SkinShape,
    parting: Parting,
    *,
    thickness_mm: float,
    clearance_mm: float,
    draft_deg: float,
    box: BuildBox | None = None,
) -> SkinAndShell:
    """Skin with fill, and shell pieces.

    Args:
        body: on the board.
        shape: the skin before fill, known as far as ``room_for_shell`` asks.
        parting: zones and pulls.
        thickness_mm: of the shell.
        clearance_mm: left free between skin and shell: release film, or a bedding coat.
        draft_deg: least lean of the shell's faces to its pull.
        box: of the printer, for a printed shell whose pieces must fit it; a piece that does not
            is cut, and its parts are bolted together for good.
    """
    build = Build(thickness_mm, clearance_mm, draft_deg, box)
    bolts = place_bolts(shape, parting, beyond_mm=build.bolts_out_mm)
    filled = shape.phi.copy()
    in_the_way = shape.phi
    outside, pieces = None, []
    for number, (zone, pull) in enumerate(zip(parting.zones, parting.pulls, strict=True), start=1):
        if parting.is_ordered and outside is not None:
            in_the_way = _with_fill(shape, outside)
        s = swept(
            in_the_way,
            shape.grid,
            pull=pull,
            draft_deg=draft_deg,
            up_to_mm=clearance_mm + thickness_mm + 3 * shape.grid.step_mm,
            zone=zone,
        )
        s = with_soft_valleys(s, shape.grid)
        s = made_to_rise(s, shape.grid, pull=pull, draft_deg=draft_deg)
        np.copyto(filled, s, where=zone.into(*shape.grid.axes()) >= 0 if zone.walls else True)
        side = contour(s, shape.grid)
        half = zone.trim(solid(side), beyond_mm=SEAM_MM)
        outside = half if outside is None else outside + half
        name = f"Shell piece {number}"
        pieces.append(build_piece(shape, s, side, zone, bolts, pull=pull, build=build, name=name))
    skin = mesh_of_largest(_above_board(outside - solid(body.below)))
    plain = with_soft_valleys(shape.phi, shape.grid)
    return SkinAndShell(
        skin=skin,
        skin_cm3=skin.volume_mm3 / 1000,
        fill_cm3=max(0.0, _enclosed_cm3(filled, shape) - _enclosed_cm3(plain, shape)),
        pieces=tuple(pieces),
        parting=parting,
        clearance_mm=clearance_mm,
        fill=Fill.between(plain, filled, step_mm=shape.grid.step_mm),
    )


def _with_fill(shape: SkinShape, outside: Any) -> Field:
    """Distance to the skin and the fill that pieces before have left on it."""
    made = mesh_of_largest(outside + solid(contour(shape.phi, shape.grid)))
    away = signed_distance(made, shape.grid, reach_mm=shape.reach_mm)
    # fill ends sharp at its wall, where a piece passing by would graze the edge by its chords
    step = np.float32(shape.grid.step_mm)
    return np.where(away < shape.phi - 0.1 * step, away - EDGE_STEPS * step, shape.phi)


def _enclosed_cm3(field: Field, shape: SkinShape) -> float:
    """Volume where a field is negative above the board."""
    above = np.maximum(field, -shape.grid.axes()[2].astype(np.float32))
    return contour(above, shape.grid).volume_mm3 / 1000


def _above_board(made: Any) -> Any:
    return made.trim_by_plane((0.0, 0.0, 1.0), 0.0)
