"""What a format reader hands over, before anything is checked; and helpers they share."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstpull.files.dress import Dress
from firstpull.files.refusals import damaged


@dataclass(frozen=True)
class Content:
    """Raw triangles of a file.

    Args:
        vertices: (V, 3) coordinates in the file's unit.
        faces: (F, 3) indices, not yet known to be in range.
        declared_unit: as in MeshFile.
        notes: as in MeshFile.
        dress: names and colours in the order of these faces and vertices; None for none.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    declared_unit: str | None = None
    notes: tuple[str, ...] = ()
    dress: Dress | None = None


def numbers(words: list[bytes], where: str, what: str) -> NDArray[np.float64]:
    """Words as numbers; refuses the first word that is none, by name."""
    try:
        return np.array(words, dtype="S").astype(np.float64) if words else np.zeros(0)
    except ValueError:
        for word in words:
            try:
                float(word)
            except ValueError:
                shown = word[:24].decode("ascii", "replace")
                remedy = "Export it again"
                if b"," in word:
                    remedy += " with a point, not a comma, as the decimal mark"
                raise damaged(
                    where, f'has "{shown}" where {what} should be', remedy=remedy + "."
                ) from None
        raise


def all_numbers(text: bytes) -> NDArray[np.float64] | None:
    """Every number of a text that holds nothing but numbers and blanks; None for any other."""
    if not text or text.isspace():
        return np.zeros(0)
    with warnings.catch_warnings():
        # a word that is no number ends the reading with a warning
        warnings.simplefilter("error", DeprecationWarning)
        try:
            return np.fromstring(text, dtype=np.float64, sep=" ")
        except (DeprecationWarning, ValueError):
            return None


_UNIT = re.compile(
    rb"(?im)^(?:#|comment)[ \t]*units?[ \t]*[:=]?[ \t]*(mm|cm|in|m|millimet(?:er|re)s?"
    rb"|centimet(?:er|re)s?|inch(?:es)?|met(?:er|re)s?)[ \t]*\r?$"
)


def unit_in_comment(data: bytes) -> str | None:
    """The unit that a comment near the beginning declares, as "# unit: mm".

    >>> unit_in_comment(b"# heron mask\\n# Units: inches\\nv 0 0 0\\n")
    'in'
    """
    found = _UNIT.search(data[:4096])
    if found is None:
        return None
    word = found[1].lower().decode()
    return word if word in ("mm", "cm", "in", "m") else _SHORT[word[:2]]


_SHORT = {"mi": "mm", "ce": "cm", "in": "in", "me": "m"}


def cut_note(larger: int) -> tuple[str, ...]:
    """That faces were cut into triangles, where any were."""
    if not larger:
        return ()
    return (f"{larger} faces of more than three corners were cut into triangles.",)
