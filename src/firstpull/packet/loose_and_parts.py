"""Parts that a shell piece is printed in, and loose pieces, in rows ready for a page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from firstpull.packet.format import cubic_cm, plain, size

Data = dict[str, Any]


def shell_parts(shell: Mapping[str, Any]) -> list[Data]:
    """One row for each part that is printed; a piece that was not cut is its own part.

    Args:
        shell: of the plan; without a build box it has no parts.
    """
    rows = []
    for number, piece in enumerate(shell.get("pieces") or [], start=1):
        parts = piece.get("parts") or []
        joints = piece.get("joints") or []
        for index, part in enumerate(parts):
            rows.append(
                {
                    "file": str(part["file"]).rpartition("/")[2],
                    "piece": str(number),
                    "volume": cubic_cm(part.get("volume_cm3")),
                    "room": size(part.get("size_mm")),
                    "first": index == 0,
                    "span": len(parts),
                    "joint": joints_in_words(joints) if len(parts) > 1 else "whole",
                }
            )
    return rows


def joints_in_words(joints: list[Mapping[str, Any]]) -> str:
    """What holds the parts of a piece together.

    >>> joints_in_words([{"bolts_mm": [[0, 0, 0]] * 3, "dowels_mm": [[0, 0, 0]] * 2}])
    '1 joint: 3 bolts, 2 dowels'
    """
    counts = [len(joints)]
    counts += [sum(len(j.get(key) or []) for j in joints) for key in ("bolts_mm", "dowels_mm")]
    told = [
        f"{count} {name}{'' if count == 1 else 's'}"
        for count, name in zip(counts, ("joint", "bolt", "dowel"), strict=True)
    ]
    return f"{told[0]}: {', '.join(told[1:])}"


def loose_rows(shell: Mapping[str, Any]) -> list[Data]:
    """Rigid pieces that are drawn out of their pockets after the shell.

    The proof moves them out after the shell's pieces and counts on.
    """
    before = len(shell.get("pieces") or [])
    return [
        {
            "number": plain(number),
            "volume": cubic_cm(piece.get("volume_cm3")),
            "saves": cubic_cm(piece.get("fill_saved_cm3")),
            "in_proof": f"piece {before + number}",
            "sentence": str(piece.get("sentence") or ""),
        }
        for number, piece in enumerate(shell.get("loose") or [], start=1)
    ]
