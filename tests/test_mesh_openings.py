"""Rims and eyes are kept, cracks and pinholes closed, and the rest is asked about."""

from __future__ import annotations

import numpy as np
import pytest

import headmasks
import menagerie as m
import shapes
from firstpull.core.mesh.check.openings import (
    Opening,
    OpeningGroup,
    find_openings,
    grouped_openings,
)
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.topology import components, open_loops

RADIUS = 80.0


def spot(turn: float, up: float) -> np.ndarray:
    """The unit vector at a turn around z and a height over the rim, in degrees."""
    a, b = np.radians([turn, up])
    return np.array([np.cos(a) * np.cos(b), np.sin(a) * np.cos(b), np.sin(b)])


def pierced(mesh: Mesh, *holes: tuple[np.ndarray, float, float]) -> Mesh:
    """A dome with elliptical holes: where, half width along the horizon, half height, in mm."""
    kept = np.ones(len(mesh.faces), dtype=np.bool_)
    for out, wide, high in holes:
        side = np.cross([0, 0, 1.0], out)
        side /= np.linalg.norm(side)
        away = mesh.face_centres_mm - RADIUS * out
        near = ((away @ side) / wide) ** 2 + ((away @ np.cross(out, side)) / high) ** 2 < 1
        kept &= ~near
    return mesh.with_faces(kept)


def mask() -> Mesh:
    """A dome with two eyes left and right of its front (+x), a mouth, and a pinhole."""
    dome = m.dome(radius_mm=RADIUS, rings=80)
    return pierced(
        dome,
        (spot(28, 45), 14, 9),
        (spot(-28, 45), 14, 9),
        (spot(0, 20), 20, 8),
        (spot(120, 40), 1.2, 1.2),
    )


def kinds(found: tuple[Opening, ...]) -> list[tuple[str, bool]]:
    return sorted((o.kind, o.asked) for o in found)


def looked_at(mesh: Mesh) -> tuple[Opening, ...]:
    return find_openings(mesh, open_loops(mesh))


def of_kind(groups: tuple[OpeningGroup, ...], kind: str) -> OpeningGroup:
    (group,) = (g for g in groups if g.kind == kind)
    return group


def test_a_mask_keeps_its_rim_and_eyes_and_asks_about_its_mouth() -> None:
    found = looked_at(mask())
    assert kinds(found) == [
        ("hole", False),
        ("opening", False),
        ("opening", False),
        ("opening", True),
        ("rim", False),
    ]
    eyes = [o for o in found if o.partner]
    assert [o.partner for o in eyes] == [o.number for o in eyes][::-1]
    assert sorted(np.sign(o.centre_mm[1]) for o in eyes) == [-1, 1]
    (mouth,) = (o for o in found if o.asked)
    assert "as a mouth does" in mouth.why
    assert abs(mouth.centre_mm[1]) < 1.0
    assert [o.closes for o in found if o.kind == "hole"] == [True]


def test_the_figures_of_an_opening_are_right() -> None:
    """The rim of a half ball of 160 rings is a regular polygon with 4 x 80 corners."""
    (rim,) = looked_at(m.dome(radius_mm=RADIUS, rings=80))
    n = len(rim.loop)
    assert rim.number == 1
    assert rim.length_mm == pytest.approx(2 * n * RADIUS * np.sin(np.pi / n), rel=1e-9)
    assert rim.across_mm == pytest.approx(2 * RADIUS, rel=1e-9)
    assert rim.flatness == pytest.approx(0.0, abs=1e-12)
    assert np.abs(rim.centre_mm).max() < 1e-6 * RADIUS
    assert rim.kind == "rim"


def test_sentences_say_what_becomes_of_each_group() -> None:
    groups = grouped_openings(looked_at(mask()))
    assert [g.asked for g in groups] == [True, False, False, False]
    assert groups[0].sentence.startswith("1 opening ")
    assert "stays open until you say that it is damage" in groups[0].sentence
    assert "the border of the open surface: kept open" in of_kind(groups, "rim").sentence
    assert of_kind(groups, "hole").sentence.startswith("1 small hole up to ")
    pair = next(g for g in groups if len(g.numbers) == 2)
    assert "a mirrored pair: kept open as eye or ear openings" in pair.sentence
    assert sorted(n for g in groups for n in g.numbers) == [1, 2, 3, 4, 5]


def test_two_like_holes_that_do_not_mirror_each_other_are_asked_about() -> None:
    """Of the same size, but one near the crown and one near the rim: a plane between them
    would not mirror the rim."""
    dome = m.dome(radius_mm=RADIUS, rings=80)
    found = looked_at(pierced(dome, (spot(30, 25), 12, 12), (spot(-50, 60), 12, 12)))
    assert kinds(found) == [("opening", True), ("opening", True), ("rim", False)]
    groups = grouped_openings(found)
    assert [len(g.numbers) for g in groups] == [2, 1]
    assert groups[0].sentence.startswith("2 openings ")


def test_a_large_ragged_hole_is_asked_about_as_a_hole() -> None:
    """A star of nine points, three of them 30 mm out and 8 mm in."""
    dome = m.dome(radius_mm=RADIUS, rings=160)
    out = spot(0, 45)
    side = np.cross([0, 0, 1.0], out) / np.linalg.norm(np.cross([0, 0, 1.0], out))
    away = dome.face_centres_mm - RADIUS * out
    turn = np.arctan2(away @ np.cross(out, side), away @ side)
    reach = 19 + 11 * np.cos(9 * turn)
    torn = dome.with_faces(np.linalg.norm(away, axis=1) > reach)
    found = [o for o in looked_at(torn) if o.length_mm > 20 and o.kind != "rim"]
    assert [(o.kind, o.asked) for o in found] == [("hole", True)]
    assert "ragged" in found[0].why
    assert "until you say that it is damage" in grouped_openings(tuple(found))[0].sentence


def test_a_crack_is_closed_however_long() -> None:
    """A seam of a box left unmerged: 60 mm long, its sides in one place."""
    whole = m.divided(m.box(size_mm=(60, 50, 40)), 3)
    top = whole.face_centres_mm[:, 2] > 39.99
    on_seam = (whole.vertices_mm[:, 2] > 39.99) & (whole.vertices_mm[:, 1] < 1e-9)
    inner = on_seam & (whole.vertices_mm[:, 0] > 1e-9) & (whole.vertices_mm[:, 0] < 59.99)
    copy = np.arange(len(whole.vertices_mm))
    copy[inner] = len(whole.vertices_mm) + np.arange(inner.sum())
    faces = np.array(whole.faces)
    faces[top] = copy[faces[top]]
    cracked = Mesh(np.concatenate([whole.vertices_mm, whole.vertices_mm[inner]]), faces)
    found = looked_at(cracked)
    assert kinds(found) == [("crack", False)]
    assert found[0].closes
    assert found[0].length_mm == pytest.approx(120.0)
    (group,) = grouped_openings(found)
    assert group.sentence == "1 crack up to 60 mm long: closed."


def test_many_small_holes_are_one_group() -> None:
    holes = [(spot(turn, up), 1.2, 1.2) for turn in (40, 140, 220, 320) for up in (30, 55)]
    groups = grouped_openings(looked_at(pierced(m.dome(radius_mm=RADIUS, rings=80), *holes)))
    assert sorted(len(g.numbers) for g in groups) == [1, 8]
    assert of_kind(groups, "hole").sentence.startswith("8 small holes up to ")


def test_both_ends_of_a_sleeve_are_rims() -> None:
    """A cone frustum 40 and 60 mm in radius: 251 and 377 mm around."""
    n = 96
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    points = np.concatenate([60 * circle, 40 * circle + [0, 0, 120]])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    sleeve = Mesh(
        points, np.concatenate([np.stack([i, j, j + n], 1), np.stack([i, j + n, i + n], 1)])
    )
    found = looked_at(sleeve)
    assert kinds(found) == [("rim", False), ("rim", False)]
    assert sorted(o.length_mm for o in found) == pytest.approx(
        [2 * n * r * np.sin(np.pi / n) for r in (40, 60)]
    )


def test_a_hole_in_a_closed_ball_is_no_rim() -> None:
    ball = m.ball(rings=96)
    axis = spot(30, 30)
    found = looked_at(ball.with_faces(ball.face_centres_mm @ axis < 60 * np.cos(0.15)))
    assert kinds(found) == [("opening", True)]


def test_a_missing_triangle_is_asked_about_as_a_hole_however_large() -> None:
    """One of the twelve of a box: as long around as a rim would be."""
    found = looked_at(m.without(m.box(), 4))
    assert kinds(found) == [("hole", True)]
    assert found[0].why == "one triangle would close it"


def test_each_part_has_its_own_rim() -> None:
    one = mask()
    two = joined([one, one.moved(m.turning(0.0, (0, 0, 1), (400, 0, 0)))])
    found = looked_at(two)
    assert kinds(found) == sorted(2 * kinds(looked_at(one)))
    for o in found:
        if o.partner:
            other = found[o.partner - 1]
            assert abs(o.centre_mm[0] - other.centre_mm[0]) < 1.0


def test_turning_and_shifting_change_nothing_but_places() -> None:
    one = mask()
    two = one.moved(m.turning(77.0, (1, 2, 3), (30, -40, 50)))
    for a, b in zip(looked_at(one), looked_at(two), strict=True):
        assert (a.kind, a.asked, a.partner, a.why) == (b.kind, b.asked, b.partner, b.why)
        assert a.length_mm == pytest.approx(b.length_mm)
        assert a.across_mm == pytest.approx(b.across_mm)


def test_a_closed_mesh_with_holes_through_it_has_no_openings() -> None:
    ring = shapes.torus(40, 12)
    assert looked_at(ring) == ()
    assert grouped_openings(()) == ()


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("kind", ["half-mask", "helmet, two slots", "snout"])
def test_the_show_side_of_a_mask_keeps_its_eyes_unasked(kind: str, seed: int) -> None:
    """The outer skin of random masks, cut from their walls along the sides of triangles."""
    shell = shapes.implicit_shell(kind, seed)
    skin = _largest(shell.mesh.with_faces(shell.labels == shapes.OUTSIDE))
    found = looked_at(skin)
    assert sum(o.kind == "rim" for o in found) == 1
    assert sum(o.partner is not None for o in found) == shell.openings == 2
    assert not any(o.asked for o in found)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_bowls_plates_and_shoulder_caps_have_a_rim_and_nothing_else(seed: int) -> None:
    for kind in ("dome", "bowl", "plate", "pauldron", "bracer"):
        shell = shapes.implicit_shell(kind, seed)
        skin = _largest(shell.mesh.with_faces(shell.labels == shapes.OUTSIDE))
        assert kinds(looked_at(skin)) == [("rim", False)], kind


@pytest.mark.long
@pytest.mark.parametrize("name", headmasks.HEADS)
def test_masks_over_real_faces_keep_their_eyes(name: str) -> None:
    """The faces of the mask that look away from a point behind the face."""
    whole = headmasks.head_mask(headmasks.head_path(name))
    centres = whole.face_centres_mm
    behind = np.array([0.0, centres[:, 1].mean(), centres[:, 2].min()])
    away = centres - behind
    cosine = (whole.face_normals * away).sum(axis=1) / np.linalg.norm(away, axis=1)
    found = looked_at(_largest(whole.with_faces(cosine > 0.1)))
    assert sum(o.kind == "rim" for o in found) == 1
    assert sum(o.partner is not None for o in found) == 2
    assert not any(o.asked for o in found)


def _largest(mesh: Mesh) -> Mesh:
    label = components(mesh)
    return mesh.with_faces(label == np.bincount(label).argmax())
