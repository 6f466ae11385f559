"""An invented job to try everything on: a heron half-mask for a river parade.

The mesh is built from implicit functions, in a maker's usual file frame: millimetres, y up,
the face toward +z, the same left and right. It stands for what arrives at a workshop: a hollow
wall with two eye openings, a wavy rim, a bill that droops and brows that overhang.
"""

from __future__ import annotations

from typing import Any

from firstpull.core.demo.helmet import beetle_helmet
from firstpull.core.demo.heron import heron_half_mask

__all__ = ["beetle_helmet", "demo_sheet", "heron_half_mask"]


def demo_sheet() -> dict[str, Any]:
    """The job sheet of the demo: what a maker would write, the rest left to be assumed.

    >>> demo_sheet()["job"]["good_castings"]
    6
    """
    return {
        "job": {
            "name": "Heron half-mask, river parade",
            "part_name": "heron half-mask",
            "good_castings": 6,
        },
        "cast": {"powder": "bronze-irregular"},
    }
