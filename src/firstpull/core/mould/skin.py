"""The silicone skin: body grown by the thickness, with a flange on the board and keys."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.grid import Field, Grid, signed_distance
from firstpull.core.mould.body import Body
from firstpull.core.mould.drape import plan_field

EDGE_MM = 3.0  # radius of edges
KEY_FOOT_MM = 8.0  # radius at the flange
KEY_HEIGHT_MM = 8.0
KEY_SIDE_DEG = 30.0
KEY_SPACING_MM = 110.0


@dataclass(frozen=True)
class SkinShape:
    """The skin's outside before any fill, as a distance field in the mould frame.

    Args:
        grid: where the field stands.
        phi: distance to skin, flange, keys and all they enclose; negative inside; held at
            ``reach_mm``.
        reach_mm: the greatest distance told.
        thickness_mm: of the skin.
        keys_mm: (K, 3) feet of the keys on the flange.
    """

    grid: Grid
    phi: Field
    reach_mm: float
    thickness_mm: float
    keys_mm: Floats


def shape_skin(
    body: Body,
    *,
    thickness_mm: float,
    flange_width_mm: float,
    flange_thickness_mm: float,
    step_mm: float,
    room_mm: float,
) -> SkinShape:
    """Skin, flange and keys around a body.

    Args:
        body: on the board.
        thickness_mm: of the skin over the show surface.
        flange_width_mm, flange_thickness_mm: of the flange on the board.
        step_mm: grid step.
        room_mm: how far beyond the skin the field is needed (shell and its flanges).
    """
    low, high = body.mesh.bounds_mm
    side = max(flange_width_mm, thickness_mm) + room_mm + 2 * step_mm
    top = thickness_mm + room_mm + 2 * step_mm
    # z = 0 lies midway between two layers: no face of the board falls on the grid
    floor = -2.5 * step_mm
    corner = np.array([low[0] - side, low[1] - side, floor])
    grid = Grid.around(corner, high + np.array([side, side, top]), step_mm=step_mm)
    reach = thickness_mm + room_mm
    around = signed_distance(body.below, grid, reach_mm=reach)
    at_board = int(np.argmin(np.abs(grid.axis(2) - 0.5 * step_mm)))
    plan = plan_field(around[:, :, at_board] < 0, grid)
    phi = around - np.float32(thickness_mm)
    np.minimum(phi, _flange(plan, grid, flange_width_mm, flange_thickness_mm), out=phi)
    keys = _key_feet(plan, grid, 0.5 * flange_width_mm, flange_thickness_mm)
    for foot in keys:
        _add_key(phi, grid, foot)
    np.minimum(phi, np.float32(room_mm), out=phi)
    return SkinShape(grid, phi, room_mm, thickness_mm, keys)


def _flange(plan: Floats, grid: Grid, width_mm: float, thickness_mm: float) -> Field:
    """Distance to the slab on the board within ``width_mm`` of the body, going on below it.

    Its upper edge is rounded: a sharp one is drawn ragged by the grid.
    """
    edge = min(EDGE_MM, 0.5 * thickness_mm)
    out = (plan - width_mm)[:, :, None] + edge
    over = (grid.axis(2) - thickness_mm)[None, None, :] + edge
    beyond = np.hypot(np.maximum(out, 0), np.maximum(over, 0))
    return (beyond + np.minimum(np.maximum(out, over), 0) - edge).astype(np.float32)


def _key_feet(plan: Floats, grid: Grid, ring_mm: float, z_mm: float) -> Floats:
    """Feet of the keys, evenly spread along the middle of the flange."""
    from skimage.measure import find_contours

    rings = find_contours(plan, ring_mm)
    if not rings:
        return np.zeros((0, 3))
    ring = max(rings, key=len)[:, :2] * grid.step_mm + np.array(grid.low_mm)[:2]
    steps = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(4, 2 * round(along[-1] / KEY_SPACING_MM / 2))
    at = (np.arange(count) + 0.5) / count * along[-1]
    feet = np.stack([np.interp(at, along, ring[:, a]) for a in (0, 1)], axis=1)
    return np.column_stack([feet, np.full(count, z_mm)])


def _add_key(phi: Field, grid: Grid, foot_mm: Floats) -> None:
    """Lays a truncated cone that stands on ``foot_mm`` into the field."""
    reach = KEY_FOOT_MM + 2 * KEY_HEIGHT_MM + 6 * grid.step_mm
    axes = [grid.axis(a) for a in range(3)]
    box = tuple(
        slice(int(np.searchsorted(ax, c - reach)), int(np.searchsorted(ax, c + reach)))
        for ax, c in zip(axes, foot_mm, strict=True)
    )
    x, y, z = (ax[s] - c for ax, s, c in zip(axes, box, foot_mm, strict=True))
    radius = np.hypot(x[:, None, None], y[None, :, None])
    up = z[None, None, :]
    lean = np.radians(KEY_SIDE_DEG)
    side = (radius - KEY_FOOT_MM) * np.cos(lean) + up * np.sin(lean) + EDGE_MM
    over = up - KEY_HEIGHT_MM + EDGE_MM
    rounded = np.hypot(np.maximum(side, 0), np.maximum(over, 0))
    key = rounded + np.minimum(np.maximum(side, over), 0) - EDGE_MM
    key = np.maximum(key, -up - 4.0)
    phi[box] = np.minimum(phi[box], key.astype(np.float32))
