"""Arrays made as wide as their neighbours."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def widened(values: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """`values` broadcast to a shape, not to be written into; the array itself where it has that shape already.

    Numpy takes some 3 µs to find that nothing is to be done, and a morning asks it a hundred times.

    Raises
    ------
    ValueError
        They do not broadcast.
    """
    return values if values.shape == shape else np.broadcast_to(values, shape)
