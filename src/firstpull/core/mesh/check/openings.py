"""Which open borders are meant: rims and eyes stay, cracks and pinholes go, the rest is asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.check.loops import SMALL_HOLE_MM, is_crack, loop_lengths_mm, small_loops
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import counted
from firstpull.core.mesh.topology import components

RIM_TIMES_DIAGONAL = 0.5
"""A rim is at least this times the diagonal of its part around. That of a half ball is 2.1
diagonals, an end of a tube three times as long as wide 0.9, an eye of a mask 0.3."""

RIM_TIMES_LONGEST = 0.6
"""And this times the longest loop of its part: the narrow end of a tapered sleeve, the face
opening of a helmet beside its neck opening."""

LIKE = 0.15
"""Two lengths within this share of the longer are alike."""

MIRRORED_SHARE = 0.07
"""Two borders are mirror images if they lie this share of their width from each other, in the
mean. Hand-made masks are off by some percent, an eye and a mouth by more than 10; common
practice, no source."""

MIDDLE_SHARE = 0.04
"""The mirror passes the middle of the part's surface within this share of its diagonal."""

SMOOTH_TURNS = 2.0
"""Full turns in all that the outline of a smooth border makes at most: a round one makes one,
a kidney less than two, a star of torn triangles one for every two points."""

SAMPLES = 128
"""Points along the outline that stands for a border: under 3 % of its width apart."""

EVENED = 8
"""Points of the outline over which it is evened out, twice, so that a border cut along the
sides of triangles is taken for the line it follows."""

PAIRED_MOST = 64
"""Openings among which pairs are looked for, the longest: more than that is no mask."""

Kind = Literal["crack", "hole", "opening", "rim"]


@dataclass(frozen=True)
class Opening:
    """One open border, and what it is taken for.

    Args:
        number: its place among the loops given, from 1.
        loop: (N,) its vertices.
        length_mm: around it.
        across_mm: between its two vertices farthest apart.
        flatness: how far its vertices lie from their plane at most, as a share of
            ``across_mm``; 0 is flat.
        centre_mm: the middle of its border.
        kind: "crack" or "hole" is damage, "opening" and "rim" look meant.
        why: what speaks for that, as half a sentence.
        asked: whether a person should say: it is neither small nor plainly meant. It stays
            open until then.
        partner: the number of its mirror image, if there is one.
    """

    number: int
    loop: Ints
    length_mm: float
    across_mm: float
    flatness: float
    centre_mm: Floats
    kind: Kind
    why: str
    asked: bool
    partner: int | None = None

    @property
    def closes(self) -> bool:
        """Whether it is closed without asking."""
        return self.kind in ("crack", "hole") and not self.asked


@dataclass(frozen=True)
class OpeningGroup:
    """Openings that a person decides on together.

    Args:
        numbers: of the openings.
        kind: theirs.
        asked: whether a decision is wanted.
        sentence: what they are and what becomes of them.
    """

    numbers: tuple[int, ...]
    kind: Kind
    asked: bool
    sentence: str


def find_openings(
    mesh: Mesh, loops: list[Ints], *, small_hole_mm: float = SMALL_HOLE_MM
) -> tuple[Opening, ...]:
    """What each open border is taken for; empty for a closed mesh.

    A crack or a small hole is damage. The large border of an open surface is its rim. Two
    borders that mirror each other, about a plane through the middle of their part that
    mirrors its rim too, are eyes or ears. All others are asked about: those with a smooth
    border as openings; those with a ragged one, and missing triangles, as holes.

    Args:
        mesh: in millimetres; faces merged and agreeing.
        loops: as ``open_loops`` finds them.
        small_hole_mm: length around a hole up to which it is damage.

    >>> from firstpull.core.mesh.topology import open_loops
    >>> plate = Mesh([[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]])
    >>> [(o.kind, o.length_mm, o.asked) for o in find_openings(plate, open_loops(plate))]
    [('rim', 360.0, False)]
    """
    if not loops:
        return ()
    lengths = loop_lengths_mm(mesh, loops)
    outlines = [_outline(mesh.vertices_mm[loop]) for loop in loops]
    small = small_loops(mesh, loops, small_hole_mm=small_hole_mm)
    parts = _Parts.of(mesh, loops)
    # a ring of three edges is a missing triangle, however large its neighbours are
    wide = ~np.array(small) & (np.array([len(loop) for loop in loops]) > 3)
    rims = _rims(parts, np.array([_round_mm(o) for o in outlines]), wide)
    found = [
        _looked_at(mesh, loop, number, length, is_small, number - 1 in rims, outline)
        for number, (loop, length, is_small, outline) in enumerate(
            zip(loops, lengths.tolist(), small, outlines, strict=True), start=1
        )
    ]
    return tuple(_paired(found, outlines, parts, rims))


@dataclass(frozen=True)
class _Parts:
    """The part of each loop, and the diagonal and the middle of the surface of each part."""

    of_loop: Ints
    diagonal_mm: Floats
    middle_mm: Floats

    @staticmethod
    def of(mesh: Mesh, loops: list[Ints]) -> _Parts:
        label = components(mesh)
        at_vertex = np.zeros(len(mesh.vertices_mm), dtype=np.int32)
        at_vertex[mesh.faces.ravel()] = np.repeat(label, 3)
        of_loop = at_vertex[[int(loop[0]) for loop in loops]]
        corners, area = mesh.corners_mm, mesh.face_areas_mm2
        n = int(label.max()) + 1
        low, high = np.full((n, 3), np.inf), np.full((n, 3), -np.inf)
        np.minimum.at(low, label, corners.min(axis=1))
        np.maximum.at(high, label, corners.max(axis=1))
        weight = area + np.finfo(np.float64).tiny  # a part without area still has a middle
        total = np.bincount(label, weights=weight, minlength=n)
        middle = np.stack(
            [
                np.bincount(label, weights=weight * corners[:, :, i].mean(axis=1), minlength=n)
                for i in range(3)
            ],
            axis=1,
        )
        return _Parts(of_loop, np.linalg.norm(high - low, axis=1), middle / total[:, None])


def _rims(parts: _Parts, lengths: Floats, wide: Flags) -> set[int]:
    rims: set[int] = set()
    for part in np.unique(parts.of_loop[wide]).tolist():
        mine = np.flatnonzero((parts.of_loop == part) & wide)
        least = max(
            RIM_TIMES_DIAGONAL * float(parts.diagonal_mm[part]),
            RIM_TIMES_LONGEST * float(lengths[mine].max()),
        )
        rims |= set(mine[lengths[mine] >= least].tolist())
    return rims


def _looked_at(
    mesh: Mesh,
    loop: Ints,
    number: int,
    length: float,
    is_small: bool,
    is_rim: bool,
    outline: Floats,
) -> Opening:
    """One loop by itself, before it is compared with others."""
    ring = mesh.vertices_mm[loop]
    across = _across(ring)
    kind: Kind
    asked = False
    if is_crack(ring, length_mm=length):
        kind, why = "crack", "its two sides lie on each other"
    elif is_small:
        kind, why = "hole", "it is small"
    elif is_rim:
        kind, why = "rim", "it is the large border of the open surface"
    elif len(loop) == 3:
        kind, why, asked = "hole", "one triangle would close it", True
    elif _turns(outline) <= SMOOTH_TURNS:
        kind, why, asked = "opening", "its border is smooth", True
    else:
        kind, why, asked = "hole", "its border is ragged", True
    flatness = _off_plane(ring) / across if across > 0 else 0.0
    centre = outline.mean(axis=0)
    return Opening(number, loop, length, across, flatness, centre, kind, why, asked)


def _across(ring: Floats) -> float:
    """Distance of the two vertices farthest apart, a block of rows at a time."""
    from scipy.spatial.distance import cdist

    return max(float(cdist(ring[i : i + 512], ring).max()) for i in range(0, len(ring), 512))


def _off_plane(ring: Floats) -> float:
    """How far a vertex lies at most from the plane nearest to all."""
    spots = ring - ring.mean(axis=0)
    return float(np.abs(spots @ np.linalg.svd(spots, full_matrices=False)[2][-1]).max())


def _turns(ring: Floats) -> float:
    """Full turns that a border makes in all, however it bends."""
    way = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(way, axis=1)
    way = way[length > 0] / length[length > 0, None]
    cosine = (way * np.roll(way, -1, axis=0)).sum(axis=1)
    return float(np.arccos(np.clip(cosine, -1.0, 1.0)).sum() / (2.0 * np.pi))


def _outline(ring: Floats) -> Floats:
    """(SAMPLES, 3) points evenly along a border, its zigzag evened out."""
    from scipy.ndimage import uniform_filter1d

    around = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.linalg.norm(np.diff(around, axis=0), axis=1).cumsum()])
    at = np.linspace(0.0, along[-1], SAMPLES, endpoint=False)
    points = np.stack([np.interp(at, along, around[:, i]) for i in range(3)], axis=1)
    once = uniform_filter1d(points, EVENED, axis=0, mode="wrap")
    # an even window stands off by half a point: the second time the other way
    return np.asarray(uniform_filter1d(once, EVENED, axis=0, mode="wrap", origin=-1))


def _round_mm(outline: Floats) -> float:
    return float(np.linalg.norm(outline - np.roll(outline, -1, axis=0), axis=1).sum())


def _paired(
    found: list[Opening], outlines: list[Floats], parts: _Parts, rims: set[int]
) -> list[Opening]:
    """Mirrored pairs among those that would be asked about, the closest images first."""
    open_ = sorted((o for o in found if o.asked), key=lambda o: -o.length_mm)[:PAIRED_MOST]
    outline = {o.number: line for o, line in zip(found, outlines, strict=True)}
    rim_lines: dict[int, list[tuple[Floats, float]]] = {}
    for i in rims:
        rim_lines.setdefault(int(parts.of_loop[i]), []).append((outlines[i], found[i].across_mm))
    tried = []
    for a, b in combinations(open_, 2):
        part = int(parts.of_loop[a.number - 1])
        like = _alike(_round_mm(outline[a.number]), _round_mm(outline[b.number]))
        if part != parts.of_loop[b.number - 1] or not like:
            continue
        mirror = _mirror(a, b)
        if not _fits_part(mirror, parts, part, rim_lines.get(part, [])):
            continue
        apart = _apart(mirror.image(outline[a.number]), outline[b.number])
        if apart <= MIRRORED_SHARE * max(a.across_mm, b.across_mm):
            tried.append((apart, a.number, b.number, mirror))
    out = {o.number: o for o in found}
    mirrors = []
    for _, a_number, b_number, mirror in sorted(tried, key=lambda entry: entry[:3]):
        if out[a_number].partner or out[b_number].partner:
            continue
        mirrors.append((int(parts.of_loop[a_number - 1]), mirror))
        for one, other in ((a_number, b_number), (b_number, a_number)):
            why = "it has a mirror image"
            out[one] = replace(out[one], kind="opening", why=why, asked=False, partner=other)
    for part, mirror in mirrors:
        for o in list(out.values()):
            if o.asked and parts.of_loop[o.number - 1] == part:
                out[o.number] = _on_mirror(o, mirror, outline[o.number])
    return list(out.values())


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= LIKE * max(one, other)


@dataclass(frozen=True)
class _Mirror:
    """A plane: its unit normal and its distance from the origin along it."""

    normal: Floats
    at_mm: float

    def image(self, points: Floats) -> Floats:
        return points - 2.0 * (points @ self.normal - self.at_mm)[:, None] * self.normal


def _mirror(a: Opening, b: Opening) -> _Mirror:
    """The plane midway between two openings."""
    span = b.centre_mm - a.centre_mm
    length = float(np.linalg.norm(span))
    normal = span / length if length > 0 else np.array([1.0, 0.0, 0.0])
    return _Mirror(normal, float(0.5 * (a.centre_mm + b.centre_mm) @ normal))


def _fits_part(mirror: _Mirror, parts: _Parts, part: int, rims: list[tuple[Floats, float]]) -> bool:
    """Whether the mirror passes the middle of the part and leaves its rims where they are."""
    off = abs(float(parts.middle_mm[part] @ mirror.normal) - mirror.at_mm)
    if off > MIDDLE_SHARE * parts.diagonal_mm[part]:
        return False
    all_rims = np.concatenate([rim for rim, _ in rims]) if rims else np.zeros((0, 3))
    # a rim may be its own image or that of another rim
    return all(
        _apart(mirror.image(rim), all_rims) <= MIRRORED_SHARE * across for rim, across in rims
    )


def _apart(points: Floats, others: Floats) -> float:
    """Mean distance of points from the nearest of others."""
    from scipy.spatial import cKDTree

    return float(cKDTree(others).query(points)[0].mean())


def _on_mirror(opening: Opening, mirror: _Mirror, outline: Floats) -> Opening:
    """An asked opening that lies across the mirror of a pair, as a mouth does, says so."""
    if _apart(mirror.image(outline), outline) > MIRRORED_SHARE * opening.across_mm:
        return opening
    why = f"{opening.why}, and it lies midway between a mirrored pair, as a mouth does"
    return replace(opening, why=why)


def grouped_openings(openings: tuple[Opening, ...]) -> tuple[OpeningGroup, ...]:
    """Openings of one kind and of like length together, those to be asked about first.

    >>> from firstpull.core.mesh.topology import open_loops
    >>> plate = Mesh([[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]])
    >>> print(grouped_openings(find_openings(plate, open_loops(plate)))[0].sentence)
    1 rim 360 mm around, the border of the open surface: kept open.
    """
    groups: list[list[Opening]] = []
    for opening in sorted(openings, key=lambda o: (not o.asked, -o.length_mm, o.number)):
        for group in groups:
            if _belongs(opening, group[0]):
                group.append(opening)
                break
        else:
            groups.append([opening])
    return tuple(
        OpeningGroup(
            tuple(sorted(o.number for o in group)), group[0].kind, group[0].asked, _sentence(group)
        )
        for group in groups
    )


def _belongs(opening: Opening, first: Opening) -> bool:
    if opening.partner or first.partner:
        return opening.partner == first.number
    if (opening.kind, opening.asked) != (first.kind, first.asked):
        return False
    return opening.closes or _alike(opening.length_mm, first.length_mm)


def _sentence(group: list[Opening]) -> str:
    first, n = group[0], len(group)
    around = f"{first.length_mm:.0f} mm around"
    if n > 1 and round(group[-1].length_mm) != round(first.length_mm):
        around = f"{group[-1].length_mm:.0f} to {around}"
    if first.kind == "crack":
        return f"{counted(n, 'crack')} up to {0.5 * first.length_mm:.0f} mm long: closed."
    if first.closes:
        return f"{counted(n, 'small hole')} up to {first.length_mm:.0f} mm around: closed."
    if first.kind == "rim":
        whole = "the border" if n == 1 else "the borders"
        return f"{counted(n, 'rim')} {around}, {whole} of the open surface: kept open."
    if first.partner:
        return f"2 openings {around}, a mirrored pair: kept open as eye or ear openings."
    where = ", ".join(str(round(c)) for c in first.centre_mm.tolist())
    stays = "stays open until you say that it is" if n == 1 else "stay open until you say they are"
    why = first.why.replace("its border is", "the border is")
    return f"{counted(n, first.kind)} {around} near x, y, z = {where}; {why}: {stays} damage."
