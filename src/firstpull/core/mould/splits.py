"""Where is a printed piece cut so that each part fits the build box with its joint flange?

The search works on points alone: all planes of one facing share one pass over them, and each
part is asked with the flange that its cuts will carry. Only a winner is cut as a solid, to be
asked again.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import solid
from firstpull.core.mould.build_box import fits, least_parts, usable_mm
from firstpull.core.mould.cut import Split
from firstpull.core.mould.split_search import Proxy, Search, best_of, facings

MOST_PARTS = 8
BEAM = 6


class BoxSmallerThanFlange(WorkshopError):
    """The build box has no place for a part with its joint flange."""

    code = "box_smaller_than_flange"


class CannotSplit(WorkshopError):
    """A piece is too large to be printed in a sensible number of parts."""

    code = "cannot_split"


def splits_for(
    piece: Mesh,
    box_mm: ArrayLike,
    *,
    pull: ArrayLike,
    flange_mm: float,
    flange_thickness_mm: float,
    margin_mm: float,
    keep_clear_mm: ArrayLike = (),
    reached_mm: ArrayLike | None = None,
    accepts: Callable[[tuple[Split, ...]], bool] | None = None,
    most_parts: int = MOST_PARTS,
    where: str = "Shell piece",
) -> tuple[Split, ...]:
    """The fewest cuts found after which each part fits the build box with its joint flange.

    Args:
        piece: closed.
        box_mm: width, depth and height of the build box.
        pull: the piece's; cuts contain it or are square to it.
        flange_mm: how far a joint flange sticks out of the piece's outside.
        flange_thickness_mm: of the flange on each side of a cut.
        margin_mm: kept free on the four sides of the plate.
        keep_clear_mm: (B, 3) bolts and corners of flanges that a joint should keep clear of.
        reached_mm: (M, 3) places all over the surface out to which joint flanges stick; None
            moves the points of the piece that look along the pull outward by ``flange_mm``,
            which asks for too much room along a flange that is there already.
        accepts: asked last whether some splits will do (is there a place for bolts?); None
            takes them all.
        most_parts: more are refused.
        where: what the piece is called in a refusal.

    Returns:
        Splits in the order they are made; none where the piece fits as it is. Of equal
        numbers of parts: short cuts that the shell crosses squarely, clear of bolts and
        corners, and even parts.

    Raises:
        BoxSmallerThanFlange: no part could hold its joint flange.
        CannotSplit: no way into ``most_parts`` or fewer was found.

    A beam search, as in Luo, Baran, Rusinkiewicz & Matusik, Chopper: partitioning models into
    3D-printable parts, 2012; with costs of our own.
    """
    if fits(piece, box_mm, margin_mm=margin_mm) is not None:
        return ()
    room = usable_mm(box_mm, margin_mm=margin_mm)
    _need_room(room, box_mm, flange_mm, flange_thickness_mm, margin_mm)
    way = np.asarray(pull, dtype=np.float64)
    way = way / np.linalg.norm(way)
    proxy = Proxy.of(piece, way, flange_mm, reached_mm)
    search = Search(
        proxy,
        facings(proxy.points_mm, way),
        np.asarray(box_mm, dtype=np.float64),
        margin_mm,
        flange_thickness_mm,
        np.asarray(keep_clear_mm, dtype=np.float64).reshape(-1, 3),
    )
    whole = solid(piece, where=where)
    least = least_parts(proxy.points_mm, box_mm, margin_mm=margin_mm)
    if least > most_parts:
        raise _too_large(piece, box_mm, least, most_parts, where)
    states = [search.start()]
    for _ in range(most_parts - 1):
        grown = [g for state in states for g in search.grown(state) if g.parts <= most_parts]
        grown.sort(key=lambda state: state.rank)
        for state in grown:
            if (
                state.is_done
                and (accepts is None or accepts(state.splits))
                and search.holds(state, whole)
            ):
                return state.splits
        states = best_of([state for state in grown if not state.is_done], BEAM)
    raise _too_large(piece, box_mm, least, most_parts, where)


def _need_room(
    room: Floats, box_mm: ArrayLike, flange_mm: float, thickness_mm: float, margin_mm: float
) -> None:
    needed = flange_mm + 2 * thickness_mm
    if room.min() >= needed:
        return
    raise BoxSmallerThanFlange(
        where=f"Build box of {_sides(box_mm)} mm",
        found=f"leaves {_sides(room)} mm inside its margin of {margin_mm:g} mm",
        limit=(
            f"a part with its joint needs {needed:g} mm every way: {flange_mm:g} mm for the "
            f"width of the flange and {2 * thickness_mm:g} mm for twice its thickness"
        ),
        remedy="Make shell.thickness_mm less, print on a larger machine, or lay the shell by hand.",
    )


def _too_large(piece: Mesh, box_mm: ArrayLike, least: int, most: int, where: str) -> CannotSplit:
    size = f"of {_sides(np.ptp(piece.vertices_mm, axis=0))} mm"
    box = f"the build box of {_sides(box_mm)} mm"
    if least > most:
        found = f"{size} has {least} points that lie too far apart to share {box}"
    else:
        found = f"{size} cannot be cut in {most} parts that fit {box} with their joint flanges"
    return CannotSplit(
        where=where,
        found=found,
        limit=f"{most} parts are the most that are joined to one piece",
        remedy="Part the shell in more pieces, or take a larger build box.",
    )


def _sides(size: ArrayLike) -> str:
    return " × ".join(f"{side:.0f}" for side in np.asarray(size))
