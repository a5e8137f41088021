"""What a test gives, looked at before anything is done with it.

A test is Python and may give anything: what cannot be taken is told in one sentence, and
nothing is taken for something else.
"""

from __future__ import annotations

from collections.abc import Mapping
from operator import index
from typing import Any

from emu85.console.kinds import Context, Duration
from emu85.console.tokens import split_line
from emu85.errors import UserError

Data = int | bytes | bytearray | list[int] | tuple[int, ...]
"""A byte, or bytes."""


def bytes_of(data: Any) -> bytes:
    """The bytes that are meant by a byte, bytes, or a list of them.

    Raises:
        UserError: it is nothing of the kind.
    """
    if isinstance(data, bytes | bytearray | memoryview):
        return bytes(data)
    if isinstance(data, list | tuple):
        return bytes(_byte(one) for one in data)
    if isinstance(data, str):
        raise UserError(f"{data!r} is a text", expected=f"bytes, such as b{data!a}")
    return bytes([_byte(data)])


def _byte(value: Any) -> int:
    try:
        number = index(value)
    except TypeError:
        raise UserError(
            f"{value!r} is no byte", expected="0 to 255, bytes, or a list of numbers 0 to 255"
        ) from None
    if not 0 <= number <= 0xFF:
        raise UserError(f"{value!r} is no byte", expected="0 to 255")
    return number


def number_of(name: str, value: Any, expected: str = "a whole number") -> int:
    """The value that ``name`` is to have.

    Raises:
        UserError: it is no whole number.
    """
    try:
        return index(value)
    except TypeError:
        raise UserError(f"{name} cannot be {value!r}", expected=expected) from None


def text_of(text: Any) -> str:
    """A text; bytes are one character each.

    Raises:
        UserError: it is neither.
    """
    if isinstance(text, bytes | bytearray):
        return text.decode("latin-1")
    if isinstance(text, str):
        return text
    raise UserError(f"{text!r} is no text", expected="a text, or bytes")


def places_of(memory: Any) -> Mapping[Any, Any]:
    """Bytes by their places.

    Raises:
        UserError: it is no dictionary.
    """
    if isinstance(memory, Mapping):
        return memory
    raise UserError(
        f"memory cannot be {memory!r}", expected="a dictionary, such as {'LIST': [1, 2]}"
    )


def t_states_of(time: Any, clock_hz: float, least: int = 0) -> int:
    """A length of board time in T-states.

    Args:
        time: T-states, or a text such as ``"20 ms"``.
        clock_hz: T-states a second.
        least: of T-states.

    Raises:
        UserError: it is none.
    """
    kind = Duration()
    if isinstance(time, int) and not isinstance(time, bool) and time >= least:
        return time
    words = split_line(time) if isinstance(time, str) else []
    if words:
        value, taken = kind.take(words, Context(clock_hz=clock_hz))
        if taken == len(words):
            return value
    raise UserError(f"{time!r} is no time", expected=f"T-states, or {kind.wants}")
