"""A plain head of our own to hold a part against: calm like a shop window's stand, no likeness.

The crown is stacked of level rings over the plane between the brows. Below it each ring hangs on
three points, at the front, the side and the back, so that rings tilt along the jaw and level out
in the neck. Nose, brow, sockets and chin are pushed out of the rings at the front. The table of
points is drawn by hand; the survey's measures stretch it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.optimize import brentq

from firstpull.core.arrays import Floats
from firstpull.core.errors import WorkshopError
from firstpull.core.figures import told_number
from firstpull.core.fit.head_measures import HeadMeasures
from firstpull.core.mesh.mesh import Mesh

AROUND, ABOVE, BELOW = 136, 24, 50  # faces around, rings over and under the brows: 20 000 faces
FRONT_SHARE = 0.49  # of the length, before the ears: drawn, no source
ROOT_DEEP_MM = 4.3  # of the root of the nose, behind its ring
TIP = 0.37  # of the face's height: the tip of the nose
EVENED = 24  # times each ring is drawn to the middle of its neighbours
SLIMMEST, SQUAREST = 1.6, 4.0  # of the ring at the brows: 2 is an ellipse, more is fuller
FITTINGS = 4  # each comes some ten times nearer

DRAWN_AS = {
    "length": 195.0,
    "breadth": 150.5,
    "face_height": 118.0,
    "tragion_to_top": 129.0,
    "cheek_breadth": 138.5,
    "pupil_distance": 63.0,
    "neck_circumference": 361.5,
}
"""Measures of the head that the table draws, in mm."""

# Rings from the brows down to the neck: front y, z; side x, y, z; back y, z; how square the ring
# is at the front and at the back. Millimetres on a head as in DRAWN_AS.
_DRAWN = np.array(
    [
        [-95.5, 38, 75.25, 8, 38, 99.5, 38, 0.0, 0.0],
        [-94.8, 21, 74.4, 6, 22, 98.6, 22, 2.25, 2.2],
        [-94.8, 0, 69.25, 3, -6, 94.0, -2, 2.2, 2.1],
        [-94.4, -30, 65.6, 1, -22, 88.0, -18, 2.1, 2.0],
        [-93.0, -52, 62.4, 1, -39, 81.0, -35, 2.05, 2.0],
        [-91.0, -80, 59.3, 3, -56, 75.3, -52, 2.0, 2.0],
        [-81.0, -97, 56.0, 5, -71, 71.5, -68, 1.95, 2.0],
        [-64.0, -94, 53.8, 8, -85, 70.0, -84, 1.95, 2.0],
        [-51.0, -104, 52.3, 10, -100, 69.8, -100, 2.0, 2.0],
        [-48.0, -128, 51.8, 11, -128, 71.0, -128, 2.0, 2.0],
        [-49.0, -168, 53.5, 12, -168, 73.5, -168, 2.0, 2.0],
    ]
)
_BROW, _ROOT, _CHEEK, _CHIN, _NECK = 0, 1, 2, 6, 9  # rows of the table


class HeadUnlikely(WorkshopError):
    """The measures are those of no head."""

    code = "head_unlikely"


@dataclass(frozen=True)
class HeadMarks:
    """Where measures are taken on a headform, (x, y, z) in mm; pairs on the side of positive x."""

    glabella_mm: tuple[float, float, float]
    sellion_mm: tuple[float, float, float]
    menton_mm: tuple[float, float, float]
    back_mm: tuple[float, float, float]
    crown_mm: tuple[float, float, float]
    cheek_mm: tuple[float, float, float]
    pupil_mm: tuple[float, float, float]
    neck_mm: tuple[float, float, float]


def headform(measures: HeadMeasures) -> Mesh:
    """A closed head with a piece of neck, in mm, z up, facing -y, mirrored in x.

    The origin is the middle between the ears, at the small flap before each ear's opening.

    Raises:
        HeadUnlikely: the circumference does not go with length and breadth, or another
            measure is less than half or more than twice that of the middle head.
    """
    table = _fitted(measures)
    crown = (0.0, float(table[0, 3]), measures.tragion_to_top.value_mm)
    return _closed(_half(table, measures), crown=crown)


def head_marks(measures: HeadMeasures) -> HeadMarks:
    """The places of a headform's measures; refusals as :func:`headform`."""
    table = _fitted(measures)
    half = _half(table, measures).reshape(-1, 3)
    face = half[half[:, 1] < 0]
    pupil = np.array([measures.pupil_distance.value_mm / 2, _pupil_z(table)])
    nearest = face[np.argmin(np.linalg.norm(face[:, [0, 2]] - pupil, axis=1))]
    brow, root, chin = (table[row, :2].tolist() for row in (_BROW, _ROOT, _CHIN))
    return HeadMarks(
        glabella_mm=(0.0, brow[0], brow[1]),
        sellion_mm=(0.0, root[0] + ROOT_DEEP_MM, root[1]),
        menton_mm=(0.0, chin[0], chin[1]),
        back_mm=(0.0, float(table[_BROW, 5]), float(table[_BROW, 6])),
        crown_mm=(0.0, float(table[_BROW, 3]), measures.tragion_to_top.value_mm),
        cheek_mm=_three(table[_CHEEK, 2:5]),
        pupil_mm=(float(pupil[0]), float(nearest[1]), float(pupil[1])),
        neck_mm=_three(table[_NECK, 2:5]),
    )


def _half(table: Floats, measures: HeadMeasures) -> Floats:
    """(R, C, 3) the rings of one half with the face on them."""
    half = _rings(table, measures)
    half[:, :, 1] -= _relief(half, table, measures)
    return half


def _rings(table: Floats, measures: HeadMeasures) -> Floats:
    return _evened(_half_rings(table, measures.tragion_to_top.value_mm), table)


def _fitted(measures: HeadMeasures) -> Floats:
    """The drawn table, stretched until the evened rings have the measures."""
    _need_likely(measures)
    asked = np.array(
        [
            measures.circumference.value_mm,
            measures.cheek_breadth.value_mm,
            measures.neck_circumference.value_mm,
        ],
        dtype=np.float64,
    )
    aims = asked.copy()
    for _ in range(FITTINGS):
        table = _stretched(measures, aims)
        aims += asked - _read_off(_rings(table, measures), float(table[_CHEEK, 4]))
    return _stretched(measures, aims)


def _read_off(half: Floats, cheek_z: float) -> Floats:
    """Around the brows, across the cheeks and around the neck."""
    brow, neck = ABOVE - 1, ABOVE - 1 + _NECK * BELOW // (len(_DRAWN) - 1)
    around = [
        2.0 * float(np.linalg.norm(np.diff(half[ring, :, :2], axis=0), axis=1).sum())
        for ring in (brow, neck)
    ]
    across = [np.interp(-cheek_z, -half[:, k, 2], half[:, k, 0]) for k in range(half.shape[1])]
    return np.array([around[0], 2.0 * max(across), around[1]])


def _stretched(measures: HeadMeasures, aims: Floats) -> Floats:
    """The drawn table at the size of a head.

    Args:
        aims: around the brows, across the cheeks and around the neck.
    """
    table = _DRAWN.copy()
    length, breadth = measures.length.value_mm, measures.breadth.value_mm
    table[:, [0, 3, 5]] *= length / DRAWN_AS["length"]
    table[_BROW, [0, 5]] = -FRONT_SHARE * length, (1 - FRONT_SHARE) * length
    # from breadth at the brows to face breadth at the cheeks; what lies below goes with the face
    cheek = aims[1] / 2
    table[:, 2] *= cheek / table[_CHEEK, 2]
    table[_BROW, 2] = breadth / 2
    table[_ROOT, 2] = cheek + 0.86 * (breadth / 2 - cheek)
    # heights go with the crown above the root of the nose, and with the face below it
    drawn_root = _DRAWN[_ROOT, 1]
    root = drawn_root * measures.tragion_to_top.value_mm / DRAWN_AS["tragion_to_top"]
    stretch = measures.face_height.value_mm / DRAWN_AS["face_height"]
    for column in (1, 4, 6):
        over = table[:, column] - drawn_root
        table[:, column] = root + over * np.where(over > 0, root / drawn_root, stretch)
    share = aims[2] / _around(table[_NECK], 2.0)
    for row in range(_NECK - 1, len(table)):
        middle = 0.5 * (table[row, 0] + table[row, 5])
        table[row, [0, 5]] = middle + share * (table[row, [0, 5]] - middle)
        table[row, 2] *= share
    table[_BROW, 7:] = _squareness(table[_BROW], measures, aims[0])
    return table


def _squareness(brow: Floats, measures: HeadMeasures, aim_mm: float) -> float:
    asked = measures.circumference.value_mm
    slim, full = _around(brow, SLIMMEST), _around(brow, SQUAREST)
    if not slim <= asked <= full:
        raise HeadUnlikely(
            where="The head",
            found=f"measures {asked:.0f} mm around, {measures.length.value_mm:.0f} mm long and "
            f"{measures.breadth.value_mm:.0f} mm broad",
            limit=f"a head of that length and breadth measures {slim:.0f} to {full:.0f} mm around",
            remedy="Measure again: around over the brows, length and breadth with straight jaws.",
        )
    aim = min(max(aim_mm, slim), full)
    return float(brentq(lambda p: _around(brow, p) - aim, SLIMMEST, SQUAREST, xtol=1e-6))


def _around(row: Floats, square: float) -> float:
    """Length of a level ring."""
    sine, cosine = _superellipse(_turn(), np.full((1, 1), square))
    y = np.where(cosine > 0, row[5] - row[3], row[3] - row[0]) * cosine
    steps = np.hypot(np.diff(row[2] * sine[0]), np.diff(y[0]))
    return 2.0 * float(steps.sum())


def _need_likely(measures: HeadMeasures) -> None:
    for name, usual in DRAWN_AS.items():
        value = getattr(measures, name).value_mm
        if not 0.5 * usual <= value <= 2.0 * usual:
            raise HeadUnlikely(
                where="The head's " + name.replace("_", " "),
                found=f"is {told_number(value, 4)} mm",
                limit=f"it may be {0.5 * usual:.0f} to {2 * usual:.0f} mm",
                remedy="Measure again, in millimetres.",
            )


def _turn() -> Floats:
    """Angles from the back over one side to the front, closer together toward the front."""
    share = np.linspace(0.0, 1.0, AROUND // 2 + 1)
    return np.pi * share + 0.45 * np.sin(np.pi * share)


def _superellipse(turn: Floats, square: Floats) -> tuple[Floats, Floats]:
    """Sideways and backward shares, 1 at their largest, of rings of that squareness."""
    sine, cosine = np.abs(np.sin(turn)), np.cos(turn)
    sine[[0, -1]] = 0.0
    far = (sine**square + np.abs(cosine) ** square) ** (-1.0 / square)
    return far * sine, far * cosine


def _half_rings(table: Floats, top_mm: float) -> Floats:
    """(R, C, 3) the rings from crown to neck, from the back over +x to the front."""
    turn = _turn()
    rise = np.sin(np.linspace(0.5 * np.pi, 0.0, ABOVE + 1)[1:-1])[:, None]
    front, side, back = ((1.0 - rise**e) ** (1.0 / e) for e in (2.4, 2.3, 2.3))
    brow = table[0]
    sine, cosine = _superellipse(turn, brow[7] + (2.0 - brow[7]) * rise**2)
    behind = cosine > 0
    upper = np.stack(
        [
            brow[2] * side * sine,
            brow[3]
            + np.where(behind, (brow[5] - brow[3]) * back, (brow[3] - brow[0]) * front) * cosine,
            brow[1] + (top_mm - brow[1]) * rise + 0.0 * cosine,
        ],
        axis=2,
    )
    at = _between(table, np.linspace(0.0, len(table) - 1.0, BELOW + 1))
    yf, zf, x, y, z, yb, zb, pf, pb = (column[:, None] for column in at.T)
    ahead = _superellipse(turn, pf)
    astern = _superellipse(turn, pb)
    sine, cosine = (np.where(np.cos(turn) > 0, b, a) for a, b in zip(ahead, astern, strict=True))
    behind = cosine > 0
    lower = np.stack(
        [
            x * sine,
            y + np.where(behind, yb - y, y - yf) * cosine,
            z + np.where(behind, zb - z, zf - z) * cosine**2,
        ],
        axis=2,
    )
    return np.concatenate([upper, lower])


def _evened(half: Floats, table: Floats) -> Floats:
    """The rings without the waves that few drawn points leave at the sides and the back."""
    # the chin keeps its edge, and the crown is round already
    around = np.clip((np.cos(_turn()) + 0.8) / 0.6, 0.0, 1.0)[None, :, None]
    down = np.clip((np.arange(1, len(half) - 1) - 8.0) / 10.0, 0.0, 1.0)[:, None, None]
    share = 0.5 * around * down
    even = half.copy()
    for _ in range(EVENED):
        even[1:-1] += share * (0.5 * (even[:-2] + even[2:]) - even[1:-1])
    # the largest length and breadth have lost some tenths of a millimetre to it
    even[:, :, 0] *= table[0, 2] / even[:, :, 0].max()
    behind = even[:, :, 1] > 0
    even[:, :, 1][behind] *= table[0, 5] / even[:, :, 1].max()
    return even


def _between(table: Floats, along: Floats) -> Floats:
    """Rows between the rows of the table; over the brows it goes on as a mirror image, so that
    the rings meet the crown's without a crease."""
    over = table[2:0:-1].copy()
    heights = [1, 4, 6]
    over[:, heights] = 2.0 * table[0, heights] - over[:, heights]
    rows = np.concatenate([over, table])
    count = np.arange(-len(over), len(table))
    smooth = CubicSpline(count, rows)(along)
    # the chin and the root of the nose are where the table says, and nothing beyond them
    smooth[:, :2] = PchipInterpolator(count, rows[:, :2])(along)
    return smooth


def _three(point: Floats) -> tuple[float, float, float]:
    x, y, z = point.tolist()
    return x, y, z


def _pupil_z(table: Floats) -> float:
    return float(table[_ROOT, 1]) - 6.0


def _relief(half: Floats, table: Floats, measures: HeadMeasures) -> Floats:
    """(R, C) how far the face stands out of its rings."""
    x, z = half[:, :, 0], half[:, :, 2]
    front = np.clip(-half[:, :, 1] / 60.0, 0.0, 1.0)
    root, face = table[_ROOT, 1], measures.face_height.value_mm
    down = (root - z) / face  # 0 at the root of the nose, 1 under the chin
    ridge = np.clip(down / TIP, 0.0, 1.2) ** 1.3 * (1.0 - _eased((down - TIP + 0.08) / 0.18))
    wide = 8.0 + 6.0 * np.clip(down / TIP, 0.0, 1.0)
    nose = 25.0 * ridge * np.exp(-((x / wide) ** 2))
    dip = ROOT_DEEP_MM * _bump(x, 17.0) * _bump(z - root, 10.0)
    eyes = _bump(x - measures.pupil_distance.value_mm / 2, 16.0) * _bump(z - _pupil_z(table), 11.0)
    brow = _bump(z - table[0, 1] + 6.0, 8.0) * _bump(x - 32.0, 16.0)
    lips = _bump(x, 22.0) * _bump(down - 0.6, 0.11)
    chin = _bump(x, 18.0) * _bump(down - 0.88, 0.09)
    return front * (nose - dip - 8.5 * eyes + 1.5 * brow + 3.5 * lips + 3.0 * chin)


def _bump(off: Floats, wide: float) -> Floats:
    return np.exp(-((off / wide) ** 2))


def _eased(share: Floats) -> Floats:
    s = np.clip(share, 0.0, 1.0)
    return s * s * (3.0 - 2.0 * s)


def _closed(half: Floats, *, crown: tuple[float, float, float]) -> Mesh:
    """Both halves, the crown and a flat foot as one outward mesh."""
    rings, columns = half.shape[:2]
    mirrored = half[:, -2:0:-1] * [-1.0, 1.0, 1.0]
    points = np.concatenate([half, mirrored], axis=1)
    around = points.shape[1]
    foot = np.array([0.0, points[-1, [0, columns - 1], 1].mean(), points[-1, 0, 2]])
    vertices = np.vstack([points.reshape(-1, 3), [crown], [foot]])
    top, bottom = len(vertices) - 2, len(vertices) - 1
    here = np.arange(around)
    after = np.roll(here, -1)
    low = (rings - 1) * around
    faces = [np.stack([np.full(around, top), after, here], axis=1)]
    for ring in range(rings - 1):
        a, b = here + ring * around, after + ring * around
        c, d = a + around, b + around
        faces += [np.stack([a, b, d], axis=1), np.stack([a, d, c], axis=1)]
    faces.append(np.stack([np.full(around, bottom), low + here, low + after], axis=1))
    return Mesh(vertices, np.concatenate(faces))
