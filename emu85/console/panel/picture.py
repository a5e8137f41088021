"""The panel's lines, from a scene and a size; our own layout, and pure text.

Each line is a row of pieces.  A piece can be clicked if it has an action.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.pins import ACTIVE_LOW, HLDA, HOLD, IO_M, READY, RESET_OUT, SAMPLED
from emu85.console.panel.lamps import Lamps, lamp
from emu85.console.panel.scene import Scene

COLUMNS, ROWS = 80, 24
"""The least that the whole of it needs."""
STRONG, HEAD, LIT = "strong", "head", "lit"
"""Styles: emphasis alone, no colour."""
_LABEL = 9
_BELOW = 15
"""Lines above the last machine cycles."""
_LEFT = 46
"""Columns of the last machine cycles where the serial pane stands beside them."""
HELD_ON: tuple[Cycle, ...] = tuple(cycle for cycle in Cycle if cycle not in STATES)
"""Cycle types that can be chosen to be held on, by the digits from 1."""

_CONTROL = (
    (IO_M, "S1", "S0"),
    ("ALE", "RD", "WR", "INTA"),
    (READY, HOLD, HLDA),
)
_INPUTS = (
    ("TRAP", "RST 7.5", "RST 6.5", "RST 5.5", "INTR"),
    ("SID", "SOD"),
    (RESET_OUT,),
)
assert {*SAMPLED} <= {pin for group in _INPUTS for pin in group}


class Piece(NamedTuple):
    """Text of one style.

    Attributes:
        style: one of :data:`STRONG`, :data:`HEAD`, :data:`LIT`, or none.
        action: what a click on it does; the name of a key.
    """

    text: str
    style: str = ""
    action: str = ""


Line = list[Piece]

HELP: tuple[tuple[tuple[str, str], ...], ...] = (
    (
        ("space", "run"),
        ("s", "step a machine cycle"),
        ("i", "an instruction"),
        ("b", "back a machine cycle"),
    ),
    (
        ("p", "pace"),
        ("+", "faster"),
        ("-", "slower"),
        ("r", "reset"),
        ("t", "type to the board"),
        ("q", "leave"),
    ),
)
"""Keys and what they do, as the last lines have them."""


def picture(scene: Scene, columns: int, rows: int, lamps: Lamps) -> list[Line]:
    """Exactly ``rows`` lines of at most ``columns`` characters."""
    lines = list(_lines(scene, columns, rows, lamps))
    if columns < COLUMNS or rows < ROWS:
        needs = f"needs {COLUMNS} x {ROWS}, has {columns} x {rows}"
        lines[1:2] = [[Piece(needs, STRONG)]]
    body, last = lines[: -len(HELP)], lines[-len(HELP) :]
    room = max(rows - len(last), 0)
    body = [*body[:room], *[[] for _ in range(room - len(body))]]
    return [_cut(line, columns) for line in [*body, *last]][:rows]


def _lines(scene: Scene, columns: int, rows: int, lamps: Lamps) -> Iterator[Line]:
    yield [Piece(_title(scene).ljust(columns), HEAD)]
    yield [Piece(scene.message, STRONG)]
    yield from _buses(scene, lamps)
    yield []
    for groups in (_CONTROL, _INPUTS):
        yield from _group(groups, scene, lamps)
    yield [Piece(f"{'cycle':<{_LABEL}}"), Piece(scene.cycle, STRONG)]
    yield [Piece(f"{'code':<{_LABEL}}{scene.code}")]
    yield [Piece(f"{'regs':<{_LABEL}}{scene.registers}")]
    yield _hold_on(scene)
    yield [Piece(f"{'stops':<{_LABEL}}{'; '.join(scene.stops) or 'none armed'}")]
    yield from _below(scene, columns, rows - _BELOW - len(HELP))
    yield from _help(scene)


def _title(scene: Scene) -> str:
    return (
        f" {scene.board}   {scene.mode.upper()}   T {scene.t}   {scene.seconds:.6f} s   "
        f"speed {scene.speed}   pace {scene.pace:g}/s"
    )


def _buses(scene: Scene, lamps: Lamps) -> Iterator[Line]:
    numbers = [f"{bit:>2}" for bit in range(15, -1, -1)]
    yield [Piece(f"{'':<{_LABEL}}{_in_fours(numbers)}")]
    address = "----" if scene.address is None else f"{scene.address:04X}"
    data = "--" if scene.data is None else f"{scene.data:02X}"
    shares = [*reversed(scene.glow.address.tolist())]
    yield [
        Piece(f"{'address':<{_LABEL}}"),
        Piece(_in_fours([f" {lamp(share, lamps)}" for share in shares]), LIT),
        Piece(f"   {address}", STRONG),
    ]
    shares = [*reversed(scene.glow.data.tolist())]
    blank = _in_fours(["  "] * 8) + "  "
    yield [
        Piece(f"{'data':<{_LABEL}}{blank} "),
        Piece(_in_fours([f" {lamp(share, lamps)}" for share in shares]), LIT),
        Piece(f"   {data}", STRONG),
    ]


def _in_fours(cells: Sequence[str]) -> str:
    fours = (" ".join(cells[at : at + 4]) for at in range(0, len(cells), 4))
    return "   ".join(fours)


def _group(groups: Sequence[Sequence[str]], scene: Scene, lamps: Lamps) -> Iterator[Line]:
    """Names of pins, and a lamp below each; a pin that is active low has a stroke before it."""
    names, lit = " " * _LABEL, " " * _LABEL
    for group in groups:
        for pin in group:
            name = f"/{pin}" if pin in ACTIVE_LOW else pin
            name = name.removeprefix("RST ") if pin != "RST 7.5" else name
            width = max(len(name), 3)
            names += f"{name:^{width}}  "
            lit += f"{lamp(scene.glow.pins[pin], lamps):^{width}}  "
        names += "   "
        lit += "   "
    yield [Piece(names.rstrip())]
    yield [Piece(lit.rstrip(), LIT)]


def _hold_on(scene: Scene) -> Line:
    """The cycle types with their digits; those to be held on stand in brackets."""
    line = [Piece(f"{'hold on':<{_LABEL}}")]
    for number, cycle in enumerate(HELD_ON, 1):
        chosen = cycle in scene.hold_on
        text = f"[{number} {cycle.name}]" if chosen else f" {number} {cycle.name} "
        line += [Piece(text, STRONG if chosen else "", str(number)), Piece(" ")]
    return line


def _below(scene: Scene, columns: int, count: int) -> Iterator[Line]:
    """The last machine cycles, and beside them the serial pane."""
    count = max(count, 0)
    right = columns - _LEFT - 2
    head = f"serial: {scene.serial_end}" if scene.serial_end else "no serial line"
    if scene.is_typing:
        head += ", keys go there; Esc ends it"
    yield [
        Piece(f"{'last machine cycles':<{_LEFT}}| "),
        Piece(head, STRONG if scene.is_typing else ""),
    ]
    rows = list(scene.rows)[-(count - 1) :] if count > 1 else []
    wrapped = [line[at : at + right] for line in scene.serial for at in _starts(line, right)]
    serial = wrapped[-(count - 1) :] if count > 1 else []
    for at in range(count - 1):
        left = rows[at] if at < len(rows) else ""
        beside = serial[at] if at < len(serial) else ""
        yield [Piece(f"{left[:_LEFT]:<{_LEFT}}| {beside}")]


def _starts(line: str, width: int) -> range:
    return range(0, max(len(line), 1), max(width, 1))


def _help(scene: Scene) -> Iterator[Line]:
    for keys in HELP:
        line: Line = []
        for key, what in keys:
            shown = "hold" if key == "space" and scene.mode != "held" else what
            line += [Piece(key, STRONG, key), Piece(f" {shown}", "", key), Piece("   ")]
        yield line


def _cut(line: Line, columns: int) -> Line:
    """As much of a line as fits."""
    out: Line = []
    room = columns
    for piece in line:
        if room <= 0:
            break
        out.append(piece._replace(text=piece.text[:room]))
        room -= len(piece.text)
    return out
