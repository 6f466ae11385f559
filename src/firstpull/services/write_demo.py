"""Writes a demo mesh on its own: the broken mask to mend, the full helmet to mould."""

from __future__ import annotations

from pathlib import Path

from firstpull.core.demo import beetle_helmet
from firstpull.core.demo.broken import METRE_MM, broken_heron
from firstpull.core.mesh.mesh import Mesh
from firstpull.files.write_mesh import write_mesh
from firstpull.services.mesh_out import MESHES
from firstpull.services.results_out import need_format, need_free

FINEST = 60_000  # triangles of the mask it was made from
HELMET_TRIANGLES = 200_000


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


def write_helmet(
    out: Path, *, triangles: int = HELMET_TRIANGLES, force: bool = False
) -> tuple[str, ...]:
    """Writes the full helmet of the river parade.

    Args:
        out: the mesh file; its suffix names the format.
        triangles: about how many.
        force: whether an older file may be replaced.

    Returns:
        sentences about what it is good for.

    Raises:
        WorkshopError: the file cannot be written there.
    """
    need_format(out, MESHES)
    need_free([out], inputs=[], force=force)
    write_mesh(out, beetle_helmet(triangles=triangles), unit="mm")
    return (
        f"Written to {out}, in millimetres: the beetle warden's full helmet, open at the neck.",
        f"Try: firstpull plan {out} --out helmet-plan",
        "Then add --shell-pieces 1, 2 or 3 and compare the silicone.",
    )
