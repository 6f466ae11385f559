"""A run's folder as a plan would leave it, made from a body and its skin alone."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from firstpull.core.mesh.contour import contour
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.solid import mesh_of, solid
from firstpull.core.mesh.unit import UnitChoice
from firstpull.core.mould.body import Body
from firstpull.core.mould.fill import Fill
from firstpull.core.mould.loose import Loosened
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.piece import Piece
from firstpull.core.mould.place import Standing
from firstpull.core.mould.shell import SkinAndShell
from firstpull.core.mould.show import Show
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.zone import EVERYWHERE
from firstpull.services.jobs.look_write import View
from mould_cases import DRAFT_DEG, skin_of, standing_body

FRAME = np.array([[0.0, -1, 0, 5], [1, 0, 0, 6], [0, 0, 1, 7], [0, 0, 0, 1]])


def plain_skin(body: Body, shape: SkinShape) -> Mesh:
    """The skin without fill: on the board, the body left out."""
    whole = solid(contour(shape.phi, shape.grid)) - solid(body.below)
    return mesh_of(whole.trim_by_plane((0.0, 0.0, 1.0), 0.0))


def kept_run(run_dir: Path, mesh: Mesh, *, step_mm: float = 2.0) -> SkinShape:
    """The files of a run over a body that stands on the board; gives its skin.

    The shell is the body's own mesh: nothing that is asked of a run looks at it.
    """
    body = standing_body(mesh)
    shape = skin_of(body, step_mm=step_mm)
    up = mesh.face_normals[:, 2] > 0.5
    show = Show(up, (), 0.0, np.zeros(len(up)), False)
    none = np.zeros(0)
    built = SkinAndShell(
        skin=plain_skin(body, shape),
        skin_cm3=0.0,
        fill_cm3=0.0,
        pieces=(Piece(mesh, (0.0, 0.0, 1.0), 0.0, np.zeros((0, 3))),),
        parting=Parting((EVERYWHERE,), np.array([[0.0, 0.0, 1.0]]), 0.0),
        clearance_mm=0.3,
        fill=Fill(none.astype(np.int64), none.astype(np.float32)),
    )
    view = View(run_dir)
    view.read(UnitChoice("mm", 1.0, "the file says so"), ())
    view.show_arrived(mesh.moved(np.linalg.inv(FRAME)))
    view.show_findings(())
    view.keep_skin(shape)
    view.standing, view.body = Standing(mesh, show, FRAME), body
    view.loosened = Loosened(built, (), ())
    view.show_planned()
    plan = {"parts": [{"moulds": [{"shell": {"draft_deg": DRAFT_DEG}}]}]}
    (run_dir / "plan").mkdir()
    (run_dir / "plan/plan.json").write_text(json.dumps(plan))
    return shape
