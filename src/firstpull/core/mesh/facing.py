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
    if _seen_apart(six, shared):
        return APART
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
def _seen_apart(six: Any, shared: int) -> bool:
    """Whether a line along a side parts what they do not share, as seen along an axis.

    What is apart in a view is apart. Neighbours in a smooth surface nearly always are, so
    that the dearer questions about planes are not asked of them.
    """
    x, y = _widest_view(six)
    if shared == 2:
        turn = _turn(six, 0, x, y)
        return turn != 0 and _side(six, 0, 1, 5, x, y) == -turn
    if shared == 1:
        return _cones_apart(six, x, y)
    for face in (0, 3):
        for k in range(3):
            a, b, tip = face + k, face + (k + 1) % 3, face + (k + 2) % 3
            turn = _side(six, a, b, tip, x, y)
            if (
                turn != 0
                and _side(six, a, b, 3 - face, x, y) == -turn
                and _side(six, a, b, 4 - face, x, y) == -turn
                and _side(six, a, b, 5 - face, x, y) == -turn
            ):
                return True
    return False


@njit(cache=True)
def _cones_apart(six: Any, x: int, y: int) -> bool:
    """Whether two triangles around one corner have no way from it in common, in a view."""
    for face in (0, 3):
        turn = _turn(six, face, x, y)
        if turn == 0:
            return False
        for other in (4 - face, 5 - face):
            past_first = turn * _side(six, face, face + 1, other, x, y) >= 0
            if past_first and turn * _side(six, face, face + 2, other, x, y) <= 0:
                return False
    return True


@njit(cache=True)
def _widest_view(six: Any) -> Any:
    """The two axes in which the first triangle is about largest."""
    ux, uy, uz = six[1, 0] - six[0, 0], six[1, 1] - six[0, 1], six[1, 2] - six[0, 2]
    vx, vy, vz = six[2, 0] - six[0, 0], six[2, 1] - six[0, 1], six[2, 2] - six[0, 2]
    along_x = abs(uy * vz - uz * vy)
    along_y = abs(uz * vx - ux * vz)
    along_z = abs(ux * vy - uy * vx)
    if along_z >= along_x and along_z >= along_y:
        return 0, 1
    return (1, 2) if along_x >= along_y else (0, 2)


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
