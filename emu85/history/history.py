"""Going back in board time: snapshots on the way, and all that was done, done again.

A machine is the same in every run, so any moment of its past is a snapshot of before
it, and a run from there with everything done again that was done from outside
(:mod:`emu85.history.journal`).  Nothing is heard of such a run: no stop of the user's
holds it, and what the board sends goes nowhere.

In the past the machine can go on as it did, with step and run: what was done from
outside comes again at its time.  What the user does there anew ends that: from then
on it is another story, and what was to come is forgotten.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board.contents import Contents
from emu85.board.deeds import Deed
from emu85.board.schedule import NEVER
from emu85.bus.cycles import SHORTEST
from emu85.bus.starts import first_cycles
from emu85.bus.trace import KeptTrace
from emu85.cpu.layout import UNTOUCHED_BITS, State
from emu85.history.earlier_hits import EarlierHits
from emu85.history.journal import Journal
from emu85.history.seeking import Found, Seeker
from emu85.history.snapshot import MOTION_CELLS, Snapshot
from emu85.history.snapshots import MOST, KeptSnapshots, Snapshots
from emu85.history.stops_then import Beginning, StopsThen, Then
from emu85.history.writes import ByHand, Byte, Changed
from emu85.machine import Machine, Reason
from emu85.stops import Condition, Stop

APART = 0.02
"""Seconds of work between snapshots, so that the run from one to the next is short."""

_DEAR = 10
"""Snapshots are at least so many times further apart than it takes to make one."""

_AT_ONCE = 500_000
"""T-states or machine cycles done between two looks outside."""

_WORTH = 2000
"""Machine cycles of before that should stand on the trace where the machine is put."""

_REGISTERS = frozenset({State.SP, *range(State.REGISTERS, State.REGISTERS + 16)})
_CONTROL = frozenset(
    {
        *(State.PC, State.ROW, State.HALTED, State.ANSWER),
        *(State.IE, State.MASKS, State.LATCH75),
    }
)
"""Cells that can be set by hand; a reset sets the latter anew."""


class KeptHistory(NamedTuple):
    """A history as it was, and the moment at which the machine was in it."""

    now: Snapshot
    trace: KeptTrace
    journal: Journal
    snapshots: KeptSnapshots
    latest_t: int
    beginning: Contents
    stops: StopsThen
    counts: Then


class History:
    """The past of one machine, from power-on.

    Attributes:
        latest_t: the furthest moment that is known, in T-states.
        snapshots: of the past.
        journal: what was done from outside.
        attend: is called between pieces of work in the past; what it raises breaks off the
            work, and the machine is then somewhere on the way.
    """

    def __init__(self, machine: Machine, *, apart: float | None = None, most: int = MOST) -> None:
        """Keep the history of ``machine`` from its present moment on.

        Args:
            apart: seconds of work between snapshots; :data:`APART` unless given, or more
                where snapshots are dear.
            most: snapshots kept, at least 2.
        """
        self.machine = machine
        self.latest_t = machine.t
        self.journal = Journal()
        self.attend: Callable[[], None] | None = None
        self.snapshots = Snapshots(machine, most)
        self._apart = apart
        self._stops = StopsThen()
        self._is_heard = True
        self._is_staying = False
        self._may_take = True
        self._beginning = machine.board.contents()
        self._cells: list[int] = []
        self._rest_t = machine.t
        self._worked = 0.0
        self._began = 0.0
        self._cost = 0.0
        self._is_moving = False
        self._is_doing_again = False
        self._resets_before = NEVER
        machine.companions.append(self)
        machine.board.deeds.listener = self._note
        self._seeker = Seeker(self)
        self._start()

    def close(self) -> None:
        """Keep it no longer."""
        self.machine.companions.remove(self)
        self.machine.board.deeds.listener = None

    # --- beginning, as a whole ----------------------------------------------------

    @property
    def beginning(self) -> Contents:
        """What all chips held at :attr:`first_t`."""
        return self._beginning

    @property
    def beginnings(self) -> dict[Stop, Beginning]:
        """From when on the user's armed stops have counted what they have now."""
        self._notice()
        return self._stops.beginnings

    def begin_anew(self, contents: Contents, beginnings: Mapping[Stop, Beginning]) -> None:
        """Power off and on, with all chips holding what they held.

        Args:
            beginnings: from when on stops will have counted; the others begin now.

        Raises:
            UserError: contents of another board; or a battery file cannot be written.
        """
        self.machine.power()
        self.machine.board.put_contents(contents)
        self._start()
        self._stops.know(beginnings)

    def kept(self) -> KeptHistory:
        """All of it and the present moment, to be put back later."""
        journal = Journal()
        journal.entries, journal.done = list(self.journal.entries), self.journal.done
        return KeptHistory(
            self.snapshots.made(),
            self.machine.trace.kept(),
            journal,
            self.snapshots.kept(),
            self.latest_t,
            self._beginning,
            self._stops.kept(),
            self._stops.now(),
        )

    def put_back(self, kept: KeptHistory) -> None:
        """Make the machine and its history what they were."""
        kept.now.put_back(self.machine)
        self.machine.trace.put_back(kept.trace)
        self.journal = kept.journal
        self.snapshots.put_back(kept.snapshots)
        self.latest_t, self._beginning = kept.latest_t, kept.beginning
        self._stops = kept.stops
        self._stops.put_back(kept.counts)
        self._keep_cells()

    # --- going along (machine.Companion) ----------------------------------------

    def begin(self) -> None:
        """A motion begins."""
        self._notice()
        self._is_moving = True
        self._began = time.monotonic()

    def next_t(self) -> int:
        """When something is to be done again."""
        return self.journal.next_t

    def rest(self) -> None:
        """Do again what is due; make a snapshot if the last is long ago."""
        now = time.monotonic()
        self._worked += now - self._began
        self._began = now
        if self.journal.next_t <= self.machine.t:
            self._do_again()
        self.latest_t = max(self.latest_t, self.machine.t)
        self._keep_cells()
        self._take_if_due()

    def _take_if_due(self) -> None:
        """Make a snapshot if so much has been done since the last."""
        if self._worked < self._interval or self._is_staying or not self._may_take:
            return
        before = time.monotonic()
        self._take()
        self._worked = 0.0
        self._began = time.monotonic()
        self._cost = self._began - before

    @property
    def _interval(self) -> float:
        return max(APART, _DEAR * self._cost) if self._apart is None else self._apart

    def end(self) -> None:
        """The motion is over."""
        self._is_moving = False
        if self._is_heard:
            self._stops.ran_on(self.machine.t)

    # --- going back and forth ------------------------------------------------------

    @property
    def in_past(self) -> bool:
        """Whether moments later than now are known."""
        self._notice()
        return self.machine.t < self.latest_t

    @property
    def first_t(self) -> int:
        """The earliest moment that can be gone to, in T-states."""
        return self.snapshots[0].snapshot.t

    def go_to(self, t: int) -> None:
        """Be at the first moment between machine cycles that is not before ``t``.

        A reset at that moment is still to come then.  It is between :attr:`first_t` and
        :attr:`latest_t`, whatever ``t`` is.
        """
        self._notice()
        t = max(self.first_t, min(t, self.latest_t))
        with self._unheard():
            then, since = self._stops.now(), self.machine.t
            is_far = self._place_for(t) > self.snapshots.before(self._rest_t)
            if t < since or is_far or not self._stops.can_start(then, since, t):
                snapshot = self._put_back(t)
                then, since = snapshot.stops, snapshot.t
            self._run_on(then, since, t)

    def _run_on(self, then: Then, since: int, t: int) -> None:
        """Run from ``since`` to ``t``, and have stops count from their beginnings on."""
        self._may_take = False  # until it is known what stops have counted
        try:
            for moment in self._stops.start(then, since, t):
                for snapshot in self.snapshots.between(since, moment):
                    self.run_to(snapshot.t)
                    snapshot.stops = self._stops.now_and(snapshot.stops)
                self.run_to(moment)
                self._stops.begin(moment)
                since = moment
        finally:
            self._may_take = True
        self._take_if_due()

    def back_cycles(self, count: int) -> bool:
        """Go back by so many machine cycles; to the beginning if there are not so many.

        Returns:
            False if the beginning was reached before that.
        """
        self._notice()
        machine, here = self.machine, self.machine.trace.total
        while count > 0:
            there = here - count
            if there < self.snapshots[0].snapshot.total:
                self.go_to(self.first_t)
                return False
            self._go_to_total(there)
            if machine.trace.total < here:
                break
            count += 1  # what takes no time comes at the same moment as what was before it
        return True

    def back_instructions(self, count: int) -> bool:
        """Go back to the start of the instruction under way, or of so many before it.

        Returns:
            False if there were not so many, and the machine is at the beginning.
        """
        if count < 1:
            return True
        self._notice()
        here = self.machine.t
        while True:
            found = self._seeker.last(first_cycles, count, here)
            self.go_to(self.first_t if found is None else int(found["t"]))
            if found is None or self.machine.t < here:
                return found is not None
            count += 1

    def back_to_stop(self, stops: list[Stop]) -> bool:
        """Go back to just after the last machine cycle in which one of these stops hit.

        The cycle that has just ended does not count.  Before a stop was armed, one that
        lets matches go by lets as many go by on the way back, from here; a sequence hits
        as if it had been armed since power-on.

        Args:
            stops: the user's, armed.

        Returns:
            False if there was none; the machine is where it was.
        """
        self._notice()
        here, before = self.machine.t, self._last_start()
        if any(stop.last_t == before for stop in stops):
            self.go_to(before)
        t = max(stop.last_t if stop.last_t is not None else -1 for stop in stops)
        later = [stop for stop in stops if self._stops.since(stop) > max(t, self.first_t)]
        simple = [stop.condition for stop in later if stop.is_simple]
        if simple:
            t = max(t, self._seeker.last_met(simple, before, t))
        for stop, since in [(stop, self._stops.since(stop)) for stop in later]:
            if since > t and not stop.is_simple:
                t = max(t, self._hit_before_armed(stop.condition, before, since))
        self.go_to(here if t < 0 else t + 1)
        return t >= 0

    def _hit_before_armed(self, condition: Condition, before: int, armed: int) -> int:
        """When a stop with passes or a sequence would have hit last; -1 for never."""
        steps = {replace(step, passes=0) for step in condition.steps}
        if len(steps) == 1:
            count = sum(step.passes + 1 for step in condition.steps)
            return self._seeker.last_counted(steps.pop(), count, before)
        return EarlierHits(self, self._seeker, condition).last(min(before, armed))

    def last_change(self, address: int) -> Changed:
        """What changed the byte at a memory address last, by a write or by hand.

        Writes by way of mirrors, and those of a bus master, count as well.
        """
        self._notice()
        t = self.machine.t
        return Byte(self, self._seeker, address).changed(t, t + 1)

    def back_to_change(self, address: int) -> np.void | ByHand | None:
        """Go back to just after what changed the byte at a memory address last.

        The cycle that has just ended does not count, nor what was put there at this moment.

        Returns:
            what it was; None, and nothing is changed, if it is as it was at power-on.
        """
        self._notice()
        byte = Byte(self, self._seeker, address)
        change = byte.changed(self._last_start(), self.machine.t).by
        if change is None:
            return None
        self.go_to(change.t if isinstance(change, ByHand) else int(change["t"]) + 1)
        return change

    def instruction_before(self, t: int) -> Found:
        """The record that began the instruction, or its acceptance, under way at ``t``."""
        self._notice()
        return self._seeker.last_shortly_before(first_cycles, t)

    def _last_start(self) -> int:
        """When the machine cycle began that has just ended."""
        trace = self.machine.trace
        return int(trace[-1]["t"]) if len(trace) else self.machine.t

    # --- doing it ---------------------------------------------------------------------

    def _start(self) -> None:
        """Power has come on: nothing is before this."""
        self.journal = Journal()
        self.snapshots.clear()
        self._stops.forget()
        self._worked = 0.0
        self.latest_t = self.machine.t
        self._beginning = self.machine.board.contents()
        self._keep_cells()
        self._take()

    def _note(self, deed: Deed) -> None:
        if self._is_doing_again or self._is_moving:  # an event's doing comes again by itself
            return
        if deed.kind == "power":
            self._start()
            return
        self._stops.notice(self.machine.stops, self._rest_t)
        by_hand = [(n, value) for n, value in self._changed_cells() if n in _untouched_by(deed)]
        if by_hand:  # before this, and not noticed yet
            self._add(Deed("cells", (by_hand,)))
        self._add(deed)
        self._keep_cells()

    def _add(self, deed: Deed) -> None:
        t = self._rest_t  # a reset takes time itself
        self.journal.add(t, deed)
        self.latest_t = self.machine.t
        self._stops.ran_on(NEVER)
        self.snapshots.forget_later(t, self.journal.done)

    def _do_again(self) -> None:
        self._is_doing_again = True
        try:
            self.journal.catch_up(self.machine, self._resets_before)
        finally:
            self._is_doing_again = False
            self._keep_cells()  # or what has just been done again would be taken for new

    def _keep_cells(self) -> None:
        self._cells = self.machine.registers.state.tolist()
        self._rest_t = self.machine.t

    def _notice(self) -> None:
        """What was put into registers since the machine rests is a deed; stops may be new."""
        self._stops.notice(self.machine.stops, self._rest_t)
        changed = self._changed_cells()
        if changed:
            self._note(Deed("cells", (changed,)))

    def _changed_cells(self) -> list[tuple[int, int]]:
        now = self.machine.registers.state.tolist()
        if now == self._cells:
            return []
        pairs = enumerate(zip(now, self._cells, strict=True))
        return [(n, new) for n, (new, old) in pairs if new != old and n not in MOTION_CELLS]

    def _take(self) -> None:
        """Make a snapshot, unless there is one of this moment."""
        there = self.snapshots.at(self.machine.t)
        if there:
            there.stops = self._stops.now_and(there.stops)
            return
        made = self.snapshots.take(self.journal.done, self.latest_t)
        made.stops = self._stops.now()

    def _put_back(self, t: int) -> Snapshot:
        """Be at a snapshot of before ``t``, if possible so long before that the trace is of use."""
        snapshot, done = self.snapshots[self._with_a_past(self._place_for(t), t)]
        snapshot.put_back(self.machine)
        self.journal.done = done
        self._keep_cells()
        return snapshot

    def _place_for(self, t: int) -> int:
        """The number of the last snapshot from which a run to ``t`` tells all of ``t``."""
        place = self.snapshots.before(t)
        while place and not self._can_start(place, t):
            place -= 1
        return place

    def _can_start(self, place: int, t: int) -> bool:
        snapshot = self.snapshots[place].snapshot
        return self._stops.can_start(snapshot.stops, snapshot.t, t)

    def _with_a_past(self, last: int, t: int) -> int:
        """The number of a snapshot, ``last`` or before, from which a trace is made anew."""
        total = self.snapshots[last].snapshot.total
        trace = self.machine.trace
        if total <= trace.total and total - trace.forgotten >= _WORTH:
            return last
        place = last
        while place and total - self.snapshots[place].snapshot.total < _WORTH:
            place -= 1
        while not self._can_start(place, t):  # it can from ``last``
            place += 1
        return place

    def _go_to_total(self, total: int) -> None:
        """Be where so many machine cycles have been done since power-on."""
        trace = self.machine.trace
        if trace.forgotten <= total < trace.total:
            self.go_to(int(trace[total - trace.total]["t"]))
            return
        with self.staying():
            place = self.snapshots.before_total(total)
            self.be_at_snapshot(self.snapshots[place].snapshot.t)
            self.run_to(self.machine.t)
            while trace.total <= total:  # the next one tells when this one, a halt say, was over
                if self.attend:
                    self.attend()
                # A reset is a record as well, and none of the cycles that are asked for.
                resets = sum(
                    each.deed.kind == "reset" for each in self.journal.entries[self.journal.done :]
                )
                left = max(1, min(_AT_ONCE, total + 1 - trace.total - resets))
                # A bus master's cycles come on top: no more than the trace can hold.
                self.machine.step(left, t_states=max(1, SHORTEST * trace.size // 2))
            t = int(trace[total - trace.total]["t"])
        self.go_to(t)

    # --- for who looks for something (seeking.py) ----------------------------------------

    @contextmanager
    def staying(self, looking_for: Sequence[Condition] = ()) -> Iterator[list[Stop]]:
        """Have the machine be, after the block, what and where it was before.

        Args:
            looking_for: conditions of stops that count hits meanwhile.

        Yields:
            a stop for each of those.

        Within such a block another one has stops of its own, and the machine may be anywhere
        after it.
        """
        if self._is_staying:
            with self.machine.stops.users_disarmed(looking_for) as stops:
                yield stops
            return
        now, trace = self.snapshots.made(), self.machine.trace.kept()
        done, state = self.journal.done, self.machine.registers.state
        untouched, moved = self.machine.board.map & np.int64(UNTOUCHED_BITS), state[State.MOVED]
        noted = self.machine.noted.copy()
        try:
            self._is_staying = True
            with self._unheard(), self.machine.stops.users_disarmed(looking_for) as stops:
                yield stops
        finally:
            self._is_staying = False
            now.put_back(self.machine)
            self.machine.trace.put_back(trace)
            self.journal.done = done
            self.machine.board.map &= ~np.int64(UNTOUCHED_BITS)
            self.machine.board.map |= untouched
            state[State.MOVED] = moved
            self.machine.noted[:] = noted
            self._keep_cells()

    def be_at_snapshot(self, t: int) -> NDArray[np.void]:
        """Be at a snapshot's moment, with nothing done again that is due there.

        Returns:
            the record of the machine cycle before it, of length 1.
        """
        snapshot, self.journal.done = self.snapshots[self.snapshots.before(t)]
        snapshot.put_back(self.machine)
        self._keep_cells()
        return snapshot.last_record

    def byte_in_snapshot(self, t: int, cell: int) -> int:
        """What a cell of the store held at a snapshot's moment."""
        return self.snapshots[self.snapshots.before(t)].snapshot.byte(cell)

    def run_to(self, t: int) -> None:
        """Run to the first moment between machine cycles that is not before ``t``.

        A reset at that moment is still to come then.
        """
        self._resets_before = t
        try:
            if self.journal.next_t <= self.machine.t:
                self._do_again()
            self._run_piece_by_piece(t)
        finally:
            self._resets_before = NEVER

    def run_to_stop(self, t: int) -> bool:
        """The same in the block of :meth:`staying`, or until one of its stops hits.

        Returns:
            whether one has hit.
        """
        self.machine.holds_for_user = True
        try:
            with self.machine.stops.counting_quietly(False):
                return self._run_piece_by_piece(t)
        finally:
            self.machine.holds_for_user = False

    def _run_piece_by_piece(self, t: int) -> bool:
        """Run to ``t``, or until a stop holds; whether one has."""
        while self.machine.t < t:
            if self.attend:
                self.attend()
            held = self.machine.run(t_states=min(_AT_ONCE, t - self.machine.t), wait=True)
            # A device that firmware has told to hold the board does it in the past too.
            if held.reason is Reason.STOP and any(s.owner != "firmware" for s in held.stops):
                return True
        return False

    @contextmanager
    def _unheard(self) -> Iterator[None]:
        """Let nobody outside hear of what the machine does, nor hold it."""
        ends = list(self.machine.board.serial_ends.values())
        listeners = [end.listeners for end in ends]
        for end in ends:
            end.listeners = []
        self.machine.holds_for_user = self._is_heard = False
        try:
            stops = self.machine.stops
            with stops.unlisted_standing_still(), stops.counting_quietly():
                yield
        finally:
            self.machine.holds_for_user = self._is_heard = True
            for end, heard in zip(ends, listeners, strict=True):
                end.listeners = heard


def _untouched_by(deed: Deed) -> frozenset[int]:
    """Cells that have been changed by hand if they have changed when a deed is told of.

    A key may change an input line; what a reset sets need not be done before it.
    """
    match deed.kind:
        case "cells":
            return frozenset()
        case "reset":
            return _REGISTERS
        case _:
            return _REGISTERS | _CONTROL
