"""The master stands on the board: turned up, its show surface found, the rim over z = 0."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.show import Show, find_show
from firstpull.core.mould.show_paint import ShowDab, painted
from firstpull.core.mould.up import Up

LOWEST_MM = 5.0  # no part of the master comes nearer to the board


@dataclass(frozen=True)
class Standing:
    """A master in the mould frame.

    Args:
        master: closed, z up, board at z = 0.
        show: its show surface.
        frame: (4, 4) from the mesh as given to the mould frame.
    """

    master: Mesh
    show: Show
    frame: Floats

    @property
    def painted_cm2(self) -> tuple[float, float]:
        """Area that paint turned: to be copied, and to be left."""
        was = self.show.unpainted
        if was is None:
            return 0.0, 0.0
        areas, now = self.master.face_areas_mm2 / 100, self.show.faces
        return float(areas[now & ~was].sum()), float(areas[was & ~now].sum())


def stand_on_board(mesh: Mesh, up: Up, *, below_rim_mm: float) -> Standing:
    """Turns the master, finds its show surface and puts the board under its rim.

    Args:
        mesh: closed, mm.
        up: away from the board, in the mesh's own axes.
        below_rim_mm: board under the lowest point of the rim.
    """
    turn = turn_up(up.direction)
    turned = mesh.moved(turn)
    show = find_show(turned)
    frame = board_frame(turned, show, below_rim_mm=below_rim_mm)
    return Standing(turned.moved(frame), show, frame @ turn)


def repainted(standing: Standing, dabs: Sequence[ShowDab], *, below_rim_mm: float) -> Standing:
    """The master with its show surface as the maker painted it, on the board anew.

    Args:
        standing: with the show surface as found.
        dabs: in order, in the mould frame.
        below_rim_mm: board under the lowest point of the rim, which paint may have moved.

    Raises:
        as :func:`firstpull.core.mould.show_paint.painted`.
    """
    show = painted(standing.master, standing.show, dabs)
    rims = (each.loops[0] for each in (standing.show, show))
    if len({tuple(np.sort(rim).tolist()) for rim in rims}) == 1:
        return Standing(standing.master, show, standing.frame)
    frame = board_frame(standing.master, show, below_rim_mm=below_rim_mm)
    return Standing(standing.master.moved(frame), show, frame @ standing.frame)


def board_frame(mesh: Mesh, show: Show, *, below_rim_mm: float) -> Floats:
    """(4, 4) from a z-up mesh to the mould frame: board at z = 0 under the rim's lowest point.

    Args:
        mesh: already turned so that z is up.
        show: its show surface; the first loop is the rim.
        below_rim_mm: board under the lowest point of the rim; more where another part of
            the master hangs lower than its rim.
    """
    rim = mesh.vertices_mm[show.loops[0]]
    centre = 0.5 * (rim.min(axis=0) + rim.max(axis=0))
    frame = np.eye(4)
    lowest = float(mesh.vertices_mm[:, 2].min())
    lift = max(below_rim_mm - float(rim[:, 2].min()), LOWEST_MM - lowest)
    frame[:3, 3] = [-centre[0], -centre[1], lift]
    return frame


def turn_up(up: tuple[float, float, float]) -> Floats:
    """(4, 4) the smallest turn that brings ``up`` to z.

    >>> turn_up((0.0, 0.0, 1.0))[:3, :3].tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    u = np.asarray(up, dtype=np.float64)
    u = u / np.linalg.norm(u)
    turn = np.eye(4)
    if u[2] < -1 + 1e-9:
        turn[:3, :3] = np.diag([1.0, -1.0, -1.0])
        return turn
    v = np.array([u[1], -u[0], 0.0])  # u x z
    k = np.array([[0, 0, v[1]], [0, 0, -v[0]], [-v[1], v[0], 0]])
    turn[:3, :3] = np.eye(3) + k + k @ k / (1 + u[2])
    return turn
