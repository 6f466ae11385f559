"""What is wrong with whole bodies: loose bits, inside out, in or through one another."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Floats, Ints
from firstpull.core.figures import told_number
from firstpull.core.mesh.check.overlaps import (
    CrossedPlace,
    crossed_places,
    meeting_bodies,
    nested_bodies,
)
from firstpull.core.mesh.crossings import Crossings
from firstpull.core.mesh.findings import BOTH, Finding, finding
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.orient import inside_out
from firstpull.core.mesh.refusals import counted
from firstpull.core.mesh.thickness import thin_walls, wall_thickness
from firstpull.core.mesh.topology import EdgeTable, agreeing_parts, closed_parts
from firstpull.core.mesh.tree import Tree


def bits_found(mesh: Mesh, label: Ints, bits: list[int], debris_share: float) -> Finding | None:
    return finding(
        "loose bit",
        len(bits),
        _part_centres(mesh, label, bits),
        f"{counted(len(bits), 'loose bit')} under {100 * debris_share:g} % of the surface,"
        " apart from the rest.",
        "Mending drops loose bits; join them to the part first if they belong to it.",
        ("mould",),
    )


def parts_found(mesh: Mesh, table: EdgeTable, label: Ints) -> list[Finding | None]:
    count = int(label.max()) + 1
    sound = np.flatnonzero(closed_parts(table, label) & agreeing_parts(table, label))
    wrong: list[int] = []
    if len(sound):
        chosen = np.isin(label, sound)
        place = np.searchsorted(sound, label[chosen]).astype(np.int32)
        wrong = [int(sound[p]) for p in inside_out(mesh.with_faces(chosen), label=place)]
    return [
        finding(
            "inside out",
            len(wrong),
            _part_centres(mesh, label, wrong),
            f"{counted(len(wrong), 'closed body', 'closed bodies')} with all faces looking inward.",
            "Mending turns them outward; nothing to do.",
            BOTH,
        ),
        finding(
            "separate parts",
            count if count > 1 else 0,
            _part_centres(mesh, label, list(range(count))) if count > 1 else np.zeros((0, 3)),
            f"{count} separate parts.",
            "Mending unites those that overlap; those apart stay apart.",
            (),
        ),
    ]


def meetings_found(
    mesh: Mesh, table: EdgeTable, label: Ints, crossings: Crossings
) -> list[Finding | None]:
    """Bodies that reach into or lie within others; surfaces that cross themselves."""
    closed = closed_parts(table, label) & agreeing_parts(table, label)
    meeting = meeting_bodies(crossings, label, closed)
    nested = nested_bodies(mesh, label, closed, meeting)
    bodies = np.unique(meeting)
    one, other = label[crossings.a], label[crossings.b]
    own = (one == other) | ~(closed[one] | closed[other])
    places = crossed_places(mesh, crossings, own)
    return [
        finding(
            "overlapping bodies",
            len(bodies),
            crossings.places_mm[~own],
            f"{len(bodies)} bodies reach into one another or touch.",
            "Mending unites them into one; nothing to do.",
            BOTH,
        ),
        finding(
            "body inside another",
            len(nested),
            _part_centres(mesh, label, sorted(nested)),
            f"{counted(len(nested), 'closed body', 'closed bodies')} inside the material of"
            " another.",
            "Mending takes it into the body around it; to make a hollow, turn its faces inward.",
            BOTH,
        ),
        _crossed(places),
    ]


def _crossed(places: tuple[CrossedPlace, ...]) -> Finding | None:
    pairs = sum(place.pairs for place in places)
    through = sum(place.through for place in places)
    across = places[0].across_mm if places else 0.0
    where = "in one place" if len(places) == 1 else f"in {len(places)} places, the widest"
    passing = f"{counted(through, 'pair')} of faces pass through each other"
    touching = f"{counted(pairs - through, 'pair')} of faces touch or lie on each other"
    said = " and ".join([passing] * (through > 0) + [touching] * (pairs > through))
    return finding(
        "self-crossing",
        pairs,
        [place.middle_mm for place in places],
        f"{said}, {where} {told_number(across, 2)} mm across.",
        "Mending cuts small crossings out and closes the place; where the surface crosses"
        " itself widely it is rebuilt at a resolution that is said.",
        BOTH,
        size_mm=across,
    )


def walls_found(mesh: Mesh, tree: Tree, *, least_wall_mm: float) -> Finding | None:
    """Where the wall of a sound solid is thinner than a limit."""
    thick = wall_thickness(mesh, most_mm=least_wall_mm, tree=tree)
    walls = thin_walls(mesh, thick, under_mm=least_wall_mm * (1.0 - 1e-6))
    least = min((wall.least_mm for wall in walls), default=0.0)
    area = sum(wall.area_mm2 for wall in walls)
    return finding(
        "thin wall",
        len(walls),
        [wall.place_mm for wall in walls],
        f"The wall is thinner than {least_wall_mm:g} mm in {counted(len(walls), 'place')},"
        f" {told_number(area / 100.0, 2)} cm2 of surface in all; {told_number(least, 2)} mm at"
        " the thinnest.",
        "It may print with gaps and break in handling; thicken it inward there.",
        (),
        size_mm=least,
    )


def _part_centres(mesh: Mesh, label: Ints, parts: list[int]) -> Floats:
    if not parts:
        return np.zeros((0, 3))
    centres = mesh.face_centres_mm
    weight = np.maximum(mesh.face_areas_mm2, 1e-300)
    total = np.bincount(label, weights=weight)
    middle = [np.bincount(label, weights=weight * centres[:, k]) / total for k in range(3)]
    return np.stack(middle, axis=1)[parts]
