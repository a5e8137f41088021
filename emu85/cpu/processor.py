"""The CPU as an object: its state vector, its input lines, and bursts of the loop."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import LEVELS, Cycle
from emu85.bus.findings import Findings
from emu85.bus.lines import INPUTS, Line
from emu85.bus.trace import Trace
from emu85.cpu.compiler import compiled_loop
from emu85.cpu.constants import (
    BUDGET,
    HOLD,
    HOLD_SINCE,
    LATCH75,
    LIMIT,
    LINES,
    MOVED,
    RST75,
    TRAP,
    TRAP_LATCH,
)
from emu85.cpu.interrupt_bits import interrupt_bits
from emu85.cpu.layout import (
    DATA_NOTED,
    EVERY_CYCLE,
    MOVED_TYPES,
    STATE_CELLS,
    STOP_FIELDS,
    State,
    StopField,
)
from emu85.cpu.rows import (
    DATA_SHIFT,
    INTERRUPTS_SHIFT,
    LINES_SHIFT,
    TYPE_SHIFT,
    WAITS_SHIFT,
    pack,
    status_lines,
)

RESET_T_STATES = 3
"""Shortest RESET IN pulse the data sheet allows with the clock running, in
T-states (8085AH data sheet; value from memory)."""

_FOREVER = 1 << 60
_NOT_INPUTS = ~int(INPUTS)


class Processor:
    """An 8085 on the given memory.

    Args:
        memory_map: int64, ``layout.SPACE`` map words.
        store: uint16, the bytes of all chips.
        trace: where the records go.
        findings: where findings are counted.

    Attributes:
        state: the state vector as a memoryview of int64, indexed by ``State``;
            a plain view because Python reads it faster than an array cell.
        noted: which data bytes there were (``layout.DATA_NOTED``), int64.
        run_on: goes on with the limit and the budget that are in the state vector, and
            returns ``layout.Exit`` bits; another after :meth:`watch`.
    """

    def __init__(
        self,
        memory_map: NDArray[np.int64],
        store: NDArray[np.uint16],
        trace: Trace,
        findings: Findings,
    ) -> None:
        self.trace = trace
        self._loop = compiled_loop()
        self._cells = np.zeros(STATE_CELLS, np.int64)
        self.state: memoryview[int] = memoryview(self._cells.data)
        self._stop_table = np.zeros((1, STOP_FIELDS), np.int64)
        self._data_watch = np.zeros(256, np.int64)
        self._fixed = (memory_map, store, trace.ring)
        self.noted = np.zeros(DATA_NOTED, np.int64)
        self._rest = (findings.table, pack(), self.noted)
        self.run_on = self._bound()
        self.state[State.ANSWER] = -1

    def watch(self, table: NDArray[np.int64], data_watch: NDArray[np.int64]) -> None:
        """Put the table of stop steps in force.

        Args:
            table: int64, shape (n, ``STOP_FIELDS``).
            data_watch: int64, 256 masks.
        """
        self.state[State.STOPS] = len(table)
        self.state[State.LINE_STOPS] = _line_stops(table)
        self._stop_table = np.ascontiguousarray(table) if len(table) else self._stop_table
        self._data_watch = data_watch
        self.run_on = self._bound()

    def run(self, limit: int, budget: int = _FOREVER) -> int:
        """Run while T <= ``limit``, at most ``budget`` machine cycles.

        Returns:
            ``layout.Exit`` bits.
        """
        state = self.state
        state[LIMIT] = limit
        state[BUDGET] = budget
        return self.run_on()

    def master_cycle(self, t: int, address: int, data: int, kind: Cycle, waits: int = 0) -> int:
        """Put a bus cycle by another bus master on the trace and try the stops on it.

        Args:
            t: its start, T-states.
            kind: MR, MW, IOR or IOW.
            waits: wait states, 0 to 255.

        Returns:
            ``layout.Exit`` bits: STOP if a stop hit.

        Raises:
            RuntimeError: the CPU has not given the bus away (HLDA is low).
        """
        state = self.state
        if not state[State.LINES] & Line.HLDA:
            raise RuntimeError("a bus master moved a byte while HLDA was low")
        ready = 0 if waits else Line.READY
        shown = state[State.LINES] | ready | status_lines(LEVELS[kind])
        state[State.MASTER] = (
            address
            | data << DATA_SHIFT
            | kind << TYPE_SHIFT
            | shown << LINES_SHIFT
            | waits << WAITS_SHIFT
            | interrupt_bits(state) << INTERRUPTS_SHIFT
        )
        state[State.MASTER_T] = t
        out = self.run(state[State.T])
        self.settle()
        return out

    def power(self, pull_up: int) -> None:
        """Everything as when the supply comes up, before RESET IN; T is 0.

        Registers are zero, which the manual leaves undefined.
        """
        inputs = self.state[State.LINES] & INPUTS
        self._cells[:] = 0
        self.state[State.ANSWER] = -1
        self.state[State.PULL_UP] = pull_up
        self.state[State.LINES] = inputs

    def reset(self) -> None:
        """RESET IN low for :data:`RESET_T_STATES`: what the manual defines is defined.

        PC 0000, interrupts disabled, all three masks set, RST 7.5 and TRAP latches
        cleared, SOD low (User's Manual, October 1979, section 2; value from memory).
        """
        state = self.state
        for cell in (
            State.PC,
            State.ROW,
            State.HALTED,
            State.IE,
            State.SHADOW,
            State.LATCH75,
            State.TRAP_LATCH,
            State.TRAP_TAKEN,
            State.WANT_BOUNDARY,
        ):
            state[cell] = 0
        state[State.ANSWER] = -1
        state[State.MASKS] = 7
        outputs = state[State.LINES] & (Line.SOD | Line.HLDA)
        state[State.LINES] ^= outputs
        state[State.MOVED] |= outputs
        shown = state[State.LINES] | Line.RESET_OUT | Line.READY | Line.FLOATING
        self.note(state[State.T], 0, state[State.PULL_UP], Cycle.RESET, shown)
        state[State.PREVIOUS] = shown & (Line.FLOATING - 1)
        state[State.LAST_START] = state[State.T]
        state[State.T] += RESET_T_STATES

    def drive(self, line: Line, level: int, t: int) -> bool:
        """Put an input line at ``level`` as of T-state ``t``.

        Returns:
            whether the level changed.

        Raises:
            ValueError: if ``line`` is not an input.
        """
        bit = int(line)  # arithmetic on members of a flag is slow
        if bit & _NOT_INPUTS:
            raise ValueError(f"{line!r} is not an input of the CPU")
        state = self.state
        lines = state[LINES]
        if bool(lines & bit) == bool(level):
            return False
        state[LINES] = lines ^ bit
        state[MOVED] |= bit
        if bit == RST75 and level:
            state[LATCH75] = 1
        elif bit == TRAP:
            # Edge and level: the request goes when the line falls unacknowledged.
            state[TRAP_LATCH] = 1 if level else 0
        elif bit == HOLD and level:
            state[HOLD_SINCE] = t
        return True

    def settle(self) -> None:
        """Make what Python sees (the trace) agree with what the loop has done."""
        self.trace.position = self.state[State.POSITION]
        self.trace.total = self.state[State.TOTAL]

    def note(self, t: int, address: int, data: int, kind: Cycle, lines: int) -> None:
        """Put a record on the trace that the loop has not written."""
        self.settle()
        self.trace.append(t, address, data, kind, lines, interrupt_bits(self.state))
        self.state[State.POSITION] = self.trace.position
        self.state[State.MOVED] |= 1 << (MOVED_TYPES + kind)
        self.state[State.TOTAL] = self.trace.total

    def _bound(self) -> Callable[[], int]:
        return self._loop.bound(
            self._cells,
            *self._fixed,
            self._stop_table,
            self._data_watch,
            *self._rest,
        )


def _line_stops(table: NDArray[np.int64]) -> int:
    """What ``State.LINE_STOPS`` says of a table."""
    rows = table[table[:, StopField.LINES_ONLY] != 0]
    if not len(rows):
        return 0
    masks = rows[:, [StopField.LINE_MASK, StopField.EDGE_MASK]]
    looked_at = int(np.bitwise_or.reduce(masks, axis=None))
    changing = Line.IO_M | Line.S1 | Line.S0 | Line.READY
    return 1 | (EVERY_CYCLE if looked_at & changing else 0)
