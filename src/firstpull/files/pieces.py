"""Meshes that a scene places, with their colours, put together as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.files.dress import WHITE, Colours


@dataclass(frozen=True)
class Piece:
    """One mesh of a scene.

    Args:
        mesh: in the file's unit.
        colours: (F, 3, 4) of the corners; None for none.
        names: (F,) the number of each face's name.
    """

    mesh: Mesh
    colours: Colours | None = None
    names: NDArray[np.int32] | None = None

    def placed(self, matrix: NDArray[np.float64], name: int | None = None) -> Piece:
        """The piece under a 4x4 matrix, all of it under one name if that is given.

        A mirroring matrix turns each face over, and the colours of its corners with it.
        """
        mesh, colours = self.mesh.moved(matrix), self.colours
        if colours is not None and not np.array_equal(mesh.faces, self.mesh.faces):
            colours = colours[:, ::-1]
        names = self.names
        if name is not None:
            names = np.full(len(mesh.faces), name, dtype=np.int32)
        return Piece(mesh, colours, names)


def together(
    pieces: Sequence[Piece],
) -> tuple[Mesh, NDArray[np.int32], Colours | None]:
    """All pieces as one mesh, side by side; (F,) the name of each face; corner colours.

    A piece without colours among coloured ones is white.
    """
    whole = joined(piece.mesh for piece in pieces)
    part = np.zeros(len(whole.faces), dtype=np.int32)
    coloured = any(piece.colours is not None for piece in pieces)
    colours: Colours | None = None
    if coloured:
        colours = np.tile(np.array(WHITE, dtype=np.uint8), (len(part), 3, 1))
    at = 0
    for piece in pieces:
        here = slice(at, at + len(piece.mesh.faces))
        if piece.names is not None:
            part[here] = piece.names
        if colours is not None and piece.colours is not None:
            colours[here] = piece.colours
        at = here.stop
    return whole, part, colours
