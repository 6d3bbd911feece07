"""Names for the types that tests speak of again and again."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
