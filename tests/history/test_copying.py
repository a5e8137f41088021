"""Copies share what must not change and nothing that does."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pytest

from emu85.history.copying import Copier, enclosed


@dataclass
class Box:
    name: str
    inside: list[object] = field(default_factory=list)

    def look(self) -> list[object]:
        return self.inside


class Slotted:
    __slots__ = ("_later", "value")

    def __init__(self, value: object) -> None:
        self.value = value


@dataclass(frozen=True)
class Stone:
    inside: list[int]


class Row(NamedTuple):
    number: int | Fraction
    name: str
    levels: tuple[int, ...] = ()


class Pair(NamedTuple):
    first: object
    second: object


@pytest.mark.parametrize(
    "value", [None, 7, "text", b"bytes", Fraction(1, 3), Stone([1]), (1, "a"), Pair(1, 2), len]
)
def test_what_cannot_change_is_shared(value: object) -> None:
    assert Copier(()).copy(value) is value


@pytest.mark.parametrize(
    "value",
    [
        [1, [2, 3]],
        {"a": [1], "b": {2: [3]}},
        {1, 2},
        deque([[1], [2]], maxlen=5),
        bytearray(b"abc"),
        ([1], 2),
        Pair([1], 2),
    ],
)
def test_what_can_change_is_copied_to_the_bottom(value: Any) -> None:
    copied = Copier(()).copy(value)
    assert copied is not value and copied == value and type(copied) is type(value)
    inner = next(iter(value.values() if isinstance(value, dict) else value))
    inner_copy = next(iter(copied.values() if isinstance(copied, dict) else copied))
    assert not isinstance(inner, list) or inner is not inner_copy
    if isinstance(value, deque):
        assert copied.maxlen == 5


def test_rows_of_plain_values_are_shared_and_the_list_is_not() -> None:
    rows = deque([Row(1, "a"), Row(Fraction(1, 2), "b", (1, 0))], maxlen=4)
    copied = Copier(()).copy(rows)
    assert copied == rows and copied is not rows and copied.maxlen == 4
    assert all(new is old for new, old in zip(copied, rows, strict=True))


def test_arrays_are_copied() -> None:
    array = np.arange(4)
    copied = Copier(()).copy({"a": array})["a"]
    copied[0] = 9
    assert array.tolist() == [0, 1, 2, 3]


def test_what_two_share_their_copies_share() -> None:
    shared = [1]
    box = Box("b", [shared])
    held = {"box": box, "list": shared, "call": box.look, "later": partial(box.look)}
    copied = Copier(()).copy(held)
    assert copied["box"] is not box and copied["box"].inside[0] is copied["list"] is not shared
    assert copied["call"]() is copied["box"].inside is copied["later"]()


def test_loops_are_copied_as_loops() -> None:
    box = Box("b")
    box.inside.append(box)
    copied = Copier(()).copy(box)
    assert copied.inside[0] is copied is not box


def test_fixed_objects_are_left_alone_wherever_they_stand() -> None:
    fixed = Box("fixed")
    copied = Copier([fixed]).copy([fixed, fixed.look, partial(fixed.look), (fixed, [])])
    assert copied[0] is fixed and copied[1].__self__ is fixed
    assert copied[2].func.__self__ is fixed and copied[3][0] is fixed


def test_slots_and_iterators() -> None:
    slotted = Slotted([1])
    copied = Copier(()).copy(slotted)
    assert copied.value == [1] and copied.value is not slotted.value
    assert not hasattr(copied, "_later")
    numbers = iter((1, 2, 3))
    next(numbers)
    again = Copier(()).copy(numbers)
    assert list(numbers) == list(again) == [2, 3]


def test_what_a_function_encloses() -> None:
    number, box = 3, Box("b")
    assert enclosed(lambda: number) == []
    assert enclosed(lambda: (number, box)) == [box]
    assert enclosed(partial(lambda: box)) == [box]
    assert enclosed(box.look) == [] == enclosed(len)
