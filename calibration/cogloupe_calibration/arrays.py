"""The types of arrays, for both packages."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.floating[Any]]
"""Of either precision: what holds pixels is float32, what holds places float64."""
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
