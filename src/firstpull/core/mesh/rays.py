"""What does a ray meet first? One Embree scene over one mesh.

Embree works in 32-bit floats: positions within a part are right to about 1e-5 of its size.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.mesh.mesh import Mesh

CHUNK = 1 << 20


class RayScene:
    """A mesh prepared for ray casting.

    >>> wall = Mesh([[0, 0, 1], [9, 0, 1], [0, 9, 1]], [[0, 1, 2]])
    >>> RayScene(wall).distance([[1, 1, 0]], [0, 0, 1]).round(3)
    array([1.])
    """

    def __init__(self, mesh: Mesh) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self._scene: Any = EmbreeScene()
        self._mesh: Any = TriangleMesh(
            self._scene,
            np.ascontiguousarray(mesh.vertices_mm, dtype=np.float32),
            np.ascontiguousarray(mesh.faces, dtype=np.int32),
        )

    def hit_face(self, origins_mm: ArrayLike, directions: ArrayLike) -> NDArray[np.int32]:
        """(N,) index of the first face on each ray, -1 where there is none."""
        return self._run(origins_mm, directions, "INTERSECT").astype(np.int32)

    def distance(self, origins_mm: ArrayLike, directions: ArrayLike) -> Floats:
        """(N,) length along each (unit) ray to the first face; infinity where there is none."""
        found = self._run(origins_mm, directions, "DISTANCE").astype(np.float64)
        found[found > 1e30] = np.inf
        return found

    def is_blocked(self, origins_mm: ArrayLike, directions: ArrayLike) -> Flags:
        """(N,) whether anything stands on each ray."""
        return self._run(origins_mm, directions, "OCCLUDED") == 0

    def _run(self, origins_mm: ArrayLike, directions: ArrayLike, query: str) -> NDArray[Any]:
        origins = np.ascontiguousarray(origins_mm, dtype=np.float32).reshape(-1, 3)
        rays = np.asarray(directions, dtype=np.float32)
        one_way = rays.ndim == 1
        out = []
        for start in range(0, max(len(origins), 1), CHUNK):
            part = origins[start : start + CHUNK]
            way = np.broadcast_to(rays, part.shape) if one_way else rays[start : start + CHUNK]
            out.append(self._scene.run(part, np.ascontiguousarray(way), query=query))
        return np.concatenate(out)
