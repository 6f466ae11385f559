"""Signs that no rounding can turn, against exact fractions."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.core.mesh.exact import side_of_line, side_of_plane

# whole numbers and halves, sixteenths, and tiny steps beside them: many exact zeros
number = st.one_of(
    st.integers(-4, 4).map(float),
    st.integers(-64, 64).map(lambda k: k / 16.0),
    st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-60),
    st.integers(1, 3).map(lambda k: float(np.nextafter(k, np.inf))),
)
point = st.tuples(number, number, number)


def signed_volume(a: tuple, b: tuple, c: tuple, d: tuple) -> int:
    rows = [[Fraction(x) - Fraction(y) for x, y in zip(p, d, strict=True)] for p in (a, b, c)]
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = rows
    volume = az * (bx * cy - cx * by) + bz * (cx * ay - ax * cy) + cz * (ax * by - bx * ay)
    return (volume > 0) - (volume < 0)


@settings(max_examples=400, deadline=None)
@given(point, point, point, point)
def test_the_side_of_a_plane_is_that_of_exact_fractions(a, b, c, d) -> None:
    assert side_of_plane(np.array([a, b, c, d]), 0, 1, 2, 3) == signed_volume(a, b, c, d)


@settings(max_examples=300, deadline=None)
@given(point, point, point, st.integers(-3, 3), st.integers(-3, 3), st.integers(-1, 1))
def test_points_in_or_one_step_off_the_plane(a, b, c, s, t, step) -> None:
    d = np.array(a) + s * (np.array(b) - a) + t * (np.array(c) - a)
    d[2] = np.nextafter(d[2], step * np.inf) if step else d[2]
    if (np.abs(d[d != 0]) < 1e-60).any():
        d[np.abs(d) < 1e-60] = 0.0
    assert side_of_plane(np.array([a, b, c, d]), 0, 1, 2, 3) == signed_volume(a, b, c, tuple(d))


@settings(max_examples=300, deadline=None)
@given(point, point, st.floats(0, 1), st.integers(-1, 1))
def test_the_side_of_a_line_is_that_of_exact_fractions(a, b, t, step) -> None:
    (ax, ay, _), (bx, by, _) = a, b
    cx, cy = ax + t * (bx - ax), ay + t * (by - ay)
    cy = float(np.nextafter(cy, step * np.inf)) if step else cy
    if 0 < abs(cy) < 1e-60 or 0 < abs(cx) < 1e-60:
        return
    exact = (Fraction(ax) - Fraction(cx)) * (Fraction(by) - Fraction(cy)) - (
        Fraction(ay) - Fraction(cy)
    ) * (Fraction(bx) - Fraction(cx))
    assert side_of_line(ax, ay, bx, by, cx, cy) == (exact > 0) - (exact < 0)


def test_plain_doubles_would_have_erred_on_some_of_these() -> None:
    """The exact path is needed: rounding turns the sign of a share of nearly flat fours."""
    rng = np.random.default_rng(5)
    erred = 0
    for _ in range(500):
        a, b, c = rng.normal(size=(3, 3))
        s, t = rng.random(2)
        d = a + s * (b - a) + t * (c - a)
        plain = np.sign(np.linalg.det(np.stack([a - d, b - d, c - d])[:, [2, 0, 1]]))
        exact = signed_volume(*map(tuple, (a, b, c, d)))
        assert side_of_plane(np.stack([a, b, c, d]), 0, 1, 2, 3) == exact
        erred += plain != exact
    assert erred > 20
