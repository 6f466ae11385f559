"""Which numbers of a plan rest on figures that this shop set itself?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from firstpull.services.why import input_paths, is_without_answer, number_paths, rows_under


def resting_on_own(plan: Mapping[str, Any]) -> list[list[str]]:
    """For each of the plan's own figures, the paths of all numbers that rest on it.

    Args:
        plan: the content of plan.json, with ``own_figures`` and ``materials``.

    A number rests on a figure where the figure goes into it or into one of its inputs.
    """
    wanted = [f"{own['material']}: {own['figure']}" for own in plan["own_figures"]]
    if not wanted:
        return []
    known: dict[str, frozenset[str]] = {}
    resting: dict[str, list[str]] = {name: [] for name in wanted}
    for path in number_paths(plan):
        if not is_without_answer(path):
            for name in _rests_on(plan, path, known).intersection(wanted):
                resting[name].append(path)
    return [resting[name] for name in wanted]


def _rests_on(
    plan: Mapping[str, Any], path: str, known: dict[str, frozenset[str]]
) -> frozenset[str]:
    """Ids of all rows' figures under a number, those under its inputs among them."""
    if path not in known:
        known[path] = frozenset()  # a ring of inputs ends here
        found = {f"{row['row']}: {row['figure']}" for row in rows_under(plan, path)}
        for inner in input_paths(plan, path):
            found |= _rests_on(plan, inner, known)
        known[path] = frozenset(found)
    return known[path]
