"""What a test is told when a board does not do what was asked of it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from emu85.errors import UserError

_P = ParamSpec("_P")
_R = TypeVar("_R")


class BoardFailure(AssertionError):
    """The board, or its firmware, is not as the test expects it."""


def told_at_the_test(method: Callable[_P, _R]) -> Callable[_P, _R]:
    """Have failures and mistakes end at the line of the test: what is below says nothing."""

    @wraps(method)
    def told(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        __tracebackhide__ = True
        try:
            return method(*args, **kwargs)
        except (BoardFailure, UserError) as error:
            raise error.with_traceback(None) from None

    return told
