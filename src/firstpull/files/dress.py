"""What a file says of a mesh beyond its shape: the parts by name, and colours."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Ints
from firstpull.core.mesh.mesh import Mesh

Colours = NDArray[np.uint8]

WHITE = (255, 255, 255, 255)
"""Stands for "no colour given" where other places of the same file have one."""


@dataclass(frozen=True)
class Dress:
    """Names and colours of a mesh, in the order of its faces and vertices.

    Args:
        names: of the parts (bodies, objects, groups), in one line each; "" for one without a
            name; a name may occur twice.
        part: (F,) for each face the place of its part among the names.
        face_colours: (F, 4) red, green, blue and opacity of each face, 0 to 255 (sRGB); None
            where the file gives none.
        vertex_colours: (V, 4) the same for each vertex. Never both.

    >>> dress = Dress(["beak", "crest"], [0, 0, 1])
    >>> list(dress.begins())
    [('beak', 0), ('crest', 2)]
    """

    names: tuple[str, ...]
    part: Ints
    face_colours: Colours | None
    vertex_colours: Colours | None

    def __init__(
        self,
        names: Iterable[str],
        part: ArrayLike,
        *,
        face_colours: ArrayLike | None = None,
        vertex_colours: ArrayLike | None = None,
    ) -> None:
        number = np.array(part, dtype=np.int32).reshape(-1)
        number.flags.writeable = False
        object.__setattr__(self, "names", tuple(_tidy(name) for name in names))
        object.__setattr__(self, "part", number)
        object.__setattr__(self, "face_colours", _kept(face_colours))
        object.__setattr__(self, "vertex_colours", _kept(vertex_colours))
        assert self.face_colours is None or self.vertex_colours is None, "colours of both kinds"
        assert not len(number) or 0 <= number.min() <= number.max() < len(self.names)
        assert self.face_colours is None or len(self.face_colours) == len(number)

    @staticmethod
    def plain(faces: int, name: str = "") -> Dress:
        """One part for all faces, without colours."""
        return Dress([name], np.zeros(faces, dtype=np.int32))

    @property
    def says_nothing(self) -> bool:
        """Whether there is neither a name nor a colour."""
        return not any(self.names) and self.face_colours is None and self.vertex_colours is None

    def begins(self) -> Iterator[tuple[str, int]]:
        """Each stretch of faces of one part: its name and first face; parts may recur."""
        change = np.flatnonzero(np.diff(self.part, prepend=-1))
        for first in change.tolist():
            yield self.names[self.part[first]], first

    def corner_colours(self, mesh: Mesh) -> Colours | None:
        """(F, 3, 4) the colour at each corner of each face; None where there are none."""
        if self.face_colours is not None:
            return np.repeat(self.face_colours[:, None], 3, axis=1)
        return None if self.vertex_colours is None else self.vertex_colours[mesh.faces]

    def of_faces(self, chosen: NDArray[np.generic]) -> Dress:
        """The dress of some faces (mask or indices) of a mesh that keeps its vertices."""
        colours = None if self.face_colours is None else self.face_colours[chosen]
        return Dress(
            self.names, self.part[chosen], face_colours=colours, vertex_colours=self.vertex_colours
        )

    def of_vertices(self, chosen: NDArray[np.generic]) -> Dress:
        """The dress of the same faces over some of the vertices."""
        if self.vertex_colours is None:
            return self
        return Dress(self.names, self.part, vertex_colours=self.vertex_colours[chosen])


def dressed(
    names: Iterable[str], part: ArrayLike, colours: Colours | None, mesh: Mesh
) -> tuple[Dress, tuple[str, ...]]:
    """The dress of a mesh whose file gives colours corner by corner, and what was lost.

    Colours stay with the faces where each face has one, else with the vertices where all
    corners at a vertex agree; else each face takes the mean of its corners, with a note.

    Args:
        names, part: as in Dress.
        colours: (F, 3, 4) of the corners, or None.
        mesh: the faces and vertices they belong to.
    """
    if colours is None or not len(colours):
        return Dress(names, part), ()
    whole = np.ascontiguousarray(colours).view(np.uint32)[:, :, 0]
    if (whole == whole[:, :1]).all():
        return Dress(names, part, face_colours=colours[:, 0]), ()
    at = mesh.faces.ravel()
    vertex = np.full(len(mesh.vertices_mm), np.array(WHITE, dtype=np.uint8).view(np.uint32)[0])
    vertex[at] = whole.ravel()
    if (vertex[at] == whole.ravel()).all():
        return Dress(names, part, vertex_colours=vertex.view(np.uint8).reshape(-1, 4)), ()
    mean = np.rint(colours.mean(axis=1)).astype(np.uint8)
    blended = int((whole != whole[:, :1]).any(axis=1).sum())
    note = f"Corners at one place have different colours: {blended} faces took the mean of theirs."
    return Dress(names, part, face_colours=mean), (note,)


def at_vertices(dress: Dress, mesh: Mesh) -> Colours | None:
    """(V, 4) the colours by vertex; None where there are none or faces at one disagree."""
    if dress.face_colours is None or not len(mesh.faces):
        return dress.vertex_colours
    whole = np.repeat(np.ascontiguousarray(dress.face_colours).view(np.uint32), 3)
    out = np.zeros(len(mesh.vertices_mm), dtype=np.uint32)
    out[mesh.faces.ravel()] = whole
    if (out[mesh.faces.ravel()] != whole).any():
        return None
    return out.view(np.uint8).reshape(-1, 4)


def dress_near(dress: Dress, mesh: Mesh, other: Mesh) -> Dress:
    """The dress of a mesh for another of nearly the same shape: each face takes after the
    nearest face centre."""
    from scipy.spatial import cKDTree

    nearest = cKDTree(mesh.face_centres_mm).query(other.face_centres_mm)[1]
    corners = dress.corner_colours(mesh)
    colours = None if corners is None else np.rint(corners[nearest].mean(axis=1))
    return Dress(
        dress.names,
        dress.part[nearest],
        face_colours=None if colours is None else colours.astype(np.uint8),
    )


def from_shares(values: ArrayLike) -> Colours:
    """(N, 3 or 4) shares from 0 to 1 as (N, 4) bytes; opaque where opacity is not given.

    >>> from_shares([[0.5, 0.0, 1.2]]).tolist()
    [[128, 0, 255, 255]]
    """
    shares = np.nan_to_num(np.asarray(values, dtype=np.float64))
    return opaque(np.rint(np.clip(shares, 0.0, 1.0) * 255.0))


def opaque(values: ArrayLike) -> Colours:
    """(N, 3 or 4) values from 0 to 255 as (N, 4) bytes; values beyond are cut off."""
    given = np.clip(np.nan_to_num(np.asarray(values, dtype=np.float64)), 0, 255)
    out = np.full((len(given), 4), 255, dtype=np.uint8)
    out[:, : given.shape[1]] = given
    return out


def srgb_of(linear: ArrayLike) -> NDArray[np.float64]:
    """Light as sRGB shares. Source: IEC 61966-2-1, the transfer curve.

    >>> srgb_of([0.0, 0.2140411, 1.0]).round(4).tolist()
    [0.0, 0.5, 1.0]
    """
    x = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)


def linear_of(srgb: ArrayLike) -> NDArray[np.float64]:
    """The inverse of ``srgb_of``."""
    x = np.asarray(srgb, dtype=np.float64)
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)


def _tidy(name: str) -> str:
    """A name in one line, without control characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in name).split())


def _kept(colours: ArrayLike | None) -> Colours | None:
    if colours is None:
        return None
    out = np.array(colours, dtype=np.uint8, order="C").reshape(-1, 4)
    out.flags.writeable = False
    return out
