"""What does the maker's brush change of the show surface?

A dab says of the faces under it that they are copied, or left. Later dabs win. What is painted is
kept as painted; a minimum cut among the faces beside it, as for the natural border, takes the teeth
of single triangles off the new one. Far from a dab, and where a dab says what holds anyway, the
show surface stays as it was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.adjacency import FacePairs, face_pairs, patches
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.show import (
    Show,
    ShowUnclear,
    border_loops,
    cheapest_border,
    need_wide_rim,
    ringed,
    told_place,
    without_pinches,
)

NEAR_ITS_SEED = 0.5  # cosine: faces within 60 degrees of the one under the brush tell its side
ON_ITS_SIDE = 0.17  # cosine: beyond 80 degrees a face belongs to an edge, or to the other side
RINGS_FREED = 2  # steps beside the paint in which the border may be straightened
STAYS = 0.3  # of a face's area: what the straightening pays for a face beside the paint
SPECK_MM2 = 20.0  # a smaller patch between dabs was missed by the brush


@dataclass(frozen=True)
class ShowDab:
    """A dab of the brush on the show surface.

    Args:
        place_mm: on the surface, in the frame of the mesh that is painted.
        radius_mm: at the size as printed.
        copied: whether the mould copies what is under it, or leaves it.
    """

    place_mm: tuple[float, float, float]
    radius_mm: float
    copied: bool


class AskedShowDab(Protocol):
    """A dab as the sheet holds it."""

    @property
    def at(self) -> Sequence[float]: ...
    @property
    def radius_mm(self) -> float: ...
    @property
    def copied(self) -> bool: ...


class PaintOffSurface(WorkshopError):
    """A dab touches no surface."""

    code = "paint_off_surface"


class ShowInPieces(WorkshopError):
    """Painted as it is, the show surface falls into pieces; ``place_mm`` is in one."""

    code = "show_in_pieces"
    place_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    area_mm2: float = 0.0
    dab: int | None = None


def show_in_pieces(
    place_mm: tuple[float, float, float],
    *,
    area_mm2: float,
    dab: int | None,
    frame: str = "mould frame",
) -> ShowInPieces:
    """The refusal, with the place named in a frame that the reader knows.

    Args:
        place_mm: on the piece that is cut off.
        area_mm2: how large it is.
        dab: which dab it was painted with, counted from 0; None where paint cut it off.
    """
    where = "master.paint" if dab is None else f"master.paint, number {dab + 1},"
    does = "cuts" if dab is None else "copies"
    apart = "off the show surface" if dab is None else "apart from the show surface"
    refusal = ShowInPieces(
        where=where,
        found=f"{does} {told_number(area_mm2 / 100, 2)} cm2 {apart}, near {told_place(place_mm)}"
        " in the "
        f"{frame}",
        limit="one mould copies one surface that hangs together",
        remedy="Paint the way between the two as copied, or paint that piece as left.",
    )
    refusal.place_mm, refusal.area_mm2, refusal.dab = place_mm, area_mm2, dab
    return refusal


def dabs_in(asked: Sequence[AskedShowDab], matrix: ArrayLike) -> tuple[ShowDab, ...]:
    """Dabs of a sheet in another frame.

    Args:
        matrix: (4, 4) from the mesh file's coordinates; radii are as printed already.
    """
    to = np.asarray(matrix, dtype=np.float64)
    dabs = []
    for dab in asked:
        x, y, z = (to[:3, :3] @ np.asarray(dab.at, dtype=np.float64) + to[:3, 3]).tolist()
        dabs.append(ShowDab((x, y, z), float(dab.radius_mm), bool(dab.copied)))
    return tuple(dabs)


@dataclass(frozen=True)
class Canvas:
    """A mesh made ready to be painted, dab after dab.

    Args:
        mesh: closed, z up.
        pairs: its faces side by side.
        tree: finds the face under the brush.
        start, beside: neighbours of face f are ``beside[start[f] : start[f + 1]]``.
    """

    mesh: Mesh
    pairs: FacePairs
    tree: Tree
    start: Ints
    beside: Ints

    @staticmethod
    def of(mesh: Mesh) -> Canvas:
        """The canvas of a closed mesh."""
        pairs = face_pairs(mesh)
        here = np.concatenate([pairs.a, pairs.b])
        order = np.argsort(here, kind="stable")
        beside = np.concatenate([pairs.b, pairs.a])[order]
        start = np.searchsorted(here[order], np.arange(len(mesh.faces) + 1))
        return Canvas(mesh, pairs, Tree.of(mesh), start.astype(np.int32), beside)

    def under(self, dabs: Sequence[ShowDab]) -> NDArray[np.int32]:
        """(F,) number of the last dab over each face, -1 where there is none.

        A dab reaches what hangs together around its middle, within its radius and on its side
        of the wall; a face counts by its centre, and the one right under the brush always.

        Raises:
            PaintOffSurface: a dab's radius does not reach the surface.
        """
        last = np.full(len(self.mesh.faces), -1, dtype=np.int32)
        if not dabs:
            return last
        places = np.array([dab.place_mm for dab in dabs])
        radii = np.array([dab.radius_mm for dab in dabs])
        away, seeds, _ = self.tree.closest(places)
        _need_surface(dabs, away)
        _flood_all(
            seeds,
            places,
            radii,
            self.start,
            self.beside,
            self.mesh.face_centres_mm,
            self.mesh.face_normals,
            self.mesh.face_areas_mm2,
            last,
        )
        return last


def _need_surface(dabs: Sequence[ShowDab], away: Floats) -> None:
    for n, (dab, gap) in enumerate(zip(dabs, away.tolist(), strict=True), start=1):
        if gap > dab.radius_mm:
            raise PaintOffSurface(
                where=f"master.paint, number {n},",
                found=f"touches no surface: the nearest is {told_number(gap, 3)} mm from its"
                " middle",
                limit=f"it reaches {told_number(dab.radius_mm, 3)} mm",
                remedy="Put its middle on the surface, or take it out.",
            )


@njit(cache=True)
def _flood_all(
    seeds: Any,
    places: Any,
    radii: Any,
    start: Any,
    beside: Any,
    centres: Any,
    normals: Any,
    areas: Any,
    last: Any,
) -> None:
    """Writes each dab's number on the faces under it, the later over the earlier."""
    met = np.full(len(last), -1, np.int32)
    stack = np.empty(len(last), np.int32)
    for n in range(len(seeds)):
        way = normals[seeds[n]].copy()
        for least in (NEAR_ITS_SEED, ON_ITS_SIDE):
            # first the mean way of what is near, then all that lies to that side
            stamp = 2 * n + (1 if least == ON_ITS_SIDE else 0)
            mean = np.zeros(3)
            stack[0], count = seeds[n], 1
            met[seeds[n]] = stamp
            while count > 0:
                count -= 1
                face = stack[count]
                mean += areas[face] * normals[face]
                if least == ON_ITS_SIDE:
                    last[face] = n
                for k in range(start[face], start[face + 1]):
                    other = beside[k]
                    if met[other] == stamp:
                        continue
                    met[other] = stamp
                    off = centres[other] - places[n]
                    if (off * off).sum() > radii[n] ** 2:
                        continue
                    if (normals[other] * way).sum() >= least:
                        stack[count] = other
                        count += 1
            length = np.sqrt((mean * mean).sum())
            if length > 0.0:
                way = mean / length


def show_with_paint(show: Show, dabs: Sequence[ShowDab], *, canvas: Canvas) -> Flags:
    """(F,) what is copied once all these dabs are painted, for a look while painting.

    Args:
        show: as found, or as painted before: earlier paint is left out of account.
        dabs: all of them, in order, in the frame of the canvas's mesh.
        canvas: of the mesh that ``show`` was found on; made once and kept while painting.

    Raises:
        PaintOffSurface: a dab touches no surface.
        ShowInPieces: what would be copied does not hang together.
        ShowUnclear: everything would be copied, or nothing.
    """
    natural = show.faces if show.unpainted is None else show.unpainted
    last = canvas.under(dabs)
    copied = np.array([dab.copied for dab in dabs] + [False])[last]
    painted = last >= 0
    wanted = np.where(painted, copied, natural)
    turned = wanted != natural
    if not turned.any():
        return natural
    mesh, pairs = canvas.mesh, canvas.pairs
    freed = ringed(pairs, turned, rings=RINGS_FREED) & ~painted
    faces = cheapest_border(pairs, wanted, asked=freed, pull=STAYS * mesh.face_areas_mm2)
    faces = _without_specks(canvas, faces, painted)
    faces = _without_specks(canvas, without_pinches(mesh, pairs, faces), painted)
    _need_both(faces)
    _need_one_piece(canvas, faces, last)
    return faces


def painted(
    mesh: Mesh, show: Show, dabs: Sequence[ShowDab], *, canvas: Canvas | None = None
) -> Show:
    """The show surface as the maker painted it, whole again with its borders.

    Args:
        mesh: closed, z up; that ``show`` was found on.
        show: as found.
        dabs: in order, in the mesh's frame.
        canvas: of the mesh, where it is at hand.

    Raises:
        RimTouchesItself: the new border passes a place twice.
        also as :func:`show_with_paint`.
    """
    canvas = canvas or Canvas.of(mesh)
    faces = show_with_paint(show, dabs, canvas=canvas)
    natural = show.faces if show.unpainted is None else show.unpainted
    if np.array_equal(faces, show.faces):
        return show
    loops = border_loops(mesh, canvas.pairs, faces)
    need_wide_rim(mesh, loops[0])
    areas = mesh.face_areas_mm2
    shown = float(areas[faces].sum())
    walled = float(areas[faces & np.isfinite(show.wall_mm)].sum())
    return replace(
        show,
        faces=faces,
        loops=loops,
        area_mm2=shown,
        is_shell=walled > 0.5 * shown,
        unpainted=None if np.array_equal(faces, natural) else natural,
    )


def _without_specks(canvas: Canvas, faces: Flags, painted: Flags) -> Flags:
    """Patches too small to have been meant, which no dab touched, go with what is around them."""
    patch = patches(canvas.pairs, faces)
    size = np.bincount(patch, weights=canvas.mesh.face_areas_mm2)
    small = size < SPECK_MM2
    small[patch[painted]] = False
    for side in (faces, ~faces):
        if side.any():  # the main patch of either side stays, on however small a part
            small[patch[side][np.argmax(size[patch[side]])]] = False
    return faces ^ small[patch]


def _need_both(faces: Flags) -> None:
    if faces.all() or not faces.any():
        raise ShowUnclear(
            where="master.paint",
            found=f"leaves {'nothing' if faces.all() else 'everything'} uncopied",
            limit="a mould needs a border between what it copies and what it leaves",
            remedy="Take some of the dabs out.",
        )


def _need_one_piece(canvas: Canvas, faces: Flags, last: NDArray[np.int32]) -> None:
    """Refuses the largest of several pieces of the show surface, but for the main one."""
    patch = patches(canvas.pairs, faces)
    areas = canvas.mesh.face_areas_mm2
    size = np.bincount(patch, weights=np.where(faces, areas, 0.0))
    order = np.argsort(size)[::-1]
    if len(order) < 2 or size[order[1]] == 0:
        return
    piece = np.flatnonzero(patch == order[1])
    by = last[piece]
    dab = int(by.max()) if (by >= 0).any() else None
    centres = canvas.mesh.face_centres_mm[piece]
    middle = np.average(centres, axis=0, weights=areas[piece])
    x, y, z = centres[np.argmin(np.linalg.norm(centres - middle, axis=1))].tolist()
    raise show_in_pieces((x, y, z), area_mm2=float(size[order[1]]), dab=dab)
