"""Asynchronous serial wires at character level: one event a character, exact bits.

Sending a character bit by bit would cost an event for each edge.  Instead the
sender hands over a :class:`Frame`, the whole waveform of one character: when its
start bit begins, how long its bits are, and their levels.  A receiver with a bit
time of its own looks at that waveform where the middles of *its* bits fall, so a
wrong speed or format gives what it gives on the bench: framing errors, parity
errors and garbage.  All moments are exact fractions of a T-state and are rounded
only where an event is scheduled, so nothing drifts.

The level on a wire at a moment is the AND of every frame that covers it and of
the level that plain edges have left (mark is 1).  A receiver may therefore also
be fed edge by edge, as from SOD.

A receiver begins a character at a fall from mark to space, looks at the start
bit again in its middle, and at every further bit in its own; after the middle of
the first stop bit it looks for the next fall.  A real UART finds the middle to a
sixteenth of a bit only, since it counts a clock of 16 times the rate; here it is
exact (a choice).  Framing as in EIA-232 practice: a start bit (space), data bits
lowest first, an optional parity bit, stop bits (mark).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from fractions import Fraction

from emu85.board.frames import MARK, SPACE, Arrival, Frame, Framing, levels_of, meaning_of, sample
from emu85.board.schedule import Event, Moment, Schedule, nearest_t

HALF = Fraction(1, 2)


def later(t: Moment, by: Fraction) -> Moment:
    """``t + by``, quickly where both are whole: there is such a sum for each character."""
    if t.denominator == 1 and by.denominator == 1:
        return t.numerator + by.numerator
    return t + by


class AsyncSender:
    """Makes frames of characters that follow one another without a gap.

    Attributes:
        bit_time: T-states, or None while the sender has no clock.
        free_at: the end of the last stop bit sent, exact.
    """

    def __init__(self, put: Callable[[Frame], None], done: Callable[[], None]) -> None:
        """``put`` gets each frame as it begins; ``done`` is called when its stop bits end."""
        self.bit_time: Fraction | None = None
        self.free_at: Moment = 0
        self.framing = Framing()
        self._free_t = 0
        self._lasts: tuple[Fraction, Fraction, Fraction] | None = None
        self._put = put
        self._done = done
        self._schedule = Schedule()
        self._event: Event | None = None

    @property
    def framing(self) -> Framing:
        """Of characters begun from now on."""
        return self._framing

    @framing.setter
    def framing(self, framing: Framing) -> None:
        self._framing = framing
        self._length = framing.length
        self._known: dict[int, tuple[int, ...]] = {}

    def levels(self, value: int) -> tuple[int, ...]:
        """The levels of a character in the present framing."""
        known = self._known.get(value)
        if known is None:
            known = self._known[value] = levels_of(self._framing, value)
        return known

    @property
    def busy(self) -> bool:
        """A character is on its way out."""
        return self._event is not None

    def power(self, schedule: Schedule) -> None:
        """Start afresh on a schedule, sending nothing."""
        self.stop()
        self._schedule = schedule
        self._free_at_now()

    def stop(self) -> None:
        """Forget the character that is being sent; ``done`` is not called for it.

        Its frame stands on the wire all the same: whoever took it has it whole.
        """
        if self._event:
            self._event.cancel()
            self._event = None
            self._free_at_now()

    def _free_at_now(self) -> None:
        self._free_t = self._schedule.now
        self.free_at = self._free_t

    def send(self, value: int) -> Frame | None:
        """Begin a character now, or exactly where the last one ended if that is now.

        Only while not :attr:`busy`.  None, and nothing is sent, without a bit time.
        """
        return self.send_levels(self.levels(value), self._length)

    def send_levels(self, levels: tuple[int, ...], length: Fraction) -> Frame | None:
        """The same for levels of any kind, such as a break, lasting ``length`` bits."""
        bit_time = self.bit_time
        if bit_time is None:
            return None
        now = self._schedule.now
        # ``now`` is rounded: going on from the exact end keeps characters from drifting.
        start = self.free_at if self._free_t >= now else now
        frame = Frame(start, bit_time, levels)
        self.free_at = later(start, self._duration(length, bit_time))
        self._free_t = nearest_t(self.free_at)
        self._event = self._schedule.at(self._free_t, self._end)
        self._put(frame)
        return frame

    def _duration(self, length: Fraction, bit_time: Fraction) -> Fraction:
        """``length`` bits in T-states; the last product is kept, it is slow to make."""
        known = self._lasts
        if known is None or known[0] is not length or known[1] is not bit_time:
            known = self._lasts = (length, bit_time, length * bit_time)
        return known[2]

    def _end(self) -> None:
        self._event = None
        self._done()


class AsyncReceiver:
    """Reads characters off a wire; ``arrive`` is called in the middle of each stop bit."""

    def __init__(self, arrive: Callable[[Arrival], None]) -> None:
        """``arrive(arrival)`` is called at the T-state ``arrival.t``, faulty ones too."""
        self._bit_time: Fraction | None = None
        self._framing = Framing()
        self._to_stop = Fraction(0)
        self._arrive = arrive
        self._schedule = Schedule()
        self._event: Event | None = None
        self._start: Moment = 0
        self._stop: Moment = 0
        self._from: Moment = 0
        self._looked = False  # at the level at ``_from``: a fall right there is past
        self._frames: deque[Frame] = deque()
        self._edges: deque[tuple[int, int]] = deque()
        self._known_for: Fraction | None = None
        self._known: dict[tuple[int, ...], tuple[tuple[int, ...], bool]] = {}
        self._meanings: dict[tuple[int, ...], tuple[int, str]] = {}

    @property
    def bit_time(self) -> Fraction | None:
        """T-states, or None while the receiver has no clock."""
        return self._bit_time

    @property
    def framing(self) -> Framing:
        """Of the characters expected."""
        return self._framing

    @property
    def busy(self) -> bool:
        """A start bit was seen and its character is not complete."""
        return self._event is not None

    def power(self, schedule: Schedule) -> None:
        """Start afresh on a schedule, the wire at mark."""
        self._cancel()
        self._schedule = schedule
        self._look_from(schedule.now, looked=False)
        self._frames.clear()
        self._edges.clear()
        self._edges.append((schedule.now, MARK))

    def set(self, bit_time: Fraction | None, framing: Framing) -> None:
        """Change speed and format; a character that was under way is dropped."""
        if bit_time == self._bit_time and framing == self._framing:
            return
        self._bit_time = bit_time
        self._framing = framing
        self._known_for = None
        self._meanings.clear()
        if bit_time is not None:
            self._to_stop = (framing.sampled - HALF) * bit_time
        self.restart()

    def restart(self) -> None:
        """Drop the character under way and look for a start bit from now on."""
        self._cancel()
        self._look_from(self._schedule.now, looked=False)
        self._seek()

    def take(self, frame: Frame) -> None:
        """A frame begins on the wire."""
        self._frames.append(frame)
        if self._event is None:
            self._seek()

    def level(self, level: int) -> None:
        """The wire goes to a level by a plain edge, now."""
        at, before = self._edges[-1]
        if before == level:
            return
        now = self._schedule.now
        if at == now and len(self._edges) > 1:
            self._edges.pop()  # a pulse of no length is none
            return
        self._edges.append((now, level))
        if self._event is None:
            self._seek()

    def line_at(self, t: Moment) -> int:
        """The level on the wire at a moment not before the last character."""
        plain = next((level for at, level in reversed(self._edges) if at <= t), MARK)
        return plain & all(sample(frame, t) for frame in self._frames)

    # --- finding a start bit ----------------------------------------------------

    def _cancel(self) -> None:
        if self._event:
            self._event.cancel()
            self._event = None

    def _look_from(self, t: Moment, *, looked: bool) -> None:
        self._from = t
        self._looked = looked

    def _is_ahead(self, t: Moment) -> bool:
        limit = self._from  # by hand: comparing fractions is slow
        ahead = t.numerator * limit.denominator - limit.numerator * t.denominator
        return ahead > 0 or (ahead == 0 and not self._looked)

    def _seek(self) -> None:
        """Find the next fall from mark to space that has been announced."""
        if not self._frames and len(self._edges) == 1:
            return
        if self._bit_time is None:
            self._look_from(self._schedule.now, looked=False)
            self._forget()
            return
        start = self._quick_fall()
        if start is None:
            self._forget()
            start = self._first_fall()
        if start is None:
            return
        self._start = start
        self._stop = later(start, self._to_stop)
        self._event = self._schedule.at(nearest_t(self._stop), self._complete)

    def _quick_fall(self) -> Moment | None:
        frame = self._only_frame()
        if frame and self._is_ahead(frame.start) and frame.levels[0] == SPACE:
            return frame.start
        return None

    def _first_fall(self) -> Moment | None:
        if not self._frames:
            return self._first_edge_down()
        for at in sorted(self._falls()):
            if self._is_ahead(at) and self.line_at(at) == SPACE and self._before(at) == MARK:
                return at
        return None

    def _first_edge_down(self) -> Moment | None:
        """The same where there are only edges, whose levels alternate."""
        for at, level in self._edges:
            if level == SPACE and self._is_ahead(at):
                return at
        return None

    def _only_frame(self) -> Frame | None:
        """The frame on the wire, if nothing else is there: the quick case."""
        alone = len(self._frames) == 1 and len(self._edges) == 1 and self._edges[0][1] == MARK
        return self._frames[0] if alone else None

    def _falls(self) -> list[Moment]:
        falls: list[Moment] = [at for at, level in self._edges if level == SPACE]
        for start, bit_time, levels in self._frames:
            before = MARK
            for number, level in enumerate(levels):
                if level < before:
                    falls.append(start + number * bit_time)
                before = level
        return falls

    def _before(self, t: Moment) -> int:
        """The level just before a moment."""
        plain = next((level for at, level in reversed(self._edges) if at < t), MARK)
        for start, bit_time, levels in self._frames:
            number = -((start - t) // bit_time) - 1
            if 0 <= number < len(levels):
                plain &= levels[number]
        return plain

    def _forget(self) -> None:
        """Drop what lies before the moment from which a start bit is looked for."""
        frames, edges, limit = self._frames, self._edges, self._from
        while frames and self._is_over(frames[0]):
            frames.popleft()
        while len(edges) > 1 and edges[1][0] * limit.denominator < limit.numerator:
            edges.popleft()

    def _is_over(self, frame: Frame) -> bool:
        """Whether a frame has nothing but mark left."""
        number = (self._from - frame.start) // frame.bit_time
        return number >= 0 and SPACE not in frame.levels[number:]

    # --- reading a character ------------------------------------------------------

    def _complete(self) -> None:
        """Read the character whose last bit has just been reached."""
        assert self._bit_time is not None
        self._event = None
        levels = self._sampled(self._bit_time)
        if levels[0] == MARK:  # too short for a start bit: noise
            self._look_from(self._start + HALF * self._bit_time, looked=True)
            self._seek()
            return
        self._look_from(self._stop, looked=True)
        start_t = nearest_t(self._start)
        self._seek()
        self._arrive(self._arrival(start_t, levels))

    def _sampled(self, bit_time: Fraction) -> tuple[int, ...]:
        frame = self._only_frame()
        if frame and frame.start is self._start:
            return self._read_alone(frame, bit_time)
        if not self._frames:
            return self._read_edges(bit_time)
        return tuple(
            self.line_at(self._start + (number + HALF) * bit_time)
            for number in range(self._framing.sampled)
        )

    def _read_edges(self, bit_time: Fraction) -> tuple[int, ...]:
        """The samples where there are only edges: an edge counts from the next sample on."""
        count = self._framing.sampled
        levels: list[int] = []
        before = MARK
        # By hand, since fractions are slow: bit number n is sampled at the first edge or
        # after it where start + (n + 1/2) bit_time >= at.
        start, scale = self._start.numerator, self._start.denominator
        half, twice = bit_time.numerator * scale, 2 * bit_time.denominator
        for at, level in self._edges:
            past = (at * scale - start) * twice - half
            number = -(-past // (2 * half))
            if number >= count:
                break
            levels += [before] * (number - len(levels))
            before = level
        levels += [before] * (count - len(levels))
        return tuple(levels)

    def _read_alone(self, frame: Frame, bit_time: Fraction) -> tuple[int, ...]:
        """The samples of a character that is one frame; the same levels give the same ones."""
        if frame.bit_time is not self._known_for:  # quicker than ==
            self._known_for = frame.bit_time
            self._known.clear()
        known = self._known.get(frame.levels)
        if known is None:
            known = self._known[frame.levels] = self._compare(frame, bit_time)
        levels, is_over = known
        if is_over:
            self._frames.clear()
        return levels

    def _compare(self, frame: Frame, bit_time: Fraction) -> tuple[tuple[int, ...], bool]:
        """Samples of a frame from its start on, and whether only mark is left after them."""
        levels = (*frame.levels, MARK)
        ratio = bit_time / frame.bit_time
        index = [
            min(int((number + HALF) * ratio), len(frame.levels))
            for number in range(self._framing.sampled)
        ]
        samples = tuple(levels[number] for number in index)
        return samples, samples[0] == SPACE and SPACE not in levels[index[-1] :]

    def _arrival(self, start_t: int, levels: tuple[int, ...]) -> Arrival:
        meaning = self._meanings.get(levels)
        if meaning is None:
            meaning = self._meanings[levels] = meaning_of(self._framing, levels)
        return Arrival(start_t, self._schedule.now, *meaning)
