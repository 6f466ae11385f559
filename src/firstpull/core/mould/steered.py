"""A shell parted at the walls that the maker fixed, and at further ones where there is room.

Fixed walls part space one after the other, each through the zone where it saves the most.
Where no pull leaves a zone between them, pieces may have to come off in order: a piece whose
neighbour has left needs no lean to the wall between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.grid import Grid
from firstpull.core.mould.adjust import adjusted, cheapest, skin_points
from firstpull.core.mould.parting import (
    NO_RULES,
    Candidates,
    Parting,
    Rules,
    candidates,
    freed_walls,
    leaving,
    part_in_one,
    settled,
)
from firstpull.core.mould.shadows import (
    COARSE_STEPS,
    LOWEST_PULL,
    Shadows,
    fill_within,
    find_mirror,
)
from firstpull.core.mould.skin import SkinShape
from firstpull.core.mould.wedges import LEAST_SKIN_SHARE
from firstpull.core.mould.zone import EVERYWHERE, PartingWall, Zone


class NoParting(WorkshopError):
    """The walls or pulls that the maker fixed give no shell that comes off."""

    code = "no_parting"


def part_steered(
    shadows: Shadows,
    *,
    pieces: int,
    walls: Sequence[PartingWall],
    draft_deg: float,
    rules: Rules = NO_RULES,
) -> Parting | None:
    """The parting in so many pieces with the least fill that keeps to fixed walls.

    Args:
        shadows: as cast.
        pieces: 1 to 4; one more than the fixed walls, or more.
        walls: that must be there; they may be tilted or bent.
        draft_deg: least lean of a pull to the walls of its zone.
        rules: where no other wall may stand.

    None where no walls are found, or no pulls, even one after the other.

    Raises:
        NoParting: a fixed wall misses the skin, parts off no more than a splinter, or turns so
            that no pull leaves it.
    """
    if pieces == 1 and not walls:
        return part_in_one(shadows, draft_deg=draft_deg)
    zones: tuple[Zone, ...] = (EVERYWHERE,)
    for number, wall in enumerate(walls, start=1):
        _need_way_off(shadows, wall, number, draft_deg)
        cut = _best_cut(shadows, zones, [wall], draft_deg)
        if len(cut) == len(zones):
            raise _parts_nothing(number)
        zones = cut
    if len(zones) > pieces:
        return None
    free = _walls(candidates(shadows, rules))
    while len(zones) < pieces:
        further = _best_cut(shadows, zones, free, draft_deg)
        if len(further) == len(zones):
            return None
        zones = further
    found = in_any_order(shadows, zones, draft_deg=draft_deg) or in_some_order(
        shadows, zones, draft_deg=draft_deg
    )
    if found is None:
        return None
    found = settled(
        shadows, found.zones, found.pulls, draft_deg=draft_deg, is_ordered=found.is_ordered
    )
    return adjusted(shadows, found, draft_deg=draft_deg, rules=rules, held=tuple(walls))


def need_place_for_walls(
    shape: SkinShape, rules: Rules, *, pieces: int, fixed_walls: int = 0
) -> None:
    """Asks, before anything is weighed, whether the rules leave a wall any place.

    Args:
        shape: the skin.
        rules: what the maker keeps whole.
        pieces: that the maker asks for.
        fixed_walls: how many walls stand already, whatever the rules say.

    Raises:
        NoParting: no wall may stand anywhere, and one is needed.
    """
    if not rules.keep_whole or fixed_walls >= pieces - 1:
        return
    bare = _without_shadows(shape)
    if _walls(candidates(bare, rules)):
        return
    tried = _walls(candidates(bare, NO_RULES))
    barred = [
        sum(not Rules((dab,)).allow(wall, None) for wall in tried) for dab in rules.keep_whole
    ]
    worst = int(np.argmax(barred))
    radius = rules.keep_whole[worst][1]
    raise NoParting(
        where="shell.keep_whole",
        found=f"leaves no place for a parting wall where shell.pieces asks for {pieces}: number "
        f"{worst + 1} alone, {radius:g} mm in radius, bars {barred[worst]} of {len(tried)} places",
        limit="a wall runs from side to side through the middle half of the part, past every dab",
        remedy="Make the dabs smaller or fewer, or ask for one piece.",
    )


def parted_at(
    shadows: Shadows, walls: Sequence[PartingWall], *, draft_deg: float
) -> Parting | None:
    """The shell parted at walls, with the sheaf's own pulls, in the order that needs least fill.

    Args:
        shadows: as cast.
        walls: each parts the zone where it saves the most; none is one piece.
        draft_deg: least lean of a pull to the walls of its zone.

    None where a piece has no way off, in whatever order.
    """
    zones: tuple[Zone, ...] = (EVERYWHERE,)
    for wall in walls:
        zones = _best_cut(shadows, zones, [wall], draft_deg)
    return in_any_order(shadows, zones, draft_deg=draft_deg) or in_some_order(
        shadows, zones, draft_deg=draft_deg
    )


def in_any_order(shadows: Shadows, zones: tuple[Zone, ...], *, draft_deg: float) -> Parting | None:
    """The zones with the cheapest pulls that each leave on their own; None where one cannot."""
    cost, ways = cheapest(shadows, zones, draft_deg=draft_deg)
    return Parting(zones, shadows.directions[ways], cost) if np.isfinite(cost) else None


def in_some_order(shadows: Shadows, zones: tuple[Zone, ...], *, draft_deg: float) -> Parting | None:
    """The zones in the cheapest order in which each leaves once those before it are gone."""
    tried: list[Parting] = []
    for order in permutations(zones):
        cost, ways = cheapest(shadows, order, draft_deg=draft_deg, is_ordered=True)
        if np.isfinite(cost):
            tried.append(Parting(order, shadows.directions[ways], cost, is_ordered=True))
    return min(tried, key=lambda parting: parting.fill_cm3, default=None)


def with_pulls(shadows: Shadows, parting: Parting, pulls: Floats, *, draft_deg: float) -> Parting:
    """The parting with pulls that the maker fixed.

    Args:
        pulls: (P, 3) unit vectors, in the order of the pieces.

    Raises:
        NoParting: their number does not fit, or a pull runs into a wall of its own zone.
    """
    if len(pulls) != len(parting.zones):
        raise NoParting(
            where="The locked pulls",
            found=f"are {len(pulls)} for a shell in {len(parting.zones)} pieces",
            limit="each piece has one",
            remedy="Lock as many pulls as there are pieces, or none.",
        )
    fill = 0.0
    for number, (zone, pull) in enumerate(zip(parting.zones, pulls, strict=True)):
        freed = freed_walls(parting.zones, number) if parting.is_ordered else ()
        if pull[2] < np.sin(np.radians(draft_deg)) or not zone.is_left_by(
            pull, draft_deg=draft_deg, but_for=freed
        ):
            raise _pull_runs_in(number, pull, zone, freed, draft_deg)
        fill += fill_within(shadows, pull, zone, draft_deg)
    return replace(parting, pulls=np.array(pulls, dtype=np.float64), fill_cm3=fill)


def _without_shadows(shape: SkinShape) -> Shadows:
    """The skin on the coarse grid alone: enough to say where walls may stand."""
    phi = np.ascontiguousarray(shape.phi[::COARSE_STEPS, ::COARSE_STEPS, ::COARSE_STEPS])
    size = (phi.shape[0], phi.shape[1], phi.shape[2])
    grid = Grid(shape.grid.low_mm, COARSE_STEPS * shape.grid.step_mm, size)
    none = np.zeros((0, 3))
    return Shadows(phi, grid, none, np.zeros((0, 0), np.float32), none, find_mirror(phi, grid))


def _pull_runs_in(
    number: int,
    pull: Floats,
    zone: Zone,
    freed: tuple[PartingWall, ...],
    draft_deg: float,
) -> NoParting:
    """The refusal of a pull: what it meets, and at which lean."""
    facings = [w.facings for w in zone.walls if w not in freed]
    to_walls = float((np.concatenate(facings) @ pull).min()) if facings else np.inf
    to_board = float(pull[2])
    met = "a parting wall of its piece" if to_walls < to_board else "the board"
    lean = float(np.degrees(np.arcsin(np.clip(min(to_walls, to_board), -1, 1))))
    return NoParting(
        where=f"The locked pull of piece {number + 1} (shell.pulls, number {number + 1})",
        found=f"runs {-lean:.0f} degrees into {met}"
        if lean < -0.5
        else f"leans only {abs(lean):.1f} degrees away from {met}",
        limit=f"a piece comes off at {draft_deg:g} degrees or more to the board and its walls",
        remedy="Turn the pull away from there, put the pulls in the order of the pieces, or take "
        "shell.pulls out.",
    )


def _need_way_off(shadows: Shadows, wall: PartingWall, number: int, draft_deg: float) -> None:
    """A wall that no pull leaves on either side holds both pieces, in whatever order."""
    sides = (Zone((wall,)), Zone((wall.turned,)))
    if any(leaving(shadows, side, draft_deg=draft_deg).any() for side in sides):
        return
    facings = wall.facings
    turned = np.degrees(np.arccos(np.clip((facings @ facings.T).min(), -1, 1)))
    raise NoParting(
        where=f"shell.walls, number {number},",
        found=f"turns by {turned:.0f} degrees along its way, so that a piece has no way off on "
        "either side",
        limit=f"a piece comes off at {draft_deg:g} degrees or more to every stretch of its wall "
        f"and {np.degrees(np.arcsin(LOWEST_PULL)):.0f} degrees off the board",
        remedy="Make its bends flatter, or take shell.draft_deg down where it was raised.",
    )


def _parts_nothing(number: int) -> NoParting:
    return NoParting(
        where=f"shell.walls, number {number},",
        found="misses the skin, or parts off no more than a splinter beside the walls before it",
        limit=f"each side of a wall holds {100 * LEAST_SKIN_SHARE:.0f} % of the skin or more",
        remedy="Move its point toward the middle of the part, or take the wall out.",
    )


def _best_cut(
    shadows: Shadows, zones: tuple[Zone, ...], walls: Sequence[PartingWall], draft_deg: float
) -> tuple[Zone, ...]:
    """The zones with one of them cut by one of the walls, where that leaves the least fill.

    A cut through zones that no pull leaves is taken too where there is no other: order may help.
    """
    skin = skin_points(shadows)
    best: tuple[float, int, tuple[Zone, ...]] | None = None
    for k, zone in enumerate(zones):
        before, _ = cheapest(shadows, (zone,), draft_deg=draft_deg)
        for wall in walls:
            parts: tuple[Zone, ...] = (zone.within(wall), zone.within(wall.turned))
            if not all(_holds(skin, part) for part in parts):
                continue
            after, _ = cheapest(shadows, parts, draft_deg=draft_deg)
            gain = after - before if np.isfinite(after) else 1e9
            if best is None or gain < best[0] - 1e-6:
                best = (gain, k, parts)
    if best is None:
        return zones
    _, k, parts = best
    return (*zones[:k], *parts, *zones[k + 1 :])


def _holds(skin: Floats, zone: Zone) -> bool:
    """Whether a piece there would cover more than a splinter."""
    depth = zone.into(*skin.T)
    return float((depth > 0).mean()) > LEAST_SKIN_SHARE


def _walls(tried: Candidates) -> list[PartingWall]:
    """The candidates that the rules allow."""
    at = np.argwhere(np.isfinite(tried.worth_cm3))
    return [
        Zone.beyond(tried.normals[a], float(tried.offsets[a, k])).walls[0] for a, k in at.tolist()
    ]
