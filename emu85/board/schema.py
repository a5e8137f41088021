"""The keys of a board file, as data.

The reader takes these tables as its grammar and :func:`schema_text` prints
them, so what is documented is what is read.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from fractions import Fraction

from emu85.board import kinds, quantities
from emu85.board.description import Fill
from emu85.board.device import Device, MemoryPart
from emu85.board.kinds import Key, Kind
from emu85.board.parts import PARTS, Part
from emu85.board.registry import devices
from emu85.errors import UserError, nearest
from emu85.timing.ac_table import PARTS as CPU_PARTS
from emu85.timing.ac_table import STANDARD, part_named

LOWEST_CRYSTAL, HIGHEST_CRYSTAL = Fraction(1000), Fraction(100_000_000)
"""Hz."""
CRYSTAL = kinds.frequency(LOWEST_CRYSTAL, HIGHEST_CRYSTAL)
BAUD = kinds.count(1, 1_000_000, "bits a second, as 1200")
MOST_WAITS = 255
WAITS = kinds.count(0, MOST_WAITS, "wait states, 0 to 255")
CPU: Kind[str] = kinds.scalar(
    "a CPU part: " + ", ".join(CPU_PARTS), lambda text: part_named(text).name
)
LONGEST_GATE_TIME = Fraction(1, 10_000)
"""Seconds."""
GATE_TIME: Kind[Fraction] = kinds.scalar(
    "a time, as 450 ns", lambda text: quantities.duration(text, LONGEST_GATE_TIME)
)
_FORMAT = re.compile(r"([5-8])([NEOMS])(1|1\.5|2)", re.I | re.A)


def read_crystal(text: str) -> Fraction:
    """A crystal in Hz, as ``6.144 MHz``; what a board file may have.

    Raises:
        UserError: it is none.
    """
    return quantities.frequency(text, LOWEST_CRYSTAL, HIGHEST_CRYSTAL)


def _fill(text: str) -> Fill:
    way, _, rest = (part.strip() for part in text.partition(" "))
    if way == "zeros" and not rest:
        return Fill("zeros", 0)
    if way in ("pattern", "random") and not rest:
        raise UserError(f"{way} stands alone", expected=FILL_TAKES)
    if way == "pattern":
        return Fill("pattern", quantities.hexadecimal(rest, 0xFF))
    if way == "random":
        return Fill("random", quantities.decimal(rest, 0, 2**32 - 1))
    raise UserError(
        f"{text!r} is no way to fill RAM",
        expected=FILL_TAKES,
        nearest=nearest(way, ("zeros", "pattern", "random")),
    )


def _format(text: str) -> tuple[int, str, Fraction]:
    found = _FORMAT.fullmatch(text)
    if not found:
        raise UserError(f"{text!r} is not a serial format", expected=FORMAT_TAKES)
    return int(found[1]), found[2].upper(), Fraction(found[3])


def _part(text: str) -> Part:
    if text not in PARTS:
        raise UserError(
            f"unknown memory part {text!r}",
            expected="one of " + ", ".join(PARTS),
            nearest=nearest(text, PARTS),
        )
    return PARTS[text]


FILL_TAKES = "zeros, pattern and a byte, or random and a seed"
FORMAT_TAKES = "data bits, parity N E O M S and stop bits 1, 1.5 or 2, as 8N1"
FILL: Kind[Fill] = kinds.scalar(FILL_TAKES, _fill)
FORMAT: Kind[tuple[int, str, Fraction]] = kinds.scalar(FORMAT_TAKES, _format)
PART: Kind[Part] = kinds.scalar("a part number, as 2764", _part)
DEVICE_WORD: Kind[str] = kinds.scalar("a device, see below", lambda text: text)
STACK = kinds.listing(kinds.ADDRESS_SPAN, 16, "a range or a list of ranges, as 8700-87FF")


def _section(takes: str) -> Kind[object]:
    return Kind(takes, lambda node: node)


BOARD = (
    Key("name", kinds.NAME, "what the board is called", required=True),
    Key("about", kinds.TEXT, "one line on what it is for", ""),
    Key("crystal", CRYSTAL, "crystal at X1 X2; the CPU clock is half of it", required=True),
    Key("pull-ups", kinds.BYTE, "what the floating bus reads as", 0xFF, "FF"),
    Key("fill", FILL, "what RAM holds when power comes on", Fill("zeros", 0), "zeros"),
    Key("stack", STACK, "where the stack may grow; elsewhere a push is a finding", (), "anywhere"),
    Key("memory", _section("a list of chips"), "what is in the memory space"),
    Key("ports", _section("a list of devices"), "what is in the I/O space"),
    Key("wired", _section("a list of devices"), "devices with wires and no address"),
    Key("lines", _section("a table of wires"), "what receives: what drives it"),
    Key("serial", _section("a table"), "the serial line on SID and SOD"),
    Key("firmware", kinds.TEXT, "firmware that runs when none is named"),
    Key("cpu", CPU, "whose limits 'emu85 budget' takes", STANDARD, STANDARD),
    Key("delays", _section("a table"), "between CPU and chips, for 'emu85 budget'"),
)

PLACING = (
    Key("name", kinds.NAME, "its own name", None, "its part or device"),
    Key("ignores", kinds.address_lines(15), "address lines that its decoder ignores", 0, "none"),
    Key("waits", WAITS, "wait states in each of its cycles", 0, "0"),
    Key("times", _section("a table"), "the part's own times, for 'emu85 budget'"),
)

READ_TIMES = (
    Key("access", GATE_TIME, "address to data, tACC or tAA, the longest"),
    Key("enable", GATE_TIME, "chip enable or select to data, tCE, the longest"),
    Key("output", GATE_TIME, "output enable or RD to data, tOE or tRD, the longest"),
    Key("float", GATE_TIME, "end of output enable or RD to floating, tDF, the longest"),
    Key("read-pulse", GATE_TIME, "width of RD, tRR, the least"),
    Key("address-setup", GATE_TIME, "address before WR, tAS; of a device before RD too; the least"),
)

WRITE_TIMES = (
    Key("address-to-end", GATE_TIME, "address to the end of WR, tAW of a RAM, the least"),
    Key("enable-to-end", GATE_TIME, "chip enable to the end of WR, tCW, the least"),
    Key("write-pulse", GATE_TIME, "width of WR, tWP or tWW, the least"),
    Key("data-setup", GATE_TIME, "data before the end of WR, tDW, the least"),
    Key("data-hold", GATE_TIME, "data after the end of WR, tDH or tWD, the least"),
    Key("address-hold", GATE_TIME, "address after the end of WR, tWR or tWA, the least"),
)

TIMES = READ_TIMES + WRITE_TIMES
ROM_REFUSES = (READ_TIMES[-1], *WRITE_TIMES)

DELAYS = (
    Key("latch", GATE_TIME, "address latch, input or enable to output, the longer"),
    Key("latch-setup", GATE_TIME, "the latch's input before ALE falls, the least"),
    Key("latch-hold", GATE_TIME, "the latch's input after ALE falls, the least"),
    Key("address-buffer", GATE_TIME, "buffers of the address lines"),
    Key("data-buffer", GATE_TIME, "buffers of the data bus, in to out, either way"),
    Key("data-buffer-off", GATE_TIME, "buffers of the data bus turning off after RD"),
    Key("control-buffer", GATE_TIME, "buffers and gates of the lines RD and WR"),
    Key("decoder", GATE_TIME, "address decoder, address to chip enable; IO/M gates it"),
    Key("ready", GATE_TIME, "wait generator, chip enable to READY"),
)

SHARED = Key(
    "shared",
    kinds.YES_NO,
    "whether it may answer where another device does: a fight that is meant",
    False,
    "no",
)

MEMORY_AT = Key(
    "at", kinds.ADDRESS_SPAN, "its select range; mirrors fill a longer one", required=True
)

CHIP = (
    Key("chip", PART, "a memory chip by part"),
    Key("rom", kinds.SIZE, "a ROM by size"),
    Key("ram", kinds.SIZE, "a RAM by size"),
    MEMORY_AT,
    *PLACING,
    Key("code", kinds.YES_NO, "RAM that may be executed without a finding", False, "no"),
    Key("battery", kinds.BATTERY, "RAM that keeps its bytes without power", False, "no"),
    Key("image", kinds.FILE, "HEX, binary or source that is in the ROM"),
)

MEMORY_DEVICE = (
    Key("device", DEVICE_WORD, "a device in the memory space", required=True),
    MEMORY_AT,
    *PLACING,
    SHARED,
)

PORT = (
    Key("device", DEVICE_WORD, "what it is", required=True),
    Key("at", kinds.PORT_SPAN, "its ports; mirrors fill a longer range", required=True),
    *(
        Key(k.name, kinds.address_lines(7), k.about, k.default, k.default_text)
        if k.name == "ignores"
        else k
        for k in PLACING
    ),
    SHARED,
)

MEMORY_PART = (
    Key("memory-at", kinds.ADDRESS_SPAN, "the select range of its memory", required=True),
    Key("memory-ignores", kinds.address_lines(15), "address lines ignored there", 0, "none"),
    Key("memory-waits", WAITS, "wait states in each memory cycle", 0, "0"),
)

WIRED = (Key("device", DEVICE_WORD, "what it is", required=True), PLACING[0])

SERIAL = (
    Key("baud", BAUD, "speed", required=True),
    Key("format", FORMAT, "data bits, parity, stop bits", (8, "N", Fraction(1)), "8N1"),
    Key(
        "polarity",
        kinds.choice("normal", "inverted"),
        "normal: mark (idle) is 1 at SID and SOD; inverted: it is 0",
        "normal",
        "normal",
    ),
    Key("gap", kinds.TIME, "least pause between characters sent to SID", Fraction(0), "none"),
)

TERMINAL = (
    *SERIAL[:2],
    Key("gap", kinds.TIME, "least pause between characters it sends", Fraction(0), "none"),
    Key(
        "handshake",
        kinds.choice("none", "rts-cts"),
        "rts-cts: it begins no character while the device's RTS is high",
        "none",
        "none",
    ),
)

TERMINAL_KEY = Key("terminal", _section("a table, see terminal"), "what its serial pins go to")


def memory_of(part: MemoryPart) -> tuple[Key, ...]:
    """The keys for the memory of a device that has some."""
    own = ("image",) if part.kind == "rom" else ("code", "battery")
    return MEMORY_PART + tuple(key for key in CHIP if key.name in own)


def added(device: type[Device]) -> tuple[Key, ...]:
    """Keys that the board adds to a device's own."""
    memory = memory_of(device.memory_part) if device.memory_part else ()
    return memory + ((TERMINAL_KEY,) if device.serial_pins else ())


LINES_TEXT = """\
Each key is TRAP, RST 7.5, RST 6.5, RST 5.5, INTR, SID, HOLD or an input of a
device as NAME.PIN.  Its value is what drives it: a device's output as
NAME.PIN, SOD, HLDA or RESET OUT, or "low" or "high" for a pin that is tied;
CLK drives clock inputs.  "not" before one inverts it.  A pin that nobody
drives is high.

Pins that entries join are one wire, however the entries name them.  A list
joins several: open-collector outputs, where low wins, and pins that can be
inputs too, as those of a bus.  Outputs that always drive are brought together
by a gate: {any: [A.X, B.Y]} is high if any of them is, {all: [A.X, B.Y]} if
all are.  Two that would drive one wire always are refused; two pins that come
to drive it apart while the board runs are a finding, and low wins.  Pins of
consecutive numbers are wired one by one, as lcd.d0-d7: ppi.pb0-pb7.

A clock runs on a wire as its period where a "clock in" pin takes it, and as
edges elsewhere.  A character sent on an "async" pin is taken whole by another
such pin, and reaches other pins bit by bit."""

NUMBERS_TEXT = """\
Addresses, ports and bytes are hexadecimal, counts decimal; a suffix H or Q
(and, where it cannot be a hexadecimal digit, B or D) settles it.  A size may
end in K.  Frequencies take Hz, kHz or MHz; times take s, ms, us or ns."""


def schema_text() -> str:
    """The whole schema for people, at most 80 columns."""
    parts = [
        _block("A board file", BOARD),
        _block("An entry of memory: a chip", CHIP),
        _block("An entry of memory: a device", MEMORY_DEVICE),
        _block("An entry of ports", PORT),
        _block("An entry of wired", WIRED),
        _block("serial", SERIAL),
        _block("times, in an entry of memory or ports; of a ROM only the first five", TIMES),
        _block("delays, of the parts between the CPU and the chips; each the longest", DELAYS),
        _block("terminal, in the entry of a device with serial pins", TERMINAL),
        f"lines\n{textwrap.indent(LINES_TEXT, '  ')}",
        f"Numbers\n{textwrap.indent(NUMBERS_TEXT, '  ')}",
        "Parts\n" + "\n".join(f"  {p.number:<12}{p.about}" for p in PARTS.values()),
        *(device_block(device) for device in devices().values()),
    ]
    return "\n\n".join(parts) + "\n"


_NAME_WIDTH = 11


def _block(title: str, keys: Sequence[Key]) -> str:
    width = max(_NAME_WIDTH, *(len(key.name) for key in keys))
    return "\n".join([title, *(_key_text(key, width) for key in keys)])


def _key_text(key: Key, width: int = _NAME_WIDTH) -> str:
    end = "required" if key.required else ""
    if key.default_text:
        end = f"default {key.default_text}"
    text = f"{key.about}: {key.kind.takes}" + (f" ({end})" if end else "")
    return _hang(f"  {key.name:<{width}} ", text)


def device_block(device: type[Device]) -> str:
    """Options, registers, pins and controls of a device, one a row."""
    lines = [_hang(f"device: {device.kind:<11} ", device.about)]
    lines += [_key_text(key) for key in device.options + added(device)]
    for number, register in enumerate(device.registers):
        lines.append(_hang(f"  register {number}  ", f"{register.name}: {register.about}"))
    lines += [_hang(f"  pin {pin:<7} ", _pin_text(device, pin)) for pin in _pins(device)]
    lines += [_hang(f"  hand {c.name:<6} ", c.about) for c in device.controls]
    return "\n".join(lines)


def _pins(device: type[Device]) -> list[str]:
    return list({**device.sources(), **device.sinks()})


def _pin_text(device: type[Device], pin: str) -> str:
    out, into = pin in device.sources(), pin in device.sinks()
    ways = [
        "open-collector" if pin in device.open_collector else "",
        "async" if pin in device.frame_inputs or pin in device.frame_outputs else "",
        "clock" if pin in device.clock_inputs else "",
        "in and out" if out and into else "out" if out else "in",
    ]
    about = device.sources().get(pin) or device.sinks()[pin]
    return f"{' '.join(way for way in ways if way)}: {about}"


def _hang(head: str, text: str) -> str:
    return textwrap.fill(text, 80, initial_indent=head, subsequent_indent=" " * len(head))
