"""Names for the types that tests speak of again and again."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
T = TypeVar("T")


def there(value: T | None) -> T:
    """Return what a test knows to be there, and say so where it is not."""
    assert value is not None
    return value
