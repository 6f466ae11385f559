"""A mesh on the bench while it is mended, and what leaves the bench."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from firstpull.core.mesh.check.openings import Opening
from firstpull.core.mesh.crossings import Crossings, find_crossings
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.mesh import Mesh


@dataclass(frozen=True)
class Mended:
    """A mesh after mending.

    Args:
        mesh: closed, outward, free of self-crossing: a solid.
        changed: what was changed, by name, only what is not 0; names end in their unit, and
            a name without one is a count.
        notes: sentences about choices that a maker should know of.
        findings_left: what the checker still says of the mesh.
        kept: what mending kept of the mesh that arrived, its borders stitched: without
            debris, repeated faces and inner walls.
        openings: the open borders that were found on the way, and what became of them.
    """

    mesh: Mesh
    changed: dict[str, int | float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    findings_left: tuple[Finding, ...] = ()
    kept: Mesh | None = None
    openings: tuple[Opening, ...] = ()


@dataclass(frozen=True)
class Work:
    """A mesh on the bench, with what was done to it so far, and its crossings once known."""

    mesh: Mesh
    changed: dict[str, int | float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    kept: Mesh | None = None
    openings: tuple[Opening, ...] = ()
    crossings: Crossings | None = None

    def then(self, mesh: Mesh, **counts: int | float) -> Work:
        """The next state; counts add up under their names."""
        changed = dict(self.changed)
        for name, count in counts.items():
            if count:
                changed[name] = changed.get(name, 0) + count
        known = self.crossings if mesh is self.mesh else None
        return replace(self, mesh=mesh, changed=changed, crossings=known)

    def looked_over(self) -> Work:
        """The same, with its crossings known."""
        return self if self.crossings else replace(self, crossings=find_crossings(self.mesh))

    def saying(self, *notes: str) -> Work:
        return replace(self, notes=(*self.notes, *notes))
