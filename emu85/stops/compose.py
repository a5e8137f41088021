"""From the parts of a stop as they were written to the step they come to.

The language only reads words; here the parts meet: what an address means for
the cycle types beside it, and whether they can hold together at all.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from emu85.bus.cycles import IO_CYCLES, Cycle
from emu85.bus.lines import NAMES, Line
from emu85.errors import Place, UserError
from emu85.stops.condition import ANY, PORT_STEP, Step
from emu85.stops.numbers import Pattern, Span
from emu85.stops.tables import accepts_some_address

Value = Span | Pattern
_ALL = 0xFFFF


@dataclass(slots=True)
class Parts:
    """The parts of one step as read; ``columns`` says where each keyword's value stands."""

    types: frozenset[Cycle] = frozenset()
    at: Value | None = None
    outside: Value | None = None
    hi: Value | None = None
    lo: Value | None = None
    data: Value | None = None
    line_mask: int = 0
    line_value: int = 0
    edge_mask: int = 0
    finding: bool = False
    passes: int = 0
    columns: dict[str, int] = field(default_factory=dict)

    def refuse(self, part: str, message: str, expected: str = "") -> UserError:
        """The error for the value of ``part``."""
        return UserError(message, Place(column=self.columns.get(part, 0)), expected=expected)

    @property
    def looks_at_bus(self) -> bool:
        """True if anything but lines and a count was written."""
        values = (self.at, self.outside, self.hi, self.lo, self.data)
        return bool(self.types) or self.finding or any(v is not None for v in values)


def add_line(parts: Parts, line: Line, *, high: bool, edge: bool, column: int) -> None:
    """Take in one line and its level.

    Raises:
        UserError: the line was asked to be otherwise already.
    """
    bit = int(line)
    value = bit if high else 0
    before = parts.line_mask & bit
    if before and (parts.line_value & bit != value or bool(parts.edge_mask & bit) != edge):
        name = NAMES[line]
        raise UserError(
            f"{name} is asked for in two ways at once",
            Place(column=column),
            expected=f"one of high, low, rises, falls for {name}",
        )
    parts.line_mask |= bit
    parts.line_value |= value
    parts.edge_mask |= bit if edge else 0


def compose(parts: Parts) -> Step:
    """The step that ``parts`` come to.

    Raises:
        UserError: parts that mean nothing together or can never hold, with the
            column of the part in question.
    """
    step = Step(
        types=(parts.types or ANY) if parts.looks_at_bus else frozenset(),
        line_mask=parts.line_mask,
        line_value=parts.line_value,
        edge_mask=parts.edge_mask,
        finding=parts.finding,
        passes=parts.passes,
    )
    if step.lines_only:
        return step
    _refuse_ambiguous(parts, step)
    step = _with_data(parts, step)
    step = _with_masks(parts, step)
    step = _with_ranges(parts, step)
    step = _simplified(step)
    if not accepts_some_address(step):
        part = next(p for p in ("outside", "lo", "hi", "at") if p in parts.columns)
        raise parts.refuse(
            part, "no address fits all of this", "address parts that can hold together"
        )
    return step


def _refuse_ambiguous(parts: Parts, step: Step) -> None:
    """A value as short as a port is unclear when memory and I/O cycles were both named."""
    mixed = bool(step.types & IO_CYCLES) and bool(step.types - IO_CYCLES)
    if not mixed or step.types >= ANY:
        return
    for name, value in (("at", parts.at), ("outside", parts.outside)):
        if value is not None and value.short:
            raise parts.refuse(
                name,
                "this is a port for I/O cycles but an address for the others",
                "four digits, as A15-A0 show them: 0021 in memory, 2121 for port 21",
            )


def _with_data(parts: Parts, step: Step) -> Step:
    if isinstance(parts.data, Pattern):
        return replace(step, data_mask=parts.data.mask, data_value=parts.data.value)
    if isinstance(parts.data, Span):
        return replace(step, data_low=parts.data.low, data_high=parts.data.high)
    return step


def _with_masks(parts: Parts, step: Step) -> Step:
    """The patterns of ``at``, ``hi`` and ``lo`` joined into one."""
    masks = []
    if isinstance(parts.at, Pattern):
        masks.append(("at", *_pattern_shown(parts.at, step)))
    if parts.hi is not None:
        mask, value = _as_mask(parts, "hi", parts.hi)
        masks.append(("hi", mask << 8, value << 8))
    if parts.lo is not None:
        masks.append(("lo", *_as_mask(parts, "lo", parts.lo)))
    mask = value = 0
    for name, more, wanted in masks:
        if step.ports:
            more, wanted = _in_both_halves(parts, name, more, wanted)
        if (value ^ wanted) & mask & more:
            raise parts.refuse(name, "no address fits both this and what stands before it")
        mask, value = mask | more, value | wanted
    return replace(step, address_mask=mask, address_value=value)


def _pattern_shown(pattern: Pattern, step: Step) -> tuple[int, int]:
    """Mask and value of A15-A0; a pattern of a port says nothing about the upper half."""
    if step.ports and pattern.mask >> 8 == 0xFF and pattern.value <= 0xFF:
        return pattern.mask & 0xFF, pattern.value
    return pattern.mask, pattern.value


def _as_mask(parts: Parts, name: str, value: Value) -> tuple[int, int]:
    if isinstance(value, Pattern):
        return value.mask, value.value
    if value.low != value.high:
        raise parts.refuse(
            name, f"{name} takes no range", "a byte, 00 to FF, or a pattern such as 8x"
        )
    return 0xFF, value.low


def _in_both_halves(parts: Parts, name: str, mask: int, value: int) -> tuple[int, int]:
    """In an I/O cycle both halves of the address show the port: what one says holds for both."""
    if ((value >> 8) ^ value) & (mask >> 8) & mask & 0xFF:
        raise _no_port(parts, name)
    return (mask >> 8 | mask & 0xFF) * PORT_STEP, (value >> 8 | value & 0xFF) * PORT_STEP


def _with_ranges(parts: Parts, step: Step) -> Step:
    low, high = 0, _ALL
    if isinstance(parts.at, Span):
        low, high = _shown(parts, "at", parts.at, step)
    if parts.outside is None:
        return replace(step, low=low, high=high)
    hole = _shown(parts, "outside", _as_span(parts, parts.outside), step)
    if (low, high) == (0, _ALL):
        return replace(step, low=hole[0], high=hole[1], outside=True)
    return _with_hole(parts, replace(step, low=low, high=high), *hole)


def _as_span(parts: Parts, value: Value) -> Span:
    """``outside 8xxx`` means 8000-8FFF; other patterns are no range."""
    if isinstance(value, Span):
        return value
    free = _ALL & ~value.mask
    if free & (free + 1):
        raise parts.refuse("outside", "this pattern is not one range", "a range such as 8000-80FF")
    return Span(value.value, value.value | free, value.short)


def _shown(parts: Parts, name: str, span: Span, step: Step) -> tuple[int, int]:
    """The range as A15-A0 show it."""
    if not step.ports:
        return span.low, span.high
    low = span.low if span.low <= 0xFF else -(-span.low // PORT_STEP)
    high = span.high if span.high <= 0xFF else span.high // PORT_STEP
    if low > high:
        raise _no_port(parts, name)
    return low * PORT_STEP, high * PORT_STEP


def _no_port(parts: Parts, name: str) -> UserError:
    return parts.refuse(
        name,
        "no I/O cycle shows this: both halves of the address are the port number",
        "a port, 00 to FF",
    )


def _with_hole(parts: Parts, step: Step, low: int, high: int) -> Step:
    """``step``, which has a range of its own, without the addresses ``low`` to ``high``."""
    if high < step.low or low > step.high:
        return step
    if low <= step.low and high >= step.high:
        raise parts.refuse("outside", "nothing is left of the range after 'at'")
    unit = PORT_STEP if step.ports else 1
    if low <= step.low:
        return replace(step, low=high + unit)
    if high >= step.high:
        return replace(step, high=low - unit)
    return _holed_block(parts, step, low, high)


def _holed_block(parts: Parts, step: Step, low: int, high: int) -> Step:
    """A range with a hole in it, which a row can hold if the range is also a pattern."""
    width = step.high - step.low
    if step.ports or width & (width + 1) or step.low & width:
        raise parts.refuse(
            "outside",
            "one stop cannot look on both sides of a hole in this range",
            "two stops, one for each side",
        )
    block = _ALL & ~width
    if (step.low ^ step.address_value) & block & step.address_mask:
        raise parts.refuse("at", "no address fits all of this")
    return replace(
        step,
        low=low,
        high=high,
        outside=True,
        address_mask=step.address_mask | block,
        address_value=step.address_value | step.low,
    )


def _simplified(step: Step) -> Step:
    """An address pinned down to one value, however it was written, is that one value."""
    inside = step.low <= step.address_value <= step.high
    if step.address_mask == _ALL and inside != step.outside:
        return _exactly(step, step.address_value)
    pinned = step.low == step.high and not step.outside
    if pinned and step.low & step.address_mask == step.address_value:
        return _exactly(step, step.low)
    return step


def _exactly(step: Step, address: int) -> Step:
    return replace(step, low=address, high=address, outside=False, address_mask=0, address_value=0)
