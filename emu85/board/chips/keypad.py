"""A matrix keypad: up to eight rows of up to eight keys, each with a name.

A common board circuit, no published source: contacts between row and column lines,
with a diode at each key.

Modelled: columns ``c0`` to ``c7``, which are low while a key is down between them and a
row that is low, and let go otherwise; rows as lines ``r0`` to ``r7`` (low is selected),
or as a binary number on ``s0`` to ``s2`` that a decoder on the card turns into row
lines, for scanners such as the 8279.  Row inputs may be clocks: a column with keys down
in one of the rows scanned is a clock then as well.  Keys are pressed by name: for a
moment, or down and up.

Not modelled: bounce; ghosts of three keys at once (the diodes prevent them).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Control, Device, Site, at_least_one_t
from emu85.board.kinds import TEXT, TIME, Key, listing, scalar
from emu85.board.nodes import Node
from emu85.board.schedule import Event, nearest_t
from emu85.board.square_wave import SquareWave
from emu85.errors import UserError, nearest

SIDE = 8
_SELECTS = ("s0", "s1", "s2")
KEY_NAME = scalar("the name of a key", lambda text: text)


class Keypad(Device):
    """Knows which keys are down, and drives the columns by the rows."""

    kind = "keypad"
    about = "a matrix of keys, scanned by row"
    options = (
        Key(
            "keys",
            listing(TEXT, SIDE, "a list of rows, each the names of its keys with spaces"),
            "row 0 first, column 0 on the left; _ where there is no key",
            required=True,
        ),
        Key("hold", TIME, "how long a press lasts", Fraction(1, 10), "100 ms"),
    )
    outputs: ClassVar[Mapping[str, str]] = {f"c{n}": f"column {n}; active low" for n in range(SIDE)}
    open_collector: ClassVar[frozenset[str]] = frozenset(outputs)
    clock_inputs: ClassVar[Mapping[str, str]] = {
        **{f"r{n}": f"low selects row {n}" for n in range(SIDE)},
        **{pin: f"bit {n} of the row selected, if there is a decoder" for n, pin in
           enumerate(_SELECTS)},
    }  # fmt: skip
    controls = (
        Control("press", "press a key by name and let go after the hold time", KEY_NAME),
        Control("down", "press a key and keep it down", KEY_NAME),
        Control("up", "let a key go", KEY_NAME),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.keys: dict[str, tuple[int, int]] = dict(_places(options["keys"]))
        self._hold = nearest_t(at_least_one_t(options["hold"], site.clock, "the hold time"))
        self._decodes = any(site.is_wired(pin) for pin in _SELECTS)
        self._start_cold()

    @classmethod
    def check(cls, options: Mapping[str, Any], node: Node) -> None:
        names = [name.casefold() for name, _ in _places(options["keys"])]
        if any(len(row.split()) > SIDE for row in options["keys"]):
            raise node.wrong("a row of the keypad is too long", expected=f"at most {SIDE} keys")
        doubled = [name for name in names if names.count(name) > 1]
        if doubled:
            raise node.wrong(f"two keys are called {doubled[0]!r}", expected="names that differ")

    def _start_cold(self) -> None:
        self.down: dict[str, Event | None] = {}
        """Keys that are down, with the event that lets each go."""
        self._levels: dict[str, int] = {}
        self._waves: dict[str, SquareWave] = {}
        self._row_waves: dict[int, SquareWave | None] = {}
        self._next_edges: dict[str, tuple[int, int]] = {}
        """Number and T-state of the edge up to which ``_levels`` knows a wave's level."""
        self._next: Event | None = None
        self._driven: list[int | SquareWave] = [1] * SIDE
        """What each column is driven with: low, let go, or a clock."""

    def power(self) -> None:
        self._start_cold()
        self._show()

    # --- the hand ---------------------------------------------------------------

    def adjust(self, control: str, value: Any) -> None:
        key = self._named(value)
        pending = self.down.pop(key, None)
        if pending:
            pending.cancel()
        if control == "press":
            self.down[key] = self.site.schedule.after(self._hold, lambda: self._let_go(key))
        elif control == "down":
            self.down[key] = None
        self._show()

    def _named(self, text: str) -> str:
        folded = {key.casefold(): key for key in self.keys}
        if text.casefold() not in folded:
            raise UserError(
                f"{self.name} has no key {text!r}",
                expected="one of " + " ".join(self.keys),
                nearest=nearest(text, self.keys),
            )
        return folded[text.casefold()]

    def _let_go(self, key: str) -> None:
        del self.down[key]
        self._show()

    # --- the rows ---------------------------------------------------------------

    def sense(self, pin: str, level: int) -> None:
        self._levels[pin] = level
        self._row_waves.clear()
        self._show()

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        if period is None:
            self._levels[pin] = self._level(pin)
            self._waves.pop(pin, None)
        else:
            self._waves[pin] = SquareWave(period, start_t, high)
        self._next_edges.pop(pin, None)
        self._row_waves.clear()
        self._show()

    def _level(self, pin: str) -> int:
        """The level at a row input; high where no wire comes."""
        wave, now = self._waves.get(pin), self.site.schedule.now
        if wave:
            number, t = self._next_edges.get(pin, (0, 0))
            if t <= now:
                following = wave.edge(number + 1)  # mostly the one wanted, and soon found
                is_next = 0 < t <= now < following
                number = number + 1 if is_next else wave.next_edge(now)
                self._next_edges[pin] = number, wave.edge(number)
                if number:
                    self._levels[pin] = number % 2
        return self._levels.get(pin, 1)

    def _is_selected(self, row: int) -> bool:
        if self._decodes:
            return row == sum(self._level(pin) << n for n, pin in enumerate(_SELECTS))
        return not self._level(f"r{row}")

    # --- the columns ------------------------------------------------------------

    def _show(self) -> None:
        """Drive the columns as they are now, and again when a scanned row changes."""
        if self._next:
            self._next.cancel()
            self._next = None
        awaited: set[int] = set()
        for column in range(SIDE):
            rows = [row for row, each in (self.keys[key] for key in self.down) if each == column]
            wave = self._row_wave(rows[0]) if len(rows) == 1 else None
            if wave is None:
                awaited.update(rows)
            selected = [] if wave else [self._is_selected(row) for row in rows]  # all are looked at
            self._drive(column, wave or int(not any(selected)))
        if awaited and self._waves:
            self._await_row(awaited)

    def _drive(self, column: int, state: int | SquareWave) -> None:
        if self._driven[column] == state:
            return
        self._driven[column] = state
        pin = f"c{column}"
        if isinstance(state, SquareWave):
            self.site.drive_clock(pin, state.period, state.start, state.high)
        elif state:
            self.site.release(pin)
        else:
            self.site.drive(pin, 0)

    def _row_wave(self, row: int) -> SquareWave | None:
        """The clock on a row line; None if there is none."""
        if not self._decodes:
            return self._waves.get(f"r{row}")
        if row not in self._row_waves:
            bits = [self._waves.get(pin, self._levels.get(pin, 1)) for pin in _SELECTS]
            self._row_waves[row] = _decoded(row, bits, self.site.schedule.now)
        return self._row_waves[row]

    def _await_row(self, rows: set[int]) -> None:
        pins = _SELECTS if self._decodes else [f"r{row}" for row in rows]
        edges = [self._next_edges[pin][1] for pin in pins if pin in self._waves]
        if edges:
            self._next = self.site.schedule.at(min(edges), self._show)

    def state(self) -> str:
        if not self.down:
            return "no key down"
        return "down: " + " ".join(key for key in self.keys if key in self.down)


def _places(rows: tuple[str, ...]) -> Iterator[tuple[str, tuple[int, int]]]:
    """Each key's name with its row and column."""
    for row, names in enumerate(rows):
        for column, name in enumerate(names.split()):
            if name != "_":
                yield name, (row, column)


def _decoded(row: int, bits: list[SquareWave | int], now: int) -> SquareWave | None:
    """The clock at a decoder's output, low while its inputs count ``row``.

    ``bits`` are waves and steady levels.  None if the output is no plain clock.
    """
    waves = [bit for bit in bits if isinstance(bit, SquareWave)]
    period = max((wave.period for wave in waves), default=Fraction(0))
    if not waves or any(period % wave.period or wave.start > now for wave in waves):
        return None
    origin = waves[0].start
    edges = sorted(
        {
            (wave.start + turn * wave.period + part - origin) % period
            for wave in waves
            for turn in range(int(period / wave.period))
            for part in (0, wave.high)
        }
    )
    selected = [_count(bits, origin + edge) == row for edge in edges]
    begins = [n for n, now_on in enumerate(selected) if now_on and not selected[n - 1]]
    ends = [n for n, now_on in enumerate(selected) if not now_on and selected[n - 1]]
    if len(begins) != 1:
        return None
    low = (edges[ends[0]] - edges[begins[0]]) % period
    return SquareWave(period, origin + edges[ends[0]] - period, period - low)


def _count(bits: list[SquareWave | int], t: Fraction) -> int:
    """The number that select inputs give just after a moment."""
    levels = (
        bit if isinstance(bit, int) else int((t - bit.start) % bit.period < bit.high)
        for bit in bits
    )
    return sum(level << n for n, level in enumerate(levels))
