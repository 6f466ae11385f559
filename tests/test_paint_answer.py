"""Paint that is tried answers with the border that a plan of it would have."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.spatial import cKDTree

from firstpull.core.mould.place import Standing
from firstpull.core.mould.show import Show
from firstpull.core.mould.show_paint import ShowDab, ShowInPieces, painted
from firstpull.services.jobs.paint_answer import Easel
from test_mould_show_paint import inner_place, mask, outer_place


def easel_of(standing: Standing, planned: Show | None = None) -> Easel:
    """Of a run that was planned with other paint, or none."""
    natural = standing.show.faces
    return Easel.of(standing.master, natural, (planned or standing.show).faces)


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


def test_paint_is_told_as_a_plan_of_it_would_have_it() -> None:
    """In its order, and beside what the plan copies with the paint it has."""
    standing, _ = mask()
    mesh, show = standing.master, standing.show
    first = ShowDab(outer_place(standing), 9.0, False)
    shown = mesh.face_centres_mm[show.faces]
    off = np.abs(np.linalg.norm(shown - first.place_mm, axis=1) - first.radius_mm)
    second = ShowDab(tuple(shown[np.argmin(off)].tolist()), 5.0, True)
    planned, both, turned = (
        painted(mesh, show, dabs) for dabs in ([first], [first, second], [second, first])
    )
    told = easel_of(standing, planned).with_paint([asked(first), asked(second)])
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
