"""Where silicone fill would be too deep to strip: rigid pieces that lie loose under the shell.

A loose piece takes the place of fill in a deep pocket. It rests on the silicone in the pocket,
its outer face is the filled skin's, so the shell stays as it is. The shell comes off first; then
the piece is drawn out along a pull of its own, past all silicone that is left. Taking silicone
away only widens the way of what comes later, so several pieces may share a pocket, one after the
other. How a piece is carved is told in ``loose_carve``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.grid import Field
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.fill_guide import SIDES, FillPlace, fill_guide, told
from firstpull.core.mould.loose_carve import LEAST_SHARE, Pocket, best_pull, carved, own_points
from firstpull.core.mould.options import DEEPEST_FILL_MM
from firstpull.core.mould.proof_parts import Check, Part
from firstpull.core.mould.proof_release import Noise, release_check
from firstpull.core.mould.shell import SkinAndShell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import with_soft_valleys

LIP_MM = 1.0  # thinner silicone gives way
WORTH_KEEPING = 0.5  # of it: pieces that leave the pocket too deep must take so much
MOST_A_POCKET = 3
TOL_MM = 0.05  # deeper than this something grazes


@dataclass(frozen=True)
class LoosePiece:
    """A rigid piece between skin and shell.

    Args:
        mesh: closed, in the mould frame.
        pull: unit vector it leaves along, once the shell is off.
        volume_cm3: of the piece.
        place_mm: the pocket's deepest place.
        depth_mm: how deep the fill would be there without it.
        fill_saved_cm3: silicone it saves: its own volume and the gap around it.
        deepest_left_mm: the deepest fill that is left in the pocket with it in.
        sentence: where, how deep, what it saves and when it is taken out, for the maker.
    """

    mesh: Mesh
    pull: tuple[float, float, float]
    volume_cm3: float
    place_mm: tuple[float, float, float]
    depth_mm: float
    fill_saved_cm3: float
    deepest_left_mm: float
    sentence: str

    def as_json(self) -> dict[str, Any]:
        """Plain data without the mesh."""
        return {
            "pull": [round(c, 4) for c in self.pull],
            "volume_cm3": round(self.volume_cm3, 2),
            "place_mm": [round(c, 1) for c in self.place_mm],
            "depth_mm": round(self.depth_mm, 1),
            "fill_saved_cm3": round(self.fill_saved_cm3, 2),
            "deepest_left_mm": round(self.deepest_left_mm, 1),
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class StaysDeep:
    """A pocket whose fill stays deeper than strips well.

    Args:
        place_mm: its deepest place.
        depth_mm: how deep.
        tried: how many pulls were tried for a further loose piece.
        best_share: the most of the pocket's fill that one of them frees.
        sentence: why, and what to do, for the maker.
    """

    place_mm: tuple[float, float, float]
    depth_mm: float
    tried: int
    best_share: float
    sentence: str

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "place_mm": [round(c, 1) for c in self.place_mm],
            "depth_mm": round(self.depth_mm, 1),
            "tried": self.tried,
            "best_share": round(self.best_share, 3),
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class Loosened:
    """A mould with its loose pieces.

    Args:
        built: skin and shell; the skin and its fill are thinner by the loose pieces, the
            shell's pieces are as they were.
        pieces: in the order they come out, all after the shell.
        stays: pockets that stay filled deeper than strips well.
    """

    built: SkinAndShell
    pieces: tuple[LoosePiece, ...]
    stays: tuple[StaysDeep, ...]


def loose_pieces(shape: SkinShape, built: SkinAndShell, *, draft_deg: float) -> Loosened:
    """Loose pieces for the pockets whose fill is deeper than 25 mm, and the skin around them.

    Args:
        shape: the skin before fill.
        built: skin and shell as built from it.
        draft_deg: least lean of a loose piece's faces, and of the board, to its pull.

    Depth is the distance off the plain skin, of the filled surface and of all that lies under
    it. A piece is proposed only if it takes a fifth of its pocket's fill and 1 cm3 at least.
    """
    if not _is_deep(shape, built.fill):
        return Loosened(built, (), ())
    whole = built
    plain = with_soft_valleys(shape.phi, shape.grid)
    guide = fill_guide(shape, built.fill, zones=built.parting.zones)
    pieces: list[LoosePiece] = []
    stays: list[StaysDeep] = []
    for place in guide.places:
        if not _may_be_deep(plain, place):
            continue
        elsewhere = [other.cells for other in guide.places if other is not place]
        own = own_points(shape.grid, plain, built.fill.field(plain), place, elsewhere)
        found, left, built = _loosened_place(shape, plain, place, own, built, draft_deg)
        pieces += found
        stays += left
    grazes = _what_grazes(built, pieces, shape.grid.step_mm)
    if grazes is not None:
        dropped = {piece.place_mm: _stays_since(piece, grazes) for piece in reversed(pieces)}
        told = [stay for stay in stays if stay.place_mm not in dropped]
        return Loosened(whole, (), (*dropped.values(), *told))
    return Loosened(built, tuple(pieces), tuple(stays))


def _what_grazes(built: SkinAndShell, pieces: list[LoosePiece], step_mm: float) -> Check | None:
    """What first fails of: the shell comes off past the loose pieces, and they past the skin.

    Thin edges of a carved piece are where a grid's errors show; one that would not pass the
    proof is better not proposed.
    """
    noise = Noise(TOL_MM, step_mm)
    skin = Part("skin", built.skin)
    loose = [Part(f"loose piece {n}", piece.mesh) for n, piece in enumerate(pieces, start=1)]
    for number, rigid in enumerate(built.pieces if loose else (), start=1):
        own = Part(f"piece {number}", rigid.mesh)
        check = release_check(own, tuple(loose), body=skin, pull=np.array(rigid.pull), noise=noise)
        if not check.passed:
            return check
    for n, (part, piece) in enumerate(zip(loose, pieces, strict=True)):
        later = (skin, *loose[n + 1 :])
        check = release_check(part, later, body=skin, pull=np.array(piece.pull), noise=noise)
        if not check.passed:
            return check
    return None


def _stays_since(piece: LoosePiece, grazes: Check) -> StaysDeep:
    x, y, z = piece.place_mm
    sentence = (
        f"Near ({x:.0f}, {y:.0f}, {z:.0f}) mm silicone stays {piece.depth_mm:.0f} mm deep; over "
        f"{DEEPEST_FILL_MM:.0f} mm it strips badly. A loose piece was carved for it, but as it "
        f"comes out something grazes by {grazes.found:.2f} mm, so none is proposed. Try a finer "
        "grid_mm, plug the pocket in the model, plan a slit there, or part the shell otherwise."
    )
    return StaysDeep(piece.place_mm, piece.depth_mm, 0, 0.0, sentence)


def _is_deep(shape: SkinShape, fill: Fill) -> bool:
    inside = fill.cells[fill.levels_mm < 0.5 * shape.grid.step_mm]
    deepest = float(shape.phi.ravel()[inside].max(initial=0.0))
    return deepest > DEEPEST_FILL_MM - shape.grid.step_mm


def _may_be_deep(plain: Field, place: FillPlace) -> bool:
    deepest = float(plain.ravel()[place.cells].max(initial=0.0))
    return max(place.depth_mm, deepest) > DEEPEST_FILL_MM


def _loosened_place(
    shape: SkinShape,
    plain: Field,
    place: FillPlace,
    own: Flags,
    before: SkinAndShell,
    draft_deg: float,
) -> tuple[list[LoosePiece], list[StaysDeep], SkinAndShell]:
    """One pocket's pieces, what stays deep in it, and the mould with them."""
    pieces: list[LoosePiece] = []
    built = before
    depth = max(place.depth_mm, _depth_left(plain, place, built.fill.field(plain)))
    at_first = 0.0
    while depth > DEEPEST_FILL_MM:
        pocket = Pocket.of(shape, plain, np.minimum(built.fill.field(plain), plain), place, own)
        at_first = at_first or pocket.thick_cm3
        way, share, tried = best_pull(pocket, shape, built.clearance_mm, draft_deg)
        taken = None
        if share >= LEAST_SHARE and len(pieces) < MOST_A_POCKET:
            taken = carved(pocket, shape, way, built, draft_deg)
        if taken is None:
            if pocket.thick_cm3 > (1 - WORTH_KEEPING) * at_first:
                pieces, built = [], before
                depth = max(depth, _depth_left(plain, place, built.fill.field(plain)))
            return pieces, [_stays(place, depth, tried, share, len(pieces))], built
        mesh, field, skin = taken
        saved = (built.skin.volume_mm3 - skin.volume_mm3) / 1000
        fill = Fill.between(plain, field, step_mm=shape.grid.step_mm)
        built = _with_skin(built, skin, saved, fill)
        was, depth = depth, _depth_left(plain, place, field)
        pieces.append(_piece(mesh, way, place, was, saved, depth))
    return pieces, [], built


def _depth_left(plain: Field, place: FillPlace, filled: Field) -> float:
    """The greatest distance off the plain skin of a pocket's silicone, thin lips left out."""
    inside = filled.ravel()[place.cells] < -0.5 * LIP_MM
    return float(plain.ravel()[place.cells][inside].max(initial=0.0))


def _with_skin(built: SkinAndShell, skin: Mesh, saved_cm3: float, fill: Fill) -> SkinAndShell:
    return replace(
        built,
        skin=skin,
        skin_cm3=skin.volume_mm3 / 1000,
        fill_cm3=max(0.0, built.fill_cm3 - saved_cm3),
        fill=fill,
    )


def _piece(
    mesh: Mesh, pull: Floats, place: FillPlace, depth_mm: float, saved_cm3: float, left_mm: float
) -> LoosePiece:
    x, y, z = pull.tolist()
    cx, cy, cz = place.place_mm
    volume = mesh.volume_mm3 / 1000
    rest = f"; {left_mm:.0f} mm is the deepest fill left there" if left_mm >= 1 else ""
    sentence = (
        f"At {place.side}, near ({cx:.0f}, {cy:.0f}, {cz:.0f}) mm, the fill would be "
        f"{depth_mm:.0f} mm deep; over {DEEPEST_FILL_MM:.0f} mm it strips badly. A loose rigid "
        f"piece of {told(volume)} cm³ takes its place and saves {told(saved_cm3)} cm³ of silicone"
        f"{rest}. Take it out after the shell, {_heading(pull)}. A threaded hole or a finger "
        "hold in its outer face helps to draw it."
    )
    return LoosePiece(
        mesh, (x, y, z), volume, place.place_mm, depth_mm, saved_cm3, left_mm, sentence
    )


def _heading(pull: Floats) -> str:
    """A pull in words.

    >>> _heading(np.array([0.0, -0.8, 0.6]))
    'toward the front (-y), rising 37°'
    """
    rise = float(np.degrees(np.arcsin(np.clip(pull[2], -1.0, 1.0))))
    if rise > 80:
        return "straight up" if rise > 89.5 else "almost straight up"
    words, axes = SIDES[round(float(np.degrees(np.arctan2(pull[1], pull[0]))) / 45) % 8]
    return f"toward {words} ({axes}), rising {rise:.0f}°"


def _stays(place: FillPlace, depth_mm: float, tried: int, share: float, pieces: int) -> StaysDeep:
    x, y, z = place.place_mm
    why = "what that leaves of a piece is too thin or too small"
    if pieces == MOST_A_POCKET:
        why = f"{pieces} pieces already lie there"
    elif share < LEAST_SHARE:
        why = "the way out is narrower than what lies behind it"
    sentence = (
        f"At {place.side}, near ({x:.0f}, {y:.0f}, {z:.0f}) mm, silicone stays {depth_mm:.0f} mm "
        f"deep; over {DEEPEST_FILL_MM:.0f} mm it strips badly. No {'further ' if pieces else ''}"
        f"loose piece was found for it: of {tried} pulls tried the best frees "
        f"{100 * share:.0f} % of the fill, and {why}. Plug the pocket in the model, plan a slit "
        "there, or part the shell otherwise."
    )
    return StaysDeep(place.place_mm, depth_mm, tried, share, sentence)
