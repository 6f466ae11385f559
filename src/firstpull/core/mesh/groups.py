"""What hangs together, directly or by way of others?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def grouped(a: NDArray[Any], b: NDArray[Any], count: int) -> NDArray[np.int32]:
    """(count,) number of the group each of so many things belongs to.

    Args:
        a, b: (N,) pairs of things that belong together, by number.
        count: how many things there are; one that stands in no pair is a group by itself.

    >>> grouped(np.array([0, 4]), np.array([2, 1]), 5).tolist()
    [0, 1, 0, 2, 1]
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    graph = coo_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(count, count))
    return connected_components(graph, directed=False)[1].astype(np.int32)
