"""Copies of what changes while a board runs, with everything that does not left shared.

A board's state hangs together: an event of the schedule calls a method of a part of
a chip, and the chip keeps the event to be able to cancel it.  So one
:class:`Copier` copies everything in one go, and what two objects share, their
copies share.  Left alone are

* fixed objects, which are named: devices, arrays, whatever keeps its identity;
* what cannot change: numbers, text, functions, classes, members of enumerations,
  frozen dataclasses and named tuples of such.

A function is left alone too, and what it has enclosed with it.  A board must
therefore enclose only fixed and unchangeable objects in what it schedules
(:func:`enclosed` lists them, for a test).
"""

from __future__ import annotations

import copy
import enum
import functools
import operator
import types
import typing
from collections import deque
from collections.abc import Iterable
from fractions import Fraction
from pathlib import PurePath
from typing import Any

import numpy as np

_UNCHANGING = (
    type(None),
    bool,
    int,
    float,
    str,
    bytes,
    range,
    type,
    Fraction,
    enum.Enum,
    frozenset,
    np.dtype,
    np.generic,
    PurePath,
    types.FunctionType,
    types.BuiltinFunctionType,
    types.ModuleType,
    functools._lru_cache_wrapper,
)


_known_kinds: dict[type, bool] = {}


def _never_changes(kind: type) -> bool:
    known = _known_kinds.get(kind)
    if known is None:
        parameters = getattr(kind, "__dataclass_params__", None)
        is_frozen = parameters is not None and bool(parameters.frozen)
        known = is_frozen or issubclass(kind, _UNCHANGING) or _is_plain_row(kind)
        _known_kinds[kind] = known
    return known


def _is_plain_row(kind: type) -> bool:
    """Whether a kind is a named tuple of nothing but what cannot change."""
    if not (issubclass(kind, tuple) and hasattr(kind, "_fields")):
        return False
    try:
        hints = typing.get_type_hints(kind).values()
    except NameError:  # named for type checkers only
        return False
    return all(map(_is_plain, hints))


def _is_plain(hint: Any) -> bool:
    """Whether an annotation allows only what cannot change."""
    parts = typing.get_args(hint)
    if parts:
        return all(part is Ellipsis or _is_plain(part) for part in parts)
    return isinstance(hint, type) and issubclass(hint, _UNCHANGING)


class Copier:
    """Copies objects; what they share, the copies share."""

    def __init__(self, fixed: Iterable[object]) -> None:
        """``fixed`` are left alone; hold them for as long as the copier is in use."""
        self._done: dict[int, Any] = {id(each): each for each in fixed}
        self._kept: list[object] = []

    def copy(self, value: Any) -> Any:
        """A copy of ``value``, or ``value`` itself where it need not be copied."""
        kind = type(value)
        never_changes = _known_kinds.get(kind)  # by hand: most values are such
        if never_changes or (never_changes is None and _never_changes(kind)):
            return value
        known = self._done.get(id(value))
        if known is not None:
            return known
        made = self._made(value, kind)
        self._done[id(value)] = made
        self._kept.append(value)  # so that its id is not given to another
        return made

    def _made(self, value: Any, kind: type) -> Any:
        if kind is list or kind is deque:
            return self._sequence(value)
        if kind is dict:
            return self._table(value)
        if isinstance(value, tuple):
            return self._tuple(value)
        if isinstance(value, set):
            return {self.copy(each) for each in value}
        if kind is bytearray or kind is np.ndarray:
            return value.copy()
        if kind is types.MethodType:
            owner = self.copy(value.__self__)
            return value if owner is value.__self__ else types.MethodType(value.__func__, owner)
        if kind is functools.partial:
            return self._partial(value)
        if hasattr(value, "__next__"):
            return copy.copy(value)  # an iterator over a tuple or a list
        return self._object(value, kind)

    def _sequence(self, value: list[Any] | deque[Any]) -> Any:
        if all(map(_never_changes, set(map(type, value)))):
            return value.copy()
        made = value.copy()
        made.clear()
        self._done[id(value)] = made
        made.extend([self.copy(each) for each in value])
        return made

    def _table(self, value: dict[Any, Any]) -> dict[Any, Any]:
        made: dict[Any, Any] = {}
        self._done[id(value)] = made
        for key, each in value.items():
            made[self.copy(key)] = self.copy(each)
        return made

    def _tuple(self, value: tuple[Any, ...]) -> tuple[Any, ...]:
        parts = [self.copy(each) for each in value]
        if all(map(operator.is_, parts, value)):
            return value
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)

    def _partial(self, value: functools.partial[Any]) -> functools.partial[Any]:
        called = self.copy(value.func)
        arguments = self._tuple(value.args)
        words = {name: self.copy(each) for name, each in value.keywords.items()}
        if called is value.func and arguments is value.args and not words:
            return value
        return functools.partial(called, *arguments, **words)

    def _object(self, value: Any, kind: type) -> Any:
        made: Any = object.__new__(kind)
        self._done[id(value)] = made
        for name, each in attributes(value).items():
            object.__setattr__(made, name, self.copy(each))
        return made


def attributes(value: Any, but: frozenset[str] = frozenset()) -> dict[str, Any]:
    """What an object holds, in its dictionary and in its slots.

    Args:
        but: names that are left out.
    """
    held = {name: each for name, each in getattr(value, "__dict__", {}).items() if name not in but}
    for name in _slots(type(value), but):
        try:
            held[name] = getattr(value, name)
        except AttributeError:  # not set yet
            continue
    return held


_known_slots: dict[tuple[type, frozenset[str]], tuple[str, ...]] = {}


def _slots(kind: type, but: frozenset[str]) -> tuple[str, ...]:
    known = _known_slots.get((kind, but))
    if known is None:
        known = tuple(name for name in _declared_slots(kind) if name not in but)
        _known_slots[kind, but] = known
    return known


def _declared_slots(kind: type) -> tuple[str, ...]:
    named: list[str] = []
    for base in kind.__mro__:
        slots = base.__dict__.get("__slots__", ())
        named += [slots] if isinstance(slots, str) else slots
    return tuple(name for name in named if name not in ("__dict__", "__weakref__"))


def enclosed(value: Any) -> list[object]:
    """What a function that a schedule calls has enclosed, and can change."""
    if isinstance(value, types.MethodType):
        return []
    if isinstance(value, functools.partial):
        return enclosed(value.func)
    cells = getattr(value, "__closure__", None) or ()
    return [cell.cell_contents for cell in cells if not _never_changes(type(cell.cell_contents))]
