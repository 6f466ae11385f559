"""Solids for Booleans: meshes to and from manifold3d, with its refusals made plain."""

from __future__ import annotations

from typing import Any

import numpy as np

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.groups import grouped
from firstpull.core.mesh.mesh import Mesh


class NotASolid(WorkshopError):
    """A mesh that bounds no volume was used where a solid is needed."""

    code = "not_a_solid"


def solid(mesh: Mesh, *, where: str = "Mesh") -> Any:
    """The mesh as a manifold3d solid, in double precision.

    Raises:
        NotASolid: edges are open or shared by more than two faces.

    manifold3d does not notice self-intersections.
    """
    import manifold3d

    made = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.array(mesh.vertices_mm),
            mesh.faces.astype(np.uint64),
        )
    )
    if made.status() != manifold3d.Error.NoError:
        raise NotASolid(
            where=where,
            found=f"is not closed and two-sided ({made.status().name})",
            limit="a solid needs two faces at every edge",
            remedy="Run a check on the mesh and mend what it names.",
        )
    return made


def mesh_of(made: Any) -> Mesh:
    """The surface of a manifold3d solid."""
    raw = made.to_mesh64()
    return Mesh(raw.vert_properties[:, :3], raw.tri_verts)


def mesh_of_largest(made: Any, *, at_least_mm3: float = 0.0) -> Mesh:
    """The surface of a solid without its bits.

    Args:
        made: a manifold3d solid.
        at_least_mm3: parts of this volume and more stay beside the largest; 0 keeps it alone.
    """
    import manifold3d

    whole = mesh_of(made)
    if _in_one(whole):  # far quicker than taking apart
        return whole
    parts = made.decompose()
    sizes = [part.volume() for part in parts]
    largest = max(sizes)
    keep = [
        part
        for part, size in zip(parts, sizes, strict=True)
        if size == largest or (at_least_mm3 and size >= at_least_mm3)
    ]
    return mesh_of(manifold3d.Manifold.compose(keep))


def _in_one(mesh: Mesh) -> bool:
    """Whether all faces hang together."""
    a, b = mesh.faces[:, :2].ravel(), mesh.faces[:, 1:].ravel()
    return int(grouped(a, b, len(mesh.vertices_mm)).max(initial=0)) == 0
