"""The plain head: its measures, read off the mesh, are those of the survey."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import lru_cache

import numpy as np
import pytest
import trimesh

from firstpull.core.errors import WorkshopError
from firstpull.core.fit.head_measures import (
    WHAT,
    HeadMeasure,
    HeadMeasures,
    head_measures,
)
from firstpull.core.fit.headform import HeadUnlikely, head_marks, headform
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.lines.figure import Figure, Plane
from firstpull.core.mesh.lines.section import section
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.tree import Tree
from firstpull.services.headform import plain_headform

GROUPS = [None, "women", "men"]
# a slim and a full head, each measure at about the 5th and 95th percentile of both groups
SLIM = (178, 140, 532, 104, 116, 125, 55.5, 302)
FULL = (211, 163, 601, 134, 141, 153, 70, 443)


def given(values: tuple[float, ...]) -> HeadMeasures:
    names = [field.name for field in fields(HeadMeasures)]
    told = {n: HeadMeasure(v, "made up", "own") for n, v in zip(names, values, strict=True)}
    return HeadMeasures(**told)


HEADS = {str(group): head_measures(group) for group in GROUPS}
HEADS |= {"slim": given(SLIM), "full": given(FULL)}


@lru_cache(maxsize=8)
def head(name: str) -> Mesh:
    return headform(HEADS[name])


def cut(mesh: Mesh, axis: str, at: float) -> Figure:
    return section(mesh, Plane.across(axis, at))


def points_of(figure: Figure) -> np.ndarray:
    return np.concatenate([curve.points_mm for curve in figure.curves])


@pytest.mark.parametrize("name", HEADS)
def test_it_is_closed_outward_and_its_own_mirror_image(name):
    mesh = head(name)
    assert find_defects(mesh) == ()
    made = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert made.is_watertight and made.volume > 3e6
    assert 18_000 <= len(mesh.faces) <= 22_000
    mirrored = mesh.vertices_mm * [-1.0, 1.0, 1.0]
    assert {tuple(v) for v in (mirrored + 0.0).tolist()} == {
        tuple(v) for v in (mesh.vertices_mm + 0.0).tolist()
    }


@pytest.mark.parametrize("name", HEADS)
def test_length_breadth_and_circumference_are_the_surveys(name):
    """In the level plane between the brows; the tape follows every dent of the section."""
    mesh, asked, marks = head(name), HEADS[name], head_marks(HEADS[name])
    around = cut(mesh, "z", marks.glabella_mm[2])
    (loop,) = around.curves
    assert np.ptp(loop.points_mm[:, 1]) == pytest.approx(asked.length.value_mm, abs=1.0)
    assert loop.length_mm == pytest.approx(asked.circumference.value_mm, abs=3.0)
    assert np.ptp(mesh.vertices_mm[:, 0]) == pytest.approx(asked.breadth.value_mm, abs=1.0)


@pytest.mark.parametrize("name", HEADS)
def test_face_height_and_breadth_are_the_surveys(name):
    """From the deepest place of the nose's root to the lowest of the chin, found on the
    middle line; and across the cheeks."""
    mesh, asked, marks = head(name), HEADS[name], head_marks(HEADS[name])
    middle = points_of(cut(mesh, "x", 0.0))
    front = middle[middle[:, 1] < 0.8 * marks.menton_mm[1]]
    low, high = marks.sellion_mm[2] - 15.0, marks.glabella_mm[2]
    root = front[(front[:, 2] > low) & (front[:, 2] < high)]
    sellion = root[np.argmax(root[:, 1])]
    menton = front[np.argmin(front[:, 2])]
    assert np.linalg.norm(sellion - menton) == pytest.approx(asked.face_height.value_mm, abs=1.0)
    assert np.linalg.norm(menton - marks.menton_mm) < 2.0
    cheeks = points_of(cut(mesh, "z", marks.cheek_mm[2]))
    assert np.ptp(cheeks[:, 0]) == pytest.approx(asked.cheek_breadth.value_mm, abs=1.0)


@pytest.mark.parametrize("name", HEADS)
def test_crown_neck_and_pupils_are_the_surveys(name):
    mesh, asked, marks = head(name), HEADS[name], head_marks(HEADS[name])
    assert mesh.bounds_mm[1, 2] == pytest.approx(asked.tragion_to_top.value_mm)
    (neck,) = cut(mesh, "z", marks.neck_mm[2]).curves
    assert neck.length_mm == pytest.approx(asked.neck_circumference.value_mm, abs=3.0)
    assert 2 * marks.pupil_mm[0] == pytest.approx(asked.pupil_distance.value_mm)
    away = Tree.of(mesh).closest([marks.pupil_mm, marks.sellion_mm, marks.glabella_mm])[0]
    assert away.max() < 1.0


def test_it_faces_forward_about_the_ears():
    """The nose is the foremost place; the ears lie within the head on its middle plane."""
    mesh = head("None")
    nose = mesh.vertices_mm[np.argmin(mesh.vertices_mm[:, 1])]
    assert abs(nose[0]) < 1e-9 and nose[1] == mesh.bounds_mm[0, 1]
    assert -40.0 < nose[2] < 0.0
    side = points_of(cut(mesh, "y", 0.0))
    at_ears = side[np.abs(side[:, 2]) < 5.0]
    assert np.abs(at_ears[:, 0]).min() > 60.0


def test_the_default_is_the_mean_of_the_medians_of_women_and_men():
    women, men, both = (head_measures(group) for group in ("women", "men", None))
    assert (women.length.value_mm, men.length.value_mm) == (190.0, 200.0)
    for name in WHAT:
        of_both = (getattr(women, name).value_mm + getattr(men, name).value_mm) / 2
        assert getattr(both, name).value_mm == of_both
    assert "mean of the medians of 1986 women and 4082 men" in both.length.source


def test_every_measure_says_where_it_is_from():
    told = head_measures("men").as_json()
    assert [entry["name"] for entry in told] == list(WHAT)
    assert told[0] == {
        "name": "length",
        "what": "head length, from between the brows to the back",
        "value_mm": 200.0,
        "source": "US Army survey ANSUR II 2012, headlength: median of 4082 men",
        "mark": "published",
    }
    assert all(entry["source"] and entry["mark"] == "published" for entry in told)


@pytest.mark.parametrize(
    ("field", "value_mm", "words"),
    [
        ("circumference", 480.0, "measures 480 mm around, 195 mm long and 150 mm broad; a head"),
        ("circumference", 700.0, "measures 700 mm around"),
        ("length", 19.5, "The head's length is 19.5 mm; it may be 98 to 390 mm"),
        ("neck_circumference", 36.1, "The head's neck circumference is 36.1 mm"),
        ("face_height", float("nan"), "The head's face height is nan mm"),
    ],
)
def test_measures_of_no_head_are_refused(field, value_mm, words):
    odd = replace(head_measures(), **{field: HeadMeasure(value_mm, "tape", "own")})
    for made in (headform, head_marks):
        with pytest.raises(HeadUnlikely) as refusal:
            made(odd)
        assert words in str(refusal.value) and "Measure again" in str(refusal.value)
        assert isinstance(refusal.value, WorkshopError)


def test_the_service_hands_out_head_measures_and_marks_as_one():
    held = plain_headform("women")
    assert held.measures == head_measures("women")
    np.testing.assert_array_equal(held.mesh.vertices_mm, head("women").vertices_mm)
    assert held.marks == head_marks(held.measures)
    assert plain_headform("women") is held
