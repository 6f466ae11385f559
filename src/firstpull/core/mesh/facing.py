"""Do two triangles meet in more than the corners they share? Answered without rounding."""

from __future__ import annotations

from typing import Any

from numba import njit

from firstpull.core.mesh.exact import side_of_line, side_of_plane

APART, TOUCHING, THROUGH = 0, 1, 2


@njit(cache=True)
def meeting(six: Any, shared: int) -> int:
    """How two triangles meet: APART, TOUCHING or THROUGH.

    Args:
        six: (6, 3) the corners of both, neither in one line (see is_line); those that are
            shared come first, in the same order in both.
        shared: how many corners are shared, 0 to 2.

    Returns:
        APART where they have no point in common but the shared corners and the edge between
        them; THROUGH where an edge of one passes from one side of the other, by its inside,
        to the other side; TOUCHING for every other contact, as where they lie on each other
        in one plane.
    """
    if shared == 2:
        return _folded(six)
    if shared == 1:
        # what else they have in common reaches a side opposite to the corner
        if _one_side(six, 3, 1, 2) or _one_side(six, 0, 4, 5):
            return APART
        return max(_pierced(six, 1, 2, 3), _pierced(six, 4, 5, 0))
    if _wholly_one_side(six, 0, 3) or _wholly_one_side(six, 3, 0):
        return APART
    worst = APART
    for k in range(3):
        worst = max(worst, _pierced(six, k, (k + 1) % 3, 3))
        worst = max(worst, _pierced(six, 3 + k, 3 + (k + 1) % 3, 0))
        if worst == THROUGH:
            break
    return worst


@njit(cache=True)
def is_line(corners: Any, first: int) -> bool:
    """Whether the three corners from a row of (N, 3) on lie in one line."""
    turns = 0
    for k in range(3):
        turns |= _turn(corners, first, k, (k + 1) % 3)
    return turns == 0


@njit(cache=True)
def _turn(corners: Any, first: int, x: int, y: int) -> int:
    """Which way a triangle turns, seen in two axes."""
    return _side(corners, first, first + 1, first + 2, x, y)


@njit(cache=True)
def _side(points: Any, a: int, b: int, c: int, x: int, y: int) -> int:
    """On which side of the line from a to b point c lies, seen in two axes."""
    return side_of_line(
        points[a, x], points[a, y], points[b, x], points[b, y], points[c, x], points[c, y]
    )


@njit(cache=True)
def _one_side(six: Any, face: int, a: int, b: int) -> bool:
    """Whether two points lie strictly on one side of a triangle's plane."""
    at_a = side_of_plane(six, face, face + 1, face + 2, a)
    return at_a != 0 and side_of_plane(six, face, face + 1, face + 2, b) == at_a


@njit(cache=True)
def _wholly_one_side(six: Any, which: int, face: int) -> bool:
    """Whether all corners of a triangle lie strictly on one side of another's plane."""
    first = side_of_plane(six, face, face + 1, face + 2, which)
    if first == 0 or side_of_plane(six, face, face + 1, face + 2, which + 1) != first:
        return False
    return side_of_plane(six, face, face + 1, face + 2, which + 2) == first


@njit(cache=True)
def _pierced(six: Any, a: int, b: int, face: int) -> int:
    """How the segment from a to b meets a triangle."""
    at_a = side_of_plane(six, face, face + 1, face + 2, a)
    at_b = side_of_plane(six, face, face + 1, face + 2, b)
    if at_a == 0 and at_b == 0:
        return _in_plane(six, a, b, face)
    if at_a == at_b:
        return APART
    first = side_of_plane(six, a, b, face, face + 1)
    second = side_of_plane(six, a, b, face + 1, face + 2)
    third = side_of_plane(six, a, b, face + 2, face)
    if min(first, second, third) < 0 and max(first, second, third) > 0:
        return APART
    inside = first != 0 and second != 0 and third != 0
    return THROUGH if inside and at_a != 0 and at_b != 0 else TOUCHING


@njit(cache=True)
def _in_plane(six: Any, a: int, b: int, face: int) -> int:
    """The same where the segment lies in the triangle's plane, seen along an axis.

    Convex shapes in a plane are apart just where a line along a side of one parts them.
    """
    x, y, turn = _seen_along(six, face)
    for k in range(3):
        m, n = face + k, face + (k + 1) % 3
        if turn * _side(six, m, n, a, x, y) < 0 and turn * _side(six, m, n, b, x, y) < 0:
            return APART
    first = _side(six, a, b, face, x, y)
    same = first == _side(six, a, b, face + 1, x, y) == _side(six, a, b, face + 2, x, y)
    return APART if same and first != 0 else TOUCHING


@njit(cache=True)
def _folded(six: Any) -> int:
    """Two triangles over one edge meet beyond it only where one is folded onto the other."""
    if side_of_plane(six, 0, 1, 2, 5) != 0:
        return APART
    x, y, turn = _seen_along(six, 0)
    return TOUCHING if _side(six, 0, 1, 5, x, y) == turn else APART


@njit(cache=True)
def _seen_along(six: Any, face: int) -> Any:
    """Two axes in which the triangle keeps an area, and its turn there."""
    for k in range(3):
        x, y = k, (k + 1) % 3
        turn = _turn(six, face, x, y)
        if turn != 0:
            return x, y, turn
    return 0, 1, 0
