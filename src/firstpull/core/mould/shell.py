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

from firstpull.core.arrays import Floats
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid, signed_distance
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of_largest, solid
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.body import Body
from firstpull.core.mould.bolts import bolt_holes, place_bolts
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept, with_soft_valleys

FLANGE_WIDTH_MM = 25.0
FLANGE_THICKER = 1.5  # than the shell
BOLT_SHARE = 0.55  # of the flange's width, where the bolts stand
EDGE_STEPS = np.float32(0.35)  # that a later piece keeps farther from the edges of fill
SEAM_MM = 0.01  # halves of the skin overlap: cut on the same plane, some stayed two solids


@dataclass(frozen=True)
class Piece:
    """One rigid piece.

    Args:
        mesh: closed, in the mould frame.
        pull: unit vector it leaves along.
        volume_cm3: of the piece.
        bolts_mm: (B, 3) centres of the bolt holes on its parting planes.
    """

    mesh: Mesh
    pull: tuple[float, float, float]
    volume_cm3: float
    bolts_mm: Floats


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
) -> SkinAndShell:
    """Skin with fill, and shell pieces.

    Args:
        body: on the board.
        shape: the skin before fill, known as far as ``room_for_shell`` asks.
        parting: zones and pulls.
        thickness_mm: of the shell.
        clearance_mm: left free between skin and shell: release film, or a bedding coat.
        draft_deg: least lean of the shell's faces to its pull.
    """
    several = len(parting.zones) > 1
    bolts = place_bolts(
        shape, parting, beyond_mm=clearance_mm + thickness_mm + BOLT_SHARE * FLANGE_WIDTH_MM
    )
    filled = shape.phi.copy()
    in_the_way = shape.phi
    outside, pieces = None, []
    for zone, pull in zip(parting.zones, parting.pulls, strict=True):
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
        into = zone.into(*shape.grid.axes()) if several else None
        np.copyto(filled, s, where=True if into is None else into >= 0)
        side = contour(s, shape.grid)
        half = zone.trim(solid(side), beyond_mm=SEAM_MM)
        outside = half if outside is None else outside + half
        field = _piece_field(shape, s, side, into, thickness_mm, clearance_mm)
        made = _above_board(zone.trim(solid(contour(field, shape.grid))))
        own = bolts.of(zone)
        if len(own.places_mm):
            made = made - bolt_holes(own, through_mm=4 * FLANGE_THICKER * thickness_mm)
        pieces.append(_piece(made, pull, own.places_mm))
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


def _piece_field(
    shape: SkinShape,
    s: Field,
    side: Mesh,
    into: Field | None,
    thickness_mm: float,
    clearance_mm: float,
) -> Field:
    """Negative in the piece: the band around the sweep, and the flange along the plane.

    Facets of a grid of step h cut across an edge of radius r by h^2 / 8 r, once where the gap
    begins and once where it ends; the band begins that much farther out, so that the gap
    keeps the whole clearance.
    """
    edge = 1.0 / shape.thickness_mm + 1.0 / (shape.thickness_mm + clearance_mm)
    low = clearance_mm + edge * shape.grid.step_mm**2 / 8
    field = s - np.float32(clearance_mm + thickness_mm)
    if into is not None:
        reach = np.float32(clearance_mm + thickness_mm + FLANGE_WIDTH_MM)
        flange = np.maximum(into - np.float32(FLANGE_THICKER * thickness_mm), shape.phi - reach)
        np.minimum(field, flange, out=field)
    return np.maximum(field, np.float32(low) - _gap(s, side, shape.grid, up_to_mm=low))


def _gap(s: Field, side: Mesh, grid: Grid, *, up_to_mm: float) -> Field:
    """Distance from the skin's outer side where the piece's inner face may run; s elsewhere.

    Equal levels of s lie farther apart than they count over a valley that was rounded. What
    keeps a distance from a shape that leaves along a pull leaves along it too.
    """
    low = np.array(grid.low_mm)
    near = np.argwhere((s > 0) & (s < 2.0 * up_to_mm + 2.0 * grid.step_mm))
    away, _, _ = Tree.of(side).closest(low + grid.step_mm * near)
    gap = s.copy()
    gap[tuple(near.T)] = away
    return gap


def _piece(made: Any, pull: Floats, bolts: Floats) -> Piece:
    mesh = mesh_of_largest(made)
    return Piece(
        mesh=mesh,
        pull=(float(pull[0]), float(pull[1]), float(pull[2])),
        volume_cm3=mesh.volume_mm3 / 1000,
        bolts_mm=bolts,
    )


def _above_board(made: Any) -> Any:
    return made.trim_by_plane((0.0, 0.0, 1.0), 0.0)
