"""Is the gap kept, is the rubber backed by the shell, and does it touch all of the show surface?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.proof_distance import nearest_approach
from firstpull.core.mould.proof_parts import Check, Part, Samples, at, place, sampled

GAP_SLACK_MM = 0.2
LOOSE_MM = 0.3
BACKED_SHARE = 0.98
BURIED_SHARE = 0.002
PROBE_MM = 0.1
EDGE_MARGIN_MM = 1.0
SHOW_TOL_MM = 0.05
SHOW_LOOK_MM = 0.5
NEAR_MM = 5.0
SPACING_MM = 1.0


def gap_check(
    body: Part, pieces: Sequence[Part], *, skin_thickness_mm: float, clearance_mm: float
) -> Check:
    """Whether every shell piece stays a skin and a clearance away from the body.

    Measured from the corners of the shell and from points a millimetre apart on its faces to
    the body's faces: no place of the shell is farther than 0.8 mm from such a point, so over a
    gap of 8 mm the least of them is right to sqrt(8^2 + 0.8^2) - 8 = 0.04 mm.
    """
    limit = skin_thickness_mm + clearance_mm - GAP_SLACK_MM
    found, where = np.inf, np.zeros(3)
    for piece in pieces:
        spread = sampled(piece.mesh, spacing_mm=SPACING_MM).points_mm
        points = np.concatenate([piece.mesh.vertices_mm, spread])
        away, index = nearest_approach(points, body.surface)
        if away < found:
            found, where = away, points[index]
    passed = found >= limit
    sentence = (
        f"The shell keeps {found:.2f} mm from the body; {limit:.2f} mm is needed."
        if passed
        else f"The shell comes within {found:.2f} mm of the body at {at(where)}; the skin and "
        f"its clearance need {limit:.2f} mm. Thicken the skin there."
    )
    return Check("gap", passed, found, limit, place(where), sentence)


def inner_samples(piece: Part, skin: Part, body: Part, pieces: Sequence[Part]) -> Samples:
    """Points of a piece's inner face: the side that looks at the rubber.

    A point is on the inner face when a ray along its normal meets the skin before any piece,
    and then either within 5 mm or with the body behind it, still before any piece. Flanges
    between pieces look at another piece, and outer faces look at nothing, or at most across
    open air at the skin's rim with no body behind it.
    """
    every = sampled(piece.mesh, spacing_mm=SPACING_MM)
    origins = every.points_mm + 1e-3 * every.normals
    to_skin = skin.scene.distance(origins, every.normals)
    looks = np.flatnonzero(np.isfinite(to_skin))
    origins, normals, to_skin = origins[looks], every.normals[looks], to_skin[looks]
    to_piece = np.min([p.scene.distance(origins, normals) for p in pieces], axis=0)
    to_body = body.scene.distance(origins, normals)
    inner = (to_skin < to_piece) & ((to_skin <= NEAR_MM) | (to_body < to_piece))
    chosen = np.zeros(len(every.points_mm), dtype=bool)
    chosen[looks[inner]] = True
    return every.only(chosen)


def support_check(piece: Part, inner: Samples, skin: Part, *, clearance_mm: float) -> Check:
    """Whether the inner face of a piece lies against silicone, so that no void is behind it."""
    reach = clearance_mm + LOOSE_MM
    away = skin.surface.distance(inner.points_mm, limit_mm=reach, enough_mm=reach)
    lost = ~np.isfinite(away)
    found = 1.0 - inner.share(lost) if len(away) else 0.0
    passed = found >= BACKED_SHARE
    where = None
    if lost.any():
        points = inner.points_mm[lost]
        where = points[int(skin.surface.distance(points).argmax())]
    sentence = (
        f"The inner face of {piece.name} lies against silicone over {found:.1%} of its area."
        if passed or where is None
        else f"Only {found:.1%} of the inner face of {piece.name} lies against silicone, with a "
        f"void at {at(where)}; {BACKED_SHARE:.0%} is needed. Fill the void with silicone or bring "
        "the shell closer."
    )
    if not len(away):
        sentence = f"No face of {piece.name} looks at the skin; {BACKED_SHARE:.0%} of it must rest."
    return Check(
        f"support: {piece.name}", passed, found, BACKED_SHARE,
        None if where is None or passed else place(where), sentence,
    )  # fmt: skip


def show_samples(master: Mesh, show_faces: Flags) -> Samples:
    """Points of the show surface, away from its own boundary by a millimetre."""
    every = sampled(master, spacing_mm=SPACING_MM, faces=show_faces)
    rim = _boundary(master, show_faces)
    if not len(rim) or not len(every.points_mm):
        return every
    near = cKDTree(rim).query(every.points_mm, distance_upper_bound=EDGE_MARGIN_MM)[0]
    return every.only(~np.isfinite(near))


def _boundary(mesh: Mesh, chosen: Flags) -> Floats:
    """(N, 3) points every quarter of a millimetre along the edges of the chosen faces."""
    faces = mesh.faces[chosen]
    sides = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).astype(np.int64)
    keys, uses = np.unique(sides[:, 0] * len(mesh.vertices_mm) + sides[:, 1], return_counts=True)
    open_keys = keys[uses == 1]
    start = mesh.vertices_mm[open_keys // len(mesh.vertices_mm)]
    end = mesh.vertices_mm[open_keys % len(mesh.vertices_mm)]
    each = np.ceil(np.linalg.norm(end - start, axis=1) / 0.25).astype(np.int64) + 1
    owner = np.repeat(np.arange(len(each)), each)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(each) - each, each)
    share = rank / np.maximum(each[owner] - 1, 1)
    along: Floats = start[owner] + share[:, None] * (end - start)[owner]
    return along


def show_checks(master: Part, show: Samples, body: Part, skin: Part) -> list[Check]:
    """Whether the show surface is bare, true and under rubber.

    Bare: a tenth of a millimetre before it there is no clay; points within the master itself
    (in a narrow groove) are not clay. True: the body's surface is where the master's is.
    Covered: that same tenth of a millimetre is inside the skin.
    """
    before = show.points_mm + PROBE_MM * show.normals
    buried = body.holds(before)
    bare = ~skin.holds(before) & ~buried
    for doubted in (buried, bare):
        index = np.flatnonzero(doubted)
        doubted[index] = ~master.holds(before[index])
    away = body.surface.distance(show.points_mm, limit_mm=SHOW_LOOK_MM)
    return [
        _share_check(
            "show bare", show, buried, before,
            "The show surface is free of clay",
            "of the show surface is buried in the body's filler",
            "Take the clay back behind the rim; only silicone may close an undercut.",
        ),
        _true_check(show, away),
        _share_check(
            "show covered", show, bare, before,
            "Silicone lies against the whole show surface",
            "of the show surface has no silicone against it",
            "Close the void between body and skin.",
        ),
    ]  # fmt: skip


def _share_check(
    name: str, show: Samples, bad: Flags, points: Floats, fine: str, fault: str, remedy: str
) -> Check:
    found = show.share(bad)
    if not len(show.points_mm):
        return Check(name, False, 1.0, BURIED_SHARE, None, "There is no show surface to copy.")
    passed = found <= BURIED_SHARE
    if passed:
        return Check(name, True, found, BURIED_SHARE, None, _held(fine, found))
    where = _middle_of(points[bad])
    sentence = f"{found:.1%} {fault}, as at {at(where)}; {BURIED_SHARE:.1%} is allowed. {remedy}"
    return Check(name, False, found, BURIED_SHARE, place(where), sentence)


def _held(fine: str, found: float) -> str:
    """A share check that passed; a share too small to tell goes without saying.

    >>> _held("It is bare", 0.0), _held("It is bare", 0.0012)
    ('It is bare.', 'It is bare (0.12% is not).')
    """
    return f"{fine} ({found:.2%} is not)." if found >= 0.00005 else f"{fine}."


def _middle_of(points: Floats) -> Floats:
    """The point nearest to the median of all: a place in the thick of them."""
    middle = np.median(points, axis=0)
    return points[int(np.linalg.norm(points - middle, axis=1).argmin())]


def _true_check(show: Samples, away: Floats) -> Check:
    """The distance that all but a five-hundredth of the show surface keeps."""
    if not len(away):
        return Check("show true", False, np.inf, SHOW_TOL_MM, None, "There is no show surface.")
    order = np.argsort(away)
    area = np.cumsum(show.areas_mm2[order])
    index = int(np.searchsorted(area, (1 - BURIED_SHARE) * area[-1]))
    found = float(away[order[min(index, len(order) - 1)]])
    passed = found <= SHOW_TOL_MM
    worst = show.points_mm[int(away.argmax())]
    words = f"{found:.3f} mm" if np.isfinite(found) else f"more than {SHOW_LOOK_MM} mm"
    sentence = (
        f"The body copies the show surface within {words}."
        if passed
        else f"The body departs from the show surface by {words}, most at {at(worst)}; "
        f"{SHOW_TOL_MM} mm is allowed. The body must keep the master's own faces there."
    )
    return Check(
        "show true", passed, found, SHOW_TOL_MM, None if passed else place(worst), sentence
    )
