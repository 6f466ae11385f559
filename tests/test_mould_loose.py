"""Loose rigid pieces: proved with the shell, moved out by Booleans, weighed against the fill."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

import shapes
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.body import Body
from firstpull.core.mould.loose import Loosened, loose_pieces
from firstpull.core.mould.loose_carve import LEAST_CM3
from firstpull.core.mould.options import DEEPEST_FILL_MM
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.proof import MouldProof, prove_mould
from firstpull.core.mould.shell import SkinAndShell, build_shell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.zone import EVERYWHERE, Zone
from mould_cases import DRAFT_DEG, SKIN_MM, WALL, skin_of, standing_body

STEP = 2.0
UP = np.array([[0.0, 0.0, 1.0]])
IN_ONE = Parting((EVERYWHERE,), UP, 0.0)
CRUMB_MM3 = 2 * STEP * (STEP * 2**0.5 / 4) ** 2  # what a grid's crease may leave, two cells long
TRAVELS_MM = (0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 60.0, 120.0, 300.0)


def niche(deep_mm: float) -> Mesh:
    """A block with a square niche in its right side, 76 mm wide and high, 20 mm over the board."""
    import manifold3d

    block = shapes.box(110, 110, 110)
    cut = manifold3d.Manifold.cube((deep_mm + 9, 76, 76)).translate((55 - deep_mm, -38, 20))
    return mesh_of(solid(block) - cut)


def mushroom() -> Mesh:
    """A cap on a stem: a groove 45 mm deep all around, 90 mm high."""
    return mesh_of(
        solid(shapes.cylinder(30, 100)) + solid(shapes.cylinder(75, 20)).translate((0, 0, 90))
    )


def bottle() -> Mesh:
    """A block around a round hollow of 80 mm, whose neck of 26 mm opens to the right."""
    import manifold3d

    hollow = manifold3d.Manifold.sphere(40, 64)
    neck = manifold3d.Manifold.cylinder(80, 13, 13, 48).rotate((0, 90, 0))
    return mesh_of(solid(shapes.box(110, 110, 120)) - (hollow + neck).translate((0, 0, 60)))


def in_two() -> Parting:
    """Parted by an upright wall across the niche, each half drawn away from it and up."""
    zone = Zone.beyond((0.0, 1.0, 0.0), 3.3)
    rise = np.radians(40)
    pulls = np.array([[0, side * np.cos(rise), np.sin(rise)] for side in (1, -1)])
    return Parting((zone, Zone((zone.walls[0].turned,))), pulls, 0.0)


@dataclass(frozen=True)
class Case:
    body: Body
    shape: SkinShape
    built: SkinAndShell
    loosened: Loosened

    def proof(self, **changed: Any) -> MouldProof:
        """Of shell and loose pieces, the loose ones last."""
        every = (*self.built.pieces, *self.loosened.pieces)
        arguments: dict[str, Any] = {
            "master": self.body.mesh,
            "show_faces": self.body.mesh.face_centres_mm[:, 2] > 1e-6,
            "body": self.body.mesh,
            "skin": self.loosened.built.skin,
            "pieces": [piece.mesh for piece in every],
            "pulls": [piece.pull for piece in every],
            "skin_thickness_mm": SKIN_MM,
            "clearance_mm": WALL["clearance_mm"],
            "draft_deg": DRAFT_DEG,
            "grid_mm": STEP,
        }
        return prove_mould(**(arguments | changed))


def case(mesh: Mesh, parting: Parting) -> Case:
    body = standing_body(mesh)
    shape = skin_of(body, step_mm=STEP)
    built = build_shell(body, shape, parting, **WALL)
    return Case(body, shape, built, loose_pieces(shape, built, draft_deg=DRAFT_DEG))


@lru_cache(maxsize=1)
def niche_in_two() -> Case:
    return case(niche(50.0), in_two())


@lru_cache(maxsize=1)
def niche_in_one() -> Case:
    return case(niche(50.0), IN_ONE)


@lru_cache(maxsize=1)
def mushroom_in_one() -> Case:
    return case(mushroom(), IN_ONE)


@lru_cache(maxsize=1)
def bottle_in_one() -> Case:
    return case(bottle(), IN_ONE)


WITH_LOOSE = [
    pytest.param(niche_in_two, 1, id="niche, two pieces"),
    pytest.param(niche_in_one, 1, id="niche, one piece", marks=pytest.mark.long),
    pytest.param(mushroom_in_one, 2, id="mushroom, one piece", marks=pytest.mark.long),
]


@pytest.mark.parametrize(("made", "count"), WITH_LOOSE)
def test_the_mould_is_proved_with_its_loose_pieces(made, count):
    found = made()
    assert len(found.loosened.pieces) == count
    assert found.loosened.stays == ()
    assert [check.sentence for check in found.proof().failures] == []


@pytest.mark.parametrize(("made", "count"), WITH_LOOSE)
def test_loose_pieces_move_out_by_booleans(made, count):
    """In their order, past skin, body, and the pieces that come after."""
    found = made()
    loose = [solid(piece.mesh) for piece in found.loosened.pieces]
    still = [solid(found.loosened.built.skin), solid(found.body.mesh)]
    for k, (piece, moving) in enumerate(zip(found.loosened.pieces, loose, strict=True)):
        for travel in (0.0, *TRAVELS_MM):
            moved = moving.translate(tuple(travel * np.array(piece.pull)))
            for other in (*still, *loose[k + 1 :]):
                assert (moved ^ other).volume() < CRUMB_MM3
    # far out the piece is clear of all: the travels above went through the whole mould
    low, high = found.loosened.built.skin.bounds_mm
    assert TRAVELS_MM[-1] > np.linalg.norm(high[:2] - low[:2])


@pytest.mark.parametrize(("made", "count"), WITH_LOOSE)
def test_fill_before_is_pieces_gaps_and_fill_after(made, count):
    """The gap is 0.3 mm and the rounding of h^2 / 8 r (1 / 6 + 1 / 6.3, in all 0.46 mm) wide over
    the faces that rest on silicone; that is all of the piece but its outer face and the side it
    shows another loose piece, so less than its whole area and more than a third of it."""
    found = made()
    before, after = found.built, found.loosened.built
    loose = sum(piece.volume_cm3 for piece in found.loosened.pieces)
    area = sum(piece.mesh.area_mm2 for piece in found.loosened.pieces) / 100
    assert after.fill_cm3 == pytest.approx(
        before.fill_cm3 - sum(p.fill_saved_cm3 for p in found.loosened.pieces)
    )
    gap = (before.skin_cm3 - after.skin_cm3) - loose
    assert area / 3 * 0.03 < gap < area * 0.046
    # the sparse field tells the same fill as the solids: within a tenth of a step of the surface
    from firstpull.core.mesh.contour import contour

    boards = -found.shape.grid.axes()[2].astype(np.float32)
    fields = [np.maximum(b.fill.field(found.shape.phi), boards) for b in (before, after)]
    volumes = [contour(field, found.shape.grid).volume_mm3 / 1000 for field in fields]
    assert volumes[0] - volumes[1] == pytest.approx(loose + gap, abs=0.1 * STEP * area / 10)


@pytest.mark.parametrize(("made", "count"), WITH_LOOSE)
def test_what_a_loose_piece_leaves_strips(made, count):
    for piece in made().loosened.pieces:
        assert piece.depth_mm > DEEPEST_FILL_MM
        assert piece.volume_cm3 > LEAST_CM3
        assert piece.volume_cm3 == pytest.approx(piece.mesh.volume_mm3 / 1000)
        assert "after the shell" in piece.sentence
    assert made().loosened.pieces[-1].deepest_left_mm <= DEEPEST_FILL_MM


def test_the_shell_stays_as_it_was():
    found = niche_in_two()
    assert found.loosened.built.pieces is found.built.pieces


def test_the_niche_is_left_through_its_mouth():
    """Level and to the right, as far as the board's draft lets it; the plain niche is 64 mm wide
    and high and 50 mm deep behind a face 6 mm farther out. Pulled at 3 degrees with as much
    draft, its walls lean in by twice that at most over its depth."""
    (piece,) = niche_in_two().loosened.pieces
    assert piece.pull[0] > np.cos(np.radians(10))
    lost = 2 * np.tan(np.radians(2 * DRAFT_DEG)) * 50
    assert (64 - lost) ** 2 * 44 / 1000 < piece.volume_cm3 < 76**2 * 54 / 1000
    # from the middle of the flush mouth the plain skin's rim is 32 mm away, more by its rounding
    assert 32 - STEP < piece.depth_mm < 38


def test_a_turned_pull_is_caught():
    """The proof of loose pieces can fail: drawn upward the piece meets the niche's roof."""
    found = niche_in_two()
    pulls = [piece.pull for piece in found.built.pieces]
    proof = found.proof(pulls=[*pulls, (0.6, 0.0, 0.8)])
    assert "release: piece 3" in [check.name for check in proof.failures]


def test_the_shell_comes_off_first():
    """The other way round, the loose piece runs into the shell."""
    found = niche_in_two()
    every = (*found.loosened.pieces, *found.built.pieces)
    proof = found.proof(pieces=[p.mesh for p in every], pulls=[p.pull for p in every])
    assert "release: piece 1" in [check.name for check in proof.failures]


def test_shallow_fill_proposes_nothing():
    """20 mm deep: no place of the fill lies 25 mm off the skin on the niche's bottom."""
    found = case(niche(20.0), in_two())
    assert found.built.fill_cm3 > 10
    assert found.loosened == Loosened(found.built, (), ())


def test_a_bottle_stays_filled_and_says_why():
    """The hollow of the plain skin is 68 mm wide, its neck 14 mm: what passes the neck is at most
    a rod of 0.154 cm2 times 100 or (14 / 68)^2 x 3 / 2 = 6 % of the ball."""
    found = bottle_in_one()
    assert found.loosened.pieces == ()
    assert found.loosened.built is found.built
    (stays,) = found.loosened.stays
    assert stays.depth_mm == pytest.approx(34.0, abs=4 * STEP)
    assert stays.best_share < 0.2
    assert "narrower than what lies behind it" in stays.sentence


def test_a_piece_that_would_graze_is_not_proposed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A loose piece that is carved too large, as by a grid's error, is dropped and told."""
    from firstpull.core.mould import loose as room

    carved = room.carved

    def too_large(*args: Any, **more: Any) -> Any:
        found = carved(*args, **more)
        if found is None:
            return None
        mesh, field, skin = found
        low, high = mesh.bounds_mm
        middle = 0.5 * (low + high)
        grown = solid(mesh).translate(tuple(-middle)).scale((1.03,) * 3).translate(tuple(middle))
        return mesh_of(grown), field, skin

    monkeypatch.setattr(room, "carved", too_large)
    case = niche_in_two()
    result = loose_pieces(case.shape, case.built, draft_deg=DRAFT_DEG)
    assert result.pieces == ()
    assert result.built is case.built
    assert "grazes by" in result.stays[0].sentence
