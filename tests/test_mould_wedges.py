"""Shells in three and four pieces: zones fill space once, pulls leave them, fill is least."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of
from firstpull.core.mould.options import Option, undominated
from firstpull.core.mould.parting import NO_RULES, Parting
from firstpull.core.mould.shadows import Shadows, cast_shadows
from firstpull.core.mould.wedges import LEAST_SKIN_SHARE, part_in
from mould_cases import DRAFT_DEG, demo_mould, skin_of, standing_body, whole_mould


def trefoil(overhang_mm: float = 14.0) -> Mesh:
    """A three-lobed cap on a three-lobed stem, the cap wider all around: it locks three ways."""
    import manifold3d

    def lobed(radius: float) -> manifold3d.CrossSection:
        angle = np.linspace(0, 2 * np.pi, 121)[:-1]
        r = radius * (1 + 0.35 * np.cos(3 * angle))
        return manifold3d.CrossSection([np.column_stack([r * np.cos(angle), r * np.sin(angle)])])

    stem = lobed(36 - overhang_mm).extrude(40)
    return mesh_of(stem + lobed(36).extrude(15).translate((0, 0, 40)))


@lru_cache(maxsize=2)
def shadows_of(name: str) -> Shadows:
    if name == "heron":
        return demo_mould().shadows
    return cast_shadows(skin_of(standing_body(trefoil()), step_mm=2.0), draft_deg=DRAFT_DEG)


@lru_cache(maxsize=8)
def parted(name: str, pieces: int) -> Parting:
    found = part_in(shadows_of(name), pieces=pieces, draft_deg=DRAFT_DEG)
    assert found is not None
    return found


@pytest.mark.parametrize("name", ["heron", "trefoil"])
@pytest.mark.parametrize("pieces", [1, 2, 3, 4])
def test_zones_fill_space_once_and_are_left_by_their_pulls(name: str, pieces: int) -> None:
    parting = parted(name, pieces)
    assert len(parting.zones) == len(parting.pulls) == pieces
    points = np.random.default_rng(pieces).uniform(-150, 150, size=(4000, 3))
    inside = np.stack([np.broadcast_to(z.into(*points.T) >= 0, 4000) for z in parting.zones])
    assert (inside.sum(axis=0) == 1).all()
    for zone, pull in zip(parting.zones, parting.pulls, strict=True):
        assert zone.is_left_by(pull, draft_deg=DRAFT_DEG)
        assert np.linalg.norm(pull) == pytest.approx(1.0)
        assert pull[2] > 0.1


@pytest.mark.parametrize("name", ["heron", "trefoil"])
def test_no_piece_is_a_splinter(name: str) -> None:
    shadows = shadows_of(name)
    near = np.argwhere(np.abs(shadows.phi) < 0.5 * shadows.grid.step_mm)
    skin = np.array(shadows.grid.low_mm) + shadows.grid.step_mm * near
    skin = skin[skin[:, 2] > 0]
    for pieces in (3, 4):
        for zone in parted(name, pieces).zones:
            assert (zone.into(*skin.T) >= 0).mean() > 0.9 * LEAST_SKIN_SHARE


def test_more_pieces_lock_less() -> None:
    """The cap overhangs on all sides: two pieces leave lobes locked that three set free."""
    fills = [parted("trefoil", n).fill_cm3 for n in (1, 2, 3, 4)]
    assert fills[1] < 0.5 * fills[0]
    assert fills[2] < 0.8 * fills[1]
    assert fills[3] <= fills[2] + 0.1
    assert parted("heron", 3).fill_cm3 < parted("heron", 2).fill_cm3


def test_the_tables_agree_with_adding_up_zone_by_zone() -> None:
    """For random zones the fill counted by slots is the fill of the points in the zone."""
    from firstpull.core.mould import wedges

    shadows = shadows_of("trefoil")
    planes = wedges._planes_through(shadows, NO_RULES)
    slots = planes.walls.offsets.shape[1]
    rng = np.random.default_rng(4)
    for _ in range(12):
        a, b = rng.integers(0, len(planes.walls.normals), 2)
        i, j = rng.integers(0, slots, 2)
        s, t = rng.integers(0, 2, 2)
        table = wedges._counted(planes.fills, planes.fill_at[a], planes.fill_at[b], slots + 1)
        zone = wedges.Zone((wedges._plane(planes, a, i, s),)).within(wedges._plane(planes, b, j, t))
        within = zone.into(*shadows.points_mm.T) >= 0
        exact = shadows.fills[:, within].sum(axis=1)
        assert wedges._corner(table, s, t)[:, i, j] == pytest.approx(exact, rel=1e-4, abs=1e-3)


def test_the_chart_has_no_dominated_point() -> None:
    options = [Option(n, fill, 300 + fill, 500.0, 3.0) for n, fill in enumerate((9, 2, 2, 1), 1)]
    assert [o.pieces for o in undominated(options)] == [1, 2, 4]
    assert undominated(options[:1]) == options[:1]


@pytest.mark.long
@pytest.mark.parametrize("pieces", [3, 4])
def test_a_shell_in_several_wedges_is_proved(pieces: int) -> None:
    from firstpull.core.demo import heron_half_mask

    made = whole_mould(heron_half_mask(triangles=60_000), pieces=(pieces,), step_mm=1.5)
    failed = [check.sentence for check in made.proof(pieces).checks if not check.passed]
    assert failed == []
    built = made.built[pieces]
    assert len(built.pieces) == pieces
    for piece in built.pieces:
        assert len(piece.bolts_mm) >= 2
