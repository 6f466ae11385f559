"""What is done with one mesh of the corpus: read, checked, mended, and the result proved.

The proof takes other roads than the program: trimesh says whether the surface is closed and
wound one way, CGAL's exact kernel (through libigl) whether it crosses itself, libigl what it
encloses, and manifold3d takes it as a solid.
"""

from __future__ import annotations

import resource
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import PLAUSIBLE_MM, choose_unit
from firstpull.files.read_mesh import read_mesh

MAX_TRIANGLES = 2_000_000
SCALED_TO_MM = 200.0
SOUND, MENDED, REBUILT = "sound", "mended", "mended, rebuilt"
REFUSED, UNREADABLE, LEFT_OUT, FAILED = "refused", "unreadable", "left out", "FAILED"

READING, CHECKING, PROVING, DONE = "reading", "checking and mending", "the proof", "done"


@dataclass(frozen=True)
class Row:
    """What became of one mesh.

    Args:
        source, id, format: which mesh, as CorpusMesh has them.
        verdict: one of the words above.
        code: of the refusal, where it was refused or could not be read.
        sentence: the refusal, or what is wrong with a failure.
        triangles: as read; 0 where it could not be.
        size: how the numbers of the file were taken, such as "mm" or "scaled to 200 mm".
        found: findings before mending, by kind.
        changed: what mending changed, by name.
        seconds: of the processor for reading, checking and mending; the proof not counted.
        peak_mb: the largest memory held until mending was done.
        proof: figures of the proof, by name; empty where nothing was mended.
    """

    source: str
    id: str
    format: str
    verdict: str = FAILED
    code: str = ""
    sentence: str = ""
    triangles: int = 0
    size: str = ""
    found: dict[str, int] | None = None
    changed: dict[str, float] | None = None
    seconds: float = 0.0
    peak_mb: float = 0.0
    proof: dict[str, float] | None = None

    def as_json(self) -> dict[str, Any]:
        """The row as plain data."""
        return asdict(self)


Hook = Callable[[Mesh], Mesh]


def examined(
    row: Row, data: bytes, *, told: Callable[[Row, str], None], before: Hook | None = None
) -> Row:
    """The row of one mesh, filled in.

    Args:
        row: which mesh.
        data: the bytes of its file.
        told: is called with the row so far and what comes next: CHECKING, then PROVING.
            Time and memory of the proof are thus told from the program's.
        before: what to do to the mesh first, such as planting a fault; None leaves it.
    """
    started = time.process_time()
    row, mesh = _read(row, data)
    if mesh is None:
        return _measured(row, started)
    told(row, CHECKING)
    if before is not None:
        mesh = before(mesh)
    findings = find_defects(mesh)
    row = replace(row, found={finding.kind: finding.count for finding in findings})
    try:
        mended = mend(mesh)
    except WorkshopError as refusal:
        row = replace(row, verdict=REFUSED, code=refusal.code, sentence=str(refusal))
        return _measured(row, started)
    row = _measured(replace(row, changed=dict(mended.changed)), started)
    told(row, PROVING)
    return _proved(row, mended, findings)


def _read(row: Row, data: bytes) -> tuple[Row, Mesh | None]:
    """The mesh in millimetres, or None and a row that says why there is none."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"mesh.{row.format}"
        path.write_bytes(data)
        try:
            held = read_mesh(path)
        except WorkshopError as refusal:
            sentence = str(refusal).replace(path.name, "The file")
            row = replace(row, verdict=UNREADABLE, code=refusal.code, sentence=sentence)
            return row, None
    row = replace(row, triangles=len(held.mesh.faces))
    if row.triangles > MAX_TRIANGLES:
        sentence = f"More than {MAX_TRIANGLES:,} triangles."
        return replace(row, verdict=LEFT_OUT, sentence=sentence), None
    unit = choose_unit(held.mesh, declared=held.declared_unit)
    low, high = held.mesh.bounds_mm
    longest_mm = float((high - low).max()) * unit.factor_to_mm
    factor, size = unit.factor_to_mm, unit.unit
    if not PLAUSIBLE_MM[0] <= longest_mm <= PLAUSIBLE_MM[1]:
        factor *= SCALED_TO_MM / longest_mm
        size = f"scaled to {SCALED_TO_MM:g} mm"
    mesh = Mesh(held.mesh.vertices_mm * factor, held.mesh.faces)
    return replace(row, size=size), mesh


def _measured(row: Row, started: float) -> Row:
    peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return replace(row, seconds=time.process_time() - started, peak_mb=peak_kb / 1024.0)


def _proved(row: Row, mended: Mended, findings: tuple[Finding, ...]) -> Row:
    """The verdict of a mended mesh, once other roads have confirmed it."""
    proof, faults = proof_of(mended.mesh)
    faults += _disagreements(mended, findings)
    row = replace(row, proof=proof)
    if faults:
        return replace(row, verdict=FAILED, sentence="; ".join(faults))
    if "rebuilt_at_step_mm" in mended.changed:
        return replace(row, verdict=REBUILT)
    return replace(row, verdict=MENDED if mended.changed else SOUND)


def _disagreements(mended: Mended, findings: tuple[Finding, ...]) -> list[str]:
    """Where the checker and mending say different things of one mesh."""
    faults = [
        f"the checker still says: {finding.kind} ({finding.count})"
        for finding in mended.findings_left
        if "print" in finding.blocks
    ]
    if not mended.changed:
        faults += [
            f"nothing was mended, but the checker found: {finding.kind} ({finding.count})"
            for finding in findings
            if "print" in finding.blocks
        ]
    return faults


def proof_of(mesh: Mesh) -> tuple[dict[str, float], list[str]]:
    """Figures and faults of a solid, none of them by the program's own means.

    manifold3d must take it as a solid. The volumes by trimesh and by libigl must agree within
    what rounding of one term for each face can add up to: faces x epsilon x area x reach,
    with reach the farthest corner from the origin. (The volume by manifold3d is that of a
    solid in which it may have turned diagonals first.)
    """
    import igl
    import manifold3d
    import trimesh

    shape = trimesh.Trimesh(np.array(mesh.vertices_mm), np.array(mesh.faces), process=False)
    faults = []
    if not shape.is_watertight:
        faults.append("trimesh: not closed")
    if not shape.is_winding_consistent:
        faults.append("trimesh: faces wound both ways")
    if not shape.volume > 0:
        faults.append(f"trimesh: volume {shape.volume:.6g} mm3")
    made = manifold3d.Manifold(
        manifold3d.Mesh64(np.array(mesh.vertices_mm), mesh.faces.astype(np.uint64))
    )
    if made.status() != manifold3d.Error.NoError:
        faults.append(f"manifold3d: {made.status().name}")
    reach = float(np.linalg.norm(mesh.vertices_mm, axis=1).max())
    slack = len(mesh.faces) * np.finfo(np.float64).eps * mesh.area_mm2 * reach
    other = igl.centroid(np.array(mesh.vertices_mm), mesh.faces.astype(np.int64))[1]
    if abs(other - shape.volume) > slack:
        faults.append(f"volume {shape.volume:.9g} by trimesh, {other:.9g} by libigl")
    crossing = crossing_pairs(mesh)
    if crossing:
        faults.append("libigl: the surface crosses itself")
    figures = {"volume_mm3": float(shape.volume), "triangles": float(len(mesh.faces))}
    return figures, faults


def crossing_pairs(mesh: Mesh) -> int:
    """1 where CGAL's exact kernel finds two faces that cross, else 0; equal corners are one."""
    import igl.copyleft.cgal

    _, first, place = np.unique(mesh.vertices_mm, axis=0, return_index=True, return_inverse=True)
    vertices = np.ascontiguousarray(mesh.vertices_mm[first])
    faces = np.ascontiguousarray(place.reshape(-1)[mesh.faces].astype(np.int64))
    found = igl.copyleft.cgal.remesh_self_intersections(
        vertices, faces, detect_only=True, first_only=True
    )
    return len(found[2])
