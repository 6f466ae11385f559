"""Writes the broken demo mask, to try checking and mending on."""

from __future__ import annotations

from pathlib import Path

from firstpull.core.demo.broken import METRE_MM, broken_heron
from firstpull.core.mesh.mesh import Mesh
from firstpull.files.write_mesh import write_mesh
from firstpull.services.mesh_out import MESHES
from firstpull.services.results_out import need_format, need_free

FINEST = 60_000  # triangles of the mask it was made from


def write_broken(out: Path, *, triangles: int = FINEST, force: bool = False) -> tuple[str, ...]:
    """Writes the mask with every common defect, in metres, as it came from somewhere.

    Args:
        out: the mesh file; its suffix names the format.
        triangles: of the whole mask it was made from.
        force: whether an older file may be replaced.

    Returns:
        sentences about what is wrong with it.

    Raises:
        WorkshopError: the file cannot be written there.
    """
    need_format(out, MESHES)
    need_free([out], inputs=[], force=force)
    demo = broken_heron(triangles=triangles)
    write_mesh(out, Mesh(METRE_MM * demo.mesh.vertices_mm, demo.mesh.faces), unit="m")
    kinds = ", ".join(sorted(demo.planted))
    return (
        f"Written to {out}, in metres: the heron half-mask with {len(demo.planted)} kinds of"
        f" defects ({kinds}).",
        f"Try: firstpull check {out} --picture check.png",
        f"Then: firstpull mend {out} --out mended.stl --picture mended.png",
    )
