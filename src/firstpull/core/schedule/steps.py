"""The whole step list: from the sealed master to a numbered edition."""

from __future__ import annotations

from firstpull.core.cast.plan import CastPlan
from firstpull.core.schedule.cast_steps import cast_steps
from firstpull.core.schedule.mould_steps import MouldWork, mould_steps
from firstpull.core.schedule.step import Step
from firstpull.core.schedule.totals import Schedule, schedule_of


def plan_steps(mould: MouldWork, cast: CastPlan) -> tuple[Step, ...]:
    """Every step in order: patch, board, release, silicone, shell, opening, casts, trim."""
    return (*mould_steps(mould), *cast_steps(cast, release=mould.release, bolted=mould.bolts > 0))


def plan_schedule(mould: MouldWork, cast: CastPlan) -> Schedule:
    """How long mould, casting and edition take."""
    casting = cast_steps(cast, release=mould.release, bolted=mould.bolts > 0)
    return schedule_of(mould_steps(mould), casting, castings=cast.castings.total)
