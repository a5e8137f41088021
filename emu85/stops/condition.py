"""What a stop looks for, as plain values.

A :class:`Condition` is one or more :class:`Step`\\ s that must be met in order.
A step is the AND of its parts, and its fields are those of a row of the core's
stop table (``cpu.layout.StopField``), so that compiling is copying.

Addresses are always what A15-A0 show: in an I/O cycle that is the port number
twice, port 21H being 2121H.  ``text`` is the canonical wording; reading it back
without symbols gives an equal condition.
"""

from __future__ import annotations

from dataclasses import dataclass

from emu85.bus.cycles import IO_CYCLES, STATES, Cycle
from emu85.bus.lines import NAMES

ANY = frozenset(Cycle) - STATES
"""What ``any`` means: the seven kinds of machine cycle, not HALT, HOLD or RESET."""

PORT_STEP = 0x101
"""``port * PORT_STEP`` is what A15-A0 show in the I/O cycles of that port."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to be met; every part must hold at once.

    Attributes:
        types: cycle types that match; empty for a step that looks at lines only.
        low, high, outside: address range, both ends included; with ``outside``
            the address must lie before ``low`` or after ``high``.
        address_mask, address_value: ``address & mask == value``.
        data_low, data_high, data_mask, data_value: the same for the data byte.
        line_mask, line_value: levels, in the bits of ``bus.lines.Line``.
        edge_mask: lines that must differ from the cycle before; a subset of
            ``line_mask``, whose values say the direction.
        finding: only a cycle that gave rise to a finding matches.
        passes: matches that go by before the step is met.
    """

    types: frozenset[Cycle] = ANY
    low: int = 0
    high: int = 0xFFFF
    outside: bool = False
    address_mask: int = 0
    address_value: int = 0
    data_low: int = 0
    data_high: int = 0xFF
    data_mask: int = 0
    data_value: int = 0
    line_mask: int = 0
    line_value: int = 0
    edge_mask: int = 0
    finding: bool = False
    passes: int = 0

    @property
    def lines_only(self) -> bool:
        """True when no part looks at the bus: met when the lines come to be as asked."""
        return not self.types

    @property
    def ports(self) -> bool:
        """True when every cycle type is an I/O cycle, so that addresses are ports."""
        return bool(self.types) and self.types <= IO_CYCLES

    @property
    def text(self) -> str:
        """The canonical wording of this step."""
        parts = [] if self.lines_only else _bus_words(self)
        parts += _line_words(self)
        if self.passes:
            parts.append(f"after {self.passes}")
        return " ".join(parts)


@dataclass(frozen=True, slots=True)
class Condition:
    """Steps to be met one after another, each in a later cycle than the one before."""

    steps: tuple[Step, ...]

    @property
    def text(self) -> str:
        """The canonical wording, e.g. ``on MW at 8004 then on OF at 0150``."""
        return " then ".join(step.text for step in self.steps)


def pattern_text(mask: int, value: int, digits: int) -> str:
    """A don't-care pattern of ``digits`` hexadecimal digits, in nibbles where they allow it."""
    nibbles = [(mask >> shift & 15, value >> shift & 15) for shift in range(4 * digits - 4, -1, -4)]
    if all(m in (0, 15) for m, _ in nibbles):
        text = "".join(f"{v:X}" if m else "x" for m, v in nibbles)
        # Without its suffix 0x80 would be taken for a number of another notation.
        return text + "H" if text.startswith("0x") and digits == 4 and "x" not in text[2:] else text
    bits = range(4 * digits - 1, -1, -1)
    return "".join(str(value >> n & 1) if mask >> n & 1 else "x" for n in bits) + "B"


def _bus_words(step: Step) -> list[str]:
    words = [f"on {_types_text(step)}"]
    words += _address_words(step)
    if step.data_mask:
        words.append(f"data {pattern_text(step.data_mask, step.data_value, 2)}")
    elif (step.data_low, step.data_high) != (0, 0xFF):
        words.append(f"data {_range_text(step.data_low, step.data_high, 2)}")
    return words


def _types_text(step: Step) -> str:
    if step.finding and step.types == ANY:
        return "finding"
    if step.types >= ANY:
        return ",".join(["any", *(t.name for t in sorted(step.types - ANY))])
    return ",".join(t.name for t in sorted(step.types))


def _address_words(step: Step) -> list[str]:
    words = []
    whole = (step.low, step.high) == (0, 0xFFFF)
    if not whole:
        keyword = "outside" if step.outside else "at"
        if step.ports:
            limits = _range_text(step.low // PORT_STEP, step.high // PORT_STEP, 2)
        else:
            limits = _range_text(step.low, step.high, 4)
        words.append(f"{keyword} {limits}")
    if step.address_mask:
        words += _mask_words(step, at_is_free=whole or step.outside)
    return words


def _mask_words(step: Step, *, at_is_free: bool) -> list[str]:
    mask, value = step.address_mask, step.address_value
    high, low = (mask >> 8, value >> 8), (mask & 0xFF, value & 0xFF)
    if step.ports:
        # The mask is the same in both halves, so either half tells it all.
        return [f"{'at' if at_is_free else 'lo'} {pattern_text(*low, 2)}"]
    if at_is_free and high[0] and low[0]:
        return [f"at {pattern_text(mask, value, 4)}"]
    named = (("hi", high), ("lo", low))
    at = "at " if at_is_free else ""
    return [f"{at}{name} {pattern_text(*half, 2)}" for name, half in named if half[0]]


def _range_text(low: int, high: int, digits: int) -> str:
    if low == high:
        return f"{low:0{digits}X}"
    return f"{low:0{digits}X}-{high:0{digits}X}"


def _line_words(step: Step) -> list[str]:
    asked = [
        f"{name} {_level_text(step, line)}" for line, name in NAMES.items() if step.line_mask & line
    ]
    if step.finding and step.types != ANY:
        asked.append("finding")
    if not asked:
        return []
    return [f"{'when' if step.lines_only else 'with'} {' and '.join(asked)}"]


def _level_text(step: Step, line: int) -> str:
    high = bool(step.line_value & line)
    if step.edge_mask & line:
        return "rises" if high else "falls"
    return "high" if high else "low"
