"""The shell of a plan: partings as the maker steers them, weighed, and the chosen one built."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from firstpull.core.arrays import Floats
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.access import proxy_of, pull_directions
from firstpull.core.mould.adjust import adjusted
from firstpull.core.mould.body import Body
from firstpull.core.mould.build_box import BuildBox
from firstpull.core.mould.drawn_line import BadLine
from firstpull.core.mould.fill_guide import FillGuide, fill_guide, skin_and_pockets
from firstpull.core.mould.fill_surface import skin_surfaces
from firstpull.core.mould.gauges import Gauge, profile_gauges
from firstpull.core.mould.least import LeastPieces, least_pieces
from firstpull.core.mould.loose import Loosened, loose_pieces
from firstpull.core.mould.options import (
    Option,
    recommend,
    told_as_built,
    told_left_out,
    undominated,
    weigh_option,
)
from firstpull.core.mould.parting import Parting, Rules, part_in_one, part_in_two
from firstpull.core.mould.shadows import Shadows, cast_shadows
from firstpull.core.mould.shell import build_shell
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.steered import NoParting, part_steered, with_pulls
from firstpull.core.mould.steering import Steering, steering_of
from firstpull.core.mould.wedges import MOST_PIECES, part_further
from firstpull.core.mould.zone import PartingWall
from firstpull.core.sheet import JobSheet
from firstpull.services.stages import Stages

Span = tuple[float, float]

FREED_SHARE = 0.99  # of what any pull frees; the rest is a film that goes on with the coats


@dataclass(frozen=True)
class GuideToFill:
    """The fill as it is told and drawn.

    Args:
        guide: its places.
        gauges: cards to check them by hand.
        skin, pockets: the outside of the filled skin in two open surfaces, for pictures.
    """

    guide: FillGuide
    gauges: tuple[Gauge, ...]
    skin: Mesh
    pockets: Mesh


@dataclass(frozen=True)
class ChosenShell:
    """The choice chart, why its point was taken, and skin and shell built there.

    Args:
        options: fewest pieces first; the chosen one as built.
        left_out: why a count is not on the chart, a line each.
        reason: why that many pieces, in one sentence.
        least: the fewest pieces without fill, and what is proved about fewer.
        loosened: skin and shell as built, and the loose rigid pieces in deep pockets.
        guide: where silicone fills, and how deep.
    """

    options: tuple[Option, ...]
    left_out: tuple[str, ...]
    reason: str
    least: LeastPieces
    loosened: Loosened
    guide: GuideToFill


def choose_shell(
    body: Body,
    shape: SkinShape,
    sheet: JobSheet,
    stages: Stages,
    *,
    to_mould: Floats,
    span: Span,
) -> ChosenShell:
    """The shell of a body, in as many pieces as pays or as the maker asked for.

    Args:
        body, shape: the body on the board and its skin before fill.
        sheet: the job's answers; its walls and pulls are in the file's coordinates.
        stages: runs and remembers each step.
        to_mould: (4, 4) from there.
        span: shares of the whole work at which this begins and ends.

    Raises:
        WorkshopError: what the maker fixed gives no wall, or no shell that comes off.
    """
    at = partial(_part_of, span)
    draft = sheet.shell.draft_used_deg
    steering = steering_of(sheet, to_mould)
    walls = _fixed_walls(steering, body, to_mould)
    shadows = stages.run("casting shadows", cast_shadows, shape, draft_deg=draft, span=at(0.0, 0.2))
    least = stages.run(
        "proving the fewest pieces", _fewest, shape, draft_deg=draft, span=at(0.2, 0.3)
    )
    partings = _partings(shadows, steering, walls, draft, stages, at(0.3, 0.5))
    weighed = [
        stages.run(
            "weighing the choice",
            weigh_option,
            body,
            shape,
            parting,
            span=at(0.5, 0.6),
            **_wall(sheet),
        )
        for parting in partings
    ]
    options, chosen, reason = _chosen(weighed, sheet, steering)
    built = stages.run(
        "building skin and shell",
        build_shell,
        body,
        shape,
        partings[weighed.index(chosen)],
        box=_box(sheet),
        span=at(0.6, 0.85),
        **_wall(sheet),
    )
    loosened = stages.run(
        "looking for deep fill", loose_pieces, shape, built, draft_deg=draft, span=at(0.85, 0.9)
    )
    told = told_as_built(
        options,
        pieces=chosen.pieces,
        fill_cm3=built.fill_cm3,
        skin_cm3=built.skin_cm3,
        shell_cm3=sum(piece.volume_cm3 for piece in built.pieces),
    )
    return ChosenShell(
        options=tuple(told),
        left_out=told_left_out(weighed, told),
        reason=reason,
        least=least,
        loosened=loosened,
        guide=stages.run("guiding the fill", _guide, shape, loosened, span=at(0.9, 1.0)),
    )


def _part_of(span: Span, low: float, high: float) -> Span:
    width = span[1] - span[0]
    return span[0] + low * width, span[0] + high * width


def _wall(sheet: JobSheet) -> dict[str, Any]:
    return {
        "thickness_mm": sheet.shell.thickness_used_mm,
        "clearance_mm": sheet.shell.clearance_used_mm,
        "draft_deg": sheet.shell.draft_used_deg,
    }


def _box(sheet: JobSheet) -> BuildBox | None:
    """The printer's room, where the shell is printed and it is known."""
    size = sheet.shop.build_box_mm
    if size is None or sheet.shell.kind != "printed":
        return None
    return BuildBox((size[0], size[1], size[2]))


def _fixed_walls(steering: Steering, body: Body, to_mould: Floats) -> tuple[PartingWall, ...]:
    try:
        return steering.walls_on(body.mesh)
    except BadLine as bad:
        raise bad.in_file(to_mould) from None


def _fewest(shape: SkinShape, *, draft_deg: float) -> LeastPieces:
    return least_pieces(
        proxy_of(shape),
        pull_directions(),
        draft_deg=draft_deg,
        on_board=True,
        share=FREED_SHARE,
    )


def _guide(shape: SkinShape, loosened: Loosened) -> GuideToFill:
    built = loosened.built
    surfaces = skin_surfaces(shape, built.fill)
    guide = fill_guide(shape, built.fill, zones=built.parting.zones, surfaces=surfaces)
    skin, pockets = skin_and_pockets(guide, surfaces, shape.grid)
    gauges = profile_gauges(guide.places, surfaces, shape.grid)
    return GuideToFill(guide, gauges, skin, pockets)


def _partings(
    shadows: Shadows,
    steering: Steering,
    walls: tuple[PartingWall, ...],
    draft_deg: float,
    stages: Stages,
    span: Span,
) -> list[Parting]:
    """The best parting in each number of pieces that there is one for, fewest first."""
    rules = Rules(
        keep_whole=tuple((dab.place_mm, dab.radius_mm) for dab in steering.keep_whole),
        symmetric=steering.symmetric,
    )
    if steering.symmetric and shadows.mirror is None:
        raise NoParting(
            where="shell.symmetric",
            found="is asked for, but the skin is not its own mirror image in any upright plane",
            limit="its sides must agree within 1 mm",
            remedy="Leave shell.symmetric out, or mend the symmetry of the mesh.",
        )
    run: Callable[..., Any] = partial(stages.run, draft_deg=draft_deg, span=span)
    if walls:
        found = [
            run(
                f"parting in {pieces} at fixed walls",
                part_steered,
                shadows,
                pieces=pieces,
                walls=walls,
                rules=rules,
            )
            for pieces in range(len(walls) + 1, MOST_PIECES + 1)
        ]
    else:
        found = [
            run("parting in one", part_in_one, shadows),
            run("parting in two", part_in_two, shadows, rules=rules),
        ]
        further = run("parting in three and four", part_further, shadows, rules=rules)
        found += further.values()
        found = [
            run("moving and bending walls", adjusted, shadows, parting, rules=rules)
            for parting in found
            if parting is not None
        ]
    partings = [parting for parting in found if parting is not None]
    if not partings:
        raise NoParting(
            where="shell.walls",
            found="part the shell so that a piece has no way off",
            limit="each piece needs a pull that leans away from its walls, now or in some order",
            remedy="Move a wall or tilt it, or leave one out.",
        )
    if steering.pulls is None:
        return partings
    return [
        run("taking locked pulls", with_pulls, shadows, parting, steering.pulls)
        if len(parting.zones) == len(steering.pulls)
        else parting
        for parting in partings
    ]


def _chosen(
    weighed: list[Option], sheet: JobSheet, steering: Steering
) -> tuple[list[Option], Option, str]:
    """The chart, the point to take, and why."""
    options = undominated(weighed)
    chosen, reason = recommend(options, piece_worth=steering.piece_worth)
    wanted = sheet.shell.pieces or (len(steering.pulls) if steering.pulls is not None else None)
    if wanted is None or wanted == chosen.pieces:
        return options, chosen, reason
    able = [option for option in weighed if option.pieces <= wanted] or weighed[:1]
    if able[-1].pieces != wanted:
        reason = f"There is no parting in {wanted} pieces. Otherwise: {reason}"
    else:
        reason = f"The maker asked for {wanted}. Otherwise: {reason}"
    chosen = able[-1]
    if chosen not in options:
        options = sorted([*options, chosen], key=lambda option: option.pieces)
    return options, chosen, reason
