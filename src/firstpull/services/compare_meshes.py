"""Compares two revisions of a part: laid on each other, where they differ, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.figures import told_number
from firstpull.core.mesh.measure import measure
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.align import Alignment, aligned
from firstpull.core.mesh.revision.compare import SAME_MM, Comparison, Difference, compare
from firstpull.core.progress import Progress, quiet
from firstpull.packet.mesh_pictures import Mark, MeshSheet, Paint, mesh_picture
from firstpull.packet.ramps import deviation_ramp
from firstpull.services.check_mesh import PICTURES
from firstpull.services.mesh_in import Arrived, arrive
from firstpull.services.mesh_out import MAPS, save_map
from firstpull.services.mesh_sheets import facts_of
from firstpull.services.results_out import MapAndPicture, need_format, need_free, write_whole

TOLD = 12  # patches that are listed and pinned


@dataclass(frozen=True)
class CompareReport:
    """How two revisions differ.

    Args:
        old: the earlier one.
        new: the later one.
        alignment: how the new one was laid onto the old; None if both were taken as they lie.
        found: the comparison.
        written: the files that were written.
    """

    old: Arrived
    new: Arrived
    alignment: Alignment | None
    found: Comparison
    written: tuple[Path, ...] = ()

    @property
    def laid(self) -> str:
        """How the two came to lie on each other."""
        names = f"{self.new.name} beside {self.old.name}"
        if self.alignment is None:
            return f"{names}, both as they lie in their files."
        if self.alignment.turned_deg == 0.0 and self.alignment.shifted_mm == 0.0:
            return f"{names}: they lie on each other as they are."
        return (
            f"{names}: the new one was turned by {told_number(self.alignment.turned_deg, 3)}"
            " degrees and moved"
            f" by {told_number(self.alignment.shifted_mm, 3)} mm to lie on the old one."
        )

    @property
    def bounds(self) -> tuple[str, ...]:
        """How far the surfaces lie apart at most, and the volumes."""
        there, back = self.found.there, self.found.back
        lines = [
            "Proved: no point of the new surface lies farther than"
            f" {told_number(there.most_mm, 3)} mm from the"
            f" old one, none of the old farther than {told_number(back.most_mm, 3)} mm from the"
            " new one."
        ]
        if self.found.volume_mm3 is not None:
            lines.append(f"Volume: {self.found.volume_mm3 / 1000.0:+,.3f} cm3.")
        return tuple(lines)

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            "old": self.old.as_json(),
            "new": self.new.as_json(),
            "laid": self.laid,
            "alignment": _alignment_json(self.alignment),
            "same_mm": self.found.same_mm,
            "same_share": round(self.found.same_share, 6),
            "sentence": self.found.sentence,
            "differences": [
                {
                    "number": number,
                    "side": patch.side,
                    "area_cm2": round(patch.area_mm2 / 100.0, 4),
                    "off_mm": round(patch.most_mm, 4),
                    "at_mm": [round(c, 3) for c in patch.place_mm],
                    "sentence": patch_sentence(patch),
                }
                for number, patch in enumerate(self.found.changes[:TOLD], start=1)
            ],
            "more": max(len(self.found.changes) - TOLD, 0),
            "new_from_old_mm": {
                "least": self.found.there.least_mm,
                "most": self.found.there.most_mm,
            },
            "old_from_new_mm": {"least": self.found.back.least_mm, "most": self.found.back.most_mm},
            "bounds": list(self.bounds),
            "units": [part.unit.why for part in (self.old, self.new) if part.unit.unit != "mm"],
            "written": [str(path) for path in self.written],
        }


def compare_meshes(
    old: str | Path,
    new: str | Path,
    *,
    results: MapAndPicture | None = None,
    same_mm: float | None = None,
    align: bool = True,
    unit: str | None = None,
    progress: Progress = quiet,
) -> CompareReport:
    """Says where two revisions of a part differ.

    Args:
        old, new: their files; they are not changed.
        results: what to write besides.
        same_mm: distance up to which they count as the same; None takes 0.05 mm.
        align: whether the new one is laid onto the old, size kept.
        unit: of both files; None reads it from each file or its size.
        progress: told what is being done.

    Raises:
        WorkshopError: a file cannot be read, or a result cannot be written.
    """
    results = results or MapAndPicture()
    need_format(results.map, MAPS)
    need_format(results.picture, PICTURES)
    paths = [results.map, results.picture]
    need_free(paths, inputs=[Path(old), Path(new)], force=results.force)
    progress("reading the files", 0.0)
    one, two = arrive(old, unit=unit), arrive(new, unit=unit)
    progress("laying one on the other", 0.15)
    alignment = aligned(two.mesh, one.mesh) if align else None
    laid = two.mesh
    if alignment is not None and (alignment.turned_deg or alignment.shifted_mm):
        laid = two.mesh.moved(alignment.matrix)
    progress("measuring how far they lie apart", 0.35)
    found = compare(one.mesh, laid, same_mm=same_mm or SAME_MM)
    report = CompareReport(one, two, alignment, found, tuple(p for p in paths if p is not None))
    paint = Paint(found.new_mm, deviation_ramp(found.same_mm, float(np.abs(found.new_mm).max())))
    if results.map is not None:
        progress("writing the map", 0.8)
        save_map(results.map, laid, paint)
    if results.picture is not None:
        progress("drawing the picture", 0.85)
        write_whole(results.picture, _picture(report, laid, paint))
    return report


def patch_sentence(patch: Difference) -> str:
    """One place that differs, in a sentence."""
    x, y, z = (round(c, 1) + 0.0 for c in patch.place_mm)
    area = f"{told_number(patch.area_mm2 / 100.0, 3)} cm2 near ({x:.1f}, {y:.1f}, {z:.1f}) mm"
    off = f"{told_number(abs(patch.most_mm), 2)} mm"
    if patch.side == "old":
        return f"{area} of the old surface is gone, up to {off} from the new one."
    way = "above" if patch.most_mm > 0 else "below"
    return f"{area} of the new surface lies up to {off} {way} the old one."


def _picture(report: CompareReport, laid: Mesh, paint: Paint) -> bytes:
    marks = _marks(report.found.changes[:TOLD])
    notes = [report.found.sentence, report.laid, *report.bounds]
    title = f"{report.new.name} beside {report.old.name}"
    sheet = MeshSheet(title, facts_of(measure(laid)), laid, marks, paint, notes)
    return mesh_picture(sheet)


def _marks(differences: Sequence[Difference]) -> list[Mark]:
    return [
        Mark(str(number), patch_sentence(patch), np.array([patch.place_mm]))
        for number, patch in enumerate(differences, start=1)
    ]


def _alignment_json(alignment: Alignment | None) -> dict[str, Any] | None:
    if alignment is None:
        return None
    return {
        "matrix": alignment.matrix.tolist(),
        "turned_deg": alignment.turned_deg,
        "shifted_mm": alignment.shifted_mm,
        "off_mm": alignment.off_mm,
    }
