"""A delay as assembly that explains itself."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from fractions import Fraction

from emu85.board.quantities import hertz_text, seconds_text
from emu85.timing.delay.costs import named, t_states
from emu85.timing.delay.padding import Padding
from emu85.timing.delay.solver import Loop, Plan, Use
from emu85.wording import counted

_WIDTH = 78
_LABEL, _OPERANDS = 6, 13
"""Columns; a longer label has a line of its own."""
_JOINT = "\0"
"""In place of a blank at which no line ends."""
_FLAGS = ["S", "Z", "K", "AC", "P", "V", "CY"]
_RESTORED = "POP PSW"
"""The one filler that gives the flags back."""


def write_delay(plan: Plan, clock: Fraction, name: str = "DELAY") -> str:
    """Source that can be included or pasted: it has neither ORG nor END.

    Args:
        clock: of the CPU, in hertz; half the crystal.
        name: its label; loops get the same with a number.
    """
    lines = [*_head(plan, clock, name), *_code(plan, name), *_sums(plan, name)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def destroyed(plan: Plan) -> tuple[list[str], list[str]]:
    """Registers and flags that do not come out as they went in."""
    registers = {name for loop in plan.loops for name in loop.level.counter.registers}
    flags = {flag for name in _names(plan) for flag in named(name).flags.split()}
    return sorted(registers, key="ABCDEHL".index), [flag for flag in _FLAGS if flag in flags]


def destroys(plan: Plan) -> str:
    """The same in words."""
    registers, flags = destroyed(plan)
    said = [*registers, f"the flags {' '.join(flags)}" if flags else ""]
    return ", ".join(word for word in said if word) or "nothing"


def _names(plan: Plan) -> Iterator[str]:
    """Names of the instructions whose flags are left changed."""
    for loop in plan.loops:
        yield from loop.level.counter.count
    for padding in (plan.head, *(loop.padding for loop in plan.loops)):
        for filler in padding.fillers:
            names = [name for name, _ in filler.code]
            if _RESTORED not in names:
                yield from names


def _head(plan: Plan, clock: Fraction, name: str) -> Iterator[str]:
    counts = (
        "CALL and RET counted" if plan.use is Use.ROUTINE else "from its first byte to its last"
    )
    whole = seconds_text(plan.t_states / clock)
    said = (
        f"{name} takes {counted(plan.t_states, 'T-state')}, {counts}: {whole} with a crystal of "
        f"{hertz_text(2 * clock)}, CLK {hertz_text(clock)}, a T-state of {seconds_text(1 / clock)}."
    )
    yield from _comment(said)
    if any(plan.waits):
        yield from _comment(
            f"Wait states: {plan.waits.code} in each read of the code"
            + (f", {plan.waits.stack} on the stack." if plan.use is Use.ROUTINE else ".")
        )
    yield from _comment(f"It destroys {destroys(plan)}.")


def _comment(text: str) -> list[str]:
    """Lines of comment; a number stays with its unit."""
    joined = re.sub(r"(?<=\d) (?=\S)", _JOINT, text)
    lines = textwrap.wrap(joined, _WIDTH, initial_indent="; ", subsequent_indent="; ")
    return [line.replace(_JOINT, " ") for line in lines]


def _code(plan: Plan, name: str) -> Iterator[str]:
    label = name
    rows = [*_padding(plan, plan.head), *_loops(plan, name, 1), *_return(plan)]
    width = max(_OPERANDS, *(len(operands) for _, _, operands, _ in rows), 0)
    for line in rows:
        own, rest = (line[0], line[1:]) if line[0] else (label, line[1:])
        if label and line[0]:
            yield f"{label}:"
        if len(own) > _LABEL:
            yield f"{own}:"
            own = ""
        yield _line(width, own, *rest)
        label = ""
    if label:  # an empty piece of code
        yield f"{label}:"


_Row = tuple[str, str, str, str]
"""Label, mnemonic, operands, comment."""


def _line(width: int, label: str, mnemonic: str, operands: str, comment: str) -> str:
    head = f"{label + ':' if label else '':<{_LABEL + 1}} {mnemonic:<7} {operands:<{width}}"
    return f"{head} ; {comment}"


def _row(plan: Plan, name: str, operand: str = "", label: str = "", about: str = "") -> _Row:
    one = named(name)
    mnemonic, _, register = name.partition(" ")
    taken = _t_text(plan, name)
    if one.condition is not None:
        taken += f" to jump, {_t_text(plan, name, taken=False)} the last time"
    operands = ",".join(part for part in (register, operand) if part)
    return label, mnemonic, operands, f"{taken}  {about}".rstrip()


def _t_text(plan: Plan, name: str, *, taken: bool = True) -> str:
    one = named(name)
    bare = one.t_states if taken else one.t_states_not_taken or 0
    waits = t_states(one, plan.waits, taken=taken) - bare
    return f"{bare}+{waits}" if waits else f"{bare}"


def _padding(plan: Plan, padding: Padding) -> Iterator[_Row]:
    for filler in padding.fillers:
        for name, operand in filler.code:
            yield _row(plan, name, operand, about=filler.about)


def _loops(plan: Plan, name: str, depth: int) -> Iterator[_Row]:
    if depth > len(plan.loops):
        return
    loop = plan.loops[depth - 1]
    counter, label = loop.level.counter, f"{name}{depth}"
    yield _row(plan, counter.load, str(loop.passes % counter.most), about=_passes(loop))
    inner = [*_padding(plan, loop.padding), *_loops(plan, name, depth + 1)]
    inner += [_row(plan, each) for each in counter.count]
    yield label, *inner[0][1:]
    yield from inner[1:]
    yield _row(plan, "JNZ", label)


def _passes(loop: Loop) -> str:
    most = loop.level.counter.most
    return f"{loop.passes} passes: 0 counts as {most}" if loop.passes == most else ""


def _return(plan: Plan) -> Iterator[_Row]:
    if plan.use is Use.ROUTINE:
        yield _row(plan, "RET")


def _sums(plan: Plan, name: str) -> Iterator[str]:
    """The arithmetic, innermost loop first."""
    rows: list[tuple[str, str, int]] = []
    times = [*plan.times, 0]
    for depth in range(len(plan.loops), 0, -1):
        loop = plan.loops[depth - 1]
        level = loop.level
        body = [str(t) for t in (loop.padding.t, times[depth]) if t]
        body.append(str(level.step))
        saved = level.taken - level.not_taken
        passes = f"{loop.passes}({' + '.join(body)})"
        rows.append((f"{name}{depth}", f"{level.load} + {passes} - {saved}", times[depth - 1]))
    parts = [f"{what} {t}" for what, t in _outside(plan) if t]
    if plan.loops:
        parts.append(str(times[0]))
    rows.append((name, " + ".join(parts), plan.t_states))
    width = max(len(text) for _, text, _ in rows)
    labels = max(len(label) for label, _, _ in rows)
    yield ";"
    for label, text, t in rows:
        yield f"; {label:<{labels}}  {text:<{width}} = {t}"


def _outside(plan: Plan) -> Iterator[tuple[str, int]]:
    if plan.use is Use.ROUTINE:
        for name in ("CALL", "RET"):
            yield name, t_states(named(name), plan.waits)
    yield "padding", plan.head.t
