"""How do two revisions of a part differ, where, and by how much?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.figures import told_number
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.inside import is_inside
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.deviation import Deviation, deviation
from firstpull.core.mesh.topology import is_closed
from firstpull.core.mesh.tree import Tree

SAME_MM = 0.05
"""Two surfaces this close are the same to a brush and a casting. Common practice, no source."""


@dataclass(frozen=True)
class Difference:
    """A patch of one surface that the other does not have.

    Args:
        side: "new" for surface that only the new revision has, "old" for what is gone.
        faces: its faces, in the mesh it belongs to.
        area_mm2: how large it is.
        most_mm: how far it lies from the other surface at most, looked at in its corners:
            positive where it stands proud of the other, negative where it lies inside.
        place_mm: where that is.
        echo: whether it is what a change looks like from the old side: the new surface that
            lies nearest differs as well, and is told of by itself.
    """

    side: str
    faces: NDArray[np.int32]
    area_mm2: float
    most_mm: float
    place_mm: tuple[float, float, float]
    echo: bool = False


@dataclass(frozen=True)
class Comparison:
    """Two revisions laid on each other.

    Args:
        same_mm: distance up to which they count as the same.
        new_mm: (V,) signed distance of the new mesh's vertices from the old surface.
        old_mm: (V,) signed distance of the old mesh's vertices from the new surface.
        there: how far the new surface lies from the old, with a bound.
        back: how far the old surface lies from the new, with a bound.
        differences: the patches that differ, the largest first.
        same_share: share of the new surface that is the same.
        volume_mm3: by how much the new solid is larger; None where either is open.
    """

    same_mm: float
    new_mm: Floats
    old_mm: Floats
    there: Deviation
    back: Deviation
    differences: tuple[Difference, ...]
    same_share: float
    volume_mm3: float | None

    @property
    def changes(self) -> tuple[Difference, ...]:
        """The differences with each change told once, the largest first."""
        return tuple(found for found in self.differences if not found.echo)

    @property
    def sentence(self) -> str:
        """What a person wants to know first."""
        most = max(self.there.most_mm, self.back.most_mm)
        if not self.changes:
            return (
                f"The same within {self.same_mm:g} mm everywhere (no point off by"
                f" {told_number(most, 2)} mm)."
            )
        first = self.changes[0]
        x, y, z = first.place_mm
        places = "1 place" if len(self.changes) == 1 else f"{len(self.changes)} places"
        higher = (first.side == "new") == (first.most_mm > 0)
        share = np.floor(1e4 * self.same_share) / 100.0
        return (
            f"The same within {self.same_mm:g} mm on {share:g} % of the surface, except in"
            f" {places}; the largest has {first.area_mm2 / 100:,.3g} cm2, near"
            f" ({x:.0f}, {y:.0f}, {z:.0f}) mm, where the new revision lies up to"
            f" {told_number(abs(first.most_mm), 2)} mm {'higher' if higher else 'lower'}."
        )


def compare(old: Mesh, new: Mesh, *, same_mm: float = SAME_MM, tol_mm: float = 0.01) -> Comparison:
    """What is different between two revisions that lie in the same place (see ``aligned``).

    Distances go to the nearest surface, whichever way it looks; the sign is that of a closed
    surface's outside, or of the side an open one's faces look at.

    Args:
        old, new: the revisions.
        same_mm: distance up to which they count as the same.
        tol_mm: how close the bounds should come to the largest distance found.

    >>> cube = Mesh([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 9)],
    ...     [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    ...      [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]])
    >>> import numpy as np
    >>> compare(cube, cube.moved(np.diag([1, 1, 1.1, 1]))).differences[0].most_mm.__round__(3)
    0.9
    """
    old_tree, new_tree = Tree.of(old), Tree.of(new)
    there, back = deviation(new, old_tree, tol_mm=tol_mm), deviation(old, new_tree, tol_mm=tol_mm)
    new_mm = _signed(new.vertices_mm, there.at_vertices_mm, old, old_tree)
    old_mm = _signed(old.vertices_mm, back.at_vertices_mm, new, new_tree)
    new_off, old_off = _off(new, old_tree, new_mm, same_mm), _off(old, new_tree, old_mm, same_mm)
    differences = [
        *_patches("new", new, new_off, new_mm),
        *(_heard(patch, old, new_off, new_tree) for patch in _patches("old", old, old_off, old_mm)),
    ]
    area = new.face_areas_mm2
    closed = is_closed(old) and is_closed(new)
    return Comparison(
        same_mm=same_mm,
        new_mm=new_mm,
        old_mm=old_mm,
        there=there,
        back=back,
        differences=tuple(sorted(differences, key=lambda d: -d.area_mm2)),
        same_share=float(area[~new_off].sum() / max(area.sum(), 1e-300)),
        volume_mm3=new.volume_mm3 - old.volume_mm3 if closed else None,
    )


def _signed(points: Floats, away: Floats, surface: Mesh, tree: Tree) -> Floats:
    """Distances with the sign of the side they lie on; those of rounding are 0."""
    far = away > 1e-9 * max(float(np.abs(surface.bounds_mm).max()), 1.0)
    signed = np.where(far, away, 0.0)
    chosen = np.flatnonzero(far)
    if not len(chosen):
        return signed
    if is_closed(surface) and surface.volume_mm3 > 0:
        inside = is_inside(surface, points[chosen])
    else:
        _, face, place = tree.closest(points[chosen])
        normal = surface.face_normals[face]
        inside = np.einsum("ij,ij->i", points[chosen] - place, normal) < 0
    signed[chosen] *= np.where(inside, -1.0, 1.0)
    return np.asarray(signed)


def _off(mesh: Mesh, other: Tree, at_vertices_mm: Floats, same_mm: float) -> Flags:
    """(F,) whether a corner or the middle of each face lies off the other surface."""
    off: Flags = np.asarray((np.abs(at_vertices_mm) > same_mm)[mesh.faces].any(axis=1))
    unsure = np.flatnonzero(~off)
    middle = mesh.face_centres_mm[unsure]
    away, _, _ = other.closest(middle, reach_mm=2.0 * same_mm)
    off[unsure] = away > same_mm
    return off


def _patches(side: str, mesh: Mesh, off: Flags, at_vertices_mm: Floats) -> list[Difference]:
    """The faces that are off, in patches that hang together at their corners."""
    faces = np.flatnonzero(off)
    if not len(faces):
        return []
    label = _joined_at_corners(mesh, faces)
    areas = mesh.face_areas_mm2
    found = []
    order = np.argsort(label, kind="stable")
    ends = np.flatnonzero(np.diff(label[order])) + 1
    for group in np.split(faces[order], ends):
        corners = np.unique(mesh.faces[group])
        worst = corners[int(np.argmax(np.abs(at_vertices_mm[corners])))]
        x, y, z = (float(c) for c in mesh.vertices_mm[worst])
        found.append(
            Difference(
                side=side,
                faces=group.astype(np.int32),
                area_mm2=float(areas[group].sum()),
                most_mm=float(at_vertices_mm[worst]),
                place_mm=(x, y, z),
            )
        )
    return found


def _heard(patch: Difference, old: Mesh, new_off: Flags, new_tree: Tree) -> Difference:
    """The patch, an echo where over half of it lies nearest to new surface that is off."""
    _, nearest, _ = new_tree.closest(old.face_centres_mm[patch.faces])
    areas = old.face_areas_mm2[patch.faces]
    return replace(patch, echo=bool(areas[new_off[nearest]].sum() > 0.5 * patch.area_mm2))


def _joined_at_corners(mesh: Mesh, faces: NDArray[np.int64]) -> Ints:
    corners = mesh.faces[faces].ravel()
    rows = np.repeat(np.arange(len(faces)), 3)
    n = len(faces)
    return grouped(rows, n + corners, n + len(mesh.vertices_mm))[:n]
