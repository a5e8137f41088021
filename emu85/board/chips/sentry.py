"""The sentry card: firmware itself arms stops, through an index and a value port.

A card of our own making, no published source.

Modelled: eight slots, each a condition of one step with every part that a stop can
have (cycle types, address, data, lines and edges, findings, passes), and what a hit
does: hold the machine, pace it by eye, raise the pin ``hit``, sound the pin ``sound``,
disarm the slot.  The stops stand in the machine's own list beside the user's, marked
as the firmware's and numbered from 501 on; RESET and power take them away.

Not modelled: sequences of steps, which the user's own stops have.

Registers are reached by writing a number to the index port; then the value port is
that register.  Numbers 00 to 7F are the slots, the upper half the slot and the lower
the register.  A write to the value port moves the index on to the slot's next
register (F is followed by 0), so that a slot is filled by a row of OUTs; a read leaves
it, and so does anything from 80 up.

    x0  cycle types: bit 0 opcode fetch, 1 memory read, 2 memory write, 3 I/O read,
        4 I/O write, 5 interrupt acknowledge, 6 bus idle, 7 halt
    x1  bit 0 hold (of a bus master), bit 1 reset, bit 7 only cycles with a finding
    x2  address, A7-A0; an I/O cycle shows its port in both halves of the address, and
    x3  address, A15-A8; 00 here then means the port in x2
    x4  address mask, low: 1 for each line that must be as in the address
    x5  address mask, high
    x6  data
    x7  data mask
    x8  lines: bit 0 TRAP, 1 RST 7.5, 2 RST 6.5, 3 RST 5.5, 4 INTR, 5 SID, 6 HOLD, 7 SOD
    x9  line mask: 1 for each line that must be at its level in x8
    xA  edges: 1 for each of those that must just have come to it
    xB  passes, low: matches that go by before one hits
    xC  passes, high
    xD  on a hit: bit 0 hold, 1 pace, 2 raise ``hit``, 3 sound, 4 disarm the slot
    xE  write bit 0: 1 arms the slot with what its registers hold now, 0 disarms it;
        read: bit 0 armed, bit 6 the condition can never be met and was not armed,
        bit 7 hit
    xF  read: hits since it was armed, 00 to FF and then FF
    80  slots that have hit, bit n for slot n; writing ones clears them
    81  slots that are armed; writing arms the ones that are not and disarms the zeros
    82  write bit 0: full speed, the end of pacing; bit 7: as RESET; read bit 0:
        a pace was asked for and not ended, be it by the user's Ctrl-C
    83  pace in machine cycles a second, 01 to FF (04 after RESET; 00 counts as 01)
    8E  version of this layout, 01
    8F  card identification, 5C

A slot with no cycle types looks at lines alone, and is met when they come to be as
asked.  Other numbers read as 00.  A hit is acted on as its machine cycle
ends, too late for an interrupt in that very T-state; ``hit`` falls when no slot is left
in 80 whose xD asks for it.  The user may rest or drop the firmware's stops, which the
card then shows as disarmed.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site, at_least_one_t
from emu85.board.kinds import TIME, Key, frequency
from emu85.board.schedule import Event, nearest_t
from emu85.bus.cycles import Cycle
from emu85.errors import UserError
from emu85.stops import Condition, Stop
from emu85.stops.compose import Parts, compose
from emu85.stops.numbers import Pattern, Span

INDEX, VALUE = 0, 1
SLOTS = 8
IDENTIFICATION = 0x5C
VERSION = 1
PACE_AT_RESET = 4

TYPES, MORE_TYPES, ADDRESS, ADDRESS_MASK, DATA, DATA_MASK = 0x0, 0x1, 0x2, 0x4, 0x6, 0x7
LINES, LINE_MASK, EDGES, PASSES, ACTION, CONTROL, HITS = 0x8, 0x9, 0xA, 0xB, 0xD, 0xE, 0xF
"""Registers of a slot: the lower half of the index."""
CARD_HIT, CARD_ARMED, CARD_CONTROL, CARD_PACE = 0x80, 0x81, 0x82, 0x83
CARD_VERSION, CARD_IDENTIFICATION = 0x8E, 0x8F

FINDING = 0x80
HOLD, PACE, RAISE, SOUND, DISARM = 0x01, 0x02, 0x04, 0x08, 0x10
ARM, NEVER_MET, HAS_HIT = 0x01, 0x40, 0x80
FULL_SPEED, AS_RESET = 0x01, 0x80


class Slot:
    """A condition in registers.

    Attributes:
        registers: sixteen bytes as written.
        stop: what it was armed as last; None if it was disarmed.
        never_met: it was to be armed with a condition that cannot be met.
    """

    def __init__(self) -> None:
        self.registers = bytearray(16)
        self.stop: Stop | None = None
        self.never_met = False

    def word(self, low: int) -> int:
        """Two registers as a number, the lower one first."""
        return int.from_bytes(self.registers[low : low + 2], "little")

    def condition(self) -> Condition:
        """What the registers ask for.

        Raises:
            UserError: nothing, or what can never be.
        """
        regs = self.registers
        types = self.word(TYPES)
        parts = Parts(
            types=frozenset(cycle for cycle in Cycle if types >> cycle & 1),
            line_mask=regs[LINE_MASK],
            line_value=regs[LINES] & regs[LINE_MASK],
            edge_mask=regs[EDGES] & regs[LINE_MASK],
            finding=bool(regs[MORE_TYPES] & FINDING),
            passes=self.word(PASSES),
        )
        if parts.looks_at_bus:
            parts.at = _pattern(self.word(ADDRESS_MASK), self.word(ADDRESS), 0xFFFF)
            parts.data = _pattern(regs[DATA_MASK], regs[DATA], 0xFF)
            parts.columns = {"at": 0, "data": 0}
        elif not parts.line_mask:
            raise UserError("the slot asks for nothing")
        return Condition((compose(parts),))


def _pattern(mask: int, value: int, all_bits: int) -> Pattern | Span | None:
    if mask == all_bits:
        return Span(value, value)
    return Pattern(mask, value & mask) if mask else None


class Sentry(Device):
    """Keeps the slots' registers; the machine's own stops do the watching."""

    kind = "sentry"
    about = "the sentry card: stops that the firmware arms itself"
    options = (
        Key(
            "tone",
            frequency(Fraction(20), Fraction(20_000)),
            "pitch at the pin sound",
            Fraction(2000),
            "2 kHz",
        ),
        Key("beep", TIME, "how long a hit sounds", Fraction(1, 20), "50 ms"),
    )
    registers = (
        Register("index", "which register the value port is", Read.PUBLISHED, written=True),
        Register("value", "that register", Read.LIVE, written=True),
    )
    outputs: ClassVar[Mapping[str, str]] = {
        "hit": "high while a slot that raises it has hit and is not cleared",
        "sound": "a tone for a moment after a hit that sounds",
    }

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._period = site.clock / options["tone"]
        self._beep = nearest_t(at_least_one_t(options["beep"], site.clock, "the beep"))
        self._clear()

    def _clear(self) -> None:
        self._slots = [Slot() for _ in range(SLOTS)]
        self._index = 0
        self._hit = 0
        self._pace = PACE_AT_RESET
        self._is_pacing = False
        self._end_of_beep: Event | None = None

    # --- board ------------------------------------------------------------------

    def power(self) -> None:
        if self._on_hit not in self.site.stop_listeners:
            self.site.stop_listeners.append(self._on_hit)
        self.reset()

    def reset(self) -> None:
        for slot in self._slots:
            self._disarm(slot)
        if self._is_pacing:
            self.site.full_speed()
        if self._end_of_beep:
            self._end_of_beep.cancel()
        self._clear()
        self.site.publish(INDEX, 0)
        self.site.drive("hit", 0)
        self.site.drive("sound", 0)

    # --- registers --------------------------------------------------------------

    def read(self, register: int) -> int:
        if self._index < 0x80:
            return self._slot_value(self._index >> 4, self._index & 0xF)
        values = {
            CARD_HIT: self._hit,
            CARD_ARMED: sum(1 << n for n, slot in enumerate(self._slots) if self._is_armed(slot)),
            CARD_CONTROL: int(self._is_pacing),
            CARD_PACE: self._pace,
            CARD_VERSION: VERSION,
            CARD_IDENTIFICATION: IDENTIFICATION,
        }
        return values.get(self._index, 0)

    def peek(self, register: int) -> int:
        return self.read(register)

    def _slot_value(self, number: int, register: int) -> int:
        slot = self._slots[number]
        if register == HITS:
            return min(slot.stop.hits, 0xFF) if slot.stop else 0
        if register == CONTROL:
            hit = HAS_HIT if self._hit >> number & 1 else 0
            return hit | (NEVER_MET if slot.never_met else 0) | int(self._is_armed(slot))
        return slot.registers[register]

    def write(self, register: int, value: int) -> None:
        if register == INDEX:
            self._move_to(value)
        elif self._index < 0x80:
            self._write_slot(self._slots[self._index >> 4], self._index & 0xF, value)
            self._move_to(self._index & 0xF0 | (self._index + 1) & 0x0F)
        else:
            self._write_card(value)

    def _move_to(self, index: int) -> None:
        self._index = index
        self.site.publish(INDEX, index)

    def _write_slot(self, slot: Slot, register: int, value: int) -> None:
        if register == CONTROL:
            self._disarm(slot)
            if value & ARM:
                self._arm(slot)
        elif register != HITS:
            slot.registers[register] = value

    def _write_card(self, value: int) -> None:
        if self._index == CARD_HIT:
            self._hit &= ~value
            self._show_hit()
        elif self._index == CARD_ARMED:
            self._set_armed(value)
        elif self._index == CARD_PACE:
            self._pace = value or 1
        elif self._index == CARD_CONTROL:
            self._control(value)

    def _set_armed(self, mask: int) -> None:
        for number, slot in enumerate(self._slots):
            if not mask >> number & 1:
                self._disarm(slot)
            elif not self._is_armed(slot):
                self._disarm(slot)
                self._arm(slot)

    def _control(self, value: int) -> None:
        if value & FULL_SPEED:
            self._is_pacing = False
            self.site.full_speed()
        if value & AS_RESET:
            self.reset()

    # --- stops ------------------------------------------------------------------

    def _is_armed(self, slot: Slot) -> bool:
        return slot.stop is not None and slot.stop.armed and self._is_there(slot.stop)

    def _is_there(self, stop: Stop) -> bool:
        """The user may have dropped it."""
        return any(each is stop for each in self.site.stops)

    def _arm(self, slot: Slot) -> None:
        try:
            slot.stop = self.site.stops.add(slot.condition(), owner="firmware")
        except UserError:
            slot.never_met = True

    def _disarm(self, slot: Slot) -> None:
        if slot.stop and self._is_there(slot.stop):
            self.site.stops.drop(slot.stop.number)
        slot.stop = None
        slot.never_met = False

    def _on_hit(self, stop: Stop, t: int) -> None:
        for number, slot in enumerate(self._slots):
            if slot.stop is stop:
                self._hit |= 1 << number
                self._act(slot, stop)

    def _act(self, slot: Slot, stop: Stop) -> None:
        action = slot.registers[ACTION]
        # The strobe that the card goes by ends too late for the inputs to be sampled in
        # the same cycle; so does an event.
        self.site.schedule.at(self.site.schedule.now, self._show_hit)
        if action & SOUND:
            self._sound()
        if action & PACE:
            self._is_pacing = True
            self.site.pace(self._pace)
        if action & HOLD:
            self.site.hold()
        if action & DISARM:
            self.site.stops.rest(stop.number)

    def pace_ended(self) -> None:
        self._is_pacing = False

    # --- pins -------------------------------------------------------------------

    def _show_hit(self) -> None:
        raising = any(
            slot.registers[ACTION] & RAISE
            for number, slot in enumerate(self._slots)
            if self._hit >> number & 1
        )
        self.site.drive("hit", int(raising))

    def _sound(self) -> None:
        if self._end_of_beep:
            self._end_of_beep.cancel()
        else:
            self.site.drive_clock("sound", self._period, self.site.schedule.now)
        self._end_of_beep = self.site.schedule.after(self._beep, self._be_quiet)

    def _be_quiet(self) -> None:
        self._end_of_beep = None
        self.site.drive("sound", 0)

    def state(self) -> str:
        numbers = range(SLOTS)
        armed = "".join(str(n) for n in numbers if self._is_armed(self._slots[n])) or "none"
        hit = "".join(str(n) for n in numbers if self._hit >> n & 1) or "none"
        pacing = f", pacing {self._pace}/s" if self._is_pacing else ""
        return f"slots armed {armed}, hit {hit}{pacing}"
