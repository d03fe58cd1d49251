"""Names for the arrays that go through the engine; their shapes and units stand in the docstrings."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Flags = NDArray[np.bool_]
Indices = NDArray[np.integer]
Several = Floats | Sequence[float]  # where one number would be answered with one
