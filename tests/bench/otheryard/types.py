"""Short names of the array types that pass between the rooms."""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
C128 = NDArray[np.complex128]
Codes = NDArray[np.uint16]


class Source(Protocol):
    """Something that sounds: it adds its pressure, in full scales of the low input, to a page of samples."""

    def add_to(self, page: F32, first: int) -> None:
        """Add what it sounds like from sample `first` of the scene on; the page has the length that is wanted."""
