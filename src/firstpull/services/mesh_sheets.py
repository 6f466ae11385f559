"""Which picture goes with which answer about a mesh?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firstpull.core.mesh.check.openings import OpeningGroup
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.measure import Measures
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.revision.compare import SAME_MM
from firstpull.packet.mesh_pictures import Mark, MeshSheet, Paint, mesh_picture
from firstpull.packet.ramps import deviation_ramp
from firstpull.services.mending_told import MendingTold
from firstpull.services.mesh_in import Arrived

LOOKED_AT = 12  # patches of new surface that a view should show


def findings_picture(
    arrived: Arrived,
    measures: Measures,
    findings: Sequence[Finding],
    mended: Mended | None,
    groups: Sequence[OpeningGroup],
) -> bytes:
    """The mesh as it arrived, with a pin for each finding and the borders of its openings."""
    marks = [
        Mark(str(number), finding.sentence, np.array(finding.places_mm).reshape(-1, 3))
        for number, finding in enumerate(findings, start=1)
    ]
    if mended is not None:
        marks += opening_marks(mended, groups)
    notes = [] if marks else ["Nothing was found to mark."]
    return mesh_picture(
        MeshSheet(arrived.name, facts_of(measures), arrived.mesh, marks, notes=notes)
    )


def opening_marks(mended: Mended, groups: Sequence[OpeningGroup]) -> list[Mark]:
    """One tag for each opening that is meant or asked about, with its border."""
    if mended.kept is None:
        return []
    by_number = {opening.number: opening for opening in mended.openings}
    marks = []
    for group in groups:
        openings = [by_number[number] for number in group.numbers]
        for opening in openings:
            if opening.closes:
                continue
            ring = mended.kept.vertices_mm[opening.loop]
            first = opening is openings[0]
            words = group.sentence if first else f"As {openings[0].number}: belongs to it."
            marks.append(Mark(str(opening.number), words, ring[:1], "tag", (ring,)))
    return marks


def mended_paint(mended: Mended, told: MendingTold | None) -> Paint:
    """Where the surface of a mended solid moved, and where it is new."""
    if told is None:
        return Paint(np.zeros(len(mended.mesh.vertices_mm)), deviation_ramp(SAME_MM, SAME_MM))
    return Paint(
        told.comparison.new_mm,
        deviation_ramp(told.apart_mm, max(told.strays_mm, told.apart_mm)),
        new=told.new_faces(len(mended.mesh.faces)),
        new_words="new surface: lids, inner walls",
    )


def mended_picture(
    source: Arrived, mended: Mended, told: MendingTold | None, after: Measures
) -> bytes:
    """The mended solid with its map."""
    paint = mended_paint(mended, told)
    notes = told.sentences if told else ("Nothing was to mend.",)
    new = [patch.place_mm for patch in told.added[:LOOKED_AT]] if told else []
    title = f"{source.name}, mended"
    return mesh_picture(
        MeshSheet(title, facts_of(after), mended.mesh, paint=paint, notes=notes, look_at_mm=new)
    )


def facts_of(measures: Measures) -> str:
    """Size, triangles and volume in one line."""
    size = " x ".join(f"{side:.1f}" for side in measures.extents_mm)
    volume = measures.volume_cm3
    solid = "open" if volume is None else f"closed, {volume:,.1f} cm3"
    return f"{size} mm, {measures.triangles:,} triangles, {solid}"
