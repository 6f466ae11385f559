"""Several closed bodies in one mesh: which overlap, and one surface around them."""

from __future__ import annotations

import numpy as np

from firstpull.core.arrays import Flags, Floats, Ints
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.orient import part_volumes_mm3
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.topology import components

TOUCH_SHARE = 1e-9  # of the smaller volume; an overlap below is rounding


def united(mesh: Mesh) -> tuple[Mesh, int]:
    """Overlapping bodies as one.

    Args:
        mesh: closed and outward; hollows look inward.

    Returns:
        the mesh and how many bodies were united with another; the same mesh and 0 where none
        overlap, so that sound input keeps its own triangles.
    """
    label = components(mesh)
    volumes = part_volumes_mm3(mesh, label)
    outer = np.flatnonzero(volumes > 0).astype(np.int32)
    if len(outer) < 2:
        return mesh, 0
    bodies = _with_their_hollows(mesh, label, volumes, outer)
    merge = _overlapping(bodies)
    if not merge.any():
        return mesh, 0
    import manifold3d

    chosen = [solid(body) for body, wanted in zip(bodies, merge, strict=True) if wanted]
    whole = mesh_of(manifold3d.Manifold.batch_boolean(chosen, manifold3d.OpType.Add))
    apart = [body for body, wanted in zip(bodies, merge, strict=True) if not wanted]
    return joined([whole, *apart]), int(merge.sum())


def _with_their_hollows(mesh: Mesh, label: Ints, volumes: Floats, outer: Ints) -> list[Mesh]:
    """Each outward part together with the inward parts in it, the tightest owner first."""
    from firstpull.core.mesh.inside import is_inside

    owner = {int(part): int(part) for part in outer}
    by_size = sorted((int(part) for part in outer), key=lambda part: volumes[part])
    alone = {part: mesh.with_faces(label == part) for part in by_size}
    for hollow in np.flatnonzero(volumes <= 0):
        point = mesh.corners_mm[label == hollow][0].mean(axis=0)
        for part in by_size:
            if volumes[part] >= -volumes[hollow] and is_inside(alone[part], point[None])[0]:
                owner[int(hollow)] = part
                break
        else:
            owner[int(hollow)] = by_size[-1]
    belongs = np.array([owner[part] for part in range(len(volumes))])[label]
    return [mesh.with_faces(belongs == part) for part in by_size]


def _overlapping(bodies: list[Mesh]) -> Flags:
    """(B,) whether each body shares volume with another."""
    boxes = np.array([body.bounds_mm for body in bodies])
    made = [None] * len(bodies)
    out = np.zeros(len(bodies), dtype=np.bool_)
    for i in range(len(bodies)):
        apart = (boxes[:, 0] >= boxes[i, 1]).any(axis=1) | (boxes[:, 1] <= boxes[i, 0]).any(axis=1)
        for j in np.flatnonzero(~apart[i + 1 :]) + i + 1:
            if out[i] and out[j]:
                continue
            for k in (i, int(j)):
                made[k] = made[k] or solid(bodies[k])
            shared = (made[i] ^ made[int(j)]).volume()  # type: ignore[operator]
            least = min(abs(bodies[i].volume_mm3), abs(bodies[int(j)].volume_mm3))
            if shared > TOUCH_SHARE * least:
                out[i] = out[int(j)] = True
    return out
