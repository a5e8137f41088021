"""How the pieces of the loop are compiled."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.int64]

Function = TypeVar("Function", bound=Callable[..., object])


def part(function: Function) -> Function:
    """Compile a piece of the loop, to be inlined.

    Without ``_nrt=False`` every call would count references to its arrays, which
    halves the speed.
    """
    compiler: Any = numba.njit
    options = {"error_model": "numpy", "forceinline": True, "_nrt": False}
    return cast(Function, compiler(**options)(function))
