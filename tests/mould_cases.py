"""Whole moulds made by the generator, each built once and shared by the tests that ask for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

import shapes
from firstpull.core.demo import heron_half_mask
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mould.adjust import adjusted
from firstpull.core.mould.body import BELOW_BOARD_MM, Body, build_body
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.place import Standing, stand_on_board
from firstpull.core.mould.proof import MouldProof, prove_mould
from firstpull.core.mould.shadows import Shadows, cast_shadows
from firstpull.core.mould.shell import SkinAndShell, build_shell, room_for_shell
from firstpull.core.mould.skin import SkinShape, shape_skin
from firstpull.core.mould.up import Up, find_up
from firstpull.core.mould.wedges import part_in

SKIN_MM = 6.0
SHELL_MM = 8.0
CLEARANCE_MM = 0.3
DRAFT_DEG = 3.0
BELOW_RIM_MM = 13.0
WALL = {"thickness_mm": SHELL_MM, "clearance_mm": CLEARANCE_MM, "draft_deg": DRAFT_DEG}


@dataclass(frozen=True)
class WholeMould:
    """Everything between a mesh and its skin and shell.

    Args:
        up, standing, body, shape, shadows: the steps in their order.
        partings: by number of pieces.
        built: by number of pieces.
        step_mm: of the grid of skin and shell.
    """

    up: Up
    standing: Standing
    body: Body
    shape: SkinShape
    shadows: Shadows
    partings: dict[int, Parting]
    built: dict[int, SkinAndShell]
    step_mm: float

    def proof_arguments(self, pieces: int) -> dict[str, Any]:
        """What ``prove_mould`` asks for, by name."""
        built = self.built[pieces]
        return {
            "master": self.standing.master,
            "show_faces": self.standing.show.faces,
            "body": self.body.mesh,
            "skin": built.skin,
            "pieces": [piece.mesh for piece in built.pieces],
            "pulls": [piece.pull for piece in built.pieces],
            "skin_thickness_mm": self.shape.thickness_mm,
            "clearance_mm": built.clearance_mm,
            "draft_deg": DRAFT_DEG,
            "grid_mm": self.step_mm,
        }

    def proof(self, pieces: int) -> MouldProof:
        """The independent proof of the shell in that many pieces."""
        return prove_mould(**self.proof_arguments(pieces))


def whole_mould(
    mesh: Mesh,
    *,
    pieces: Iterable[int] = (1, 2),
    step_mm: float = 2.0,
    skin_mm: float = SKIN_MM,
    given_up: tuple[float, float, float] | None = None,
) -> WholeMould:
    """The line from a closed mesh to a shell, for each number of pieces asked for."""
    up = find_up(mesh, given=given_up)
    standing = stand_on_board(mesh, up, below_rim_mm=BELOW_RIM_MM)
    body = build_body(standing.master, standing.show)
    shape = skin_of(body, step_mm=step_mm, skin_mm=skin_mm)
    shadows = cast_shadows(shape, draft_deg=DRAFT_DEG)
    found = {n: part_in(shadows, pieces=n, draft_deg=DRAFT_DEG) for n in pieces}
    partings = {
        n: adjusted(shadows, parting, draft_deg=DRAFT_DEG)
        for n, parting in found.items()
        if parting is not None
    }
    built = {n: build_shell(body, shape, parting, **WALL) for n, parting in partings.items()}
    return WholeMould(up, standing, body, shape, shadows, partings, built, step_mm)


def skin_of(
    body: Body, *, step_mm: float, skin_mm: float = SKIN_MM, flange_width_mm: float = 35.0
) -> SkinShape:
    """The skin of a body with the usual flange, and room for the usual shell."""
    return shape_skin(
        body,
        thickness_mm=skin_mm,
        flange_width_mm=flange_width_mm,
        flange_thickness_mm=8.0,
        step_mm=step_mm,
        room_mm=room_for_shell(thickness_mm=SHELL_MM, clearance_mm=CLEARANCE_MM),
    )


@lru_cache(maxsize=4)
def demo_mould(*, triangles: int = 60_000, step_mm: float = 1.5) -> WholeMould:
    """The demo's mask in one piece and in two."""
    return whole_mould(heron_half_mask(triangles=triangles), step_mm=step_mm)


@lru_cache(maxsize=4)
def shell_mould(
    kind: str, *, seed: int = 0, triangles: int = 15_000, step_mm: float = 1.5
) -> WholeMould:
    """A shell of ``shapes.KINDS`` in one piece and in two, up as the shell was built."""
    shell = shapes.implicit_shell(kind, seed, triangles)
    x, y, z = (float(c) for c in shell.up)
    return whole_mould(shell.mesh, given_up=(x, y, z), step_mm=step_mm)


def standing_body(mesh: Mesh) -> Body:
    """A closed form as a body: it stands on the board and goes straight on below it.

    What lies below is a prism under the outline at the board, so that offsets of an upright
    wall stay upright there; ``mesh`` is taken as it is.
    """
    made = solid(mesh)
    outline = made.slice(1e-6)
    foot = outline.extrude(BELOW_BOARD_MM + 1e-3).translate((0.0, 0.0, -BELOW_BOARD_MM))
    below = mesh_of(made + foot)
    return Body(
        mesh=mesh,
        below=below,
        volume_cm3=mesh.volume_mm3 / 1000,
        clay_cm3=0.0,
        trim_line_mm=np.zeros((0, 3)),
    )
