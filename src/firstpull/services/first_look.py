"""Is a file that comes in plainly no mesh?"""

from __future__ import annotations

from pathlib import Path

from firstpull.files.first_look import first_fault


def plainly_no_mesh(path: Path, format: str) -> str | None:
    """What shows at once that a file is no whole mesh, for a sentence; None where nothing does.

    Args:
        path: a file with something in it.
        format: as its suffix says, in small letters and without the point.
    """
    return first_fault(path, format)
