"""The ring of records: what it keeps, what it forgets, and that time has no gaps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.bus.trace import RECORD, Trace
from emu85.stops import find, match, parse
from tests.rig import FIRST_FETCH, rig
from tests.worlds import WORLDS, World

SOME = settings(max_examples=25, deadline=None, derandomize=True, database=None)

# T-states of a machine cycle without waits; an opcode fetch has 4 or 6 (User's
# Manual, October 1979; values from memory).  BI has 3 in DAD and 6 in an acknowledge.
LENGTHS = {
    Cycle.OF: {4, 6},
    Cycle.MR: {3},
    Cycle.MW: {3},
    Cycle.IOR: {3},
    Cycle.IOW: {3},
    Cycle.INA: {3, 4, 6},
    Cycle.BI: {3, 6},
    Cycle.RESET: {3},
}


@pytest.mark.parametrize("size", [1, 2, 7, 100])
@given(count=st.integers(0, 30), last=st.integers(-2, 40))
@settings(SOME)
def test_a_ring_is_the_end_of_a_list(size: int, count: int, last: int) -> None:
    trace = Trace(size)
    rows = [(10 * n, n, n % 256, Cycle.MR, n * 3) for n in range(count)]
    for row in rows:
        trace.append(*row)
    kept = [(t, a, d, int(k), lines, 0, 0) for t, a, d, k, lines in rows[-size:]]
    assert (trace.total, len(trace), trace.forgotten) == (count, len(kept), count - len(kept))
    assert trace.all().tolist() == kept
    wanted = max(0, last)
    assert trace.last(last).tolist() == (kept[-wanted:] if wanted else [])
    pieces = [piece.tolist() for piece in trace.pieces(last, 4)]
    assert [row for piece in pieces for row in piece] == trace.last(last).tolist()
    assert all(1 <= len(piece) <= 4 for piece in pieces)
    for i in range(-len(kept), len(kept)):
        assert trace[i].tolist() == kept[i]
    columns = trace.columns()
    assert len(columns) == len(kept)
    for n, name in enumerate(RECORD.names or ()):
        assert columns[name].tolist() == [row[n] for row in kept]
    backwards = np.arange(len(kept))[::-1]
    assert trace.at(backwards).tolist() == kept[::-1]
    for i in (len(kept), -len(kept) - 1):
        with pytest.raises(IndexError):
            trace[i]
    trace.clear()
    assert (trace.total, len(trace), trace.forgotten) == (0, 0, 0)
    assert trace.all().tolist() == trace.last(5).tolist() == []


@pytest.mark.parametrize("count", [5, 20, 27])
@pytest.mark.parametrize(
    "text", ["on MW at 0000-0007", "when SOD high", "on MR data 01 then MW", "on any after 2"]
)
def test_a_question_is_answered_alike_by_records_and_by_columns(count: int, text: str) -> None:
    trace = Trace(20)
    for n in range(count):
        trace.append(n, n % 11, n % 3, (Cycle.MR, Cycle.MW)[n % 2], int(Line.SOD) * (n % 5 > 2))
    condition = parse(text)
    assert find(condition, trace.columns()).tolist() == find(condition, trace.all()).tolist()


def test_a_ring_has_room_for_something() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        Trace(0)


def test_a_record_is_sixteen_bytes() -> None:
    assert RECORD.itemsize == 16
    assert RECORD.names == ("t", "address", "data", "type", "lines", "waits", "interrupts")


def test_a_copy_stays_as_it_was_taken() -> None:
    machine = rig("ORG 0\nstay: JMP stay", trace=7)
    machine.run(t_states=100)
    taken = machine.trace.last(7)
    before = taken.tolist()
    machine.run(t_states=100)
    assert taken.tolist() == before


@pytest.mark.parametrize("size", [1, 2, 7])
def test_the_core_wraps_where_the_ring_ends(size: int) -> None:
    """JMP to itself: fetch 4, reads 3 and 3, over and over from T-state 3 on."""
    machine = rig("ORG 0\nstay: JMP stay", trace=size)
    for n in range(1, 40):
        machine.step()
        turn, place = divmod(n - 1, 3)
        start = FIRST_FETCH + 10 * turn + (0, 4, 7)[place]
        assert machine.trace[-1]["t"] == start
        assert machine.trace[-1]["address"] == place
        assert machine.trace.total == n + 1, "and the record of RESET"
        assert machine.trace.forgotten == max(0, n + 1 - size)
    machine.run(t_states=1000)
    starts = machine.trace.all()["t"].tolist()
    assert len(starts) == size
    assert starts == sorted(starts)


def test_power_empties_the_trace() -> None:
    machine = rig("ORG 0\nstay: JMP stay", trace=7)
    machine.run(t_states=1000)
    machine.power()
    assert (machine.trace.total, len(machine.trace), machine.trace.forgotten) == (1, 1, 0)
    (record,) = machine.trace.all()
    assert (record["t"], record["type"]) == (0, Cycle.RESET)


@SOME
@given(WORLDS)
def test_records_tile_time(case: World) -> None:
    """Each cycle begins where the one before has ended; HALT and HOLD last as long as they do."""
    machine = case.machine()
    machine.run()
    records = machine.trace.all()
    ends = [*records["t"][1:].tolist(), machine.t]
    assert records["t"][0] == 0
    for record, end in zip(records, ends, strict=True):
        length = end - int(record["t"]) - int(record["waits"])
        kind = Cycle(int(record["type"]))
        if kind in LENGTHS:
            assert length in LENGTHS[kind], record
        else:
            assert length >= 1, record
            assert record["waits"] == 0


@SOME
@given(WORLDS, st.sampled_from([1, 2, 7, 64]))
def test_a_question_to_a_wrapped_ring_is_one_to_its_records(case: World, size: int) -> None:
    full, small = case.machine(), case.machine(trace=size)
    full.run()
    small.run()
    for text in ("on MW", "on OF at 0040-01FF", "on any data 00", "on MR then on OF"):
        condition = parse(text)
        held = small.trace.all()
        found = match(condition, held)
        assert found.tolist() == match(condition, full.trace.last(size)).tolist()
        assert np.flatnonzero(found).tolist() == find(condition, held).tolist()


def test_newest_first_on_a_wrapped_ring() -> None:
    machine = rig("ORG 0\nagain: STA 8000H\n JMP again", trace=20)
    machine.run(t_states=5000)
    # STA 13 and JMP 10: writes at 13 + 23 n.
    starts = machine.trace.all()["t"][find(parse("on MW"), machine.trace.all())].tolist()
    assert len(starts) in (2, 3)
    assert all((t - 13) % 23 == 0 for t in starts)
    assert starts[-1] > machine.t - 23 - 4
