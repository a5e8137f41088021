"""T-states by routine, port and state, over a batch of records.

An instruction is looked at when it has ended, which the next opcode fetch, acknowledge
or reset tells: only then is it known whether a conditional call was taken, and where it
led.  The level of the stack is told by the addresses of stack cycles; between them it is
reckoned (INX SP, LXI SP) or not known (SPHL), and found again at the next of them.
"""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type, assignment"

from __future__ import annotations

import numba

from emu85.cpu.kernel import Array, part
from emu85.profile.counting import layout as c
from emu85.profile.counting.frames import (
    begin_anew,
    begin_one,
    finish_loose,
    jump_from_loose,
    loosen,
    return_from,
    tighten,
    unwind,
)
from emu85.profile.counting.ways import Way

PUSH, POP, CALL, RETURN = (int(Way[n]) for n in ("PUSH", "POP", "CALL", "RETURN"))
EXCHANGE, LOAD_SP, COPY_SP = (int(Way[n]) for n in ("EXCHANGE", "LOAD_SP", "COPY_SP"))
RAISE_SP, LOWER_SP, TO_HL = (int(Way[n]) for n in ("RAISE_SP", "LOWER_SP", "TO_HL"))
_PAIR = 2
"""Machine cycles that move a word."""


@part
def _input_of(vector: int) -> int:
    """The input that a bus idle acknowledge leading to a restart address was of."""
    if vector == c.TRAP_AT:
        return c.TRAP
    if vector == c.RST75_AT:
        return c.RST75
    return c.RST65 if vector == c.RST65_AT else c.RST55


@part
def _called(s: Array, frames: Array, rows: Array, kind: int, place: int, start: int) -> None:
    """The PC was pushed, and ``place`` comes next."""
    level = s[c.LAST_WRITE_AT]
    s[c.SP] = level
    loosen(s, frames, level)
    back = s[c.WRITTEN_HIGH] << 8 | s[c.WRITTEN_LOW]
    begin_one(s, frames, rows, kind * c.SPACE + place, level, back, start)


@part
def _move_sp(s: Array, frames: Array, way: int) -> None:
    """The stack moved, and control did not."""
    if way == PUSH:
        s[c.SP] = s[c.LAST_WRITE_AT]
    elif way == POP:
        s[c.SP] = (s[c.LAST_READ_AT] + 1) & 0xFFFF
    elif way == EXCHANGE:
        s[c.SP] = s[c.LAST_WRITE_AT]
    elif way == COPY_SP:
        s[c.SP] = -1
    elif s[c.SP] >= 0:
        s[c.SP] = (s[c.SP] + (1 if way == RAISE_SP else -1)) & 0xFFFF
    if s[c.SP] >= 0:
        loosen(s, frames, s[c.SP])
        if way == PUSH:
            tighten(s, frames, s[c.SP])


@part
def _ended(
    s: Array, frames: Array, rows: Array, owners: Array, ways: Array, place: int, t: int
) -> None:
    """An instruction or acknowledge has ended at ``t``; ``place`` comes next."""
    begun = s[c.BEGUN]
    if begun == c.NOTHING or begun == c.RESETTING:
        return
    if begun == c.RESTART_INPUT:
        if s[c.WRITES] == _PAIR:
            _called(s, frames, rows, _input_of(place), place, s[c.BEGUN_T])
        return
    way = ways[s[c.OPCODE] & 0xFF]
    if way == CALL:
        if s[c.WRITES] == _PAIR and begun == c.JAMMED:
            _called(s, frames, rows, c.INTR, place, s[c.BEGUN_T])
        elif s[c.WRITES] == _PAIR:
            _called(s, frames, rows, c.CALLED, place, t)
        return
    if way == RETURN:
        if s[c.READS] == _PAIR:
            s[c.SP] = (s[c.LAST_READ_AT] + 1) & 0xFFFF
            return_from(s, frames, rows, s[c.FIRST_READ_AT], t)
        return
    if way == LOAD_SP:
        s[c.SP] = s[c.HIGH] << 8 | s[c.LOW]
        unwind(s, frames, rows, s[c.SP], t)
    elif way != 0 and way != TO_HL:
        _move_sp(s, frames, way)
    top = s[c.TOP]
    if top > 0 and frames[top & 0xFFFF, c.LOOSE] != 0:
        if way == TO_HL:
            finish_loose(s, frames, rows, t)
        elif place < s[c.PLACE] or place > s[c.PLACE] + 3:
            jump_from_loose(s, frames, rows, owners, place, t)


@part
def _begin(s: Array, kind: int, place: int, opcode: int, t: int) -> None:
    s[c.BEGUN] = kind
    s[c.BEGUN_T] = t
    s[c.PLACE] = place
    s[c.OPCODE] = opcode
    s[c.READS] = 0
    s[c.WRITES] = 0
    s[c.ACKNOWLEDGED] = 0


@part
def _read(s: Array, address: int, data: int) -> None:
    if s[c.READS] == 0:
        s[c.FIRST_READ_AT] = address
    s[c.READS] += 1
    s[c.LAST_READ_AT] = address
    s[c.LOW] = s[c.HIGH]
    s[c.HIGH] = data


@part
def _write(s: Array, address: int, data: int) -> None:
    s[c.WRITES] += 1
    s[c.LAST_WRITE_AT] = address
    s[c.WRITTEN_HIGH] = s[c.WRITTEN_LOW]
    s[c.WRITTEN_LOW] = data


@part
def _spend(s: Array, frames: Array, rows: Array, port_t: Array, t: int) -> None:
    """The machine cycle before has ended at ``t``."""
    kind = s[c.LAST_TYPE]
    spent = t - s[c.LAST_T]
    if kind == c.IOR or kind == c.IOW:
        port_t[s[c.LAST_PORT] & 0xFF] += spent
    elif kind == c.HALT or kind == c.HOLD:
        s[c.HALT_T if kind == c.HALT else c.HOLD_T] += spent
        rows[c.IDLE, frames[s[c.TOP] & 0xFFFF, c.KEY] & c.ROWS - 1] += spent
    elif kind == c.RESET:
        s[c.RESET_T] += spent


def follow(
    cells: Array,
    s: Array,
    frames: Array,
    rows: Array,
    owners: Array,
    port_t: Array,
    waits_at: Array,
    ways: Array,
    lengths: Array,
) -> int:
    """Follow a batch, right after the last one unless ``IS_CUT`` is set.

    Args:
        cells: int64, two a record as in the ring of the trace.
        s: int64, ``CELLS``: state between batches.
        frames: int64, (``DEEPEST``, ``FRAME_FIELDS``).
        rows: int64, (``COLUMNS``, ``ROWS``): the outcome by routine, in T-states.
        owners: int64, 65 536: row + 1 of the routine that first fetched there.
        port_t: int64, 256: T-states in I/O cycles.
        waits_at: int64, 65 536 + 256: wait states by address, then by port.
        ways, lengths: int64, 256, by opcode.
    """
    for i in range(0, cells.shape[0], 2):
        t = cells[i]
        record = cells[i + 1]
        address = record & 0xFFFF
        data = (record >> c.DATA_AT) & 0xFF
        kind = (record >> c.TYPE_AT) & c.TYPE_MASK
        lines = record >> c.LINES_AT
        if lines & c.GIVEN_AWAY != 0 and kind <= c.BI:
            s[c.MASTER_CYCLES] += 1
            continue
        if s[c.IS_CUT] != 0:
            begin_anew(s, frames, rows, c.UNKNOWN, s[c.LAST_T])
            s[c.BEGUN] = c.NOTHING
        else:
            _spend(s, frames, rows, port_t, t)
        s[c.IS_CUT] = 0
        s[c.RECORDS] += 1
        s[c.LAST_T] = t
        s[c.LAST_TYPE] = kind
        waits = (record >> c.WAITS_AT) & 0xFF
        if waits != 0:
            s[c.WAIT_T] += waits
            is_io = kind == c.IOR or kind == c.IOW
            waits_at[c.SPACE + (address & 0xFF) if is_io else address] += waits

        if kind == c.OF:
            _ended(s, frames, rows, owners, ways, address, t)
            _begin(s, c.INSTRUCTION, address, data, t)
            if owners[address] == 0:
                owners[address] = frames[s[c.TOP] & 0xFFFF, c.KEY] + 1
        elif kind == c.MR:
            _read(s, address, data)
        elif kind == c.MW:
            _write(s, address, data)
        elif kind == c.IOR or kind == c.IOW:
            s[c.LAST_PORT] = address & 0xFF
        elif kind == c.INA:
            length = lengths[s[c.OPCODE] & 0xFF]
            if s[c.BEGUN] == c.JAMMED and s[c.ACKNOWLEDGED] < length:
                _read(s, address, data)
            else:
                _ended(s, frames, rows, owners, ways, address, t)
                _begin(s, c.JAMMED, address, data, t)
            s[c.ACKNOWLEDGED] += 1
        elif kind == c.BI and lines & c.ACKNOWLEDGES == c.ACKNOWLEDGES:
            _ended(s, frames, rows, owners, ways, address, t)
            _begin(s, c.RESTART_INPUT, address, 0, t)
        elif kind == c.RESET:
            begin_anew(s, frames, rows, c.STARTED, t)
            _begin(s, c.RESETTING, 0, 0, t)
    return 0


_VECTOR_OF = numba.int64[::1]
_TABLE_OF = numba.int64[:, ::1]
SIGNATURE = numba.int64(
    _VECTOR_OF,
    _VECTOR_OF,
    _TABLE_OF,
    _TABLE_OF,
    *(_VECTOR_OF,) * 5,
)
"""Types of the arguments."""
