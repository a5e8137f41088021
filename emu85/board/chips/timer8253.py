"""8253 and 8254 programmable interval timers: three counters of 16 bits, six modes.

Data sheets: Intel 8253/8253-5 and 8254 Programmable Interval Timer (values from
memory).

Modelled: the control word with one-byte and two-byte access; binary and BCD
counting; the counter latch command; all six modes, with their initial OUT level,
the loading of a count by the CLK pulse after it is written, what a new count does
while counting, the level and edge actions of GATE, and wrap-around; counting by
falling CLK edges with GATE and triggers sampled at rising ones; in the 8254 the
read-back command with counts and status, null count included; in mode 3 with an
odd count the 8253's way (the first pulse counts one, or three) and the 8254's
(a count less one is loaded), which differ only in the counts that are read.

Not modelled: the fastest CLK allowed, and set-up times.  The data sheets leave
open, and we chose: before a control word a counter stands still with OUT low; a
control word with no count after it leaves the count where it was, at rest; a count
of 1 in modes 2 and 3, which is illegal, leaves OUT high; the strobe of modes 4 and
5 comes once for each count or trigger, not again at each wrap-around; a BCD digit
above 9 counts for its value; the byte order of reads and of writes is kept
separately in the 8253 too; a GATE with no wire is high, a CLK with none stands.

A counter costs nothing by itself.  Its state is worked out from the time when
somebody asks, by whole runs of CLK pulses; a deadline is set only for the next
change of an OUT that a wire reaches; and a steady division (modes 2 and 3) is
passed on as a clock, with no deadline at all.  A read tells the count as it stands
when its machine cycle begins; a write counts from the end of its cycle.  An edge of
CLK counts at its nearest T-state, and after a read or write at that T-state.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar, NamedTuple

from emu85.board.device import Device, Read, Register, Site
from emu85.board.schedule import Event, nearest_t
from emu85.board.square_wave import SquareWave

CONTROL = 3
READ_BACK = 3
"""Counter number of the read-back command, which the 8253 does not know."""
LATCH, LOW, HIGH, BOTH = range(4)
"""The access bits of a control word."""
_DIVIDERS = (2, 3)
_BY_TRIGGER = (1, 5)
_BY_WRITING = (0, 4)
_STROBES = (4, 5)


class Wave(NamedTuple):
    """A division that goes on and on: lengths in CLK pulses."""

    period: int
    high: int
    since_rise: int


class Counter:
    """One counter, in CLK pulses; it knows no time.

    A CLK pulse is a rising edge, which samples GATE, triggers and written counts,
    and then a falling edge, which loads or counts.
    """

    def __init__(self, *, odd_by_one: bool) -> None:
        """``odd_by_one``: mode 3 counts an odd count as the 8253 does."""
        self._odd_by_one = odd_by_one
        self.gate = 1
        self.mode = self._count = 0
        self._modulus = 0x10000
        self._counting = False
        self.program(0, bcd=False)

    def program(self, mode: int, *, bcd: bool) -> None:
        """A control word: OUT goes to the mode's first level at once."""
        self._count = self.value
        self.mode = mode
        self.bcd = bcd
        self._modulus = 10_000 if bcd else 0x10000
        self.out = 0 if mode == 0 else 1
        self.null = True
        self._reload: int | None = None
        self._counting = self._armed = self._stopped = False
        self._load_asked = self._load_seen = False
        self._triggered = self._trigger_seen = False
        self._gate_seen = self.gate
        self._period = self._left = 0
        self._is_high = True

    # --- what the CPU and the pins do ---------------------------------------

    def first_byte(self) -> None:
        """The first of two bytes: it stops mode 0 and means nothing to the others."""
        if self.mode == 0:
            self._stopped = True
            self._armed = False
            self.out = 0

    def give(self, count: int) -> None:
        """A whole count was written; 0 means the modulus."""
        self._reload = count or self._modulus
        self.null = True
        self._stopped = False
        if self.mode == 0:
            self._armed = False
            self.out = 0
        if self.mode in _BY_WRITING or (self.mode in _DIVIDERS and not self._counting):
            self._load_asked = True

    def set_gate(self, level: int) -> None:
        """GATE went to a level; a rising edge is a trigger."""
        self.gate = level
        if level:
            ready = self._reload is not None if self.mode in _BY_TRIGGER else self._counting
            self._triggered = ready and self.mode not in _BY_WRITING
        elif self.mode in _DIVIDERS:
            self.out = 1

    @property
    def pending(self) -> bool:
        """Whether a count is to be loaded by one of the next CLK pulses."""
        return self._load_asked or self._load_seen or self._triggered or self._trigger_seen

    def rise(self) -> None:
        """A rising edge of CLK."""
        self._gate_seen = self.gate
        self._load_seen |= self._load_asked
        self._trigger_seen |= self._triggered
        self._load_asked = self._triggered = False

    def fall(self) -> None:
        """A falling edge of CLK."""
        if self._load_seen or self._trigger_seen:
            self._load_seen = self._trigger_seen = False
            self._load()
        else:
            self.run(1)

    def run(self, pulses: int) -> None:
        """So many falling edges, with nothing pending and GATE as last sampled."""
        if self.mode in _DIVIDERS:
            if self._counting and self._gate_seen:
                self._divide(pulses)
            return
        if self.mode in _STROBES and pulses:
            self.out = 1
        if not self._is_enabled:
            return
        if self._armed and pulses >= self._count:
            self._armed = False
            self.out = int(self.mode not in _STROBES or pulses > self._count)
        self._count = (self._count - pulses) % self._modulus

    # --- what can be seen ---------------------------------------------------

    @property
    def value(self) -> int:
        """The count as a number."""
        if self.mode == 2 and self._counting:
            count = self._left + 1 if self._is_high and self._period > 1 else 1
        elif self.mode == 3 and self._counting:
            count = self._square_count()
        else:
            count = self._count
        return count % self._modulus

    @property
    def shown(self) -> int:
        """The count as its 16 bits, BCD where so programmed."""
        return _to_bcd(self.value) if self.bcd else self.value

    def next_change(self) -> int | None:
        """Falling edges until OUT may change, if nothing else happens; None for never."""
        if self.pending:
            return 1
        if self.mode in _STROBES and not self.out:
            return 1
        if not self._counting:
            return None
        if self.mode in _DIVIDERS:
            return self._next_turn()
        if self.mode in _BY_WRITING and self._gate_seen != self.gate:
            return 1
        return self._count if self._armed and self._is_enabled else None

    def wave(self) -> Wave | None:
        """What OUT does for good if it divides and nothing else happens."""
        if self.mode not in _DIVIDERS or not self._counting or self._period < 2:
            return None
        if self.null or self.pending or not self.gate or not self._gate_seen:
            return None
        high = self._length(is_high=True)
        gone = self._length(is_high=self._is_high) - self._left
        return Wave(self._period, high, gone if self._is_high else high + gone)

    # --- inside -------------------------------------------------------------

    @property
    def _is_enabled(self) -> bool:
        if self.mode in _BY_TRIGGER:
            return self._counting
        return self._counting and not self._stopped and bool(self._gate_seen)

    def _load(self) -> None:
        assert self._reload is not None
        self.null = False
        self._counting = self._armed = True
        self._count = self._period = self._reload
        self._is_high = True
        self._left = self._length(is_high=True)
        if self.mode != 0:
            self.out = int(self.mode != 1)

    def _length(self, *, is_high: bool) -> int:
        """CLK pulses for which a divider's OUT stays at a level."""
        if self._period == 1:
            return int(is_high)
        low = 1 if self.mode == 2 else self._period // 2
        return self._period - low if is_high else low

    def _divide(self, pulses: int) -> None:
        while pulses:
            if not self.null:
                pulses %= self._period
            gone = min(pulses, self._left)
            pulses -= gone
            self._left -= gone
            if self._left == 0:
                self._turn()
        self.out = int(self._is_high or not self.gate)

    def _turn(self) -> None:
        """The end of OUT's high or low time; mode 2 loads at the end of the low one only."""
        is_flat = self._period == 1
        if self.null and (self.mode == 3 or not self._is_high or is_flat):
            assert self._reload is not None
            self._period = self._reload
            self.null = False
        self._is_high = not self._is_high or is_flat or self._period == 1
        self._left = self._length(is_high=self._is_high)

    def _next_turn(self) -> int | None:
        if self._gate_seen != self.gate:
            return 1
        if not self.gate or (self._period == 1 and not self.null):
            return None
        return self._left

    def _square_count(self) -> int:
        """Mode 3's count, which goes down by two."""
        if self._odd_by_one:
            whole = self._left == self._length(is_high=self._is_high)
            return self._period if whole else 2 * self._left
        return 2 * (self._left - (self._period & 1 if self._is_high else 0))


class Channel:
    """A counter with its registers, its clock and its OUT."""

    def __init__(self, number: int, site: Site, *, odd_by_one: bool) -> None:
        self.number = number
        self._site = site
        self._odd_by_one = odd_by_one
        self.power()

    def power(self) -> None:
        """Nothing programmed, no clock known."""
        self.counter = Counter(odd_by_one=self._odd_by_one)
        self._control = LOW << 4
        self._low: int | None = None
        self._high_next = False
        self._latched: int | None = None
        self._status: int | None = None
        self._clock: SquareWave | None = None
        self._done = 0
        self._is_risen = False
        self._due: int | None = None
        self._event: Event | None = None
        self._clock_out: tuple[Fraction, Fraction, Fraction] | None = None

    # --- the CPU's side -----------------------------------------------------

    def program(self, control: int) -> None:
        """A control word with access bits other than the latch command's."""
        self._settle()
        mode = control >> 1 & 7
        self._control = control & 0x3F
        self._low = self._latched = self._status = None
        self._high_next = False
        self.counter.program(mode & 3 if mode > 5 else mode, bcd=bool(control & 1))
        self._show_out()

    def write(self, value: int) -> None:
        """A byte of a count."""
        self._settle()
        if self._access == BOTH and self._low is None:
            self._low = value
            self.counter.first_byte()
        else:
            low = self._low if self._access == BOTH else value if self._access == LOW else 0
            high = 0 if self._access == LOW else value
            self._low = None
            count = high << 8 | (low or 0)
            self.counter.give(_from_bcd(count) if self.counter.bcd else count)
        self._show_out()

    def latch_count(self) -> None:
        """Keep the count for reading; ignored while one is kept."""
        self.catch_up()
        if self._latched is None:
            self._latched = self.counter.shown

    def latch_status(self) -> None:
        """Keep the status for the next read; ignored while one is kept."""
        self.catch_up()
        if self._status is None:
            self._status = self.counter.out << 7 | self.counter.null << 6 | self._control

    def read(self) -> int:
        """Answer a read: a kept status first, then the count."""
        self.catch_up()
        value = self._answer()
        if self._status is not None:
            self._status = None
            return value
        self._high_next = self._access == BOTH and not self._high_next
        if not self._high_next:
            self._latched = None
        return value

    def peek(self) -> int:
        """What a read would give."""
        self.catch_up()
        return self._answer()

    def _answer(self) -> int:
        if self._status is not None:
            return self._status
        count = self.counter.shown if self._latched is None else self._latched
        if self._access == HIGH or (self._access == BOTH and self._high_next):
            return count >> 8
        return count & 0xFF

    @property
    def _access(self) -> int:
        return self._control >> 4

    # --- the pins' side -----------------------------------------------------

    def set_gate(self, level: int) -> None:
        """GATE is at a level."""
        if level == self.counter.gate:
            return
        self._settle()
        self.counter.set_gate(level)
        self._show_out()

    def edge(self, level: int) -> None:
        """CLK, driven by no steady clock, went to a level."""
        if level == self._is_risen:
            return
        if level:
            self._rise()
        else:
            self._is_risen = False
            self.counter.fall()
            self._show_out()

    def clock(self, clock: SquareWave | None) -> None:
        """CLK is a steady clock from now on, or is one no longer."""
        now = self._site.schedule.now
        self._reach(now + 1)  # the level that stays includes an edge just now
        self._clock = clock
        if clock is not None:
            self._done = clock.falls_by(now)
            rises = clock.rises_by(now)
            if rises > self._done:
                self._rise()
            elif rises:
                self.edge(0)  # it begins with the fall of a level that was high
        self._show_out()

    def catch_up(self) -> None:
        """Bring the counter to ``schedule.now``; no change of OUT is left behind."""
        self._reach(self._site.schedule.now)

    def _settle(self) -> None:
        """Catch up before something changes.

        What a steady wave has shown on its wires includes an edge just now, so the
        counter has to have had that pulse.
        """
        self.catch_up()
        if self._clock_out is not None and self._clock is not None:
            self._advance(self._clock.falls_by(self._site.schedule.now))

    def _reach(self, t: int) -> None:
        if self._clock is None:
            return
        self._advance(self._clock.falls_by(t - 1))
        if self._clock.rises_by(t - 1) > self._done:
            self._rise()

    def _wake(self) -> None:
        """The time of a change of OUT."""
        assert self._due is not None
        self._advance(self._due)
        self._show_out()

    def _rise(self) -> None:
        if not self._is_risen:
            self._is_risen = True
            self.counter.rise()

    def _advance(self, falls: int) -> None:
        pulses = falls - self._done
        if pulses <= 0:
            return
        self._done = falls
        if self._is_risen:
            self._is_risen = False
            self.counter.fall()
            pulses -= 1
        while pulses and self.counter.pending:
            self.counter.rise()
            self.counter.fall()
            pulses -= 1
        if pulses:
            self.counter.rise()
            self.counter.run(pulses)

    def _show_out(self) -> None:
        """Put OUT on its wires, and see to its next change."""
        self._due = None
        if self._event is not None:
            self._event.cancel()
            self._event = None
        if not self._site.is_wired(self._out):
            return
        if self._clock is not None:
            wave = self.counter.wave()
            if wave is not None:
                self._divide(wave, self._clock)
                return
            ahead = self.counter.next_change()
            if ahead is not None:
                self._due = self._done + ahead
                at = nearest_t(self._clock.fall(self._due))
                self._event = self._site.schedule.at(at, self._wake)
        self._clock_out = None
        self._site.drive(self._out, self.counter.out)

    def _divide(self, wave: Wave, clock: SquareWave) -> None:
        period = wave.period * clock.period
        rise = clock.fall(self._done - wave.since_rise)
        high = wave.high * clock.period
        if self._clock_out != (period, rise % period, high):
            self._clock_out = (period, rise % period, high)
            self._site.drive_clock(self._out, period, rise, high)

    @property
    def _out(self) -> str:
        return f"out{self.number}"

    def state(self) -> str:
        """One part of the device's line."""
        self.catch_up()
        counter = self.counter
        return (
            f"{self.number}: mode {counter.mode}, count {counter.shown:04X}, "
            f"out {'high' if counter.out else 'low'}"
        )


class Timer8253(Device):
    """Three counters and the control word register."""

    kind = "8253"
    about = "8253: interval timer, three counters"
    registers = (
        *(
            Register(f"counter {n}", "bytes of its count", Read.LIVE, written=True)
            for n in range(3)
        ),
        Register("control", "control word; latch command", written=True),
    )
    outputs: ClassVar[Mapping[str, str]] = {f"out{n}": f"OUT of counter {n}" for n in range(3)}
    inputs: ClassVar[Mapping[str, str]] = {
        f"gate{n}": f"GATE of counter {n}; high if not wired" for n in range(3)
    }
    clock_inputs: ClassVar[Mapping[str, str]] = {f"clk{n}": f"CLK of counter {n}" for n in range(3)}
    odd_by_one: ClassVar[bool] = True

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.channels = tuple(Channel(n, site, odd_by_one=self.odd_by_one) for n in range(3))

    def power(self) -> None:
        for channel in self.channels:
            channel.power()
            self.site.drive(f"out{channel.number}", channel.counter.out)

    def read(self, register: int) -> int:
        return self.channels[register].read()

    def peek(self, register: int) -> int:
        return self.channels[register].peek()

    def write(self, register: int, value: int) -> None:
        if register != CONTROL:
            self.channels[register].write(value)
            return
        number = value >> 6
        if number == READ_BACK:
            self.read_back(value)
        elif value >> 4 & 3 == LATCH:
            self.channels[number].latch_count()
        else:
            self.channels[number].program(value)

    def read_back(self, command: int) -> None:
        """Counter number 3, which is illegal in the 8253: nothing happens (a choice)."""

    def sense(self, pin: str, level: int) -> None:
        channel = self.channels[int(pin[-1])]
        if pin.startswith("gate"):
            channel.set_gate(level)
        else:
            channel.edge(level)

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        clock = None if period is None else SquareWave(period, start_t, high)
        self.channels[int(pin[-1])].clock(clock)

    def state(self) -> str:
        return "; ".join(channel.state() for channel in self.channels)


class Timer8254(Timer8253):
    """The 8253 with the read-back command."""

    kind = "8254"
    about = "the 8253 with read-back; odd counts are read otherwise in mode 3"
    registers = (
        *(
            Register(f"counter {n}", "bytes of its count; status", Read.LIVE, written=True)
            for n in range(3)
        ),
        Register("control", "control word; latch and read-back commands", written=True),
    )
    odd_by_one = False

    def read_back(self, command: int) -> None:
        """Latch counts (bit 5 low) and status (bit 4 low) of the counters in bits 1-3."""
        for channel in self.channels:
            if command >> channel.number + 1 & 1:
                if not command & 0x20:
                    channel.latch_count()
                if not command & 0x10:
                    channel.latch_status()


def _to_bcd(value: int) -> int:
    return int(f"{value:04d}", 16)


def _from_bcd(bits: int) -> int:
    digits = (bits >> 12, bits >> 8 & 15, bits >> 4 & 15, bits & 15)
    thousands, hundreds, tens, ones = digits
    return 1000 * thousands + 100 * hundreds + 10 * tens + ones
