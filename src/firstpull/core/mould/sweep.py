"""What a rigid piece may not enter if it is to leave along a pull direction.

A piece that leaves along d with draft delta may hold a point x only if the skin keeps away
from the whole way out, and farther away the farther the point has gone:

    s(x) = min over t >= 0 of  distance(x + t d) - t sin(delta)

The piece lies where s is positive; where s is negative outside the skin, silicone must fill.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import ArrayLike

from firstpull.core.mesh.grid import Field, Grid, trilinear
from firstpull.core.mould.zone import EVERYWHERE, PartingWall, Zone

OUTSIDE_STEPS = 6.0  # s is asked so far outside a zone: rounding reaches sqrt 3 times 3 steps
DEEP_STEPS = 3.5  # below this many steps s is not followed further down


def swept(
    phi: Field,
    grid: Grid,
    *,
    pull: ArrayLike,
    draft_deg: float,
    up_to_mm: float,
    zone: Zone = EVERYWHERE,
) -> Field:
    """The field s of the solid that a pull sweeps out of a skin.

    Args:
        phi: distance to the skin, negative inside; it may be held at a reach of its own, and
            open room at that reach counts as infinitely far.
        grid: where phi stands; beyond it there is nothing.
        pull: unit vector.
        draft_deg: least lean between the piece's faces and the pull.
        up_to_mm: s is exact up to this; where it is larger it only tells that it is. Less than
            phi's reach: the difference is the stride over open room.
        zone: where the piece is taken from; more than six steps outside it s is not asked and
            reads phi.

    Returns:
        ``grid.shape``; s <= phi. Inside the skin and deep in a shadow it only tells that it is
        below zero.

    Rays step as far as a distance allows (its slope is 1 at the most), never less than a
    third of a grid step, so the minimum is right to about step^2 / (70 r) on a radius r.
    """
    way = np.asarray(pull, dtype=np.float64)
    way = way / np.linalg.norm(way)
    sides = np.array([_side(wall, grid) for wall in zone.walls]).reshape(-1, 4)
    lean = np.sin(np.radians(draft_deg))
    # over a long way out the draft would otherwise eat up the reach and find skin in mid-air
    held = float(phi.max()) - 1e-3
    return _march(phi, grid.step_mm, way, lean, float(up_to_mm), held, sides)


def _side(wall: PartingWall, grid: Grid) -> list[float]:
    """A plane behind all of a wall, for the grid's indices."""
    back = min((out for _, out in wall.bend), default=0.0)
    return [*wall.normal, float(np.dot(wall.normal, grid.low_mm)) - wall.offset_mm - back]


@njit(cache=True, parallel=True, fastmath=True)
def _march(phi, step, way, lean, up_to, held, sides):  # type: ignore[no-untyped-def]
    nx, ny, nz = phi.shape
    out = np.empty_like(phi)
    deep = -DEEP_STEPS * step
    least = 0.35 * step
    for i in prange(nx):
        for j in range(ny):
            for k in range(nz):
                low = float(phi[i, j, k])
                outside = False
                for p in range(len(sides)):
                    into = (sides[p, 0] * i + sides[p, 1] * j + sides[p, 2] * k) * step
                    outside = outside or into + sides[p, 3] < -OUTSIDE_STEPS * step
                if outside:
                    out[i, j, k] = low
                    continue
                t = least
                while low > deep:
                    x = i + t * way[0] / step
                    y = j + t * way[1] / step
                    z = k + t * way[2] / step
                    if x < 0 or y < 0 or z < 0 or x > nx - 1 or y > ny - 1 or z > nz - 1:
                        break
                    away = trilinear(phi, x, y, z)
                    here = away - t * lean
                    if away < held:
                        low = min(low, here)
                    t += max(least, (here - min(low, up_to)) / (1.0 + lean))
                out[i, j, k] = low
    return out


def with_soft_valleys(s: Field, grid: Grid) -> Field:
    """The field with its sharp valleys rounded by silicone; never higher than it was.

    Where two offset sheets meet, a grid draws a ragged crease that would catch the shell. The
    lower of the field and its local mean rounds such creases and leaves bulges alone. A field
    that rises along a pull keeps rising when averaged, so a piece still leaves.
    """
    from scipy.ndimage import gaussian_filter

    held = np.maximum(s, np.float32(-DEEP_STEPS * grid.step_mm))
    mean = gaussian_filter(held, 1.0, mode="nearest", truncate=2.5)
    return np.minimum(s, mean)


def made_to_rise(s: Field, grid: Grid, *, pull: ArrayLike, draft_deg: float) -> Field:
    """The field lowered where, read off its grid, it does not rise along the pull by the draft.

    Along the tail of a shadow s changes by no more than sin(draft) a millimetre, so a few
    hundredths of error move its surface by a millimetre and leave crumbs of skin in the way of
    a piece. From the farthest layer of grid points back to the first, no point stays higher
    than the place one layer on along the pull, less the draft on the way there.
    """
    way = np.asarray(pull, dtype=np.float64)
    axis = int(np.argmax(np.abs(way)))
    layers = np.moveaxis(s, axis, 0)[:: -1 if way[axis] > 0 else 1]
    risen = np.ascontiguousarray(layers).copy()
    a, b = np.delete(way, axis) / abs(way[axis])
    fall_steps = np.sin(np.radians(draft_deg)) / abs(way[axis])
    _rise(risen, float(a), float(b), float(fall_steps * grid.step_mm))
    back = risen[:: -1 if way[axis] > 0 else 1]
    return np.ascontiguousarray(np.moveaxis(back, 0, axis))


@njit(cache=True)
def _rise(layers, a, b, fall):  # type: ignore[no-untyped-def]
    """Lowers each layer to the one before it, read (a, b) points aside, less the fall."""
    count, ny, nz = layers.shape
    for k in range(1, count):
        for i in range(ny):
            x = i + a
            if x < 0 or x > ny - 1:
                continue
            i0 = min(int(x), ny - 2)
            u = x - i0
            for j in range(nz):
                y = j + b
                if y < 0 or y > nz - 1:
                    continue
                j0 = min(int(y), nz - 2)
                v = y - j0
                low = (1 - u) * ((1 - v) * layers[k - 1, i0, j0] + v * layers[k - 1, i0, j0 + 1])
                low += u * ((1 - v) * layers[k - 1, i0 + 1, j0] + v * layers[k - 1, i0 + 1, j0 + 1])
                layers[k, i, j] = min(layers[k, i, j], low - fall)
