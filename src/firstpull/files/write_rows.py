"""Tables of numbers as text, quickly and without losing a digit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from numpy.typing import NDArray

ROWS = 1 << 15


def written(pattern: str, *tables: NDArray[Any]) -> Iterator[bytes]:
    """One line for each row of the tables side by side.

    Args:
        pattern: for one row, with a %-field for each column; "%r" of a float gives the
            shortest text that reads back to the same number.
        tables: (N, k) arrays; whole numbers come out as such.

    >>> import numpy as np
    >>> b"".join(written("v %r %r\\n", np.array([[0.1, 2.0], [1e-9, 3.5]])))
    b'v 0.1 2.0\\nv 1e-09 3.5\\n'
    """
    for start in range(0, len(tables[0]), ROWS):
        blocks = [table[start : start + ROWS] for table in tables]
        columns = [column for block in blocks for column in block.T.tolist()]
        yield "".join([pattern % row for row in zip(*columns, strict=True)]).encode()
