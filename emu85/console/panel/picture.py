"""The panel's lines, from a scene and a size; our own layout, and pure text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from emu85.bus.cycles import STATES, Cycle
from emu85.console.panel.bands import FROM_CPU, TO_CPU, bus_figures, buses, pin_figures, pins
from emu85.console.panel.lamps import Lamps
from emu85.console.panel.pieces import HEAD, LABEL, STRONG, Line, Piece, cut, labelled
from emu85.console.panel.room import COLUMNS, ROWS, Room
from emu85.console.panel.scene import Mode, Scene

HELD_ON: tuple[Cycle, ...] = tuple(cycle for cycle in Cycle if cycle not in STATES)
"""Cycle types that can be chosen to be held on, by the digits from 1."""
_LOW = "/RD: active low"
_STOP_ROWS = 4
"""Lines for stops where there is much room."""

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


def picture(scene: Scene, room: Room, lamps: Lamps) -> list[Line]:
    """Exactly ``room.rows`` lines of at most ``room.columns`` characters."""
    lines = list(_above(scene, room, lamps))
    lines += _below(scene, room, room.rows - len(lines) - len(HELP))
    if not room.is_enough:
        needs = f"needs {COLUMNS} x {ROWS}, has {room.columns} x {room.rows}"
        lines[1:2] = [[Piece(needs, STRONG)]]
    body = lines[: max(room.rows - len(HELP), 0)]
    return [cut(line, room.columns) for line in [*body, *_help(scene)]][: room.rows]


def _above(scene: Scene, room: Room, lamps: Lamps) -> Iterator[Line]:
    yield [Piece(_title(scene).ljust(room.columns), HEAD)]
    yield [Piece(scene.message, STRONG)]
    is_wide, is_running = room.is_wide, scene.mode is Mode.RUNNING
    yield from buses(scene.glow, scene.address, scene.data, lamps, is_wide=is_wide)
    if is_wide:
        yield bus_figures(scene.figures) if is_running else []
    for label, groups in (("from CPU", FROM_CPU), ("to CPU", TO_CPU)):
        yield from pins(label, groups, scene.glow, lamps)
        if is_wide:
            yield pin_figures(groups, scene.figures) if is_running else []
    yield labelled("lamps", _legend(scene, lamps))
    if is_wide:
        yield []
    yield labelled("cycle", scene.cycle, STRONG)
    yield labelled("code", scene.code)
    yield labelled("regs", scene.registers)
    yield _hold_on(scene)
    yield from _stops(scene, room)


def _title(scene: Scene) -> str:
    return (
        f" {scene.board}   {scene.mode.name}   T {scene.t}   {scene.seconds:.6f} s   "
        f"speed {scene.speed}   pace {scene.pace:g}/s"
    )


def _legend(scene: Scene, lamps: Lamps) -> str:
    if scene.mode is not Mode.RUNNING:
        return f"{lamps.always} high  {lamps.never} low, or floating; as in T3  {_LOW}"
    return (
        f"{lamps.never} never high  {lamps.little} under 1/3  {lamps.half} to 2/3  "
        f"{lamps.mostly} more  {lamps.always} always  {_LOW}"
    )


def _hold_on(scene: Scene) -> Line:
    """The cycle types with their digits; those to be held on stand in brackets."""
    line = [Piece(f"{'hold on':<{LABEL}}")]
    for number, cycle in enumerate(HELD_ON, 1):
        chosen = cycle in scene.hold_on
        text = f"[{number} {cycle.name}]" if chosen else f" {number} {cycle.name} "
        line += [Piece(text, STRONG if chosen else "", str(number)), Piece(" ")]
    return line


def _stops(scene: Scene, room: Room) -> Iterator[Line]:
    texts = scene.stops or ["none armed"]
    if not room.is_wide:
        yield labelled("stops", _fitting(texts, room.columns - LABEL))
        return
    shown = texts if len(texts) <= _STOP_ROWS else texts[: _STOP_ROWS - 1]
    for number, text in enumerate(shown):
        yield labelled("" if number else "stops", text)
    if len(shown) < len(texts):
        yield labelled("", f"and {len(texts) - len(shown)} more")


def _fitting(texts: Sequence[str], width: int) -> str:
    """As many texts as fit beside each other, and how many do not."""
    for count in range(len(texts), 0, -1):
        more = f"; and {len(texts) - count} more" if count < len(texts) else ""
        line = "; ".join(texts[:count]) + more
        if len(line) <= width:
            return line
    return f"{len(texts)} armed"


def _below(scene: Scene, room: Room, count: int) -> list[Line]:
    """The last machine cycles, and beside them the serial pane: ``count`` lines at most."""
    heads = [*scene.head]
    right = max(room.columns - room.left - 2, 1)
    about = f"serial: {scene.serial_end}" if scene.serial_end else "no serial line"
    count = max(count, 0)
    rows = [*heads, *_last(scene.rows, count - len(heads))]
    wrapped = [line[at : at + right] for line in scene.serial for at in _starts(line, right)]
    serial = [about, *_last(wrapped, count - 1)]
    lines: list[Line] = []
    for at in range(count):
        left = rows[at] if at < len(rows) else ""
        beside = serial[at] if at < len(serial) else ""
        is_strong = at == 0 and scene.is_typing
        lines.append(
            [
                Piece(f"{left[: room.left]:<{room.left}}| "),
                Piece(beside, STRONG if is_strong else ""),
            ]
        )
    return lines


def _last(texts: Sequence[str], count: int) -> Sequence[str]:
    return texts[-count:] if count > 0 else ()


def _starts(line: str, width: int) -> range:
    return range(0, max(len(line), 1), width)


def _help(scene: Scene) -> Iterator[Line]:
    if scene.is_typing:
        yield [Piece(f"Keys go to {scene.serial_end}.", STRONG)]
        yield [Piece("Esc gives them back to the panel, Ctrl-C holds the board.")]
        return
    for keys in HELP:
        line: Line = []
        for key, what in keys:
            shown = "hold" if key == "space" and scene.mode is not Mode.HELD else what
            line += [Piece(key, STRONG, key), Piece(f" {shown}", "", key), Piece("   ")]
        yield line
