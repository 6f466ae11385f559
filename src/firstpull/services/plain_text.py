"""The text in a file that a person wrote, or one clear sentence why there is none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

Refuse = Callable[[str, str], Exception]
"""Makes the refusal of what was found and the next move."""


def plain_text(path: Path, refuse: Refuse, *, meant: str, most_bytes: int) -> str:
    """The text in a file, without a byte order mark.

    Args:
        path: of the file.
        refuse: makes the refusal that is raised where there is no such file, it is too large,
            or it is not UTF-8 text.
        meant: what the file should be, such as "job sheet".
        most_bytes: anything larger is some other file.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(most_bytes + 1)
    except OSError as error:
        reason = (error.strerror or "no reason given").lower()
        raise refuse(f"cannot be opened: {reason}", "Check the path.") from error
    if len(raw) > most_bytes:
        found = f"is larger than {most_bytes // 1024} kB, too large for a {meant}"
        raise refuse(found, f"Check that it is the {meant} and not the mesh.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        found = f"is not plain text: line {line} holds bytes that are not UTF-8"
        raise refuse(found, "Save it as UTF-8 text.") from error
