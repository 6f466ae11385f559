"""Lines in a plane: what a section or an outline consists of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError

Axis = Literal["x", "y", "z"]


class NoDirection(WorkshopError):
    """A direction of length zero, or one that is no direction at all."""

    code = "no_direction"


@dataclass(frozen=True)
class Plane:
    """A plane with a side to look at, and a frame of its own to draw in.

    The frame is what someone sees who looks against the normal: ``up`` is the mesh's z where
    the plane allows it (y where the plane is level), ``right`` is at its right hand, and
    ``right``, ``up``, ``normal`` are a right-handed set.

    Args:
        point_mm: (3,) the origin of the frame.
        normal: (3,) of any length but 0; kept as a unit vector.

    Raises:
        NoDirection: the normal has no length, or a coordinate is no number.

    >>> front = Plane([0, 0, 0], [0, -2, 0])
    >>> front.right.tolist(), front.up.tolist()
    ([1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    """

    point_mm: Floats
    normal: Floats
    right: Floats = field(init=False)
    up: Floats = field(init=False)

    def __init__(self, point_mm: ArrayLike, normal: ArrayLike) -> None:
        point = np.array(point_mm, dtype=np.float64).reshape(3)
        way = np.array(normal, dtype=np.float64).reshape(3)
        length = float(np.linalg.norm(way))
        if not (np.isfinite(point).all() and np.isfinite(length) and length > 0):
            raise NoDirection(
                where="Plane",
                found=f"has the point {point.tolist()} and the normal {way.tolist()}",
                limit="both must be numbers and the normal must not be zero",
                remedy="Give a direction such as 0, 0, 1.",
            )
        way = way / length + 0.0
        is_level = np.hypot(way[0], way[1]) < 1e-9
        right = np.cross([0.0, 1.0, 0.0] if is_level else [0.0, 0.0, 1.0], way)
        right /= np.linalg.norm(right)
        for name, value in (
            ("point_mm", point),
            ("normal", way),
            ("right", right + 0.0),
            ("up", np.cross(way, right) + 0.0),
        ):
            value.flags.writeable = False
            object.__setattr__(self, name, value)

    @staticmethod
    def across(axis: Axis, at_mm: float = 0.0) -> Plane:
        """The plane square to an axis; its frame has the mesh's other two coordinates.

        Across y, ``right`` is -x: that is how it looks from the far side.

        >>> Plane.across("x", 12.0).flat([[12.0, 3.0, 4.0]])
        array([[3., 4.]])
        """
        way = np.eye(3)["xyz".index(axis)]
        return Plane(way * at_mm, way)

    def flat(self, points_mm: ArrayLike) -> Floats:
        """(N, 2) places of (N, 3) points in the frame, seen along the normal."""
        away = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3) - self.point_mm
        return np.stack([away @ self.right, away @ self.up], axis=1)

    def in_space(self, flat_mm: ArrayLike) -> Floats:
        """(N, 3) points of the plane at (N, 2) places in its frame."""
        flat = np.asarray(flat_mm, dtype=np.float64).reshape(-1, 2)
        spots: Floats = self.point_mm + flat[:, :1] * self.right + flat[:, 1:] * self.up
        return spots


@dataclass(frozen=True)
class Curve:
    """One line of a figure, from point to point.

    Args:
        points_mm: (N, 3) in the mesh's own coordinates.
        flat_mm: (N, 2) the same in the frame of the plane.
        is_closed: whether it runs from the last point back to the first, which is not repeated.
    """

    points_mm: Floats
    flat_mm: Floats
    is_closed: bool

    @property
    def length_mm(self) -> float:
        """From the first point to the last, and back again where closed."""
        steps = np.diff(self._around(), axis=0)
        return float(np.hypot(steps[:, 0], steps[:, 1]).sum())

    @property
    def area_mm2(self) -> float:
        """Area enclosed, positive where it runs counter-clockwise; 0 for an open line."""
        if not self.is_closed:
            return 0.0
        away = self._around() - self.flat_mm[0]
        return float(0.5 * (away[:-1, 0] * away[1:, 1] - away[1:, 0] * away[:-1, 1]).sum())

    def _around(self) -> Floats:
        if not self.is_closed:
            return self.flat_mm
        return np.concatenate([self.flat_mm, self.flat_mm[:1]])


@dataclass(frozen=True)
class Figure:
    """Lines in one plane, the longest first.

    Args:
        plane: where they lie, and the frame of their flat coordinates.
        curves: what surrounds material runs counter-clockwise, what surrounds a hole clockwise.
    """

    plane: Plane
    curves: tuple[Curve, ...]

    @property
    def is_closed(self) -> bool:
        """Whether there are lines and none has an end."""
        return bool(self.curves) and all(curve.is_closed for curve in self.curves)

    @property
    def area_mm2(self) -> float:
        """Area within the closed lines, holes taken off; overlapping bodies count each."""
        return float(sum(curve.area_mm2 for curve in self.curves))

    @property
    def length_mm(self) -> float:
        """Length of all lines."""
        return float(sum(curve.length_mm for curve in self.curves))

    @property
    def bounds_mm(self) -> Floats:
        """(2, 2) lowest and highest place in the frame; zeros where there is no line."""
        if not self.curves:
            return np.zeros((2, 2))
        flat = np.concatenate([curve.flat_mm for curve in self.curves])
        return np.stack([flat.min(axis=0), flat.max(axis=0)])

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height in the frame."""
        wide, high = np.ptp(self.bounds_mm, axis=0).tolist()
        return wide, high
