"""The one kind of argument the formulas take: a number, or an array of them.

The formulas use operators only (a square root is a power of one half), so that floats, NumPy
arrays and uncertain numbers all pass through the same lines, and nothing here imports NumPy.
"""

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

N = TypeVar("N", float, "NDArray[np.float64]")
