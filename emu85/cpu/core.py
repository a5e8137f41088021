"""The compiled loop: one iteration is one machine cycle.

The 8085 is a sequencer of machine cycles, and so is this loop.  Each iteration
finds the row of the cycle to come, puts its address on the bus, moves its byte,
writes one trace record, and does what the row says is done at the cycle's end.
Everything between two cycles is in the state vector, so the machine can rest
after any cycle, in the middle of an instruction, and go on as if it had not.

What was considered: generating a function with a branch for each opcode is
about twice as fast as reading rows from a table, but then what an opcode does
would stand in a second place.  The table keeps one source of truth, and the
loop is still some hundreds of times faster than the chip.

Four rules keep the loop fast and its behaviour independent of how often it is
left and entered:

* All rare circumstances (a device, a floating bus, ROM under a write, a stop's
  interest) are bits of the map word of the address, so the common cycle tests
  them all at once.
* What a cycle type has not touched, or no write altered, yet since somebody asked is such
  a bit too; the first cycle clears it, so that knowing this costs nothing more.
* The loop leaves for a device's answer *before* the cycle has changed anything;
  on re-entry the same cycle begins again with the answer at hand, and its record
  shows the lines as they stood before the device touched them.
* An input line changed at T-state ``d`` is seen by the cycle that starts at
  ``d + 1`` or later.  That is the sampling rule of the interrupt inputs (one
  T-state before the end of the instruction: User's Manual, October 1979,
  section 2.3, value from memory), so the caller sets ``LIMIT`` to the T-state
  of the next event and the loop runs while ``T <= LIMIT``.

All arithmetic is int64; mixing widths would turn into floats.
"""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type, assignment"

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from emu85.cpu import constants as c
from emu85.cpu.addresses import address_of, step_back
from emu85.cpu.interrupts import (
    attention_wanted,
    between_cycles,
    control,
    hold_sampled,
    usual_bits,
)
from emu85.cpu.kernel import Array, part
from emu85.cpu.layout import (
    EVERY_CYCLE,
    INDEX_MASK,
    IO_BASE,
    MOVED_DATA,
    MOVED_TYPES,
    UNALTERED,
    UNTOUCHED_CYCLES,
    UNTOUCHED_SHIFT,
    UNWRITTEN,
    WAIT_MASK,
    WAIT_SHIFT,
    WATCH_SHIFT,
)
from emu85.cpu.notes import read_findings, write_findings
from emu85.cpu.operations import operate
from emu85.cpu.ring import levels_before, start_before
from emu85.cpu.rows import (
    CONDITION_AT,
    DATA_SHIFT,
    DIRECTION_MASK,
    DIRECTION_SHIFT,
    FETCH,
    FETCH_AT,
    FOLLOWING_SHIFT,
    HALTED,
    HELD,
    HOLD,
    JAM_AT,
    LINES_SHIFT,
    NIBBLE,
    OPERAND_SHIFT,
    OPERATION_MASK,
    OPERATION_SHIFT,
    READ,
    RECORD_AT,
    REGISTER_SHIFT,
    ROWS_AT,
    SKIP_SHIFT,
    SLOW_AT,
    T_SHIFT,
    TAKE_INTR,
    TEST,
    TYPE_SHIFT,
    WAITS_SHIFT,
    WRITE,
)
from emu85.cpu.watch import stopped


@part
def ask(s: Array, index: int, kind: int, t: int) -> None:
    """Leave word of the cycle that a device has to hear of."""
    s[c.EXIT_INDEX] = index
    s[c.EXIT_TYPE] = kind
    s[c.EXIT_T] = t


@part
def answered(s: Array, noted: Array, index: int, kind: int, t: int, usual: int) -> int:
    """The byte that a device has answered; -1 if it has yet to be asked."""
    data = s[c.ANSWER]
    if kind == c.INA:
        s[c.MOVED] |= 1 << (MOVED_TYPES + c.INA)
    if data < 0:
        s[c.ASKED_LINES] = usual
        ask(s, index, kind, t)
    else:
        noted[(data & 0xFF) | MOVED_DATA] = 1
    s[c.ANSWER] = -1
    return data


@part
def take_over(
    s: Array,
    memory_map: Array,
    ring: Array,
    place: int,
    stops: Array,
    data_watch: Array,
    findings: Array,
    noted: Array,
    previous: int,
) -> int:
    """Record a cycle by another bus master and try the stops on it; returns exit bits."""
    t = s[c.MASTER_T]
    record = s[c.MASTER]
    s[c.MASTER] = 0
    kind = (record >> TYPE_SHIFT) & NIBBLE
    index = record & 0xFFFF
    if kind == c.IOR or kind == c.IOW:
        index = IO_BASE + (index & 0xFF)
    m = memory_map[index]
    if kind == c.MR or kind == c.IOR:
        notes = read_findings(findings, s, m, m & c.NO_READER, np.int64(0), index, t)
    else:
        notes = write_findings(findings, s, m & c.LOST_BITS, index, t)
    noted[(record >> DATA_SHIFT) & 0xFF | (MOVED_DATA if kind != c.MW else 0)] = 1
    record |= notes << LINES_SHIFT
    ring[place & c.PLACE_MASK] = t
    ring[(place + 1) & c.PLACE_MASK] = record
    slow = m & (1 << (WATCH_SHIFT + kind))
    touched = (1 << (UNTOUCHED_SHIFT + kind)) & UNTOUCHED_CYCLES
    if kind == c.MW:  # the byte that was there is over already
        touched |= UNALTERED
    memory_map[index] = m & ~touched
    return c.X_STOP if stopped(stops, s, data_watch, slow, record, previous, t) else 0


def run(
    s: Array,
    memory_map: Array,
    store: NDArray[np.uint16],
    ring: Array,
    stops: Array,
    data_watch: Array,
    findings: Array,
    table: Array,
    noted: Array,
) -> int:
    """Run machine cycles until there is a reason to return.

    Args:
        s: state vector, int64 (``layout.State``).
        memory_map: int64, ``layout.SPACE`` map words.
        store: uint16, the bytes of all chips.
        ring: int64, 2n cells: start T-state and packed record of each cycle.
        stops: int64, shape (n, ``STOP_FIELDS``).
        data_watch: int64, 256 masks of cycle types that some stop looks at.
        findings: int64, shape (kinds * SPACE, 4).
        table: int64, from :func:`emu85.cpu.rows.pack`.
        noted: int64, ``DATA_NOTED`` cells.

    Returns:
        ``layout.Exit`` bits.
    """
    t = s[c.T]
    limit = s[c.LIMIT]
    budget = s[c.BUDGET]
    row = s[c.ROW]
    pc = s[c.PC]
    place = s[c.POSITION]
    size = ring.shape[0]
    started = budget
    usual = usual_bits(s)
    attention = attention_wanted(s)
    # Steps that look at lines only have nothing to see until a line changes; unless
    # they look at status lines or READY, which may change in every cycle.
    look = s[c.LINE_STOPS]
    out = 0

    while out == 0:
        if t > limit:
            out = c.X_LIMIT
            break
        if budget <= 0:
            out = c.X_BUDGET
            break

        # ---- which row comes next
        k = row
        # A cycle whose answer has come is begun already: nothing is put before it.
        if attention != 0 and s[c.ANSWER] < 0:
            sampled = hold_sampled(s, ring, place, budget != started)
            k = between_cycles(s, row, pc, sampled)
            if k == -c.X_IDLE and s[c.MASTER] != 0:
                previous = s[c.PREVIOUS]
                if budget != started:
                    previous = levels_before(ring, place, size)
                out = take_over(
                    s, memory_map, ring, place, stops, data_watch, findings, noted, previous
                )
                place = place + 2 if place + 2 != size else 0
                budget -= 1
            if k < 0:
                out |= -k
                if k == -c.X_HLDA and s[c.HALTED] != 0:
                    row = HALTED
                break
            if k != row and k != HELD:
                row = k
                usual = usual_bits(s)
                attention = attention_wanted(s)

        if k == FETCH:
            # ---- an opcode fetch
            address = pc
            index = pc
            m = memory_map[pc & 0xFFFF]
            v = np.int64(store[m & INDEX_MASK])
            data = v & 0xFF
            slow = m & c.FETCH_SLOW
            record = usual | c.OF_RECORD
            rare = slow | (v & UNWRITTEN)
            if rare != 0:
                if slow & c.HOLD_BEFORE != 0 and s[c.SKIP] == 0:
                    out = c.X_BOUNDARY
                    break
                if slow & c.READ_EXIT != 0:
                    data = answered(s, noted, index, c.OF, t, usual)
                    if data < 0:
                        out = c.X_READ
                        break
                    record = (record & ~usual) | s[c.ASKED_LINES]
                s[c.SKIP] = 0
                s[c.INSTRUCTION] = address
                record |= read_findings(findings, s, m, slow, v, index, t) << LINES_SHIFT
            s[c.INSTRUCTION] = address
            w = table[FETCH_AT + data]
            pc = (pc + 1) & 0xFFFF
            if attention != 0 and s[c.SHADOW] != 0:
                s[c.SHADOW] = 0
                attention = attention_wanted(s)
        else:
            # ---- any other cycle
            k &= c.ROW_MASK
            w = table[ROWS_AT + k]
            record = usual | table[RECORD_AT + k]
            at = w & NIBBLE
            direction = (w >> DIRECTION_SHIFT) & DIRECTION_MASK
            if at == c.AT_PC:
                address = pc
                index = pc
                m = memory_map[pc & 0xFFFF]
                slow = m & table[SLOW_AT + k]
            else:
                address = address_of(s, at, pc) & 0xFFFF
                index = address
                if at == c.AT_PORT:
                    index = IO_BASE + (address & 0xFF)
                m = memory_map[index]
                if at == c.AT_PC_HELD:
                    # No chip is selected: only a stop can be interested.
                    m &= c.WATCH_ALL
                    if direction == READ:
                        m |= c.READ_EXIT
                slow = m & table[SLOW_AT + k]

            if direction == READ:
                v = np.int64(store[m & INDEX_MASK])
                data = v & 0xFF
                rare = slow | (v & UNWRITTEN)
                if rare != 0:
                    if slow & c.READ_EXIT != 0:
                        data = answered(s, noted, index, (record >> TYPE_SHIFT) & NIBBLE, t, usual)
                        if data < 0:
                            step_back(s, at)
                            out = c.X_READ
                            break
                        record = (record & ~usual) | s[c.ASKED_LINES]
                    record |= read_findings(findings, s, m, slow, v, index, t) << LINES_SHIFT
                s[c.R + ((w >> REGISTER_SHIFT) & NIBBLE)] = data
                if at == c.AT_PC:
                    pc = (pc + 1) & 0xFFFF
                elif at == c.AT_PORT:
                    noted[(data & 0xFF) | MOVED_DATA] = 1
                elif k == TAKE_INTR:
                    s[c.INSTRUCTION] = address
                    w = table[JAM_AT + data]
            elif direction == WRITE:
                rare = slow
                r = (w >> REGISTER_SHIFT) & NIBBLE
                if r == c.PCH:
                    data = pc >> 8
                elif r == c.PCL:
                    data = pc & 0xFF
                else:
                    data = s[c.R + r]
                noted[(data & 0xFF) | (MOVED_DATA if at == c.AT_PORT else 0)] = 1
                if slow == 0:
                    store[m & INDEX_MASK] = data
                else:
                    lost = slow & c.LOST_BITS != 0
                    if slow & c.TAKEN_AS_IT_WAS == UNALTERED and (
                        lost or np.int64(store[m & INDEX_MASK]) & 0xFF == data
                    ):
                        slow &= ~UNALTERED
                    if not lost:
                        store[m & INDEX_MASK] = data
                    if slow & c.WRITE_SLOW != 0:
                        record |= write_findings(findings, s, slow, index, t) << LINES_SHIFT
                        if slow & c.WRITE_EXIT != 0:
                            ask(s, index, (record >> TYPE_SHIFT) & NIBBLE, t)
                            s[c.EXIT_DATA] = data
                            out |= c.X_WRITE
            else:
                rare = slow
                data = s[c.PULL_UP]
                s[c.MOVED] |= 1 << (MOVED_TYPES + ((record >> TYPE_SHIFT) & NIBBLE))
                record |= c.FLOATING << LINES_SHIFT
                if k == HELD:
                    s[c.LINES] |= c.HLDA
                    s[c.MOVED] |= c.HLDA
                    usual |= c.HLDA << LINES_SHIFT
                    record |= usual
                    look = s[c.LINE_STOPS]
                    out |= c.X_HLDA

        # ---- its record, wait states, and the stops
        record |= address | data << DATA_SHIFT
        ring[place & c.PLACE_MASK] = t
        if (rare | look) != 0:
            untouched = slow & c.UNTOUCHED
            if untouched != 0:
                memory_map[index] &= ~untouched
            waits = (m >> WAIT_SHIFT) & WAIT_MASK
            if waits != 0:
                record = (record & ~(c.READY << LINES_SHIFT)) | waits << WAITS_SHIFT
            # The first cycle may have been answered by a device; the lines that it has
            # changed then are seen in the next one.
            previous = s[c.PREVIOUS]
            look = s[c.LINE_STOPS]
            if budget != started:
                previous = levels_before(ring, place, size)
                look &= EVERY_CYCLE
            if stopped(stops, s, data_watch, slow, record, previous, t):
                out |= c.X_STOP
            t += waits
        ring[(place + 1) & c.PLACE_MASK] = record
        place += 2
        if place == size:
            place = 0
        budget -= 1
        t += (w >> T_SHIFT) & NIBBLE

        # ---- what is done when it has ended
        following = (w >> FOLLOWING_SHIFT) & c.ROW_MASK
        op = (w >> OPERATION_SHIFT) & OPERATION_MASK
        if op != 0:
            if op == TEST:
                condition = CONDITION_AT + 2 * ((w >> OPERAND_SHIFT) & NIBBLE)
                met = s[c.F] & table[condition] != 0
                if met != (table[condition + 1] != 0):
                    following = FETCH
                    pc = (pc + ((w >> SKIP_SHIFT) & 1)) & 0xFFFF
            elif op < c.EI:
                pc = operate(s, table, op, w, pc) & 0xFFFF
            elif op == HOLD:
                following = row
            else:
                out |= control(s, op)
                usual = usual_bits(s)
                attention = attention_wanted(s)
                look = s[c.LINE_STOPS]
        row = following
        if attention != 0 and row == FETCH and k != HELD and s[c.WANT_BOUNDARY] == 1:
            s[c.WANT_BOUNDARY] = 2

    s[c.T] = t
    s[c.BUDGET] = budget
    s[c.ROW] = row
    s[c.PC] = pc
    s[c.POSITION] = place
    s[c.TOTAL] += started - budget
    if started != budget:
        s[c.PREVIOUS] = levels_before(ring, place, size)
        s[c.LAST_START] = start_before(ring, place, size)
    return out


_VECTOR_OF = numba.int64[::1]
_TABLE_OF = numba.int64[:, ::1]
SIGNATURE = numba.int64(
    _VECTOR_OF,
    _VECTOR_OF,
    numba.uint16[::1],
    _VECTOR_OF,
    _TABLE_OF,
    _VECTOR_OF,
    _TABLE_OF,
    _VECTOR_OF,
    _VECTOR_OF,
)
"""Types of the arguments of the loop."""
