"""The fill guide on paper: a page that tells of each pocket, and the gauges to cut out at 1:1."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from firstpull.core.arrays import Floats
from firstpull.packet.format import (
    cubic_cm,
    grams,
    mm,
    plain,
    square_cm,
)

Paper = Literal["a4", "letter"]
Data = dict[str, Any]

ROOM_MM: dict[Paper, tuple[float, float]] = {"a4": (174.0, 220.0), "letter": (179.0, 202.0)}
"""What a page leaves for cards between its title and the bar."""
GAP_MM = 5.0  # between cards, for the scissors
BAND_MM = 3.0  # of silicone hinted at along the working edge
EDGE_MM = 1.0  # around a card
SHORT_MM = 64.0  # a card as long as this has its words in a row


@dataclass(frozen=True)
class Spot:
    """Where a card lies: its page, its lower left corner on it (y up), and whether turned."""

    page: int
    x_mm: float
    y_mm: float
    turned: bool


def laid_out(
    sizes_mm: Sequence[tuple[float, float]], *, room_mm: tuple[float, float]
) -> list[Spot]:
    """Cards in rows, the highest first, on as many pages as they take.

    Args:
        sizes_mm: length and height of each; one that is longer than the page is wide is
            turned by a quarter.
        room_mm: width and height of a page.

    A card larger than a page lies on one by itself and reaches over its border.

    >>> [s.page for s in laid_out([(100, 60), (60, 50), (150, 70)], room_mm=(174, 140))]
    [0, 0, 0]
    """
    wide, high = room_mm
    lying = [(h, w, True) if w > wide else (w, h, False) for w, h in sizes_mm]
    spots: list[Spot | None] = [None] * len(lying)
    rows: list[list[float]] = []  # page, top, height, used length
    tops: list[float] = []  # used height of each page
    for n in sorted(range(len(lying)), key=lambda n: (-lying[n][1], n)):
        w, h, turned = lying[n]
        row = next((r for r in rows if r[3] + w <= wide and h <= r[2]), None)
        if row is None:
            page = next((p for p, used in enumerate(tops) if used + h <= high), len(tops))
            if page == len(tops):
                tops.append(0.0)
            row = [page, tops[page], h, 0.0]
            rows.append(row)
            tops[page] += h + GAP_MM
        spots[n] = Spot(int(row[0]), row[3], high - row[1] - h, turned)
        row[3] += w + GAP_MM
    return [spot for spot in spots if spot is not None]


def gauge_pages(fill: Mapping[str, Any], *, paper: Paper = "a4") -> list[Data]:
    """The sheets of cards: all lines in millimetres from the upper left of the room for them.

    Args:
        fill: places with ``mass_g`` and ``gauge``, as in the plan.
        paper: the sheet.
    """
    places = [place for place in fill.get("places") or [] if place.get("gauge")]
    outlines = [np.array(place["gauge"]["outline_mm"], float) for place in places]
    corners = [_box(outline) for outline in outlines]
    room = ROOM_MM[paper]
    spots = laid_out([(c[2] - c[0], c[3] - c[1]) for c in corners], room_mm=room)
    pages: list[Data] = [{"cards": []} for _ in range(1 + max((s.page for s in spots), default=-1))]
    for place, corner, spot in zip(places, corners, spots, strict=True):
        on_page = _Onto(corner, spot, room[1])
        pages[spot.page]["cards"].append(_card(place, on_page))
    for number, page in enumerate(pages, start=1):
        page |= {"number": number, "count": len(pages), "room": list(room)}
    return pages


def _box(outline: Floats) -> tuple[float, float, float, float]:
    """The card with the hint of silicone under it, and a little air."""
    (x0, y0), (x1, y1) = outline.min(axis=0).tolist(), outline.max(axis=0).tolist()
    return x0 - EDGE_MM, y0 - BAND_MM - EDGE_MM, x1 + EDGE_MM, y1 + EDGE_MM


@dataclass(frozen=True)
class _Onto:
    """From a card's coordinates to a page, whose y runs down."""

    corner: tuple[float, float, float, float]
    spot: Spot
    high_mm: float

    def points(self, flat: Any) -> list[list[float]]:
        """Places on the page."""
        x0, y0, _, y1 = self.corner
        x, y = np.asarray(flat, float).reshape(-1, 2).T
        over, up = (y1 - y, x - x0) if self.spot.turned else (x - x0, y - y0)
        across, down = self.spot.x_mm + over, self.high_mm - self.spot.y_mm - up
        return [[round(a, 3), round(d, 3)] for a, d in zip(across, down, strict=True)]

    @property
    def angle_deg(self) -> float:
        """By which words are turned."""
        return -90.0 if self.spot.turned else 0.0


def _card(place: Mapping[str, Any], on: _Onto) -> Data:
    gauge = place["gauge"]
    outline = np.array(gauge["outline_mm"], float)
    edge = np.array(gauge["profile_mm"], float)
    x0, x1 = float(outline[:, 0].min()), float(outline[:, 0].max())
    top = float(outline[:, 1].max())
    marks = [on.points(line) for line in gauge["marks_mm"]]
    return {
        "outline": on.points(outline),
        "edge": on.points(edge),
        "band": on.points(np.vstack([edge, edge[::-1] - [0.0, BAND_MM]])),
        "fill_edge": on.points(_between(edge, *(line[0][0] for line in gauge["marks_mm"][1:]))),
        "marks": marks,
        "arrow": on.points(_arrow(x1, top)) if gauge.get("rises") else [],
        "words": _words(place, x0, x1, top, on),
    }


def _between(edge: Floats, low: float, high: float) -> Floats:
    """The part of a line between two places along x."""
    inner = edge[(edge[:, 0] > low) & (edge[:, 0] < high)]
    ends = [[x, float(np.interp(x, edge[:, 0], edge[:, 1]))] for x in (low, high)]
    return np.vstack([ends[:1], inner, ends[1:]])


def _arrow(right: float, top: float) -> Floats:
    """A slender arrow that points to the card's right end."""
    x, y = right - 5.0, top - 8.0
    half = [[0.0, 0.0], [-4.0, 1.7], [-4.0, 0.35], [-9.0, 0.35]]
    under = [[dx, -dy] for dx, dy in half[:0:-1]]
    return np.array([*half, *under]) + np.array([x, y])


def _words(place: Mapping[str, Any], x0: float, x1: float, top: float, on: _Onto) -> list[Data]:
    """Number, depth and grams on the card's back, and which end is held higher."""
    facts = [mm(place["depth_mm"]) + " deep", *_mass(place)]
    lines = [
        (f"Pocket {place['number']}", 12.0, 7.0, True),
        (" · ".join(facts), 8.0, 12.0, False),
    ]
    if x1 - x0 < SHORT_MM:
        lines = [(f"Pocket {place['number']}", 10.0, 6.5, True)]
        lines += [(fact, 7.5, 10.8 + 3.6 * n, False) for n, fact in enumerate(facts)]
    said = [
        {"text": text, "pt": pt, "bold": bold, "anchor": "start", "angle": on.angle_deg}
        | {"at": on.points([x0 + 5.0, top - down])[0]}
        for text, pt, down, bold in lines
    ]
    if place["gauge"].get("rises"):
        at = on.points([x1 - 5.0, top - 12.0])[0]
        word = {"text": "higher end", "pt": 6.5, "bold": False, "anchor": "end"}
        said.append(word | {"at": at, "angle": on.angle_deg})
    return said


def _mass(place: Mapping[str, Any]) -> list[str]:
    return [grams(place["mass_g"])] if place.get("mass_g") is not None else []


def fill_page(fill: Mapping[str, Any], pictures: Sequence[str] = ()) -> Data | None:
    """The page that tells of each pocket; None where nothing is filled.

    Args:
        fill: places and rest, as in the plan.
        pictures: names of the picture files, as the page finds them.
    """
    places = fill.get("places") or []
    if not places and not fill.get("rest_cm3"):
        return None
    total = fill.get("total_cm3") or 0.0
    said = f"{cubic_cm(total)} of silicone in {len(places)} "
    said += "place" if len(places) == 1 else "places"
    rest = fill.get("rest_cm3") or 0.0
    if rest >= 0.05:
        said += f", {cubic_cm(rest)} of it in films and specks that go on with the coats"
    return {
        "said": said + ".",
        "pictures": list(pictures),
        "places": [_place_row(place) for place in places],
        "sheets": any(place.get("gauge") for place in places),
        "how": str(fill.get("how_gauges_tell") or ""),
    }


def _place_row(place: Mapping[str, Any]) -> Data:
    x, y, z = place["place_mm"]
    gauge = place.get("gauge")
    return {
        "number": str(place["number"]),
        "side": str(place["side"]).replace("-", "−"),
        "at": f"{plain(x)}, {plain(y)}, {plain(z)}".replace("-", "−"),
        "depth": mm(place["depth_mm"]),
        "bottom": mm(place["bottom_mm"]) if place["bottom_mm"] > 1.25 * place["depth_mm"] else "",
        "volume": cubic_cm(place["volume_cm3"]),
        "mass": grams(place.get("mass_g")),
        "area": square_cm(place["area_cm2"]),
        "pieces": ", ".join(str(piece) for piece in place["pieces"]),
        "hold": " ".join(gauge["sentences"]).replace("(-", "(−") if gauge else "",
    }
