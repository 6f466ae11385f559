"""How many shell pieces? Each count with the silicone it costs, and the one to take.

A choice is weighed by three things: pieces, silicone fill and the shell's own mass. One is
kept out of the chart where a choice of fewer pieces has no more of the other two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstpull.core.mesh.grid import Field, Grid
from firstpull.core.mould.body import Body
from firstpull.core.mould.from_above import Outline, SeenFromAbove
from firstpull.core.mould.locks import MOST_LOCKS, Lock, find_locks
from firstpull.core.mould.parting import Parting
from firstpull.core.mould.piece import band_and_flange
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.sweep import swept
from firstpull.core.mould.wedges import MOST_PIECES
from firstpull.core.mould.zone import PartingWall

CHART_STEPS = 2  # of the skin's grid: the chart is drawn coarser than the mould is built
WORTH_A_PIECE = 0.15  # share of the silicone that a further piece must save; common practice
LEAST_SAVED_CM3 = 0.2  # fill that a coarse grid can tell apart
LEAST_LIGHTER = 0.02  # share of the shell that a coarse grid can tell apart
DEEPEST_FILL_MM = 25.0  # fill beyond this strips badly; common practice

Way = tuple[float, float, float]


@dataclass(frozen=True)
class Option:
    """A shell of so many pieces.

    Args:
        pieces: how many.
        fill_cm3: silicone that only closes what would lock the shell.
        skin_cm3: all silicone, fill included.
        shell_cm3: all pieces together, flanges included.
        deepest_fill_mm: greatest depth of fill over the plain skin.
        locks: where the shell would lock without fill, the largest first.
        pulls: the way each piece leaves, unit vectors.
        walls: that part the pieces.
        outlines: of each piece, seen from above.
    """

    pieces: int
    fill_cm3: float
    skin_cm3: float
    shell_cm3: float
    deepest_fill_mm: float
    locks: tuple[Lock, ...] = ()
    pulls: tuple[Way, ...] = ()
    walls: tuple[PartingWall, ...] = ()
    outlines: tuple[tuple[Outline, ...], ...] = ()


def weigh_option(
    body: Body,
    shape: SkinShape,
    parting: Parting,
    *,
    thickness_mm: float,
    clearance_mm: float,
    draft_deg: float,
) -> Option:
    """What a parting costs and where it locks, counted on a coarse grid.

    Args: as for building the shell.
    """
    n = CHART_STEPS
    phi = np.ascontiguousarray(shape.phi[::n, ::n, ::n])
    step = n * shape.grid.step_mm
    grid = Grid(shape.grid.low_mm, step, (phi.shape[0], phi.shape[1], phi.shape[2]))
    x, y, z = grid.axes()
    plain = _share(phi, step)
    above = np.clip(z / step + 0.5, 0, 1).astype(np.float32)
    cell = step**3 / 1000
    fill = shell = deepest = 0.0
    locks: list[Lock] = []
    seen = SeenFromAbove(grid)
    in_the_way = phi
    for number, (zone, pull) in enumerate(zip(parting.zones, parting.pulls, strict=True), start=1):
        s = swept(
            in_the_way,
            grid,
            pull=pull,
            draft_deg=draft_deg,
            up_to_mm=clearance_mm + thickness_mm + 2 * step,
            zone=zone,
        )
        into = zone.into(x, y, z)
        within = np.clip(into / step + np.float32(0.5), 0, 1) * above
        added = (_share(s, step) - plain) * within
        band = band_and_flange(
            phi,
            s,
            into if zone.walls else None,
            thickness_mm=thickness_mm,
            clearance_mm=clearance_mm,
        )
        piece = np.maximum(band, np.float32(clearance_mm) - s)
        fill += float(added.sum()) * cell
        shell += float((_share(piece, step) * within).sum()) * cell
        if (added > 0.5).any():
            deepest = max(deepest, float(phi[added > 0.5].max()))
        locks += find_locks(added, phi, grid, piece=number)
        if parting.is_ordered:  # fill that this piece leaves stands before those that follow
            in_the_way = _with_fill(in_the_way, np.maximum(s, -into), step)
        seen.add(np.maximum(piece, np.maximum(-into, -z.astype(np.float32))))
    return Option(
        pieces=len(parting.zones),
        fill_cm3=fill,
        skin_cm3=float((plain * above).sum()) * cell - body.volume_cm3 + fill,
        shell_cm3=shell,
        deepest_fill_mm=deepest,
        locks=tuple(sorted(locks, key=lambda lock: -lock.volume_cm3)[:MOST_LOCKS]),
        pulls=tuple((float(a), float(b), float(c)) for a, b, c in parting.pulls),
        walls=parting.walls,
        outlines=seen.outlines(),
    )


def _with_fill(phi: Field, filled: Field, step: float) -> Field:
    """Distance to what either field encloses, to about a quarter step off the second one."""
    from scipy.ndimage import distance_transform_edt

    if not (filled < np.minimum(phi, 0)).any():
        return phi
    away = distance_transform_edt(filled >= 0).astype(np.float32) - np.float32(0.5)
    return np.minimum(phi, np.where(filled < 0, filled, np.float32(step) * away))


def undominated(options: Sequence[Option]) -> list[Option]:
    """The options that beat every one with fewer pieces in fill or in shell.

    Args:
        options: by number of pieces, fewest first.

    Nothing kept has a choice beside it with no more pieces, no more fill and no more shell;
    and for all that is left out, one with fewer pieces is kept that is as good within what the
    coarse grid can tell: 0.2 cm3 of fill, 2 % of the shell.

    >>> few, more = Option(1, 9.0, 500.0, 600.0, 14.0), Option(2, 9.0, 500.0, 640.0, 4.0)
    >>> undominated([few, more]) == [few]
    True
    """
    kept: list[Option] = []
    for option in options:
        if not any(_covers(other, option) for other in kept):
            kept.append(option)
    return kept


def _covers(fewer: Option, option: Option) -> bool:
    """Whether an option with fewer pieces is as good in fill and in shell."""
    return (
        option.fill_cm3 >= fewer.fill_cm3 - LEAST_SAVED_CM3
        and option.shell_cm3 >= (1 - LEAST_LIGHTER) * fewer.shell_cm3
    )


def told_left_out(
    weighed: Sequence[Option], kept: Sequence[Option], *, most_pieces: int = MOST_PIECES
) -> tuple[str, ...]:
    """For each count that the chart leaves out, why, in a line.

    Args:
        weighed: by number of pieces, fewest first.
        kept: those on the chart.
        most_pieces: that were looked for.

    >>> one, two = Option(1, 9.0, 500.0, 600.0, 14.0), Option(2, 9.0, 500.0, 640.0, 4.0)
    >>> told_left_out([one, two], [one], most_pieces=3)
    ('2 pieces save nothing over 1.', 'No parting into 3 pieces was found.')
    """
    lines = []
    shown = {option.pieces for option in kept}
    able = {option.pieces: option for option in weighed}
    for pieces in range(1, most_pieces + 1):
        if pieces in shown:
            continue
        if pieces not in able:
            lines.append(
                "No shell of one piece was found that comes off."
                if pieces == 1
                else f"No parting into {pieces} pieces was found."
            )
            continue
        fewer = [option for option in kept if option.pieces < pieces]
        better = [option for option in fewer if _covers(option, able[pieces])] or fewer
        lines.append(f"{pieces} pieces save nothing over {better[-1].pieces}.")
    return tuple(lines)


def told_as_built(
    options: Sequence[Option], *, pieces: int, fill_cm3: float, skin_cm3: float, shell_cm3: float
) -> list[Option]:
    """The chart with the built shell's figures in place of the coarse grid's.

    Args:
        options: by number of pieces, fewest first; one of them has been built.
        pieces: of that one.
        fill_cm3, skin_cm3, shell_cm3: as built.

    The skin less its fill is the same silicone in every choice, so the others take it over
    too. A choice that the built one now covers is left out, never the built one itself.
    """
    index = [option.pieces for option in options].index(pieces)
    plain = skin_cm3 - fill_cm3
    told = [replace(option, skin_cm3=plain + option.fill_cm3) for option in options]
    built = replace(told[index], fill_cm3=fill_cm3, skin_cm3=skin_cm3, shell_cm3=shell_cm3)
    more = [option for option in told[index + 1 :] if not _covers(built, option)]
    return [*told[:index], built, *more]


def recommend(
    options: Sequence[Option], *, piece_worth: float = WORTH_A_PIECE
) -> tuple[Option, str]:
    """The option to take, and the reason in one sentence.

    Args:
        options: by number of pieces, fewest first.
        piece_worth: share of the silicone that a further piece must save.

    >>> few = Option(1, 46.0, 510.0, 600.0, 14.0)
    >>> more = Option(2, 3.0, 467.0, 640.0, 4.0)
    >>> recommend([few, more])[0].pieces
    1
    >>> recommend([few, more], piece_worth=0.05)[1]
    '2 pieces save 43 cm³ of silicone, 8 % of it.'
    """
    chosen = options[0]
    why = "One piece needs no parting wall."
    if chosen.pieces > 1:
        why = f"{chosen.pieces} pieces are the fewest that there is a parting for."
    weighed_against = chosen
    for option in options[1:]:
        saved = chosen.skin_cm3 - option.skin_cm3
        strips = option.deepest_fill_mm <= max(DEEPEST_FILL_MM, chosen.deepest_fill_mm)
        if chosen.deepest_fill_mm > DEEPEST_FILL_MM > option.deepest_fill_mm:
            why = (
                f"Fill {chosen.deepest_fill_mm:.0f} mm deep would strip badly; "
                f"{option.pieces} pieces keep it to {option.deepest_fill_mm:.0f} mm."
            )
        elif strips and saved > piece_worth * chosen.skin_cm3:
            why = (
                f"{option.pieces} pieces save {saved:.0f} cm³ of silicone, "
                f"{100 * saved / chosen.skin_cm3:.0f} % of it."
            )
        else:
            if weighed_against is chosen:  # the next count is what a maker would ask about
                more = f"{option.pieces} pieces would save only {max(saved, 0.0):.0f} cm³ of"
                why = f"{more} silicone: not worth a parting wall and its bolts."
                weighed_against = option
            continue
        chosen = weighed_against = option
    return chosen, why


def _share(field: Field, step: float) -> Field:
    """How much of each cell lies where the field is negative."""
    return np.clip(np.float32(0.5) - field / np.float32(step), 0, 1)
