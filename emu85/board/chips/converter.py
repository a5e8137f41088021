"""A level input behind a converter with a start command and a busy bit.

Of no one part, no published source: the register layout is ours, the manner (a write
starts a conversion, a status bit tells its end, reading the result drops the
end-of-conversion line) is that of successive-approximation converters of the
time.  The level comes from a list or a file and moves on with board time, or is
that of a wave.

A file has a row a level, its columns apart by commas.  One column: each level lasts
``every``.  Several: the first is the moment in seconds from which the level in the last
holds; the level of the last row lasts ``every`` before all start over.  A heading row
may name the columns, in any order: ``seconds``, ``t`` or ``time`` (with a unit, as
``time (ms)``) and ``level`` or ``value``; others are passed over, and with no time
among them each level lasts ``every``.  Levels are bytes in hexadecimal, times decimal.
What a ``dac`` saves is such a file.

Modelled: the level at the start of a conversion, its time, busy and done; levels in
steps, or a wave between two levels that is at every T-state where it should be.
Not modelled: noise, errors of the converter, aperture time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any, ClassVar

from emu85.board.device import (
    Control,
    Device,
    Read,
    Register,
    Site,
    at_least_one_t,
    of_option,
)
from emu85.board.kinds import BYTE, BYTES, FILE, TIME, YES_NO, Key, choice
from emu85.board.levels import Even, Levels, in_t_states, read_levels
from emu85.board.nodes import Node
from emu85.board.schedule import nearest_t

RESULT, STATUS = 0, 1
BUSY = 0x80
WAVES = ("sine", "triangle", "square", "ramp")


class Converter(Device):
    """Register 0: start (write), result (read); register 1: bit 7 is busy.

    The level held during a conversion is the one at its start.  A start while
    busy starts again.
    """

    kind = "converter"
    about = "a level input with a converter: levels from a list, in board time"
    options = (
        Key("values", BYTES, "the levels in order"),
        Key("file", FILE, "the levels as comma-separated text, see above"),
        Key(
            "every",
            TIME,
            "how long each level lasts; if the file has times, the last",
            Fraction(1),
            "1 s",
        ),
        Key(
            "again", YES_NO, "whether the list starts over; else its last level stays", True, "yes"
        ),
        Key("wave", choice(*WAVES), "the levels of a wave, in place of a list"),
        Key("period", TIME, "of the wave", Fraction(1), "1 s"),
        Key("low", BYTE, "lowest level of the wave", 0, "00"),
        Key("high", BYTE, "highest level of the wave", 0xFF, "FF"),
        Key("convert", TIME, "how long a conversion takes", Fraction(1, 10_000), "100 us"),
    )
    registers = (
        Register("result", "write: start a conversion; read: its result", Read.LIVE, written=True),
        Register("status", "bit 7 is 1 while a conversion runs", Read.PUBLISHED),
    )
    outputs: ClassVar[Mapping[str, str]] = {
        "done": "high from the end of a conversion until its result is read"
    }
    controls = (
        Control("level", "hold the input at a byte from now on", BYTE),
        Control("follow", "go back to the list or wave"),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        path: Path | None = options["file"]
        self._wave: str | None = options["wave"]
        self._period = at_least_one_t(options["period"], site.clock, "the period")
        self._low: int = options["low"]
        self._span: int = options["high"] - self._low
        every = at_least_one_t(options["every"], site.clock, "the time of a level")
        self._levels: Levels = Even(options["values"] or (0,), every, options["again"])
        if path is not None:
            with of_option("file"):
                file = read_levels(path)
            self._levels = in_t_states(file, site.clock, every, again=options["again"])
        self._convert = nearest_t(at_least_one_t(options["convert"], site.clock, "a conversion"))
        self._held: int | None = None
        self._started = 0
        self._sampled = 0
        self._result = 0
        self._done = False
        self._busy = False

    @classmethod
    def check(cls, options: Mapping[str, Any], node: Node) -> None:
        given = [key for key in ("values", "file", "wave") if options[key] is not None]
        if len(given) != 1:
            raise node.wrong(
                "a converter needs its levels once", expected="one of values, file and wave"
            )
        if options["low"] > options["high"]:
            raise node.wrong("the wave's low is above its high", expected="low, then high")
        if options["values"] == ():
            raise node.wrong("the list of levels is empty", expected="a byte at least")

    @property
    def level(self) -> int:
        """The level at the input now."""
        if self._held is not None:
            return self._held
        if self._wave is not None:
            turn = self.site.schedule.now / self._period % 1
            return self._low + nearest_t(self._span * height(self._wave, turn))
        return self._levels.at(self.site.schedule.now)

    def power(self) -> None:
        self._started = 0
        self._result = 0
        self.reset()

    def reset(self) -> None:
        self._started += 1
        self._set_busy(False)
        self._set_done(False)

    def write(self, register: int, value: int) -> None:
        if register != RESULT:
            return
        self._started += 1
        number = self._started
        self._sampled = self.level
        self._set_busy(True)
        self._set_done(False)
        self.site.schedule.after(self._convert, lambda: self._finish(number))

    def _finish(self, number: int) -> None:
        if number != self._started:  # started again, or reset, since
            return
        self._result = self._sampled
        self._set_busy(False)
        self._set_done(True)

    def read(self, register: int) -> int:
        if self._done:
            self._set_done(False)
        return self._result

    def peek(self, register: int) -> int:
        return self._result

    def adjust(self, control: str, value: Any) -> None:
        self._held = value

    def _set_busy(self, busy: bool) -> None:
        self._busy = busy
        self.site.publish(STATUS, BUSY if busy else 0)

    def _set_done(self, done: bool) -> None:
        self._done = done
        self.site.drive("done", int(done))

    def state(self) -> str:
        now = "converting" if self._busy else "done" if self._done else "idle"
        return f"level {self.level:02X}, result {self._result:02X}, {now}"


def height(wave: str, turn: Fraction) -> Fraction:
    """How high a wave stands, 0 to 1, at a part of its period, 0 to less than 1.

    A sine begins in the middle and rises, a triangle and a ramp begin at the bottom, a
    square wave is high for its first half.
    """
    if wave == "sine":
        return Fraction(1 + math.sin(2 * math.pi * float(turn))) / 2
    if wave == "triangle":
        return 2 * min(turn, 1 - turn)
    if wave == "square":
        return Fraction(turn < Fraction(1, 2))
    return turn
