"""The proof that a mould works, by other means than those that built it.

Nothing here knows how body, skin and shell were made: it takes the finished solids, as they
would be read back from their files, and asks with Booleans, rays and distances whether the
shell comes off, whether the rubber is as thick as promised and backed by the shell, and whether
it copies the show surface.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.proof_parts import Check, Part, at, place, solid_fault, the, the_first
from firstpull.core.mould.proof_release import Noise, draft_check, overlap_of, release_check
from firstpull.core.mould.proof_surface import (
    gap_check,
    inner_samples,
    show_checks,
    show_samples,
    support_check,
)
from firstpull.core.progress import Progress, quiet

__all__ = ["CannotProve", "Check", "MouldProof", "prove_mould"]

ANGLE_EPS = 1e-6


class CannotProve(WorkshopError):
    """The proof was asked about something that is no mould: no piece, or arrays that do not fit."""

    code = "cannot_prove"


@dataclass(frozen=True)
class MouldProof:
    """All that was checked about one mould, in order.

    >>> fine = Check("gap", True, 8.1, 7.9, None, "The shell keeps 8.10 mm from the body.")
    >>> MouldProof((fine,)).passed
    True
    """

    checks: tuple[Check, ...]

    @property
    def passed(self) -> bool:
        """Whether every check kept its limit."""
        return all(check.passed for check in self.checks)

    @property
    def failures(self) -> tuple[Check, ...]:
        """The checks that did not."""
        return tuple(check for check in self.checks if not check.passed)

    def as_json(self) -> dict[str, Any]:
        """The proof as plain data."""
        return {"passed": self.passed, "checks": [check.as_json() for check in self.checks]}


def prove_mould(
    *,
    master: Mesh,
    show_faces: ArrayLike,
    body: Mesh,
    skin: Mesh,
    pieces: Sequence[Mesh],
    pulls: ArrayLike,
    skin_thickness_mm: float,
    clearance_mm: float,
    draft_deg: float,
    tol_mm: float = 0.05,
    grid_mm: float = 0.0,
    progress: Progress = quiet,
) -> MouldProof:
    """Everything a mould must do, checked on its finished solids.

    Args:
        master: the closed master, in the mould frame (z up, board at z = 0).
        show_faces: (F,) which faces of the master the silicone must copy.
        body: master and filler, standing on the board.
        skin: the silicone with flange, fill and keys, around the body.
        pieces: the rigid shell pieces in the order in which they come off.
        pulls: (P, 3) the direction in which each comes off; made unit length.
        skin_thickness_mm: promised thickness of the silicone.
        clearance_mm: promised space between shell and silicone.
        draft_deg: promised draft of the shell; 0 asks for none.
        tol_mm: depth up to which an overlap is noise of the faceted surfaces.
        grid_mm: cell of the grid that skin and shell were read off, which allows crumbs on
            their creases (see ``proof_release``); 0 for exact solids.
        progress: called with what is being checked.

    Returns:
        Checks named "solid: body", "apart: skin and piece 1", "pull: piece 1",
        "release: piece 1", "draft: piece 1", "support: piece 1", "gap", "show bare",
        "show true" and "show covered". Where a solid is not closed, only "solid" and "pull".

    Raises:
        CannotProve: there is no piece, or pulls or show faces do not fit the meshes.
    """
    noise = Noise(tol_mm, grid_mm)
    shows, ways = _fitting(master, show_faces, pieces, pulls)
    parts = [Part("master", master), Part("body", body), Part("skin", skin)]
    shell = [Part(f"piece {k + 1}", piece) for k, piece in enumerate(pieces)]
    progress("proving: solids", 0.0)
    checks = [_solid_check(part) for part in (*parts, *shell)]
    checks += [_pull_check(p, w, draft_deg) for p, w in zip(shell, ways, strict=True)]
    if not all(c.passed for c in checks if c.name.startswith("solid")):
        return MouldProof(tuple(checks))
    progress("proving: nothing overlaps", 0.1)
    checks += _apart_checks(parts[1], parts[2], shell, noise)
    for k, piece in enumerate(shell):
        progress(f"proving: {piece.name} comes off", 0.2 + 0.4 * k / len(shell))
        obstacles = (parts[2], *shell[k + 1 :])
        checks.append(release_check(piece, obstacles, body=parts[1], pull=ways[k], noise=noise))
    for k, piece in enumerate(shell):
        progress(f"proving: {piece.name} backs the skin", 0.6 + 0.1 * k / len(shell))
        inner = inner_samples(piece, parts[2], parts[1], shell)
        checks.append(
            draft_check(
                piece, parts[2], inner, pull=ways[k], draft_deg=draft_deg,
                clearance_mm=clearance_mm, slack_mm=2 * tol_mm,
            )
        )  # fmt: skip
        checks.append(support_check(piece, inner, parts[2], clearance_mm=clearance_mm))
    progress("proving: gap", 0.7)
    checks.append(
        gap_check(parts[1], shell, skin_thickness_mm=skin_thickness_mm, clearance_mm=clearance_mm)
    )
    progress("proving: show surface", 0.85)
    checks += show_checks(parts[0], show_samples(master, shows), parts[1], parts[2])
    progress("proving: done", 1.0)
    return MouldProof(tuple(checks))


def _fitting(
    master: Mesh, show_faces: ArrayLike, pieces: Sequence[Mesh], pulls: ArrayLike
) -> tuple[Flags, Floats]:
    shows = np.asarray(show_faces, dtype=bool).reshape(-1)
    ways = np.asarray(pulls, dtype=np.float64).reshape(-1, 3)
    if not pieces:
        raise CannotProve(where="Shell", found="has no piece", limit="a mould needs one or more")
    if len(ways) != len(pieces):
        raise CannotProve(
            where="Shell",
            found=f"has {len(pieces)} pieces and {len(ways)} pulls",
            limit="each piece needs its own pull",
        )
    if len(shows) != len(master.faces):
        raise CannotProve(
            where="Show surface",
            found=f"marks {len(shows)} faces of {len(master.faces)}",
            limit="every face of the master needs its mark",
        )
    length = np.linalg.norm(ways, axis=1)
    if not np.all(length > 0.5):
        raise CannotProve(where="Pull", found="has no direction", limit="it needs a unit vector")
    return shows, ways / length[:, None]


def _solid_check(part: Part) -> Check:
    fault = solid_fault(part)
    name = f"solid: {part.name}"
    if fault is None:
        return Check(name, True, 0.0, 0.0, None, f"{the_first(part.name)} is one closed solid.")
    words, count, where = fault
    sentence = (
        f"{the_first(part.name)} {words} ({count}), as at {at(where)}. Mend it before moulding."
    )
    return Check(name, False, float(count), 0.0, place(where), sentence)


def _pull_check(piece: Part, pull: Floats, draft_deg: float) -> Check:
    limit = float(np.sin(np.radians(draft_deg)))
    passed = bool(pull[2] >= limit - ANGLE_EPS)
    rises = float(np.degrees(np.arcsin(np.clip(pull[2], -1, 1))))
    sentence = f"The pull of {piece.name} rises {rises:.1f} degrees from the board; "
    sentence += f"the draft asks for {draft_deg:g}" + ("." if passed else ". Turn it upward.")
    return Check(f"pull: {piece.name}", passed, float(pull[2]), limit, None, sentence)


def _apart_checks(body: Part, skin: Part, shell: Sequence[Part], noise: Noise) -> list[Check]:
    """No two solids share space, and none goes into the board."""
    checks = [_apart_by_points(body, skin, noise.tol_mm)]
    for one, other in (*((s, p) for s in (body, skin) for p in shell), *combinations(shell, 2)):
        found = overlap_of(other, one, shift_mm=np.zeros(3), noise=noise)
        limit = noise.tol_mm if found.is_real else noise.crease_mm
        checks.append(_apart_check(one, other, found.depth_mm, found.where_mm, limit))
    for part in (body, skin, *shell):
        lowest = part.mesh.vertices_mm[part.mesh.vertices_mm[:, 2].argmin()]
        depth = max(-float(lowest[2]), 0.0)
        checks.append(_apart_check(part, Part("board", part.mesh), depth, lowest, noise.tol_mm))
    return checks


def _apart_by_points(body: Part, skin: Part, tol_mm: float) -> Check:
    """Body and skin share a whole surface, where a Boolean finds nothing but its own noise and
    takes long to do so. Corners of each, drawn in by the tolerance, must not lie in the other.
    """
    for one, other in ((body, skin), (skin, body)):
        points = one.inset(tol_mm)
        index = np.flatnonzero(other.holds(points))
        index = index[one.holds(points[index])]
        deep = one.surface.distance(points[index]) > 0.9 * tol_mm
        index = index[deep]
        if len(index):
            depth = tol_mm + other.surface.distance(points[index])
            worst = int(depth.argmax())
            return _apart_check(body, skin, float(depth[worst]), points[index[worst]], tol_mm)
    return _apart_check(body, skin, 0.0, np.zeros(3), tol_mm)


def _apart_check(one: Part, other: Part, depth: float, where: Floats, tol_mm: float) -> Check:
    name = f"apart: {one.name} and {other.name}"
    if depth <= tol_mm:
        sentence = f"{the_first(one.name)} and {the(other.name)} share no space."
        return Check(name, True, depth, tol_mm, None, sentence)
    sentence = (
        f"{the_first(one.name)} stands {depth:.2f} mm deep in {the(other.name)} at {at(where)}; "
        f"{tol_mm:g} mm is allowed. Take one back from the other."
    )
    return Check(name, False, depth, tol_mm, place(where), sentence)
