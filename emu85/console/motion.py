"""The machine in motion, a slice at a time.

A :class:`Motion` moves the machine by one bounded slice a call and says when to
call again; whoever drives it (a pipe, a terminal) serves keys, serial output and
Ctrl-C between slices.  Where slices begin and end changes nothing in the
machine: it rests between machine cycles and goes on.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

from emu85.bus.cycles import Cycle
from emu85.console.throttle import Throttle
from emu85.machine import Held, Machine, Reason

_IDLE = 0.005
"""Seconds between two looks outside while the CPU waits in a halt."""
FOREVER = 1 << 60
"""T-states of a run that is given no length."""


class Motion(Protocol):
    """Something that moves the machine."""

    @property
    def state(self) -> str:
        """One word on what is going on, for the bottom line."""

    def advance(self) -> Held | None:
        """Move by one slice; how the motion ended, or None when it goes on."""

    def wait(self) -> float:
        """Seconds to let pass before the next slice."""

    def hold(self) -> None:
        """End the motion at the next opportunity; may be called from a signal handler."""


class FreeRun:
    """Running until a stop, a length of time, an address, or Ctrl-C.

    While a device of the board asks for a pace, the machine goes by single machine
    cycles, each shown; Ctrl-C ends that too.

    Args:
        machine: what runs.
        throttle: how fast.
        t_states: how long at most.
        until: the address of an opcode fetch to be held at.
        shown: called after each step of a pace.
        hears: bytes may come from outside, so a halt with interrupts enabled is
            waited out.
    """

    def __init__(
        self,
        machine: Machine,
        throttle: Throttle,
        t_states: int = FOREVER,
        until: int | None = None,
        shown: Callable[[], None] = lambda: None,
        *,
        hears: bool = False,
    ) -> None:
        self.state = "running"
        self._hears = hears
        self._shown = shown
        self._is_paced = False
        self._machine = machine
        self._throttle = throttle
        self._end = machine.t + t_states
        self._until = until
        self._is_asked = False
        self._wait = 0.0
        throttle.begin(machine.t)

    def advance(self) -> Held | None:
        machine = self._machine
        if self._is_asked:
            if machine.pace:
                machine.end_pace()
            return Held(Reason.ASKED, machine.t, ())
        if machine.pace:
            return self._step(machine.pace)
        if self._is_paced:
            self._is_paced, self.state = False, "running"
            self._throttle.begin(machine.t)
        return self._slice()

    def _step(self, rate: int) -> Held | None:
        """One machine cycle of a pace that the board asked for."""
        machine = self._machine
        self._is_paced, self.state = True, f"pacing {rate}/s as the firmware asks"
        held = machine.step()
        self._shown()
        self._wait = 1 / rate
        if held.reason is Reason.CYCLES and self._has_arrived():
            return held._replace(reason=Reason.ADDRESS)
        if held.reason in (Reason.CYCLES, Reason.LIMIT):
            return held._replace(reason=Reason.LIMIT) if machine.t >= self._end else None
        return held

    def _slice(self) -> Held | None:
        machine = self._machine
        t_states = min(self._throttle.slice_begins(machine.t), self._end - machine.t)
        waits = self._waits()
        held = machine.run(t_states=max(1, t_states), until=self._until, heed_pace=True, wait=waits)
        self._wait = self._throttle.slice_ended(machine.t)
        if waits and machine.registers.halted:
            self._wait = max(self._wait, _IDLE)
        if held.reason is Reason.HALTED and self._waits():
            return None
        if held.reason is Reason.LIMIT and self._has_arrived():
            # The slice ended just there; the next one would set out from the address.
            return held._replace(reason=Reason.ADDRESS)
        if held.reason is Reason.PACE or (held.reason is Reason.LIMIT and machine.t < self._end):
            return None
        return held

    def _waits(self) -> bool:
        """Whether the CPU is halted and something from outside may yet interrupt it."""
        registers = self._machine.registers
        return self._hears and bool(registers.halted) and bool(registers.ie)

    def _has_arrived(self) -> bool:
        registers = self._machine.registers
        return registers.boundary and not registers.halted and registers.pc == self._until

    def wait(self) -> float:
        return self._wait

    def hold(self) -> None:
        self._is_asked = True
        self._machine.ask_hold()


class Pace:
    """So many steps a second, each shown, to be read by eye.

    A step that goes on to a cycle type is ended by a stop of our own, which
    :meth:`close` takes away again.

    Args:
        machine: what moves.
        rate: steps a second.
        by: the cycle type that ends a step; None for every machine cycle.
        shown: called after each step.
        clock: the wall clock, in seconds.
    """

    _SLICE = 500_000
    """T-states between two looks at the keyboard."""

    def __init__(
        self,
        machine: Machine,
        rate: float,
        by: Cycle | None,
        shown: Callable[[], None],
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        self.state = f"pacing {rate:g}/s" + (f" by {by.name}" if by is not None else "")
        self._machine = machine
        self._period = 1.0 / rate
        self._shown = shown
        self._clock = clock
        self._due = clock()
        self._is_asked = False
        self._wait = 0.0
        self._stop = None if by is None else machine.stops.add_unlisted(f"on {by.name}")

    def advance(self) -> Held | None:
        if self._is_asked:
            return Held(Reason.ASKED, self._machine.t, ())
        if self._stop is None:
            held = self._machine.step()
        else:
            held = self._machine.run(t_states=self._SLICE)
        others = tuple(stop for stop in held.stops if stop is not self._stop)
        if others:
            return held._replace(stops=others)
        if held.reason in (Reason.CYCLES, Reason.STOP):
            self._shown()
            self._set_next()
            return None
        self._wait = 0.0
        return None if held.reason is Reason.LIMIT else held

    def wait(self) -> float:
        return self._wait

    def hold(self) -> None:
        self._is_asked = True
        self._machine.ask_hold()

    def close(self) -> None:
        """Take the stop of our own away."""
        if self._stop is not None:
            self._machine.stops.drop_unlisted(self._stop)

    def _set_next(self) -> None:
        now = self._clock()
        # A step that came late does not make the next ones hurry.
        self._due = max(self._due + self._period, now)
        self._wait = self._due - now


class Steps:
    """One call of the machine that ends by itself or by being asked."""

    def __init__(self, machine: Machine, move: Callable[[], Held]) -> None:
        self.state = "stepping"
        self._machine = machine
        self._move = move

    def advance(self) -> Held | None:
        return self.finish()

    def finish(self) -> Held:
        """The whole of it in one go."""
        return self._move()

    def wait(self) -> float:
        return 0.0

    def hold(self) -> None:
        self._machine.ask_hold()
