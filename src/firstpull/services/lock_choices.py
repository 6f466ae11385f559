"""Locking what a plan chose by itself: written into the job sheet, so that it stays.

Everything is written in the mesh file's own coordinates. A new revision exported in the same
place needs nothing more; one that lies elsewhere has the plan's master laid on it first, and
every lock carried over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.revision.align import Alignment, aligned
from firstpull.core.mesh.tree import Tree
from firstpull.core.mould.in_file import points_for_sheet, scale_of
from firstpull.core.progress import Progress, quiet
from firstpull.core.sheet import Dab, JobSheet, ShowDab
from firstpull.files.read_mesh import read_mesh
from firstpull.services.chosen import CHOICES, plan_in, to_mould_of, value_of
from firstpull.services.mesh_in import arrive
from firstpull.services.read_sheet import read_sheet, sheet_text
from firstpull.services.results_out import write_whole
from firstpull.services.write_sheet import with_fields

_CARRIED = {
    "master.paint": "Paint on the show surface was carried over.",
    "shell.keep_whole": "Areas to be kept whole were carried over.",
}
FITS_MM = 2.0  # seven of ten places must lie this near: judgement, no source
ON_SURFACE_MM = 10.0  # a dab farther from a surface was not put on it


class OtherShape(WorkshopError):
    """The new revision is not the shape that was planned, or not at that size."""

    code = "other_shape"


@dataclass(frozen=True)
class LockReport:
    """What was written into a sheet.

    Args:
        sheet: its path.
        fields: dotted name to the value written; None where it was taken out.
        notes: sentences about what was carried or left.
        alignment: how a new revision lay against the old, where one was given.
        changed: whether the file was written.
    """

    sheet: Path
    fields: dict[str, Any]
    notes: tuple[str, ...]
    alignment: Alignment | None
    changed: bool

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was done, for a person."""
        told = [f"{field}: {_told(value)}." for field, value in self.fields.items()]
        end = f"Written to {self.sheet}." if self.changed else f"{self.sheet} stays as it was."
        return (*self.notes, *told, end)

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        at = self.alignment
        return {
            "sheet": str(self.sheet),
            "changed": self.changed,
            "fields": self.fields,
            "alignment": at
            and {"turned_deg": at.turned_deg, "shifted_mm": at.shifted_mm, "off_mm": at.off_mm},
            "sentences": list(self.sentences),
        }


def lock_choices(
    plan_dir: Path | str,
    *,
    sheet_path: Path | str,
    choices: Sequence[str] = (),
    onto: Path | str | None = None,
    progress: Progress = quiet,
) -> LockReport:
    """Writes what a plan chose into a job sheet.

    Args:
        plan_dir: folder of a finished plan.
        sheet_path: the sheet, changed in place; made where there is none.
        choices: of ``CHOICES``; none takes all that the sheet does not fix already, or,
            with ``onto``, all that it does.
        onto: a new revision of the mesh that lies elsewhere: everything fixed in the sheet is
            carried there, areas to be kept whole and paint on the show surface too. Doing it
            twice does no harm.
        progress: told what is being done.

    Raises:
        NoPlan: no finished plan, or an old one that does not tell its walls.
        OtherShape: the new revision does not fit the planned master.
        BadSheet: the sheet is no good, or cannot be edited.
    """
    sheet_file = Path(sheet_path)
    sheet, given, text, mark = _sheet_in(sheet_file)
    plan = plan_in(Path(plan_dir))
    to_mould = to_mould_of(plan)
    notes: list[str] = []
    alignment = None
    carried: dict[str, Any] = {}
    if onto is not None:
        laid = _laid(Path(plan_dir), plan, sheet, to_mould, Path(onto), progress)
        alignment, notes = laid.alignment, [laid.sentence]
        for field, dabs in _dabs_of(sheet).items():
            there, note = _dabs_carried(field, dabs, to_mould, laid)
            carried |= there
            notes.append(note)
        to_mould = laid.to_mould
    wanted, left = _wanted(choices, given, carrying=onto is not None)
    notes += left
    fields = {CHOICES[c]: v for c in wanted if (v := value_of(plan, c, to_mould)) is not None}
    fields |= carried
    if "walls" in wanted and CHOICES["walls"] not in fields:
        notes.append("The shell is in one piece: there is no wall to fix.")
    return _written(sheet_file, text, mark, fields, tuple(notes), alignment)


def unlock_choices(sheet_path: Path | str, *, choices: Sequence[str] = ()) -> LockReport:
    """Takes locks out of a job sheet, so that the program chooses again.

    Args:
        sheet_path: the sheet, changed in place.
        choices: of ``CHOICES``; none takes all.

    Raises:
        BadSheet: there is no sheet, it is no good, or cannot be edited.
    """
    sheet_file = Path(sheet_path)
    _, given = read_sheet(sheet_file)
    asked = [CHOICES[choice] for choice in choices or CHOICES]
    fields = {field: None for field in asked if field in given}
    notes = () if fields else ("None of these was fixed.",)
    return _written(sheet_file, sheet_text(sheet_file), _mark(sheet_file), fields, notes, None)


@dataclass(frozen=True)
class _Laid:
    """A new revision under the mould of an old one.

    Args:
        to_mould: (4, 4) from the new file's coordinates.
        to_mm: millimetres as printed to one unit of the new file.
        old, new: the master and the new mesh, in the mould frame and in millimetres.
        alignment, sentence: how it lay.
    """

    to_mould: Floats
    to_mm: float
    old: Mesh
    new: Mesh
    alignment: Alignment
    sentence: str


def _laid(
    plan_dir: Path,
    plan: dict[str, Any],
    sheet: JobSheet,
    to_mould: Floats,
    onto: Path,
    progress: Progress,
) -> _Laid:
    progress("reading the meshes", 0.0)
    master = read_mesh(plan_dir / plan["parts"][0]["master"]["file"]).mesh
    arrived = arrive(onto, unit=sheet.master.unit, scale=sheet.master.scale)
    # laid where it lay in its file, so that an unmoved revision is seen to be one
    was_mm = np.diag([*[scale_of(to_mould)] * 3, 1.0]) @ np.linalg.inv(to_mould)
    progress("laying the new revision on the old", 0.3)
    found = aligned(arrived.mesh, master.moved(was_mm))
    name = onto.name
    if found.off_mm > FITS_MM:
        raise OtherShape(
            where=name,
            found=f"does not fit the planned master: laid on it as well as can be, three of ten "
            f"places are more than {told_number(found.off_mm, 3)} mm off",
            limit=f"locks are carried where seven of ten lie within {told_number(FITS_MM, 3)} mm",
            remedy="Check its unit and master.scale; if the shape itself has changed so much, take "
            "the locks out with --unlock and plan it anew.",
        )
    moved = found.turned_deg > 0 or found.shifted_mm > 0
    lay = (
        f"{name} lies turned by {told_number(found.turned_deg, 3)} degrees and moved by "
        f"{told_number(found.shifted_mm, 3)} mm against the plan"
        if moved
        else f"{name} lies where the planned mesh lay"
    )
    to_mm = arrived.unit.factor_to_mm * arrived.scale
    new_to_mould = np.linalg.inv(was_mm) @ found.matrix @ np.diag([to_mm, to_mm, to_mm, 1.0])
    fit = f"; seven of ten places fit within {told_number(max(found.off_mm, 0.01), 2)} mm."
    return _Laid(new_to_mould, to_mm, master, arrived.mesh, found, lay + fit)


def _dabs_of(sheet: JobSheet) -> dict[str, Sequence[Dab | ShowDab]]:
    """What was painted, by the field that holds it."""
    painted = {"master.paint": sheet.master.paint, "shell.keep_whole": sheet.shell.keep_whole}
    return {field: dabs for field, dabs in painted.items() if dabs}


def _dabs_carried(
    field: str, dabs: Sequence[Dab | ShowDab], to_mould: Floats, laid: _Laid
) -> tuple[dict[str, Any], str]:
    """The dabs of a field, on the new revision; those that lie there already stay."""
    points = np.array([dab.at for dab in dabs])
    old = points @ to_mould[:3, :3].T + to_mould[:3, 3]
    from_old = float(Tree.of(laid.old).closest(old)[0].max())
    from_new = float(Tree.of(laid.new).closest(points * laid.to_mm)[0].max())
    if min(from_old, from_new) > ON_SURFACE_MM:
        raise OtherShape(
            where=field,
            found=f"lies {min(from_old, from_new):.0f} mm off both the planned master and the new "
            "revision",
            limit=f"an area is painted on the surface, to {ON_SURFACE_MM:.0f} mm",
            remedy="Paint it anew.",
        )
    if from_new < from_old:
        return {}, f"{field} lies on the new revision already and stays as it is."
    at = points_for_sheet(old, laid.to_mould)
    carried = [d.model_dump() | {"at": a} for a, d in zip(at, dabs, strict=True)]
    return {field: carried}, _CARRIED[field]


def _wanted(
    choices: Sequence[str], given: set[str], *, carrying: bool
) -> tuple[list[str], list[str]]:
    """Which choices to write, and sentences about those that are left."""
    locked = [choice for choice, field in CHOICES.items() if field in given]
    if carrying:
        named = [*choices, *locked]
        return [c for c in CHOICES if c in named or not named], []
    if choices:
        return [c for c in CHOICES if c in choices], []
    left = [
        f"{CHOICES[c]} is fixed in the sheet already; name it to write it anew." for c in locked
    ]
    return [c for c in CHOICES if c not in locked], left


def _sheet_in(path: Path) -> tuple[JobSheet, set[str], str, bytes]:
    """The sheet, its given fields, its text and its byte order mark; empty where there is none."""
    if not path.exists():
        return JobSheet(), set(), "", b""
    sheet, given = read_sheet(path)
    return sheet, given, sheet_text(path), _mark(path)


def _mark(path: Path) -> bytes:
    with path.open("rb") as file:
        return b"\xef\xbb\xbf" if file.read(3) == b"\xef\xbb\xbf" else b""


def _written(
    path: Path,
    text: str,
    mark: bytes,
    fields: dict[str, Any],
    notes: tuple[str, ...],
    alignment: Alignment | None,
) -> LockReport:
    edited = with_fields(text, fields, name=path.name)
    changed = edited != text
    if changed:
        write_whole(path, mark + edited.encode("utf-8"))
    return LockReport(path, fields, notes, alignment, changed)


def _told(value: Any) -> str:
    """A value in a few words.

    >>> _told([{"through": []}, {}]), _told([0.0, 0.5, 1.0]), _told(None)
    ('2 fixed', '0, 0.5, 1', 'taken out')
    """
    if value is None:
        return "taken out"
    if isinstance(value, list):
        plain = not isinstance(value[0], list | dict)
        return ", ".join(told_number(c, 3) for c in value) if plain else f"{len(value)} fixed"
    return str(value)
