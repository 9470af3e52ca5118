"""The one way in which loops are compiled: kept on disk where that is allowed, else compiled anew in each process."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numba

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function when it is first called. With ``NUMBA_DISABLE_JIT=1`` it stays as it is.

    Where neither the program's folder nor the user's cache can be written (a shared installation, a read-only disk)
    numba refuses to keep compiled code at all; then it is not kept.
    """
    try:
        return cast(Callable[P, R], numba.njit(cache=True, nogil=True, error_model="numpy")(function))
    except RuntimeError:
        return cast(Callable[P, R], numba.njit(nogil=True, error_model="numpy")(function))
