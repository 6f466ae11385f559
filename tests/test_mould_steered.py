"""Walls that the maker fixed: kept, proved, and refused in words where they cannot be.

The shells are proved by the independent proof, in the order they are said to come off.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from firstpull.core.mould.body import Body
from firstpull.core.mould.parting import Parting, Rules
from firstpull.core.mould.proof import MouldProof, prove_mould
from firstpull.core.mould.shadows import Shadows, cast_shadows
from firstpull.core.mould.shell import SkinAndShell, build_shell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.steered import (
    NoParting,
    in_any_order,
    in_some_order,
    part_steered,
    with_pulls,
)
from firstpull.core.mould.wedges import part_in
from firstpull.core.mould.zone import PartingWall, Zone
from mould_cases import DRAFT_DEG, WALL, demo_mould, skin_of, standing_body
from test_mould_adjust import winding_ridge

STEP_MM = 2.0


def upright(degrees: float, offset_mm: float) -> PartingWall:
    a = np.radians(degrees)
    return PartingWall((float(np.cos(a)), float(np.sin(a)), 0.0), offset_mm)


@lru_cache(maxsize=1)
def ridge() -> tuple[Body, SkinShape, Shadows]:
    body = standing_body(winding_ridge())
    shape = skin_of(body, step_mm=STEP_MM)
    return body, shape, cast_shadows(shape, draft_deg=DRAFT_DEG)


def steered(pieces: int, *walls: PartingWall, rules: Rules | None = None) -> Parting:
    found = part_steered(
        ridge()[2], pieces=pieces, walls=walls, draft_deg=DRAFT_DEG, rules=rules or Rules()
    )
    assert found is not None
    return found


def proof_of(parting: Parting) -> tuple[SkinAndShell, MouldProof]:
    body, shape, _ = ridge()
    built = build_shell(body, shape, parting, **WALL)
    return built, prove_mould(
        master=body.mesh,
        show_faces=np.zeros(len(body.mesh.faces), dtype=bool),
        body=body.mesh,
        skin=built.skin,
        pieces=[piece.mesh for piece in built.pieces],
        pulls=[piece.pull for piece in built.pieces],
        skin_thickness_mm=shape.thickness_mm,
        clearance_mm=built.clearance_mm,
        draft_deg=DRAFT_DEG,
        grid_mm=STEP_MM,
    )


def failed(proof: MouldProof) -> list[str]:
    return [c.sentence for c in proof.checks if not c.passed and not c.name.startswith("show")]


@pytest.mark.parametrize(
    "wall",
    [
        upright(80, 5.0),
        PartingWall((float(np.cos(0.4)), 0.0, float(np.sin(0.4))), 20.0),
        PartingWall(
            (1.0, 0.0, 0.0),
            0.0,
            tuple((u, 26 * np.sin(u / 70 * np.pi)) for u in range(-70, 71, 10)),
        ),
    ],
    ids=["upright", "tilted", "bent"],
)
def test_a_shell_on_a_fixed_wall_is_proved(wall: PartingWall) -> None:
    parting = steered(2, wall)
    assert parting.walls in ((wall,), (wall.turned,))
    built, proof = proof_of(parting)
    assert failed(proof) == []
    assert len(built.pieces) == 2
    for piece in built.pieces:
        assert len(piece.bolts_mm) >= 2
        assert wall.depth(*piece.bolts_mm.T) == pytest.approx(0.0, abs=0.3)


def test_a_bent_wall_along_the_crest_needs_less_silicone_than_a_flat_one() -> None:
    bend = tuple((u, 26 * np.sin(u / 70 * np.pi)) for u in range(-70, 71, 10))
    flat, bent = (
        build_shell(*ridge()[:2], steered(2, PartingWall((1.0, 0.0, 0.0), 0.0, b)), **WALL)
        for b in ((), bend)
    )
    assert bent.fill_cm3 < 0.5 * flat.fill_cm3


def test_a_slab_between_two_walls_comes_off_last() -> None:
    """No pull leans away from two parallel walls: the middle can only leave when the sides have."""
    walls = (upright(90, -30.0), upright(90, 30.0))
    zones = (
        Zone((walls[1],)),
        Zone((walls[0], walls[1].turned)),
        Zone((walls[0].turned,)),
    )
    assert in_any_order(ridge()[2], zones, draft_deg=DRAFT_DEG) is None
    found = in_some_order(ridge()[2], zones, draft_deg=DRAFT_DEG)
    assert found is not None
    assert found.is_ordered
    assert found.zones[-1] == zones[1]
    assert steered(3, *walls).is_ordered
    _, proof = proof_of(found)
    assert failed(proof) == []


@pytest.mark.long
def test_the_slab_first_is_caught_by_the_proof() -> None:
    walls = (upright(90, -30.0), upright(90, 30.0))
    found = steered(3, *walls)
    body, shape, _ = ridge()
    built = build_shell(body, shape, found, **WALL)
    order = [2, 0, 1]
    proof = prove_mould(
        master=body.mesh,
        show_faces=np.zeros(len(body.mesh.faces), dtype=bool),
        body=body.mesh,
        skin=built.skin,
        pieces=[built.pieces[k].mesh for k in order],
        pulls=[built.pieces[k].pull for k in order],
        skin_thickness_mm=shape.thickness_mm,
        clearance_mm=built.clearance_mm,
        draft_deg=DRAFT_DEG,
        grid_mm=STEP_MM,
    )
    assert any(check.name == "release: piece 1" for check in proof.failures)


def test_further_walls_are_found_beside_a_fixed_one() -> None:
    wall = upright(0, 0.0)
    parting = steered(3, wall)
    assert len(parting.zones) == 3
    assert wall in parting.walls or wall.turned in parting.walls
    assert parting.fill_cm3 <= steered(2, wall).fill_cm3 + 0.1


@pytest.mark.parametrize("pieces", [2, 3])
def test_the_search_is_never_worse_than_a_fixed_wedge(pieces: int) -> None:
    """Against walls of the candidates' own family, drawn at random."""
    shadows = demo_mould().shadows
    best = part_in(shadows, pieces=pieces, draft_deg=DRAFT_DEG)
    assert best is not None
    rng = np.random.default_rng(5)
    compared = 0
    while compared < 2:
        walls = [upright(15 * int(rng.integers(12)), 10 * float(rng.uniform(-1, 1)))]
        if pieces == 3:
            walls.append(upright(15 * int(rng.integers(12)), 20 * float(rng.uniform(-1, 1))))
        try:
            found = part_steered(shadows, pieces=pieces, walls=walls, draft_deg=DRAFT_DEG)
        except NoParting:
            continue  # two walls with no more than a splinter between them
        compared += 1
        if found is not None and not found.is_ordered:
            assert best.fill_cm3 <= found.fill_cm3 + 8.0 + 0.1  # the mirror's worth may be taken


def test_no_wall_is_put_across_a_painted_place() -> None:
    painted = Rules(keep_whole=tuple(((0.0, float(y), 46.0), 12.0) for y in range(-60, 61, 20)))
    found = part_steered(ridge()[2], pieces=2, walls=(), draft_deg=DRAFT_DEG, rules=painted)
    if found is not None:
        for place, radius in painted.keep_whole:
            away = found.walls[0].depth(*np.array(place)[:, None])
            assert abs(float(away[0])) >= radius
    everywhere = Rules(keep_whole=(((0.0, 0.0, 46.0), 500.0),))
    assert part_steered(
        ridge()[2], pieces=2, walls=(), draft_deg=DRAFT_DEG, rules=everywhere
    ) is None  # fmt: skip


def test_symmetric_partings_stand_on_the_mirror_or_square_to_it() -> None:
    shadows = demo_mould().shadows
    for pieces in (2, 3, 4):
        found = part_in(shadows, pieces=pieces, draft_deg=DRAFT_DEG, rules=Rules(symmetric=True))
        assert found is not None
        for wall in found.walls:
            lean = abs(wall.normal[0])  # the heron looks along y
            assert lean < 0.02 or (lean > 0.9998 and abs(wall.offset_mm) < 1.0)


def test_locked_pulls_are_taken_or_refused_by_name() -> None:
    parting = steered(2, upright(0, 0.0))
    again = with_pulls(ridge()[2], parting, parting.pulls, draft_deg=DRAFT_DEG)
    assert again.fill_cm3 == pytest.approx(parting.fill_cm3, abs=0.05)
    with pytest.raises(NoParting, match=r"pull of piece 1 \(.*into a parting wall of"):
        with_pulls(ridge()[2], parting, parting.pulls[::-1], draft_deg=DRAFT_DEG)
    with pytest.raises(NoParting, match="are 1 for a shell in 2 pieces"):
        with_pulls(ridge()[2], parting, parting.pulls[:1], draft_deg=DRAFT_DEG)
