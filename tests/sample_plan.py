"""An invented plan, a heron half-mask for a river parade, with solids from primitives.

The figures are made up to fill every field of a plan; they are plausible, not computed.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import manifold3d as m3
import numpy as np

from firstpull.core.mesh.mesh import Mesh
from firstpull.packet.album import MouldSolids, master_pictures, mould_pictures
from firstpull.packet.packet import make_packet

IDENTITY = [1.0, 0, 0, 0, 0, 1.0, 0, 0, 0, 0, 1.0, 0, 0, 0, 0, 1.0]


def as_mesh(solid: m3.Manifold) -> Mesh:
    raw = solid.to_mesh()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))


def mask_solids(segments: int = 96) -> MouldSolids:
    """A domed half-mask with eyes and a beak, its body, skin and a shell in two pieces."""

    def dome(grow: float) -> m3.Manifold:
        ball = m3.Manifold.sphere(1.0, segments)
        skull = ball.scale([78 + grow, 62 + grow, 66 + grow])
        beak = m3.Manifold.cylinder(95 + grow, 24 + grow, 4 + grow, segments)
        beak = beak.rotate([62, 0, 0]).translate([0, -30, 34])
        return skull + beak

    board = 13.0
    upper = m3.Manifold.cube([400, 400, 300], True).translate([0, 0, 150])
    eyes = m3.Manifold()
    for side in (-1, 1):
        eye = m3.Manifold.cylinder(120, 11, 11, segments).scale([1.5, 1, 1])
        eyes = eyes + eye.translate([side * 32, 14, 0])
    up = [0.0, 0.0, board]
    solid = (dome(0) ^ upper).translate(up)
    hollow = (dome(-4) ^ upper.translate([0, 0, -1])).translate(up)
    master = solid - hollow - eyes.translate(up)
    foot = (dome(0).scale([1.02, 1.02, 1]) ^ upper).project().extrude(board)
    body = solid + foot
    around = dome(0).project().offset(26, m3.JoinType.Round)
    flange = around.extrude(8)
    skin = ((dome(8) ^ upper).translate([0, 0, board]) + flange) - body
    skin = skin + (dome(8).project().extrude(board) - body)
    block = (dome(13) ^ upper).translate([0, 0, board]) + dome(13).project().extrude(board)
    rim = dome(0).project().offset(30, m3.JoinType.Round).extrude(5).translate([0, 0, 8])
    shell = block + rim - skin - body
    wall = m3.Manifold.cube([8, 400, 400], True)
    outer = (dome(32) ^ upper).translate([0, 0, board]) - block - skin
    shell = shell + (outer ^ wall)
    halves = [
        shell.trim_by_plane([1, 0, 0], 0.05),
        shell.trim_by_plane([-1, 0, 0], 0.05),
    ]
    pulls = [(0.92, 0.0, 0.392), (-0.92, 0.0, 0.392)]
    return MouldSolids(
        master=as_mesh(master),
        body=as_mesh(body),
        skin=as_mesh(skin),
        pieces=[(as_mesh(h), p) for h, p in zip(halves, pulls, strict=True)],
    )


def _mixed(mass_g: float, b_per_100a: float, density_a: float, density_b: float) -> dict[str, Any]:
    a_g = mass_g / (1 + b_per_100a / 100)
    b_g = mass_g - a_g
    return {
        "a_g": round(a_g, 2),
        "b_g": round(b_g, 2),
        "a_ml": round(a_g / density_a, 2),
        "b_ml": round(b_g / density_b, 2),
    }


def silicone_coat(name: str, net_g: float, thickness_mm: float | None, cups: int) -> dict[str, Any]:
    cup = {**_mixed(net_g * 1.1 / cups, 10, 1.16, 0.98), "pot_life_min": 26.4}
    return {
        "name": name,
        "area_cm2": 412.6 if thickness_mm else None,
        "thickness_mm": thickness_mm,
        "volume_cm3": round(net_g / 1.15, 2),
        **_mixed(net_g, 10, 1.16, 0.98),
        "thickener_g": 0.0 if name in ("print coat", "bedding coat") else round(net_g * 0.011, 2),
        "basis": "10 g of catalyst to 100 g of base, by weight; "
        "millilitres through the densities of the parts",
        "waste_g": round(net_g * 0.1, 2),
        "next_coat_min": [66, 720],
        "batches": [cup] * cups,
    }


def resin_coat(name: str, net_g: float, thickness_mm: float, powder: float) -> dict[str, Any]:
    resin_g = net_g / (1 + powder)
    cups = 2 if net_g > 60 else 1

    def mix(mass_g: float) -> dict[str, Any]:
        powder_g = mass_g * powder
        parts = _mixed(mass_g, 90, 1.14, 1.02)
        return {**parts, "powder_g": round(powder_g, 2), "powder_ml": round(powder_g / 3.2, 2)}

    return {
        "name": name,
        "area_cm2": 431.0,
        "thickness_mm": thickness_mm,
        **mix(resin_g),
        "basis": "A and B by volume, as tins of this class state it; "
        + (
            "powder 1 to 1 of mixed resin by bulk volume (level cups), which is 2.96 to 1 by weight"
            if powder
            else "no powder"
        ),
        "waste_g": round(net_g * 0.15, 2),
        "batches": [{**mix(resin_g * 1.15 / cups), "pot_life_min": 6.8}] * cups,
    }


FINDINGS = [
    {
        "kind": "open edge loop",
        "count": 2,
        "sentence": "Two small holes, the larger 3.1 mm across, pierce the brow.",
        "next_step": "They were closed; look at the picture and smooth the patch if it shows.",
        "blocks": ["print", "mould"],
        "mended": True,
        "places_mm": [[-20.0, -20.0, 76.0]],
        "size_mm": 3.1,
    },
    {
        "kind": "loose bit",
        "count": 1,
        "sentence": "A shell of 12 triangles floats inside the beak.",
        "next_step": "It was dropped.",
        "blocks": [],
        "places_mm": [[0.0, -70.0, 68.0]],
        "size_mm": 1.4,
    },
    {
        "kind": "thin wall",
        "count": 1,
        "sentence": "The wall is 0.9 mm at the left eye opening.",
        "next_step": "Thicken it to 2 mm, or back it with clay before the skin goes on.",
        "blocks": ["print"],
        "places_mm": [[48.0, 22.0, 62.0]],
        "size_mm": 0.9,
    },
]


def sample_plan() -> dict[str, Any]:
    """A fresh copy of the invented plan."""
    skin_coats = [
        silicone_coat("print coat", 36.4, 0.75, 1),
        silicone_coat("fill of undercuts", 24.7, None, 1),
        silicone_coat("thickened coat 1", 83.1, 1.75, 1),
        silicone_coat("thickened coat 2", 83.1, 1.75, 1),
        silicone_coat("thickened coat 3", 83.1, 1.75, 1),
        silicone_coat("flange and keys", 171.6, None, 2),
        silicone_coat("bedding coat", 71.2, 1.5, 1),
    ]
    cast = {
        "coats": [
            resin_coat("face coat", 88.0, 0.9, 2.96),
            resin_coat("backing coat 1", 41.0, 0.87, 0),
            resin_coat("backing coat 2", 41.0, 0.87, 0),
            resin_coat("backing coat 3", 41.0, 0.87, 0),
        ],
        "castings": 9,
        "castings_made_of": {"good": 6, "cleaner": 1, "backup": 1, "rejects": 1, "total": 9},
        "pull_mass_g": {"p10": 176.2, "p50": 203.4, "p90": 232.8},
        "waste_g": 31.65,
        "trimmed_g": 40.2,
        "resin": "urethane-medium",
        "powder": "bronze-irregular",
        "temperature_c": 21.0,
        "findings": [],
    }
    return {
        "schema": 1,
        "job": {
            "name": "Heron half-mask, river parade",
            "part": "mask",
            "good_castings": 6,
            "made_on": "2026-11-25",
        },
        "warnings": [
            "Fill under the beak is 21.5 cm³ and up to 24 mm deep: the skin bends stiffly there; "
            "consider a loose rigid piece.",
            "The inside is 148 mm wide, a little under a small adult head: confirm one real "
            "dimension before printing.",
        ],
        "assumed": [
            {
                "field": "unit",
                "value": "mm",
                "unit": "",
                "why": "as millimetres the mask is 156 mm wide",
            },
            {
                "field": "up",
                "value": [0.0, 0.0, 1.0],
                "unit": "",
                "why": "away from the largest hollow",
            },
            {
                "field": "skin_thickness_mm",
                "value": 6,
                "unit": "mm",
                "why": "usual for a half-mask",
            },
            {"field": "shop.temperature_c", "value": 21, "unit": "°C", "why": "a heated room"},
            {
                "field": "silicone",
                "value": "tin-cure silicone, Shore 25A",
                "unit": "",
                "why": "tears late",
            },
            {"field": "wall_mm", "value": 3.5, "unit": "mm", "why": "stiff enough at this size"},
            {
                "field": "release on silicone",
                "value": True,
                "unit": "",
                "why": "silicone bonds to silicone",
            },
        ],
        "parts": [
            {
                "name": "mask",
                "sizes": {
                    "designed": [156.0, 182.4, 66.1],
                    "printed": [156.0, 182.4, 66.1],
                    "cast": [155.3, 181.6, 65.8],
                },
                "master": {
                    "file": "mask/master.stl",
                    "closed": True,
                    "volume_cm3": 131.6,
                    "area_cm2": 668.4,
                    "triangles": 400128,
                    "findings": FINDINGS,
                    "mended": {"vertices_merged": 1204, "faces_dropped": 12, "holes_closed": 2},
                    "mended_notes": [
                        "What was kept of the surface did not move.",
                        "New surface: 0.2 cm2 in 2 patches, the largest near (-20, -20, 76) mm.",
                    ],
                },
                "moulds": [
                    {
                        "name": "mould 1",
                        "two_sided": False,
                        "frame": {
                            "to_mould": IDENTITY,
                            "up_in_input": [0.0, 0.0, 1.0],
                            "board_z_mm": 0,
                            "grid_mm": 1.5,
                        },
                        "show_area_cm2": 358.2,
                        "show_painted_cm2": {"copied": 0.0, "left": 0.0},
                        "body": {"file": "mask/mould/body.stl", "volume_cm3": 741.0},
                        "clay_cm3": 609.4,
                        "skin": {
                            "file": "mask/mould/skin.stl",
                            "thickness_mm": 6.0,
                            "volume_cm3": 419.1,
                            "fill_cm3": 21.5,
                            "fill": FILL,
                            "mass_g": {"p10": 447.0, "p50": 482.0, "p90": 521.0},
                            "stretch": {
                                "ratio": 1.18,
                                "limit": 1.4,
                                "sentence": "The skin stretches 18 % from z = 21 mm over "
                                "z = 44 mm; this rubber takes 40 % again and again.",
                            },
                        },
                        "shell": {
                            "kind": "printed",
                            "thickness_mm": 5.0,
                            "draft_deg": 2.0,
                            "pieces": [
                                {
                                    "file": "mask/mould/shell-1.stl",
                                    "pull": [0.92, 0.0, 0.392],
                                    "volume_cm3": 161.7,
                                    "mass_g": 200.5,
                                    "bolts": [[-81.0, 0.0, 40.0]] * 4,
                                    "parts": [
                                        _part("shell-1-a", 96.1, [171.2, 160.4, 88.0]),
                                        _part("shell-1-b", 65.6, [148.7, 122.3, 81.5]),
                                    ],
                                    "joints": [
                                        {
                                            "bolts_mm": [[40.0, 70.0, 30.0], [40.0, -70.0, 30.0]],
                                            "dowels_mm": [[40.0, 74.0, 50.0], [40.0, -74.0, 50.0]],
                                        }
                                    ],
                                },
                                {
                                    "file": "mask/mould/shell-2.stl",
                                    "pull": [-0.92, 0.0, 0.392],
                                    "volume_cm3": 161.2,
                                    "mass_g": 199.9,
                                    "bolts": [[-81.0, 0.0, 40.0]] * 4,
                                    "parts": [_part("shell-2", 161.2, [174.0, 168.9, 90.2])],
                                    "joints": [],
                                },
                            ],
                            "removal": "in this order",
                            "walls": [{"through": [0.0, 0.0, 0.0], "facing": [1.0, 0.0, 0.0]}],
                            "loose": [LOOSE],
                            "stays_deep": [],
                        },
                        "options": [
                            _option(1, 64.8, 531.0, 352.0, locks=LOCKS[:2]),
                            _option(2, 21.5, 482.0, 400.4, locks=LOCKS[:1], recommended=True),
                            _option(3, 17.2, 477.0, 441.0, locks=LOCKS[2:]),
                        ],
                        "options_left_out": ["4 pieces save nothing over 3."],
                        "least_pieces": LEAST,
                        "relief": _relief(),
                        "proof": {
                            "passed": True,
                            "checks": [
                                _check("solid: body", 0, 0),
                                _check("solid: skin", 0, 0),
                                _check("apart: body and skin", 0.012, 0.05),
                                _check("pull: piece 1", 0.392, 0.0349),
                                _check("pull: piece 2", 0.392, 0.0349),
                                _check("release: piece 1", 0.0, 0.05),
                                _check("release: piece 2", 0.02, 0.05),
                                _check("support: piece 1", 0.9936, 0.95),
                                _check("gap", 7.44, 7.3),
                                _check("show true", 0.012, 0.05),
                            ],
                        },
                        "coats": skin_coats,
                    }
                ],
                "cast": cast,
            }
        ],
        "steps": STEPS,
        "schedule": {
            "mould_min": [3638, 8971],
            "casting_min": [114, 221],
            "castings": 9,
            "castings_a_day": 2,
            "edition_days": 5,
        },
        "shopping": SHOPPING,
        "cautions": CAUTIONS,
    }


def _part(name: str, volume_cm3: float, size_mm: list[float]) -> dict[str, Any]:
    return {
        "file": f"mask/mould/{name}.stl",
        "closed": True,
        "volume_cm3": volume_cm3,
        "size_mm": size_mm,
        "rotation": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    }


LOOSE = {
    "file": "mask/mould/loose-1.stl",
    "closed": True,
    "pull": [0.0, -0.94, 0.342],
    "volume_cm3": 9.4,
    "place_mm": [3.0, -44.0, 24.0],
    "depth_mm": 31.0,
    "fill_saved_cm3": 11.2,
    "deepest_left_mm": 8.0,
    "sentence": "At the front (-y), near (3, -44, 24) mm, the fill would be 31 mm deep; over 25 mm "
    "it strips badly. A loose rigid piece of 9.4 cm³ takes its place and saves 11 cm³ of silicone. "
    "Take it out after the shell, toward the front (-y), rising 20°.",
}

LEAST = {
    "found": 2,
    "at_least": 2,
    "is_proven": True,
    "pulls": [[0.92, 0.0, 0.392], [-0.92, 0.0, 0.392]],
    "share": 0.998,
    "reached_share": 1.0,
    "too_few": [0.871],
    "silicone_share": 0.0,
    "tried": 321,
    "sentence": "At least 2 pieces without fill: no single pull of the 321 tried frees more than "
    "87.1 % of what any frees.",
}


def _gauge(number: int, wide: float) -> dict[str, Any]:
    """A card whose working edge is a shallow arch."""
    x = np.linspace(-0.5 * wide, 0.5 * wide, 9)
    edge = np.column_stack([x, 5.0 * np.cos(np.pi * x / wide) - 5.0]).round(3).tolist()
    return {
        "number": number,
        "label": f"Pocket {number}",
        "files": [f"mask/mould/gauges/pocket-{number}.{kind}" for kind in ("svg", "dxf")],
        "outline_mm": [*edge, [0.5 * wide, 32.0], [-0.5 * wide, 32.0]],
        "profile_mm": edge,
        "marks_mm": [[[a, 0.0], [a, 6.0]] for a in (0.0, -0.3 * wide, 0.3 * wide)],
        "rises": True,
        "rests_mm": [12.0, 12.0],
        "frame": np.eye(4).tolist(),
        "whole": True,
        "cropped": False,
        "narrow": False,
        "sentences": [f"Hold card {number} upright, the end with the arrow higher."],
    }


def _place(number: int, side: str, depth_mm: float, volume_cm3: float) -> dict[str, Any]:
    return {
        "number": number,
        "place_mm": [3.0 - 15 * number, -44.0, 24.0],
        "facing": [0.0, -1.0, 0.0],
        "side": side,
        "depth_mm": depth_mm,
        "bottom_mm": depth_mm,
        "volume_cm3": volume_cm3,
        "area_cm2": 3 * volume_cm3,
        "pieces": [1, 2],
        "low_mm": [-20.0, -60.0, 10.0],
        "high_mm": [20.0, -40.0, 30.0],
        "sentence": f"Pocket {number}.",
        "mass_g": round(1.15 * volume_cm3, 2),
        "gauge": _gauge(number, 70.0 + 20 * number) if depth_mm > 2 else None,
    }


FILL = {
    "places": [
        _place(1, "the front (-y)", 23.6, 18.3),
        _place(2, "the left (-x)", 5.2, 2.6),
        _place(3, "the top", 1.4, 0.3),
    ],
    "rest_cm3": 0.3,
    "rest_g": 0.35,
    "total_cm3": 21.5,
    "how_gauges_tell": "Light under the card is silicone that is missing.",
}

LOCKS = [
    {
        "piece": 1,
        "place_mm": [3.0, -44.0, 24.0],
        "depth_mm": 23.6,
        "volume_cm3": 18.3,
        "sentence": "Piece 1 locks at (3, -44, 24): 18 cm³ of silicone, 24 mm deep, must fill it.",
    },
    {
        "piece": 1,
        "place_mm": [-12.0, 66.0, 19.0],
        "depth_mm": 11.2,
        "volume_cm3": 41.9,
        "sentence": "Piece 1 locks at (-12, 66, 19): 42 cm³ of silicone, 11 mm deep, must fill it.",
    },
    {
        "piece": 2,
        "place_mm": [-16.0, -44.0, 22.0],
        "depth_mm": 9.3,
        "volume_cm3": 14.9,
        "sentence": "Piece 2 locks at (-16, -44, 22): 15 cm³ of silicone, 9 mm deep, must fill it.",
    },
]

PULLS = {
    1: [[0.0, -0.05, 0.9987]],
    2: [[0.92, 0.0, 0.392], [-0.92, 0.0, 0.392]],
    3: [[0.92, 0.0, 0.392], [-0.55, 0.6, 0.581], [-0.55, -0.6, 0.581]],
}
SPLITS = {1: [(0, 360)], 2: [(-90, 90), (90, 270)], 3: [(-90, 90), (90, 180), (180, 270)]}
WALLS = {1: [], 2: [(1.0, 0.0)], 3: [(1.0, 0.0), (0.0, 1.0)]}


def _arc(rx: float, ry: float, start: float, end: float, y: float = 0.0) -> list[list[float]]:
    """Part of an ellipse as corners; less than all of it is closed over its middle."""
    angle = np.radians(np.linspace(start, end, 49))
    line = [[round(rx * c, 1), round(y + ry * s, 1)] for c, s in zip(*_turn(angle), strict=True)]
    return line[:-1] if end - start == 360 else [*line, [0.0, y]]


def _turn(angle: np.ndarray) -> tuple[list[float], list[float]]:
    return np.cos(angle).tolist(), np.sin(angle).tolist()


def _relief() -> list[dict[str, Any]]:
    """A dome with a beak toward the front."""
    levels = []
    for z in range(0, 70, 10):
        share = (1 - (z / 72) ** 2) ** 0.5
        rings = [_arc(78 * share, 62 * share, 0, 360)]
        if 20 <= z <= 50:
            rings.append(_arc(16, 30, 0, 360, y=-84 + z / 4))
        levels.append({"z_mm": float(z), "outlines": rings})
    return levels


def _option(
    pieces: int,
    fill_cm3: float,
    silicone_g: float,
    shell_g: float,
    recommended: bool = False,
    locks: list[dict[str, Any]] | None = None,
) -> dict[str, Any]:
    return {
        "pieces": pieces,
        "fill_cm3": fill_cm3,
        "fill_g": round(fill_cm3 * 1.15, 0),
        "silicone_g": silicone_g,
        "silicone_cost": None,
        "shell_g": shell_g,
        "shell_min": round(shell_g / 1.15 / 12 * 60, 0),
        "deepest_fill_mm": max((lock["depth_mm"] for lock in locks or []), default=2.1),
        "strips_badly": False,
        "locks": locks or [],
        "pulls": PULLS[pieces],
        "walls": [{"through": [0.0, 0.0, 0.0], "facing": [x, y, 0.0]} for x, y in WALLS[pieces]],
        "outlines": [[_arc(114, 118, *part, y=-12)] for part in SPLITS[pieces]],
        "recommended": recommended,
        "why": "2 pieces keep the fill under the beak thin enough to bend." if recommended else "",
    }


def _check(name: str, found: float, limit: float) -> dict[str, Any]:
    return {"name": name, "passed": True, "found": found, "limit": limit}


def _step(title: str, text: str, least: float, most: float, *cautions: str) -> dict[str, Any]:
    return {
        "title": title,
        "text": text,
        "minutes_least": least,
        "minutes_most": most,
        "cautions": list(cautions),
    }


STEPS = [
    _step(
        "Test patch",
        "Dab 2-3 cm of the mixed rubber on a scrap with the same print, filler, "
        "primer and seal. Look at the side that touched.",
        960,
        1440,
    ),
    _step(
        "Fix the master to the board",
        "Clay behind the wall and below the rim, board 13 mm under "
        "the lowest point of the rim, trim line scribed.",
        45,
        90,
    ),
    _step(
        "Print coat",
        "Thin; stipple the undercuts first, blow out bubbles.",
        20,
        35,
        "Tin catalysts are a reproductive hazard: gloves, no skin contact, air the room.",
    ),
    _step(
        "Fill and thickened coats",
        "Each when the last no longer marks a clean fingertip.",
        300,
        600,
    ),
    _step("Cure of the skin", "Leave it under the shell.", 960, 1440),
    _step("Open", "Piece 1, then piece 2. Wedges and water; do not pry.", 20, 40),
    _step("Wait before the first resin", "Alcohol leaves the rubber.", 2880, 4320),
    _step(
        "Cast and pull, nine times",
        "Face coat brushed, then slush.",
        60,
        110,
        "Isocyanate: brush or pour, never spray; gloves, airing, the data sheet's respirator.",
    ),
]

SHOPPING = [
    {
        "item": "tin-cure silicone, Shore 25A, base",
        "net": 438.2,
        "waste": 43.8,
        "buy": 1000,
        "unit": "g",
        "for": "skin",
    },
    {"item": "its catalyst", "net": 43.8, "waste": 4.4, "buy": 100, "unit": "g", "for": "skin"},
    {
        "item": "medium urethane resin, A and B",
        "net": 1304.0,
        "waste": 196.0,
        "buy": 2000,
        "unit": "g",
        "for": "9 castings",
    },
    {
        "item": "bronze powder, irregular",
        "net": 592.0,
        "waste": 89.0,
        "buy": 750,
        "unit": "g",
        "for": "face coats",
    },
    {
        "item": "clay, free of sulphur",
        "net": 610,
        "waste": 0,
        "buy": 610,
        "unit": "cm³",
        "for": "bank",
    },
    {"item": "bolts M6 × 25", "net": 4, "waste": 0, "buy": 4, "unit": "pieces", "for": "shell"},
    {"item": "cartridges", "net": 1, "waste": 0, "buy": 1, "unit": "pairs", "for": "respirator"},
]

CAUTIONS = [
    {
        "title": "Tin catalyst",
        "text": "A reproductive hazard. Nitrile gloves, no skin contact, "
        "air the room while it cures.",
        "applies_to": ["silicone"],
    },
    {
        "title": "Isocyanate",
        "text": "Part B can make a person allergic for life; smell gives no "
        "warning. Never spray it at home. Whoever wheezes after work stops and sees a doctor.",
        "applies_to": ["urethane resin"],
    },
    {
        "title": "Metal powder",
        "text": "Fine dust: no dry power sanding, no shared extractor with "
        "steel grinding; keep the lid on and pour low.",
        "applies_to": ["bronze powder"],
    },
    {
        "title": "Heat of cure",
        "text": "A full cup runs hot in minutes. Spread it, do not leave it standing in the cup.",
        "applies_to": ["urethane resin"],
    },
    {
        "title": "Wearing the prop",
        "text": "A prop is not protective equipment. Edges of at least "
        "1 mm radius, lining against the skin, a strap with a breakaway, a spotter.",
        "applies_to": ["casting"],
    },
]


def sample_pictures() -> dict[str, bytes]:
    """The pictures of the invented mask, as a packet takes them."""
    solids = mask_solids()
    return {**master_pictures(solids.master, findings=FINDINGS), **mould_pictures(solids)}


def main(out: Path) -> None:
    """Write pictures and packets to look at."""
    out.mkdir(exist_ok=True)
    pictures = sample_pictures()
    for key, data in pictures.items():
        (out / f"{key}.png").write_bytes(data)
    for paper in ("a4", "letter"):
        (out / f"{paper}.pdf").write_bytes(make_packet(sample_plan(), pictures, paper=paper))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
