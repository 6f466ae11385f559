"""The geometry of a plan: from the mesh as read to a mould, stage by stage, and its proof."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.check.defects import find_defects
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.measure import Measures, measure
from firstpull.core.mesh.mending.bench import Mended
from firstpull.core.mesh.mending.mend import mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.unit import UnitChoice
from firstpull.core.mould.body import Body, ShowBuried, build_body, show_buried
from firstpull.core.mould.loose import Loosened, LoosePiece
from firstpull.core.mould.options import Option
from firstpull.core.mould.parting import Rules
from firstpull.core.mould.passages import Passage, find_passages
from firstpull.core.mould.place import Standing, repainted, stand_on_board, turn_up
from firstpull.core.mould.pockets import Pocket, find_pockets
from firstpull.core.mould.proof import MouldProof, prove_mould
from firstpull.core.mould.shell import SkinAndShell, room_for_shell
from firstpull.core.mould.show import RimTouchesItself, rim_touches_itself
from firstpull.core.mould.show_paint import ShowInPieces, dabs_in, show_in_pieces
from firstpull.core.mould.skin import SkinShape, shape_skin
from firstpull.core.mould.steered import need_place_for_walls
from firstpull.core.mould.steering import Steering, steering_of
from firstpull.core.mould.stretch import Stretch, stripping_stretch
from firstpull.core.mould.up import Up, find_up
from firstpull.core.progress import Progress, quiet
from firstpull.core.sheet import JobSheet
from firstpull.services.mending_told import MendingTold, mending_told
from firstpull.services.shell_stages import ChosenShell, choose_shell
from firstpull.services.size_limit import need_room
from firstpull.services.stages import Stages


@dataclass(frozen=True)
class Geometry:
    """Everything that has a shape, in the mould frame unless said otherwise.

    Args:
        designed: the mesh as designed, mm, in the file's axes.
        printed: the same at the size it is printed.
        findings: what the checker found in ``printed``.
        mended: what mending made of it.
        measures: of the mended master.
        up: away from the board, in the file's axes.
        standing: master, show surface and frame.
        body, stretch, pockets: the mould.
        passages: that the skin fills from side to side.
        shell: the choice chart, and skin and shell as built at the point taken.
        to_mould: (4, 4) from the file's coordinates.
    """

    designed: Mesh
    printed: Mesh
    findings: tuple[Finding, ...]
    mended: Mended
    told: MendingTold | None
    measures: Measures
    up: Up
    standing: Standing
    body: Body
    stretch: Stretch
    pockets: tuple[Pocket, ...]
    passages: tuple[Passage, ...]
    shell: ChosenShell
    to_mould: Floats

    @property
    def built(self) -> SkinAndShell:
        """Skin and shell."""
        return self.shell.loosened.built

    @property
    def loose(self) -> tuple[LoosePiece, ...]:
        """Rigid pieces that stay in deep pockets when the shell comes off."""
        return self.shell.loosened.pieces

    @property
    def options(self) -> tuple[Option, ...]:
        """The choice chart, fewest pieces first; the chosen one as built."""
        return self.shell.options

    @property
    def reason(self) -> str:
        """Why that many pieces, in one sentence."""
        return self.shell.reason


def shape_mould(
    mesh: Mesh, unit: UnitChoice, sheet: JobSheet, stages: Stages, *, span: tuple[float, float]
) -> Geometry:
    """Checks, mends, stands and moulds one part.

    Args:
        mesh: as read, in the file's own unit.
        unit: what that unit is.
        sheet: the job's answers.
        stages: runs and remembers each step.
        span: shares of the whole work at which this begins and ends.
    """

    def part(low: float, high: float) -> tuple[float, float]:
        return span[0] + low * (span[1] - span[0]), span[0] + high * (span[1] - span[0])

    factor = unit.factor_to_mm
    designed = mesh.moved(_scaling(factor))
    printed = mesh.moved(_scaling(factor * sheet.master.scale))
    need_room(printed, unit, sheet)
    findings = stages.run("checking the mesh", find_defects, printed, span=part(0, 0.08))
    mended = stages.run(
        "mending the mesh", mend, printed, wall_mm=sheet.master.wall_mm, span=part(0.08, 0.2)
    )
    told = stages.run("measuring what mending did", mending_told, printed, mended)
    up = stages.run("finding up", find_up, mended.mesh, given=sheet.master.up, span=part(0.2, 0.23))
    scaling = _scaling(factor * sheet.master.scale)
    with _places_in_file(turn_up(up.direction) @ scaling):
        standing = stages.run(
            "finding the show surface",
            stand_on_board,
            mended.mesh,
            up,
            below_rim_mm=sheet.board.below_rim_mm,
            span=part(0.23, 0.35),
        )
    standing = _painted(standing, sheet, scaling, stages, part(0.35, 0.37))
    to_mould = standing.frame @ scaling
    steering = steering_of(sheet, to_mould)  # refused here, before anything is shaped
    with _places_in_file(to_mould, painted=standing.show.unpainted is not None):
        body = stages.run(
            "building the body",
            build_body,
            standing.master,
            standing.show,
            wall_draft_deg=sheet.board.wall_draft_deg,
            span=part(0.37, 0.57),
        )
    stretch = stages.run(
        "measuring the stretch", stripping_stretch, body.mesh, span=part(0.57, 0.6)
    )
    shape = _skin(body, sheet, stages, part(0.6, 0.7))
    _need_place_for_walls(shape, sheet, steering)
    pockets = stages.run("looking for pockets", find_pockets, shape, span=part(0.7, 0.71))
    passages = stages.run(
        "looking for passages",
        find_passages,
        shape,
        above_mm=sheet.skin.flange_thickness_mm,
        but_for=pockets,
        span=part(0.71, 0.72),
    )
    shell = choose_shell(body, shape, sheet, stages, to_mould=to_mould, span=part(0.72, 1.0))
    return Geometry(
        designed=designed,
        printed=printed,
        findings=findings,
        mended=mended,
        told=told,
        measures=measure(standing.master),
        up=up,
        standing=standing,
        body=body,
        stretch=stretch,
        pockets=pockets,
        passages=passages,
        shell=shell,
        to_mould=to_mould,
    )


def _painted(
    standing: Standing, sheet: JobSheet, scaling: Floats, stages: Stages, span: tuple[float, float]
) -> Standing:
    """The show surface as the sheet paints it; as found where it does not."""
    if not sheet.master.paint:
        return standing
    to_found = standing.frame @ scaling
    with _places_in_file(to_found, painted=True):
        return stages.run(
            "painting the show surface",
            repainted,
            standing,
            dabs_in(sheet.master.paint, to_found),
            below_rim_mm=sheet.board.below_rim_mm,
            span=span,
        )


@contextmanager
def _places_in_file(to_mould: Floats, *, painted: bool = False) -> Iterator[None]:
    """Names the place of a refusal in the axes of the mesh file, and the paint that may be why."""
    try:
        yield
    except (ShowBuried, RimTouchesItself, ShowInPieces) as refused:
        x, y, z = (np.linalg.inv(to_mould) @ [*refused.place_mm, 1.0])[:3]
        place = (float(x), float(y), float(z))
        raise _told_in_file(refused, place, painted=painted) from None


def _told_in_file(
    refused: ShowBuried | RimTouchesItself | ShowInPieces,
    place: tuple[float, float, float],
    *,
    painted: bool,
) -> WorkshopError:
    frame = "mesh file's axes"
    if isinstance(refused, ShowInPieces):
        return show_in_pieces(place, area_mm2=refused.area_mm2, dab=refused.dab, frame=frame)
    told: ShowBuried | RimTouchesItself
    if isinstance(refused, ShowBuried):
        told = show_buried(refused.share, place, frame=frame)
    else:
        told = rim_touches_itself(place, frame=frame)
    if not painted:
        return told
    remedy = f"Where master.paint changed that place, take the dabs out. {told.remedy}"
    return type(told)(where=told.where, found=told.found, limit=told.limit, remedy=remedy)


def _scaling(factor: float) -> Floats:
    return np.diag([factor, factor, factor, 1.0])


def _skin(body: Body, sheet: JobSheet, stages: Stages, span: tuple[float, float]) -> SkinShape:
    return stages.run(
        "laying the skin",
        shape_skin,
        body,
        thickness_mm=sheet.skin.thickness_mm,
        flange_width_mm=sheet.skin.flange_width_mm,
        flange_thickness_mm=sheet.skin.flange_thickness_mm,
        step_mm=sheet.grid_mm,
        room_mm=room_for_shell(
            thickness_mm=sheet.shell.thickness_used_mm, clearance_mm=sheet.shell.clearance_used_mm
        ),
        span=span,
    )


def _need_place_for_walls(shape: SkinShape, sheet: JobSheet, steering: Steering) -> None:
    need_place_for_walls(
        shape,
        Rules(
            keep_whole=tuple((dab.place_mm, dab.radius_mm) for dab in steering.keep_whole),
            symmetric=steering.symmetric,
        ),
        pieces=sheet.shell.pieces or 1,
        fixed_walls=len(sheet.shell.walls or ()),
    )


def prove(
    shape: Geometry, sheet: JobSheet, stages: Stages, *, span: tuple[float, float]
) -> MouldProof:
    """What is proved of the mould, by other means than those that built it."""
    return stages.run(
        "proving the mould",
        _prove,
        shape.standing,
        shape.body,
        shape.shell.loosened,
        skin_thickness_mm=sheet.skin.thickness_mm,
        draft_deg=sheet.shell.draft_used_deg,
        grid_mm=sheet.grid_mm,
        span=span,
    )


def _prove(
    standing: Standing,
    body: Body,
    loosened: Loosened,
    *,
    skin_thickness_mm: float,
    draft_deg: float,
    grid_mm: float,
    progress: Progress = quiet,
) -> MouldProof:
    built = loosened.built
    rigid = (*built.pieces, *loosened.pieces)
    return prove_mould(
        master=standing.master,
        show_faces=standing.show.faces,
        body=body.mesh,
        skin=built.skin,
        pieces=[piece.mesh for piece in rigid],
        pulls=[piece.pull for piece in rigid],
        skin_thickness_mm=skin_thickness_mm,
        clearance_mm=built.clearance_mm,
        draft_deg=draft_deg,
        grid_mm=grid_mm,
        progress=progress,
    )
