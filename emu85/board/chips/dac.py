"""A converter from a byte to a voltage.

Of no one part: an eight-bit latch with a resistor ladder, as the trade has in
many forms; a common board circuit, no published source.

Modelled: the byte written last comes out at once, 00 to FF for 0 V to ``full``; every
change is kept with its T-state and can be saved as sound, or as comma-separated text:
seconds, T-state, volts, and the level in hexadecimal, which a ``converter`` can be fed.
RESET OUT leaves it; 00 comes out when power comes on.
Not modelled: settling time, error of linearity, filters behind it.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any, ClassVar

from emu85.board.device import Control, Device, Read, Register, Site
from emu85.board.kinds import FILE, YES_NO, Key, count
from emu85.board.recording import Recording, by_suffix


class Dac(Device):
    """A latch, and a record of what came out."""

    kind = "dac"
    about = "a D/A converter whose output is recorded"
    options = (
        Key("full", count(1, 100_000), "output for FF, in millivolts", 5000, "5000"),
        Key("readable", YES_NO, "whether a read gives back what was written", False, "no"),
    )
    registers: tuple[Register, ...] = (Register("output", "00 to FF", written=True),)
    controls: ClassVar[tuple[Control, ...]] = (
        Control("save", "write what came out to a .wav or .csv file", FILE),
        Control("forget", "begin the record anew"),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.value = 0
        self.recording = Recording()
        self._full = Fraction(options["full"], 1000)
        if options["readable"]:
            self.registers = (Register("output", "00 to FF", Read.PUBLISHED, written=True),)

    def power(self) -> None:
        self.recording.clear()
        self.write(0, 0)

    def write(self, register: int, value: int) -> None:
        self.value = value
        self.recording.note(self.site.schedule.now, value)
        if self.registers[0].read is Read.PUBLISHED:
            self.site.publish(0, value)

    @property
    def volts(self) -> Fraction:
        """The output now, exact."""
        return self._full * self.value / 255

    def adjust(self, control: str, value: Any) -> None:
        if control == "forget":
            self.recording.clear()
            self.recording.note(self.site.schedule.now, self.value)
        else:
            self.save(value)

    def save(self, path: Path) -> None:
        """Write the record to a file, by its suffix ``.wav`` or ``.csv``.

        Raises:
            UserError: another suffix, or the file cannot be written.
        """
        if by_suffix(path, ".wav", ".csv") == ".csv":
            self.recording.save_csv(path, self.site.clock, self._full)
        else:
            self.recording.save_wav(path, self.site.clock, self.site.schedule.now, 0, 255)

    def state(self) -> str:
        changes = len(self.recording.steps) - 1
        return f"{self.value:02X}, {float(self.volts):.3f} V, {changes} changes"
