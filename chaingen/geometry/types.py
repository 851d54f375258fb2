"""Names for the arrays that everything here is made of."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
"""Numbers."""

Ints = npt.NDArray[np.int64]
"""Indices and counts."""
