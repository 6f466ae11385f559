"""How few pieces can a shell have at least, and is that proven?

Each pull tried reaches some faces. The fewest pulls that together reach what any of them
reaches are a smallest cover. One, two and three pulls are settled by counting: what every set
of them covers follows from products of the table of who reaches what, and a place that few pulls
reach tells which pulls must be among them. Beyond three, a good set is found by taking the best
next pull and exchanging single ones, and a mixed-integer programme bounds the number from below.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstpull.core.arrays import Flags, Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mould.access import (
    NoPulls,
    free_quarters,
    not_on_board,
    off_board,
    unit_directions,
)

SHARE = 0.999
SLACK = 1e-10  # of all area: rounding of sums
TIME_LIMIT_S = 10.0
FIRST_LOOK = 2000  # columns


class ShareOutOfRange(WorkshopError):
    """A share of the surface that is none or more than all."""

    code = "share_out_of_range"


@dataclass(frozen=True)
class Cover:
    """The fewest rows of a table that together cover enough of its columns.

    Args:
        chosen: the rows, each adding the most it can before the next.
        share: of the weight that any row covers, the part that these cover.
        at_least: no fewer rows cover enough; proven.
        too_few: the most that 1, 2, 3 rows can cover, as far as that is not enough; proven.
    """

    chosen: tuple[int, ...]
    share: float
    at_least: int
    too_few: tuple[float, ...]


@dataclass(frozen=True)
class LeastPieces:
    """The fewest pulls that free a body without any fill, and what is known about fewer.

    Args:
        pulls: (P, 3) unit vectors, the one that reaches the most first.
        at_least: no fewer of the pulls tried do; proven.
        share: what was asked for, of the area that any pull tried reaches.
        reached_share: of that area, what these pulls reach together.
        too_few: the most that 1, 2, 3 pulls can reach together, as far as that is not enough.
        silicone_share: of the area that a shell must come off, what none of the pulls tried
            reaches: only silicone can close it.
        tried: how many pulls were tried.
    """

    pulls: Floats
    at_least: int
    share: float
    reached_share: float
    too_few: tuple[float, ...]
    silicone_share: float
    tried: int

    @property
    def found(self) -> int:
        """How many pieces do."""
        return len(self.pulls)

    @property
    def is_proven(self) -> bool:
        """Whether no fewer of the pulls tried would do."""
        return self.at_least == self.found

    @property
    def sentence(self) -> str:
        """What a maker needs to know."""
        only = _silicone(self.silicone_share)
        if not self.found:
            return f"None of the {self.tried} pulls tried frees anything.{only}"
        if self.found == 1:
            return f"One piece: a single pull frees {_at_least(self.reached_share)}.{only}"
        if not self.is_proven:
            return (
                f"{self.found} pieces free {_at_least(self.reached_share)} without fill, "
                f"and fewer than {self.at_least} cannot; what lies between was not settled "
                f"in the time given.{only}"
            )
        return f"At least {self.found} pieces without fill: {self._fewer}.{only}"

    @property
    def _fewer(self) -> str:
        fewer = self.found - 1
        pulls = "no single pull" if fewer == 1 else f"no {fewer} pulls"
        frees = "frees" if fewer == 1 else "together free"
        if fewer > len(self.too_few):
            return f"{pulls} of the {self.tried} tried {frees} {_at_least(self.share)}"
        most = _at_most(self.too_few[fewer - 1])
        return f"{pulls} of the {self.tried} tried {frees} more than {most}"

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "found": self.found,
            "at_least": self.at_least,
            "is_proven": self.is_proven,
            "pulls": [[round(c, 4) for c in pull] for pull in self.pulls.tolist()],
            "share": self.share,
            "reached_share": round(self.reached_share, 5),
            "too_few": [round(s, 5) for s in self.too_few],
            "silicone_share": round(self.silicone_share, 5),
            "tried": self.tried,
            "sentence": self.sentence,
        }


def least_pieces(
    mesh: Mesh,
    directions: ArrayLike,
    *,
    draft_deg: float,
    on_board: bool = False,
    share: float = SHARE,
    time_limit_s: float = TIME_LIMIT_S,
) -> LeastPieces:
    """The least number of pulls among those given that together reach what any of them does.

    Args:
        mesh: closed and outward; what the shell lies against, see ``access.proxy_of``.
        directions: (D, 3) the pulls to try, see ``access.pull_directions``.
        draft_deg: least lean of a face toward its pull.
        on_board: the body stands on the board z = 0: pulls must lift off it by the draft, the
            others are not tried, and faces that lie on it need not be reached.
        share: of the area that any pull reaches, how much is enough.
        time_limit_s: for the proof beyond three pieces; up to three there is always one.

    Raises:
        NoPulls: none of the directions lifts off the board.
        ShareOutOfRange: the share is not above 0 and at most 1; and as ``access.free_quarters``.

    The proof holds for the directions given and for the quarters of faces that
    ``access.free_quarters`` judges. Directions between them may do better:
    a face that leans by a hair less than the draft to each of two neighbours counts as missed.
    """
    ways = unit_directions(directions)
    if on_board:
        ways = ways[off_board(ways, draft_deg=draft_deg)]
        if not len(ways):
            raise NoPulls(
                where="The pulls",
                found="all run along the board or into it",
                limit=f"a shell must lift off by the draft, {draft_deg:g} degrees",
                remedy="Give directions that rise more, or less draft.",
            )
    free = free_quarters(mesh, ways, draft_deg=draft_deg)
    quarters = np.unpackbits(free[..., None], axis=2, count=4, bitorder="little")
    reached = quarters.reshape(len(ways), -1).astype(np.bool_)
    areas = np.repeat(0.25 * mesh.face_areas_mm2, 4)
    if on_board:
        areas *= np.repeat(not_on_board(mesh), 4)
    cover = least_cover(reached, areas, share=share, time_limit_s=time_limit_s)
    whole, any_reached = float(areas.sum()), float(areas[reached.any(axis=0)].sum())
    return LeastPieces(
        pulls=ways[list(cover.chosen)],
        at_least=cover.at_least,
        share=share,
        reached_share=cover.share,
        too_few=cover.too_few,
        silicone_share=max(1.0 - any_reached / whole, 0.0) if whole > 0 else 0.0,
        tried=len(ways),
    )


def least_cover(
    reached: Flags, weights: ArrayLike, *, share: float, time_limit_s: float = TIME_LIMIT_S
) -> Cover:
    """The fewest rows that cover a share of all the weight that can be covered.

    Args:
        reached: (D, F) which row covers which column.
        weights: (F,) of the columns, 0 or more.
        share: how much is enough, above 0 and at most 1.
        time_limit_s: for the proof beyond three rows.

    Raises:
        ShareOutOfRange: it is not.

    >>> table = np.array([[1, 1, 0, 0], [0, 0, 1, 1], [0, 1, 1, 0]], dtype=bool)
    >>> least_cover(table, [1, 2, 2, 1], share=1.0)
    Cover(chosen=(0, 1), share=1.0, at_least=2, too_few=(0.6666666666666666,))
    """
    if not 0.0 < share <= 1.0:
        raise ShareOutOfRange(
            where="The share to reach",
            found=f"is {share:g}",
            limit="it lies above 0 and is 1 at the most",
            remedy="Give 0.999 to let specks go.",
        )
    table, weight = _merged(reached, np.asarray(weights, dtype=np.float64))
    if not len(weight):
        return Cover((), 0.0, 0, ())
    rows = _undominated(table)
    table, enough = table[rows], share - SLACK
    too_few: list[float] = []
    for search in (_best_one, _best_two, _best_three):
        chosen = search(table, weight, enough)
        at_least = len(chosen)
        covered = _covered(table, weight, chosen)
        if covered >= enough:
            break
        too_few.append(covered)
    else:
        chosen, at_least = _more_than_three(table, weight, enough, time_limit_s)
    best_first = _by_gain(table, weight, chosen)
    return Cover(
        chosen=tuple(int(rows[i]) for i in best_first),
        share=_covered(table, weight, chosen),
        at_least=at_least,
        too_few=tuple(too_few),
    )


def _merged(reached: Flags, weights: Floats) -> tuple[NDArray[np.float32], Floats]:
    """The table with equal columns made one and those without weight or cover left out.

    Weights come back as shares of their sum.
    """
    useful = reached.any(axis=0) & (weights > 0)
    bits = np.ascontiguousarray(np.packbits(reached[:, useful], axis=0).T)
    if not len(bits):
        return np.zeros((len(reached), 0), dtype=np.float32), np.zeros(0)
    whole = bits.view([("", bits.dtype)] * bits.shape[1]).ravel()
    _, first, group = np.unique(whole, return_index=True, return_inverse=True)
    weight = np.bincount(group.ravel(), weights=weights[useful])
    return reached[:, useful][:, first].astype(np.float32), weight / weight.sum()


def _undominated(table: NDArray[np.float32]) -> NDArray[Any]:
    """The rows that are not part of another one; of equal rows the first."""
    shared = table @ table.T  # counts: exact in single precision
    own = np.diag(shared)
    within = shared == own[:, None]  # all of row i lies in row j
    index = np.arange(len(own))
    first = index[None, :] < index[:, None]
    beaten = within & ((own[None, :] > own[:, None]) | ((own[None, :] == own[:, None]) & first))
    return np.flatnonzero(~beaten.any(axis=1))


def _covered(table: NDArray[np.float32], weight: Floats, chosen: list[int]) -> float:
    return min(float(weight[table[chosen].any(axis=0)].sum()), 1.0)


def _best_one(table: NDArray[np.float32], weight: Floats, enough: float) -> list[int]:
    """The row that covers the most."""
    return [int(np.argmax(table @ weight))]


def _best_two(table: NDArray[np.float32], weight: Floats, enough: float) -> list[int]:
    """The two rows that cover the most."""
    every = np.arange(len(table))
    return _best_pair(table.T.astype(np.float64), weight, every, every)


def _best_pair(
    columns: Floats, weight: Floats, firsts: NDArray[Any], seconds: NDArray[Any]
) -> list[int]:
    """The two different rows, one of each kind, that cover the most."""
    together = _together(columns, weight, firsts, seconds)
    together[firsts[:, None] == seconds[None, :]] = -1.0
    i, j = np.unravel_index(int(np.argmax(together)), together.shape)
    return [int(firsts[i]), int(seconds[j])]


def _together(
    columns: Floats, weight: Floats, firsts: NDArray[Any], seconds: NDArray[Any]
) -> Floats:
    """(N, M) what each of the first rows covers together with each of the second ones.

    Args:
        columns: (P, D) 1 where a row covers a column: the table on its side.
    """
    missed = weight[:, None] * (1.0 - columns[:, firsts])
    more = missed.T @ (columns if len(seconds) == columns.shape[1] else columns[:, seconds])
    return np.asarray(weight.sum() - missed.sum(axis=0)[:, None] + more)


def _best_three(table: NDArray[np.float32], weight: Floats, enough: float) -> list[int]:
    """The three rows that cover the most, or the first three found that cover enough.

    Each row that may be one of them is weighed with the best pair for what it leaves, and
    then leaves the table.
    """
    chosen = _exchanged(table, weight, _greedy(table, weight, 3))
    most = _covered(table, weight, chosen)
    hard_first = np.argsort(table.sum(axis=0), kind="stable")
    weight_of = weight[hard_first]
    columns = np.ascontiguousarray(table.T[hard_first], dtype=np.float64)
    own = weight_of @ columns
    while most < enough:
        spare = 1.0 - most - SLACK
        firsts = _one_of(columns[:FIRST_LOOK], weight_of[:FIRST_LOOK], spare=spare)
        if not len(firsts):
            break
        i = int(firsts[np.argmax(own[firsts])])
        pair = _pair_for(columns, weight_of, np.flatnonzero(columns[:, i] == 0), spare=spare)
        if pair:
            covered = _covered(table, weight, [i, *pair])
            if covered > most:
                chosen, most = [i, *pair], covered
        columns[:, i] = 0.0
    return chosen


def _pair_for(columns: Floats, weight: Floats, left: NDArray[Any], *, spare: float) -> list[int]:
    """The pair that covers the most of what is left, if any may leave no more than ``spare``.

    What a pair leaves of the first columns, the hardest, rules most pairs out at little cost.
    """
    hard = left[:FIRST_LOOK]
    look, weighs = columns[hard], weight[hard]
    firsts, seconds = _one_of(look, weighs, spare=spare), np.arange(columns.shape[1])
    if not len(firsts):
        return []
    may = weighs.sum() - _together(look, weighs, firsts, seconds) <= spare + SLACK
    if not may.any():
        return []
    firsts, seconds = firsts[may.any(axis=1)], seconds[may.any(axis=0)]
    return _best_pair(columns[left], weight[left], firsts, seconds)


def _one_of(columns: Floats, weight: Floats, *, spare: float) -> NDArray[Any]:
    """Rows of which every set that leaves no more than ``spare`` uncovered holds one.

    The columns that the fewest rows cover, as many as together weigh more than can be spared,
    must not all stay uncovered. Empty where no set leaves so little, all where any may.
    """
    order = np.argsort(columns.sum(axis=1), kind="stable")
    weighs = np.cumsum(weight[order])
    if not len(weighs) or weighs[-1] <= spare:
        return np.arange(columns.shape[1])
    hard = order[: int(np.searchsorted(weighs, spare, side="right")) + 1]
    return np.flatnonzero(columns[hard].any(axis=0))


def _more_than_three(
    table: NDArray[np.float32], weight: Floats, enough: float, time_limit_s: float
) -> tuple[list[int], int]:
    """A set of four rows or more that covers enough, and how many it takes at least."""
    chosen = _greedy(table, weight, len(table), enough)
    while len(chosen) > 4:
        fewer = _exchanged(table, weight, _greedy(table, weight, len(chosen) - 1))
        if _covered(table, weight, fewer) < enough:
            break
        chosen = fewer
    if len(chosen) == 4:
        return _exchanged(table, weight, chosen), 4
    found, at_least = _by_programme(table, weight, enough, 4, time_limit_s)
    if found is not None and len(found) <= len(chosen):
        chosen = found
    return chosen, min(at_least, len(chosen))


def _greedy(
    table: NDArray[np.float32], weight: Floats, most: int, enough: float = 2.0
) -> list[int]:
    """Rows one by one, each the one that adds the most, until enough is covered."""
    chosen: list[int] = []
    left = weight.copy()
    while len(chosen) < most and 1.0 - left.sum() < enough:
        gains = table @ left
        gains[chosen] = -1.0
        chosen.append(int(np.argmax(gains)))
        left[table[chosen[-1]] > 0] = 0.0
    return chosen


def _exchanged(table: NDArray[np.float32], weight: Floats, chosen: list[int]) -> list[int]:
    """The rows after every exchange of a single one that covers more."""
    chosen = list(chosen)
    most, tries = _covered(table, weight, chosen), 0
    place = 0
    while tries < len(chosen):
        others = chosen[:place] + chosen[place + 1 :]
        base = table[others].any(axis=0)
        gains = table @ np.where(base, 0.0, weight)
        new = int(np.argmax(gains))
        covered = float(weight[base].sum() + gains[new])
        if new not in others and covered > most + SLACK:
            chosen[place], most, tries = new, covered, 0
        else:
            tries += 1
        place = (place + 1) % len(chosen)
    return chosen


def _by_gain(table: NDArray[np.float32], weight: Floats, chosen: list[int]) -> list[int]:
    """The rows in the order in which each adds the most to those before it."""
    order = _greedy(table[chosen], weight, len(chosen))
    return [chosen[i] for i in order]


def _by_programme(
    table: NDArray[np.float32],
    weight: Floats,
    enough: float,
    at_least: int,
    time_limit_s: float,
) -> tuple[list[int] | None, int]:
    """The fewest rows by a mixed-integer programme, and how many it takes at least.

    Minimise the number of rows x so that each column y is covered by the rows that hold it
    (y <= sum of their x, y <= 1) and the covered weight is enough.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, eye_array, hstack

    if enough >= 1.0 - 2 * SLACK:
        table, weight = _hardest(table, weight)
    d, p = table.shape
    covers = hstack([csr_array(table.T.astype(np.float64)), -eye_array(p)], format="csr")
    found = milp(
        np.concatenate([np.ones(d), np.zeros(p)]),
        integrality=np.concatenate([np.ones(d), np.zeros(p)]),
        bounds=Bounds(0.0, 1.0),
        constraints=[
            LinearConstraint(covers, lb=0.0),
            LinearConstraint(np.concatenate([np.zeros(d), weight])[None], lb=enough),
            LinearConstraint(np.concatenate([np.ones(d), np.zeros(p)])[None], lb=at_least),
        ],
        options={"time_limit": time_limit_s},
    )
    bound = found.mip_dual_bound
    if bound is not None and np.isfinite(bound):
        at_least = max(at_least, int(np.ceil(bound - 1e-6)))
    chosen = None if found.x is None else np.flatnonzero(found.x[:d] > 0.5).tolist()
    return chosen, at_least


def _hardest(table: NDArray[np.float32], weight: Floats) -> tuple[NDArray[np.float32], Floats]:
    """The columns that no other column's cover implies, where all must be covered."""
    hard = _undominated(1.0 - table.T)
    return table[:, hard], weight[hard] / weight[hard].sum()


def _silicone(share: float) -> str:
    if share < 0.0005:
        return ""
    return f" {_at_most(share)} of the surface no pull reaches: only silicone can close it."


def _at_least(share: float) -> str:
    """A share as a percentage that does not promise more than there is."""
    if share >= 1.0 - 1e-9:
        return "all that any pull reaches"
    return f"{np.floor(share * 1e4) / 1e2:.4g} %"


def _at_most(share: float) -> str:
    """A share as a percentage that does not hide any."""
    return f"{np.ceil(share * 1e4 - 1e-6) / 1e2:.4g} %"
