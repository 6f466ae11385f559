"""Several closed bodies in one mesh: those that meet or lie in one another become one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstpull.core.arrays import Ints
from firstpull.core.mesh.check.overlaps import meeting_bodies, nested_bodies
from firstpull.core.mesh.crossings import Crossings, find_crossings
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.orient import part_volumes_mm3
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import components


def united(mesh: Mesh, *, crossings: Crossings | None = None) -> tuple[Mesh, int]:
    """Bodies that overlap, touch or lie in one another's material as one.

    Args:
        mesh: closed and outward; hollows look inward.
        crossings: of the mesh, where they are known already.

    Returns:
        the mesh and how many bodies were united with another; the same mesh and 0 where none
        were, so that sound input keeps its own triangles. A hollow that reaches through its
        body's wall is taken out of the body. Crossings within one part stay.
    """
    import manifold3d

    label = components(mesh)
    parts = int(label.max()) + 1
    if parts == 1:
        return mesh, 0
    crossings = crossings or find_crossings(mesh)
    closed = np.ones(parts, dtype=np.bool_)
    meeting = meeting_bodies(crossings, label, closed)
    nested = nested_bodies(mesh, label, closed, meeting)
    links = np.array([*meeting.tolist(), *nested.items()], dtype=np.int64).reshape(-1, 2)
    if not len(links):
        return mesh, 0
    owner = _owners(mesh, label)
    group = _groups(links, owner)
    made, kept, count = [], [], 0
    for name in np.unique(group):
        own = [int(p) for p in np.flatnonzero((owner == np.arange(parts)) & (group == name))]
        members = np.flatnonzero(group == name)
        if not np.isin(links, members).any():
            kept.append(mesh.with_faces(np.isin(label, members)))
            continue
        solids = [_body(mesh, label, part, owner) for part in own]
        made.append(mesh_of(manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)))
        count += len(own)
    return joined([*made, *kept]), count


def _owners(mesh: Mesh, label: Ints) -> NDArray[np.int64]:
    """(P,) the outward part that each part belongs to: itself, or the tightest around a hollow."""
    from firstpull.core.mesh.inside import is_inside

    volumes = part_volumes_mm3(mesh, label)
    owner = np.arange(len(volumes))
    outward = [int(p) for p in np.argsort(volumes, kind="stable") if volumes[p] > 0]
    for hollow in np.flatnonzero(volumes <= 0):
        point = mesh.corners_mm[label == hollow][0].mean(axis=0)
        around = [p for p in outward if volumes[p] >= -volumes[hollow]]
        for part in around:
            body = mesh.with_faces(label == part)
            low, high = body.bounds_mm
            if ((point > low) & (point < high)).all() and is_inside(body, point[None])[0]:
                owner[hollow] = part
                break
        else:
            owner[hollow] = outward[-1] if outward else hollow
    return owner


def _groups(links: NDArray[np.int64], owner: NDArray[np.int64]) -> Ints:
    """(P,) number of the group of bodies that end up as one."""
    n = len(owner)
    a = np.concatenate([links[:, 0], np.arange(n)])
    b = np.concatenate([links[:, 1], owner])
    return grouped(a, b, n)


def _body(mesh: Mesh, label: Ints, part: int, owner: NDArray[np.int64]):  # type: ignore[no-untyped-def]
    """The solid of one outward part without its hollows."""
    made = solid(mesh.with_faces(label == part))
    for hollow in np.flatnonzero((owner == part) & (np.arange(len(owner)) != part)):
        made = made - solid(mesh.with_faces(label == hollow).flipped())
    return made
