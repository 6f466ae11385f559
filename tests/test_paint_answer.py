"""Paint that is tried answers with the border that a plan of it would have."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.spatial import cKDTree

from firstpull.core.mould.place import Standing
from firstpull.core.mould.show_paint import ShowDab, ShowInPieces, painted
from firstpull.core.sheet import JobSheet
from firstpull.services.jobs.paint_answer import Easel
from test_mould_show_paint import inner_place, mask, outer_place

TO_MOULD = np.array([[0.0, -25.4, 0, 5], [25.4, 0, 0, 6], [0, 0, 25.4, 7], [0, 0, 0, 1]])


def easel_of(standing: Standing, *before: ShowDab) -> Easel:
    """Of a run whose sheet has these dabs, in the axes and inches of its file."""
    back = np.linalg.inv(TO_MOULD)
    dabs = [
        {
            "at": (back @ [*dab.place_mm, 1.0])[:3].tolist(),
            "radius_mm": dab.radius_mm,
            "copied": dab.copied,
        }
        for dab in before
    ]
    sheet = JobSheet.model_validate({"master": {"paint": dabs}})
    return Easel.of(standing.master, standing.show.faces, sheet.master.paint or (), TO_MOULD)


def asked(dab: ShowDab) -> dict:
    return {"at": list(dab.place_mm), "radius_mm": dab.radius_mm, "copied": dab.copied}


def test_without_paint_it_is_the_border_as_found() -> None:
    standing, _ = mask()
    told = easel_of(standing).with_paint([])
    area = standing.show.area_mm2 / 100
    assert told["show_area_cm2"] == told["planned_area_cm2"] == pytest.approx(area, abs=0.01)
    assert len(told["border"]) == len(standing.show.loops)
    on = cKDTree(standing.master.vertices_mm)
    for line, loop in zip(told["border"], standing.show.loops, strict=True):
        assert line[0] == line[-1] and len(line) == len(loop) + 1
        assert on.query(line)[0].max() < 0.01
    assert json.loads(json.dumps(told)) == told


def test_paint_lies_on_top_of_the_sheets() -> None:
    """As planned with both, the sheet's first; the other way round it comes out otherwise."""
    standing, _ = mask()
    mesh, show = standing.master, standing.show
    first = ShowDab(outer_place(standing), 9.0, False)
    shown = mesh.face_centres_mm[show.faces]
    off = np.abs(np.linalg.norm(shown - first.place_mm, axis=1) - first.radius_mm)
    second = ShowDab(tuple(shown[np.argmin(off)].tolist()), 5.0, True)
    told = easel_of(standing, first).with_paint([asked(second)])
    planned, both, turned = (
        painted(mesh, show, dabs) for dabs in ([first], [first, second], [second, first])
    )
    assert told["planned_area_cm2"] == pytest.approx(planned.area_mm2 / 100, abs=0.01)
    assert told["show_area_cm2"] == pytest.approx(both.area_mm2 / 100, abs=0.01)
    assert abs(both.area_mm2 - turned.area_mm2) > 10
    lines = [mesh.vertices_mm[[*loop, loop[0]]] for loop in both.loops]
    assert sorted(map(len, told["border"])) == sorted(map(len, lines))
    assert cKDTree(np.concatenate(lines)).query(np.concatenate(told["border"]))[0].max() < 0.01


def test_paint_that_leaves_no_mould_is_refused_and_the_next_is_answered() -> None:
    standing, labels = mask()
    easel = easel_of(standing)
    apart = ShowDab(inner_place(standing, labels), 6.0, True)
    with pytest.raises(ShowInPieces, match=r"number 1, copies 1\.\d cm2 apart"):
        easel.with_paint([asked(apart)])
    turned = {**asked(apart), "copied": False}
    told = easel.with_paint([asked(apart), turned])
    assert told["show_area_cm2"] == told["planned_area_cm2"]
