"""The pins of a parallel port whose bits are driven or released one by one."""

from __future__ import annotations

from emu85.board.device import Site


class PortPins:
    """Pins ``p<letter>0`` and up; the wires hear only of what changes."""

    def __init__(self, site: Site, letter: str, width: int = 8) -> None:
        self._site = site
        self._pins = [f"p{letter}{bit}" for bit in range(width)]
        self._shown: tuple[int, int] | None = None

    def forget(self) -> None:
        """Power was off: every pin is to be told of next time."""
        self._shown = None

    def show(self, driven: int, value: int) -> None:
        """Drive the bits in ``driven`` at ``value`` and release the others."""
        before, self._shown = self._shown, (driven, value & driven)
        if before == self._shown:
            return
        changed = 0xFF if before is None else before[0] ^ driven | before[1] ^ value & driven
        for bit, pin in enumerate(self._pins):
            if not changed >> bit & 1:
                continue
            if driven >> bit & 1:
                self._site.drive(pin, value >> bit & 1)
            else:
                self._site.release(pin)
