"""Padding: instructions that take time and leave everything as it was, but for the flags.

Some of it comes in pairs that undo one another.  Where a register is about to be loaded
anyway, counting it up is padding as well.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from functools import cache
from typing import NamedTuple

from emu85.timing.delay.costs import Waits, named, t_states


class Filler(NamedTuple):
    """Instructions that belong together.

    Attributes:
        code: names of instructions, and operands where they have some.
        size: bytes.
        t: T-states.
        about: why it does no harm.
    """

    code: tuple[tuple[str, str], ...]
    size: int
    t: int
    about: str


class Padding(NamedTuple):
    """Fillers one after another; ``t`` T-states in all."""

    t: int
    fillers: tuple[Filler, ...] = ()


NOTHING = Padding(0)

_ANYWHERE = (
    ((("NOP", ""),), ""),
    ((("CPI", "0"),), "changes flags only"),
    ((("JMP", "$+3"),), "to the next instruction"),
    ((("INX H", ""), ("DCX H", "")), "HL is as before"),
)
_WITH_A_STACK = (
    ((("PUSH PSW", ""), ("POP PSW", "")), "as before"),
    ((("XTHL", ""), ("XTHL", "")), "as before"),
)
_FREE_PAIR = "not in use yet"


@cache
def paddings(size: int, free: frozenset[str], stack: bool, waits: Waits) -> tuple[Padding, ...]:
    """What just so many bytes can take that fewer bytes cannot, one padding a time.

    Args:
        size: bytes, from 0.
        free: registers whose contents do not matter there.
        stack: whether the stack may be used.
    """
    return tuple(_reached(size, free, stack, waits).values())


@cache
def _reached(size: int, free: frozenset[str], stack: bool, waits: Waits) -> dict[int, Padding]:
    if size == 0:
        return {0: NOTHING}
    found: dict[int, Padding] = {}
    for filler in fillers(free, stack, waits):
        if filler.size > size:
            continue
        for rest in _reached(size - filler.size, free, stack, waits).values():
            padding = Padding(rest.t + filler.t, (*rest.fillers, filler))
            best = found.get(padding.t)
            if best is None or len(padding.fillers) < len(best.fillers):
                found[padding.t] = padding
    shorter = {t for less in range(size) for t in _reached(less, free, stack, waits)}
    return {t: padding for t, padding in sorted(found.items()) if t not in shorter}


@cache
def fillers(free: frozenset[str], stack: bool, waits: Waits) -> tuple[Filler, ...]:
    """What padding can be made of, the plainest first."""
    return tuple(
        Filler(
            code,
            sum(named(name).length for name, _ in code),
            sum(t_states(named(name), waits) for name, _ in code),
            about,
        )
        for code, about in _codes(free, stack)
    )


def _codes(free: Collection[str], stack: bool) -> Iterator[tuple[tuple[tuple[str, str], ...], str]]:
    yield from _ANYWHERE
    for high, low in ("BC", "DE", "HL"):
        if high in free and low in free:
            yield ((f"INX {high}", ""),), f"{high}{low} is {_FREE_PAIR}"
    if "H" in free and "L" in free:
        yield (("DAD H", ""),), f"HL is {_FREE_PAIR}"
    if stack:
        yield from _WITH_A_STACK
