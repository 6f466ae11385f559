"""What a place that keeps jobs may refuse."""

from __future__ import annotations

from firstpull.core.errors import WorkshopError


class NoSuchThing(WorkshopError):
    """A job, run, revision or figure that is asked for is not there."""

    code = "no_such_thing"


class ChangedMeanwhile(WorkshopError):
    """The change was made on a version that is not the last any more."""

    code = "changed_meanwhile"


class DiscFull(WorkshopError):
    """There is no room for what is to be written."""

    code = "disc_full"
