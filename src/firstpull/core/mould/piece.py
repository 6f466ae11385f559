"""One rigid piece of the shell: a band of even thickness, flanges, bolts, and parts to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of_largest, solid
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.bolts import Bolts, bolt_holes
from firstpull.core.mould.build_box import BuildBox
from firstpull.core.mould.cut import Split
from firstpull.core.mould.joint import (
    BOLT_SHARE,
    Joint,
    JointSizes,
    Outside,
    Part,
    part_for_box,
    with_joints,
)
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.zone import Zone

FLANGE_WIDTH_MM = 25.0
FLANGE_THICKER = 1.5  # than the shell


@dataclass(frozen=True)
class Piece:
    """One rigid piece.

    Args:
        mesh: closed, in the mould frame; all its parts together.
        pull: unit vector it leaves along.
        volume_cm3: of the piece.
        bolts_mm: (B, 3) centres of the bolt holes on its parting walls.
        parts: as printed, where the piece is cut for a build box; empty where none is known.
        joints: between the parts.
    """

    mesh: Mesh
    pull: tuple[float, float, float]
    volume_cm3: float
    bolts_mm: Floats
    parts: tuple[Part, ...] = ()
    joints: tuple[Joint, ...] = ()


@dataclass(frozen=True)
class Build:
    """How a shell is built.

    Args:
        thickness_mm: of the shell.
        clearance_mm: left free between skin and shell: release film, or a bedding coat.
        draft_deg: least lean of the shell's faces to its pull.
        box: of the printer, or None where parts are not asked for.
    """

    thickness_mm: float
    clearance_mm: float
    draft_deg: float
    box: BuildBox | None = None

    @property
    def flange_thickness_mm(self) -> float:
        """Of a flange on one side of its wall."""
        return FLANGE_THICKER * self.thickness_mm

    @property
    def bolts_out_mm(self) -> float:
        """How far from the skin's outside bolts stand."""
        return self.clearance_mm + self.thickness_mm + BOLT_SHARE * FLANGE_WIDTH_MM


def build_piece(
    shape: SkinShape,
    s: Field,
    side: Mesh,
    zone: Zone,
    bolts: Bolts,
    *,
    pull: Floats,
    build: Build,
    name: str,
) -> Piece:
    """The piece of a zone.

    Args:
        shape: the plain skin.
        s: what the pull sweeps out of it, see ``sweep``.
        side: the surface where s is zero.
        zone: where the piece lives.
        bolts: of the whole shell.
        pull: unit vector.
        build: thickness and the rest.
        name: what the piece is called in a refusal.
    """
    low, gap = _gap_of(shape, s, side, build)
    band = band_and_flange(
        shape.phi,
        s,
        zone.into(*shape.grid.axes()) if zone.walls else None,
        thickness_mm=build.thickness_mm,
        clearance_mm=build.clearance_mm,
    )
    own = bolts.of(zone)

    def made_of(field: Field) -> Mesh:
        clipped = contour(np.maximum(field, low - gap), shape.grid)
        made = zone.trim(solid(clipped)).trim_by_plane((0.0, 0.0, 1.0), 0.0)
        if len(own.places_mm):
            made = made - bolt_holes(own, through_mm=4 * build.flange_thickness_mm)
        return mesh_of_largest(made)

    plain = made_of(band)
    if build.box is None:
        return _piece(plain, pull, own.places_mm)
    outside = Outside.of(side, s, shape.phi, shape.grid)
    sizes = JointSizes(
        build.clearance_mm + build.thickness_mm, FLANGE_WIDTH_MM, build.flange_thickness_mm
    )

    def jointed(splits: tuple[Split, ...]) -> Any:
        return solid(made_of(with_joints(band, splits, outside, sizes=sizes)))

    cut = part_for_box(
        solid(plain),
        jointed,
        outside,
        zone,
        box_mm=build.box.size_mm,
        margin_mm=build.box.margin_mm,
        pull=pull,
        sizes=sizes,
        keep_clear_mm=own.places_mm,
        where=name,
    )
    return _piece(cut.piece, pull, own.places_mm, cut.parts, cut.joints)


def band_and_flange(
    phi: Field, s: Field, into: Field | None, *, thickness_mm: float, clearance_mm: float
) -> Field:
    """Negative in the band around the sweep and in the flanges along the walls; gap left out.

    Args:
        phi: distance to the plain skin, mm.
        s: what the pull sweeps out of it, mm.
        into: how far each point lies inside the zone; None is a zone without walls.
        thickness_mm, clearance_mm: of the shell.
    """
    field = s - np.float32(clearance_mm + thickness_mm)
    if into is not None:
        reach = np.float32(clearance_mm + thickness_mm + FLANGE_WIDTH_MM)
        flange = np.maximum(into - np.float32(FLANGE_THICKER * thickness_mm), phi - reach)
        np.minimum(field, flange, out=field)
    return field


def _gap_of(shape: SkinShape, s: Field, side: Mesh, build: Build) -> tuple[np.float32, Field]:
    """How far from the skin's outside the piece begins, and the distance to that outside.

    Facets of a grid of step h cut across an edge of radius r by h^2 / 8 r, once where the gap
    begins and once where it ends; the band begins that much farther out, so that the gap
    keeps the whole clearance.
    """
    edge = 1.0 / shape.thickness_mm + 1.0 / (shape.thickness_mm + build.clearance_mm)
    low = build.clearance_mm + edge * shape.grid.step_mm**2 / 8
    return np.float32(low), _gap(s, side, shape.grid, up_to_mm=low)


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


def _piece(
    mesh: Mesh,
    pull: Floats,
    bolts_mm: Floats,
    parts: tuple[Part, ...] = (),
    joints: tuple[Joint, ...] = (),
) -> Piece:
    way = (float(pull[0]), float(pull[1]), float(pull[2]))
    return Piece(mesh, way, mesh.volume_mm3 / 1000, bolts_mm, parts, joints)
