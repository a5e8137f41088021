"""Waiting for a text with wildcards to come from a serial end."""

from __future__ import annotations

from collections.abc import Callable, MutableMapping

from emu85.console.views.held import held_sentence
from emu85.machine import Held, Machine, Reason
from emu85.rehearsal import looks
from emu85.rehearsal.patterns import Matcher, Pattern, first_end, quoted_bytes
from emu85.rehearsal.verdict import Difference

NOTHING = "(nothing)"
_MOST_SHOWN = 1000
"""Characters of a serial line that a difference shows."""


def hear_out(
    machine: Machine,
    heard: MutableMapping[str, int],
    name: str,
    pattern: Pattern,
    length: int,
    run: Callable[[int], Held],
) -> Difference | None:
    """Let the board run until a serial end has sent something; at once if it has.

    Args:
        heard: by serial end, how many of the characters received have been told of;
            what has come after them counts, and those up to the pattern's end are
            told of by this.
        name: of the serial end.
        length: T-states it may take.
        run: lets so many T-states pass; it ends early when the machine is asked to hold.

    Returns:
        None if it has come.
    """
    end = machine.board.serial_ends[name]
    before = heard[name]
    there = first_end(pattern, end.received[before:], anywhere=True)
    if there is not None:
        heard[name] += there
        return None
    held = _listen(machine, heard, name, pattern, lambda: run(length))
    if held is None:
        return None
    heard[name] = len(end.received)
    return Difference(
        quoted_pattern(pattern),
        shown(bytes(end.received[before:])),
        f"not heard from {name} within {looks.span(length, machine.clock_hz)}"
        if held.reason is Reason.LIMIT
        else f"not heard from {name}: {held_sentence(held, machine)}",
    )


def _listen(
    machine: Machine,
    heard: MutableMapping[str, int],
    name: str,
    pattern: Pattern,
    run: Callable[[], Held],
) -> Held | None:
    """Run until the pattern has come; None then, else how the run ended."""
    end = machine.board.serial_ends[name]
    matcher = Matcher(pattern, anywhere=True)
    for code in end.received[heard[name] :]:
        matcher.feed(code)
    met: list[int] = []

    def take(byte: int) -> None:
        if matcher.feed(byte) and not met:
            met.append(len(end.received))
            machine.ask_hold()

    end.listeners.append(take)
    try:
        held = run()
    finally:
        end.listeners.remove(take)
    if not met:
        return held
    heard[name] = met[0]
    return None


def quoted_pattern(pattern: Pattern) -> str:
    """A pattern as it is written."""
    return f'"{pattern.text}"'


def shown(data: bytes, *, its_end: bool = True) -> str:
    """What came, a line of it a line, in quotes; of much only the end, or the beginning."""
    cut = data[-_MOST_SHOWN:] if its_end else data[:_MOST_SHOWN]
    lines = [quoted_bytes(line) for line in looks.lines_of(cut)]
    left_out = len(data) - len(cut)
    if left_out and its_end:
        lines.insert(0, f"… {left_out} characters before")
    elif left_out:
        lines.append(f"… {left_out} characters more")
    return "\n".join(lines) or NOTHING
