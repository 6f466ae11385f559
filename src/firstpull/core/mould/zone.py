"""The walls that part a shell, and the zone of space that each of its pieces is taken from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from firstpull.core.arrays import Floats

ROUND_OFF = 1e-9
FAR_MM = 5000.0  # walls end beyond everything that is moulded


@dataclass(frozen=True)
class PartingWall:
    """A wall that bounds a zone, which lies where normal . x >= offset + bend.

    The wall is ruled along ``rise``: seen along it, the wall is a line that runs ``across``,
    straight for a plane, else through the knots of its bend.

    Args:
        normal: unit vector into the zone; not vertical.
        offset_mm: where the wall stands along the normal.
        bend: knots (u, out) in mm, by rising u: at u across, the wall stands ``out`` farther
            along the normal; level beyond the first and the last knot. None is a plane.

    >>> wall = PartingWall((1.0, 0.0, 0.0), 10.0, ((-5.0, 0.0), (5.0, 4.0)))
    >>> float(wall.out_mm(0.0)), float(wall.turned.out_mm(0.0))
    (2.0, -2.0)
    """

    normal: tuple[float, float, float]
    offset_mm: float
    bend: tuple[tuple[float, float], ...] = ()

    @property
    def turned(self) -> PartingWall:
        """The same wall as the zone on its other side sees it."""
        x, y, z = self.normal
        bend = tuple((0.0 - u, 0.0 - out) for u, out in reversed(self.bend))
        return PartingWall((0.0 - x, 0.0 - y, 0.0 - z), 0.0 - self.offset_mm, bend)

    @property
    def across(self) -> Floats:
        """(3,) level unit vector that runs in the wall."""
        x, y, _ = self.normal
        return np.array([-y, x, 0.0]) / np.hypot(x, y)

    @property
    def rise(self) -> Floats:
        """(3,) unit vector the wall is ruled along: straight up for an upright one."""
        return np.cross(self.normal, self.across)

    def out_mm(self, u_mm: ArrayLike) -> Any:
        """How far the wall stands beyond its offset at each place across."""
        at = np.asarray(u_mm, dtype=np.float64)
        u, out = np.array(self.bend or ((0.0, 0.0),)).T
        return np.interp(at, u, out)[()]

    @property
    def facings(self) -> Floats:
        """(K, 3) unit normals of the wall's flat stretches, into the zone."""
        n = np.array(self.normal)
        if not self.bend:
            return n[None]
        u, out = np.array(self.bend).T
        slope = np.concatenate([[0.0], np.diff(out) / np.diff(u), [0.0]])[:, None]
        return (n - slope * self.across) / np.hypot(1.0, slope)

    def facing_at(self, u_mm: ArrayLike) -> Floats:
        """(N, 3) unit normals at places across."""
        at = np.searchsorted([u for u, _ in self.bend], np.atleast_1d(u_mm))
        return self.facings[at if self.bend else np.zeros_like(at)]

    def depth(self, x: Any, y: Any, z: Any) -> Any:
        """How far each point lies from the wall, negative on its far side; float32.

        Args:
            x, y, z: arrays that broadcast, as a grid's axes do.
        """
        u = self.across[0] * x + self.across[1] * y
        out = self.normal[0] * x + self.normal[1] * y - self.offset_mm
        if self.normal[2] != 0.0:
            out = out + self.normal[2] * z
        if not self.bend:
            return np.asarray(out, dtype=np.float32)
        u, out = np.broadcast_arrays(u, out)
        knots = np.array([(-FAR_MM, self.bend[0][1]), *self.bend, (FAR_MM, self.bend[-1][1])])
        line = _to_line(np.ravel(u), np.ravel(out), knots)
        return line.reshape(np.shape(u)).astype(np.float32)

    def trim(self, made: Any, *, beyond_mm: float = 0.0) -> Any:
        """The part of a manifold3d solid on the wall's inner side, and a little more if wished."""
        if not self.bend:
            return made.trim_by_plane(self.normal, self.offset_mm - beyond_mm)
        return made ^ self._ahead(beyond_mm)

    def _ahead(self, beyond_mm: float) -> Any:
        """All that lies ahead of the wall, as a solid."""
        import manifold3d

        shift = self.offset_mm - beyond_mm
        line = [(u, out + shift) for u, out in self.bend]
        ends = [(-FAR_MM, line[0][1]), *line, (FAR_MM, line[-1][1])]
        outline = manifold3d.CrossSection([[*ends, (FAR_MM, FAR_MM), (-FAR_MM, FAR_MM)]])
        slab = manifold3d.Manifold.extrude(outline, 2 * FAR_MM)
        down = -self.rise
        frame = np.column_stack([self.across, self.normal, down, -FAR_MM * down])
        return slab.transform(frame)


@dataclass(frozen=True)
class Zone:
    """The wedge of space that a shell piece is taken from.

    Args:
        walls: what bounds it; none is all of space.
    """

    walls: tuple[PartingWall, ...] = ()

    @staticmethod
    def beyond(normal: ArrayLike, offset_mm: float) -> Zone:
        """The half-space normal . x >= offset."""
        x, y, z = (float(c) for c in np.asarray(normal))
        return Zone((PartingWall((x, y, z), float(offset_mm)),))

    def within(self, wall: PartingWall) -> Zone:
        """The part of the zone on the inner side of a further wall."""
        return Zone((*self.walls, wall))

    def into(self, x: Any, y: Any, z: Any) -> Any:
        """How far each point lies inside, negative outside; infinite where nothing bounds it."""
        depth: Any = np.float32(np.inf)
        for wall in self.walls:
            depth = np.minimum(depth, wall.depth(x, y, z))
        return depth

    def trim(self, made: Any, *, beyond_mm: float = 0.0) -> Any:
        """The part of a manifold3d solid within the zone, and a little more if wished."""
        for wall in self.walls:
            made = wall.trim(made, beyond_mm=beyond_mm)
        return made

    def is_left_by(
        self, pull: ArrayLike, *, draft_deg: float, but_for: tuple[PartingWall, ...] = ()
    ) -> bool:
        """Whether a piece in the zone, moving along the pull, never comes back to its border.

        Args:
            pull: unit vector.
            draft_deg: least lean of the pull to every wall.
            but_for: walls that do not matter: what stood behind them has left before.
        """
        least = np.sin(np.radians(draft_deg)) - ROUND_OFF
        way = np.asarray(pull, dtype=np.float64)
        return all(bool((w.facings @ way >= least).all()) for w in self.walls if w not in but_for)


EVERYWHERE = Zone()


@njit(cache=True)
def _to_line(u: Floats, out: Floats, knots: Floats) -> Floats:
    """Distance of points to a line through knots, negative below it."""
    found = np.empty(len(u))
    for n in range(len(u)):
        best = np.inf
        under = False
        for k in range(len(knots) - 1):
            du, dw = knots[k + 1, 0] - knots[k, 0], knots[k + 1, 1] - knots[k, 1]
            pu, pw = u[n] - knots[k, 0], out[n] - knots[k, 1]
            if 0.0 <= pu < du:
                under = pw * du < pu * dw
            t = min(1.0, max(0.0, (pu * du + pw * dw) / (du * du + dw * dw)))
            best = min(best, (pu - t * du) ** 2 + (pw - t * dw) ** 2)
        found[n] = -np.sqrt(best) if under else np.sqrt(best)
    return found
