"""What a board's wires are soldered to: the CPU's lines, devices, and terminals."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import partial

from emu85.board.description import BoardDescription, DeviceUse, Driver, Pin, Source, Tied, Wire
from emu85.board.device import RTS, Device
from emu85.board.frames import MARK, Frame
from emu85.board.nets import CTS, SENDS, TAKES, is_open
from emu85.board.schedule import Schedule
from emu85.board.serial import Terminal
from emu85.board.site import Socket
from emu85.board.wiring import Wiring
from emu85.bus.lines import Line


def terminal_wires(description: BoardDescription) -> list[Wire]:
    """The wires between devices and the terminals that their board entries ask for."""
    wires = []
    for use in description.devices:
        if use.terminal and use.device.serial_pins:
            takes, sends = use.device.serial_pins
            far = _terminal_name(use)
            joined = [
                (Pin(use.name, takes), Pin(far, SENDS)),
                (Pin(far, TAKES), Pin(use.name, sends)),
            ]
            if use.terminal.handshake:
                joined.append((Pin(far, CTS), Pin(use.name, RTS)))
            for sink, source in joined:
                wires.append(Wire(sink, (Driver(source, False),), use.node))
    return wires


class BoardEnds:
    """Tells each sink what reaches it (:class:`emu85.board.wiring.Ends`).

    Attributes:
        terminals: by the name of the device they are wired to.
    """

    def __init__(
        self, description: BoardDescription, devices: Mapping[str, Device], socket: Socket
    ) -> None:
        """``devices`` may be filled later, but before anything is told."""
        self._devices = devices
        self._classes = {use.name: use.device for use in description.devices}
        self._uses = [use for use in description.devices if use.terminal]
        self._socket = socket
        self._far: dict[str, Terminal] = {}
        self.terminals: dict[str, Terminal] = {}

    def put_terminals(self, wiring: Wiring, clock: Fraction) -> None:
        """Make the terminals and give each to its device."""
        for use in self._uses:
            assert use.terminal is not None
            far = _terminal_name(use)
            output = wiring.output(Pin(far, SENDS))
            assert output is not None
            send = partial(wiring.send_frame, output)
            terminal = Terminal(use.terminal, clock, send)
            self._far[far] = self.terminals[use.name] = terminal
            self._devices[use.name].terminal = terminal

    @property
    def schedule(self) -> Schedule:
        """The host's schedule."""
        return self._socket.host.schedule

    def note(self, description: str, where: str) -> None:
        """Count a finding."""
        self._socket.host.note(description, where)

    def teller(self, sink: Pin | Line) -> Callable[[int], None]:
        """What to call when the level at a sink changes."""
        if isinstance(sink, Line):
            return partial(self._socket.host.drive, sink)
        if sink.device in self._far:
            terminal = self._far[sink.device]
            return terminal.clear_to_send if sink.pin == CTS else terminal.receiver.level
        return partial(self._devices[sink.device].sense, sink.pin)

    def tell_clock(
        self, sink: Pin, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        """A clock at a sink began, changed or stopped."""
        self._devices[sink.device].sense_clock(sink.pin, period, start_t, high)

    def tell_frame(self, sink: Pin, frame: Frame) -> None:
        """A character begins at a sink."""
        if sink.device in self._far:
            self._far[sink.device].receiver.take(frame)
        else:
            self._devices[sink.device].sense_frame(sink.pin, frame)

    def takes_clock(self, sink: Pin | Line) -> bool:
        """Whether a sink reckons with clocks."""
        device = self._class(sink)
        return device is not None and isinstance(sink, Pin) and sink.pin in device.clock_inputs

    def takes_frames(self, sink: Pin | Line) -> bool:
        """Whether a sink takes characters."""
        device = self._class(sink)
        if device is None or isinstance(sink, Line):
            return isinstance(sink, Pin) and sink.pin == TAKES
        return sink.pin in device.frame_inputs

    def sends_frames(self, source: Source) -> bool:
        """Whether a source gives characters."""
        device = self._class(source)
        if device is None or not isinstance(source, Pin):
            return isinstance(source, Pin)
        return source.pin in device.frame_outputs

    def at_rest(self, source: Source) -> int | None:
        """Mark on an asynchronous line, released where the pin can be, low otherwise."""
        if self.sends_frames(source):
            return MARK
        device = self._class(source)
        if device is None or not isinstance(source, Pin):
            return int(source is Tied.HIGH)
        released = source.pin in device.open_collector or source.pin in device.sinks()
        return None if released else 0

    def is_open(self, source: Source) -> bool:
        """Whether a source only pulls low and lets go."""
        return is_open(source, self._classes.get)

    def _class(self, end: Source) -> type[Device] | None:
        """The class of the device that a pin is on; None for a line or a terminal."""
        return self._classes.get(end.device) if isinstance(end, Pin) else None


def _terminal_name(use: DeviceUse) -> str:
    """A name on the wires that no device can have."""
    return f"{use.name}.terminal"
