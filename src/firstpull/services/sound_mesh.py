"""A mesh that must be a sound solid before something else is done with it."""

from __future__ import annotations

from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.crossings import find_crossings
from firstpull.core.mesh.mending.mend import STAGES, mend
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import CannotMend
from firstpull.core.mesh.topology import is_closed
from firstpull.services.mesh_in import Arrived


def sound(arrived: Arrived) -> tuple[Mesh, tuple[str, ...]]:
    """The mesh as a sound solid, and sentences about what had to be done.

    Small damage is mended; an open surface is not given a wall, and nothing is rebuilt: a
    wall that nobody asked for must not be measured or worked on.

    Raises:
        CannotMend: it is an open surface, or takes more than mending may do unasked.
    """
    mesh = arrived.mesh
    if is_closed(mesh) and mesh.volume_mm3 > 0 and not len(find_crossings(mesh).a):
        return mesh, ()
    try:
        mended = mend(mesh, stages=[name for name in STAGES if name not in ("wall", "rebuild")])
    except WorkshopError as refusal:
        raise CannotMend(
            where=arrived.name,
            found="is no sound solid, and mending without a wall or a rebuilding is not enough",
            limit="this needs a closed wall with two sides",
            remedy="Run firstpull mend on it first, and use what that writes.",
        ) from refusal
    return mended.mesh, ("It was mended first; run firstpull check to see what was wrong.",)
