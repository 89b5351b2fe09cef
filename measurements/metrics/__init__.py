"""Pure numerics on arrays: SI floats and arrays in, floats or frozen dataclasses out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
