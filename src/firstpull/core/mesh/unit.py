"""Which unit is a mesh file in, and why? Most formats do not say."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstpull.core.figures import told_number
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import UnknownUnit, need_surface

FACTORS_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "m": 1000.0}
NAMES = {"mm": "millimetres", "cm": "centimetres", "in": "inches", "m": "metres"}
PLAUSIBLE_MM = (40.0, 3000.0)
"""Longest side of a part worth casting, from a horn tip to a full suit. Judgement, no source."""

HEAD_SIZED_MM = 240.0
"""What is likely where the file's unit must be guessed: about the longest side of a mask."""


@dataclass(frozen=True)
class UnitChoice:
    """The unit that a mesh is taken to be in.

    Args:
        unit: "mm", "cm", "in" or "m".
        factor_to_mm: what the file's numbers are multiplied by.
        why: one sentence.
        warnings: sentences about what does not fit together; often empty.
    """

    unit: str
    factor_to_mm: float
    why: str
    warnings: tuple[str, ...] = ()


def choose_unit(mesh: Mesh, *, asked: str | None = None, declared: str | None = None) -> UnitChoice:
    """The unit of a mesh in file units.

    What is asked for wins. What the file declares is believed where the size is that of a
    part; millimetres are taken where nothing is said. Where that makes the part smaller than
    a horn tip or larger than a person, the unit that makes it most nearly head-sized is taken
    instead, and a warning says so.

    Raises:
        UnknownUnit: asked for a unit other than mm, cm, in, m.
        NoTriangles, BadCoordinates, NoArea: the mesh has no size.

    >>> metres = Mesh([[0, 0, 0], [0.2, 0, 0], [0, 0.1, 0]], [[0, 1, 2]])
    >>> choose_unit(metres).unit
    'm'
    """
    need_surface(mesh)
    low, high = mesh.bounds_mm
    longest = float((high - low).max())
    if asked is not None:
        return _asked(longest, asked, declared)
    if declared is not None and declared not in FACTORS_MM:
        raise UnknownUnit(
            where="Mesh file",
            found=f'declares the unit "{declared}"',
            limit="the program knows mm, cm, in and m",
            remedy="Say the unit with --unit.",
        )
    first = declared or "mm"
    says = f"the file says {NAMES[first]}" if declared else "the file does not say, and this fits"
    if _fits(longest, first):
        why = f"Taken as {NAMES[first]}: {says} ({_size(longest, first)} at its longest)."
        return UnitChoice(first, FACTORS_MM[first], why)
    return _guessed(longest, first, declared)


def _asked(longest: float, asked: str, declared: str | None) -> UnitChoice:
    if asked not in FACTORS_MM:
        raise UnknownUnit(
            where="Unit",
            found=f'is "{asked}"',
            limit="it must be mm, cm, in or m",
            remedy="Give one of these.",
        )
    warnings = []
    if declared is not None and declared != asked:
        warnings.append(
            f"The file says {NAMES.get(declared, declared)}, but {NAMES[asked]} were asked for:"
            f" {_size(longest, asked)} at its longest."
        )
    if not _fits(longest, asked):
        warnings.append(
            f"In {NAMES[asked]} the part is {_size(longest, asked)} at its longest, which is"
            f" {'very small' if longest * FACTORS_MM[asked] < 100 else 'larger than a person'}."
        )
    why = f"Taken as {NAMES[asked]}: asked for."
    return UnitChoice(asked, FACTORS_MM[asked], why, tuple(warnings))


def _guessed(longest: float, first: str, declared: str | None) -> UnitChoice:
    """The first unit makes no sense: the one that makes the part most nearly head-sized."""
    said = f"The file says {NAMES[first]}, but" if declared else "The file does not say its unit;"
    able = [unit for unit in FACTORS_MM if unit != first and _fits(longest, unit)]
    if not able:
        small = longest * FACTORS_MM[first] < PLAUSIBLE_MM[0]
        return UnitChoice(
            first,
            FACTORS_MM[first],
            f"Taken as {NAMES[first]}: no other unit makes it a likely size.",
            (
                f"The part is {_size(longest, first)} at its longest, which is"
                f" {'very small' if small else 'larger than a person'}: check the export,"
                " or say the unit with --unit.",
            ),
        )
    able.sort(key=lambda unit: abs(math.log(longest * FACTORS_MM[unit] / HEAD_SIZED_MM)))
    unit = able[0]
    others = [f"{NAMES[u]} ({_size(longest, u)})" for u in able[1:]]
    also = f" It could also be {' or '.join(others)}." if others else ""
    warning = (
        f"{said} in {NAMES[first]} the part would be {_size(longest, first)} at its longest. It"
        f" was taken as {NAMES[unit]}: {_size(longest, unit)}.{also} If that is wrong, say the"
        " unit with --unit."
    )
    why = f"Taken as {NAMES[unit]}: that makes it {_size(longest, unit)} at its longest."
    return UnitChoice(unit, FACTORS_MM[unit], why, (warning,))


def _fits(longest: float, unit: str) -> bool:
    return PLAUSIBLE_MM[0] <= longest * FACTORS_MM[unit] <= PLAUSIBLE_MM[1]


def _size(longest: float, unit: str) -> str:
    """A length in words that suit its size.

    >>> _size(0.2, "m"), _size(212, "m"), _size(0.2, "mm")
    ('200 mm', '212 m', '0.2 mm')
    """
    mm = longest * FACTORS_MM[unit]
    return f"{told_number(mm / 1000, 3)} m" if mm >= 10_000 else f"{told_number(mm, 4)} mm"
