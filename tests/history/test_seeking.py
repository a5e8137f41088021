"""What is looked for in the past is found, also where the trace has long forgotten it."""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.firmware import assemble
from emu85.history.history import History
from emu85.machine import Machine
from tests.history.looking import back_to, last_write, rests_of
from tests.history.test_random_moments import LISTENER
from tests.rig import rig

BUSY = """
        ORG     0
        LXI     SP,8800H        ; T 3, 10 T-states
        MVI     A,1             ; T 13, 7
        STA     8010H           ; T 20, 13: written from T 30
        STA     8020H           ; T 33, 13: written from T 43
L0:     OUT     40H
        INX     H
        MOV     A,H
        ORA     L
        JMP     L0
"""


def busy(trace: int, apart: float = 0.0, most: int = 80) -> tuple[Machine, History]:
    machine = Machine.from_board("slate", trace=trace)
    machine.load(assemble(BUSY, "busy.asm").image)
    return machine, History(machine, apart=apart, most=most)


def pressed(trace: int, apart: float) -> tuple[Machine, History]:
    """A key pressed seven times, each time for 50 T-states."""
    machine = rig(LISTENER, trace)
    history = History(machine, apart=apart)
    machine.run(t_states=100)
    for _ in range(7):
        machine.board.adjust("key", "press")
        machine.run(t_states=211)
    return machine, history


@pytest.mark.parametrize("apart", [0.0, 1e9])
def test_the_instruction_of_a_write_that_the_trace_has_forgotten(apart: float) -> None:
    machine, history = busy(100, apart)
    for _ in range(10):
        machine.run(t_states=400)
    write = last_write(history, 0x8020)
    assert write is not None and write["t"] == 43
    fetch = history.instruction_before(43)
    assert fetch is not None and (fetch["t"], fetch["address"], fetch["data"]) == (33, 8, 0x32)
    before = history.instruction_before(33)
    assert before is not None and before["t"] == 20


@pytest.mark.parametrize("apart", [0.0, 1e9])
def test_every_rise_of_a_line_is_found_again(apart: float) -> None:
    everything, _ = pressed(10_000, 1e9)
    levels = (everything.trace.all()["lines"] & int(Line.RST65)) != 0
    records = everything.trace.all()
    rises = records["t"][1:][levels[1:] & ~levels[:-1]].tolist()
    assert len(rises) == 7
    for trace in (7, 60, 61, 500):
        machine, history = pressed(trace, apart)
        found = []
        while (record := back_to(history, "when RST 6.5 rises")) is not None:
            found.append(int(record["t"]))
            assert machine.trace[-1] == record
        assert found[::-1] == rises


def acceptances(machine: Machine) -> list[int]:
    """Of RST 6.5: the cycle before the two pushes that come before the fetch at 0034."""
    records = machine.trace.all()
    handlers = [n for n, r in enumerate(records) if r["type"] == Cycle.OF and r["address"] == 0x34]
    assert {int(records[n - 3]["type"]) for n in handlers} == {int(Cycle.BI)}
    return [int(records[n - 3]["t"]) for n in handlers]


def test_the_acceptance_of_a_restart_input_is_gone_back_to() -> None:
    machine, history = pressed(10_000, 1e9)
    accepted = acceptances(machine)
    assert len(accepted) == 14  # each press lasts long enough for two
    for t in accepted:
        history.go_to(t + 1)  # it takes six T-states; two pushes follow
        assert machine.t == t + 6
        machine.step(2)
        push = machine.trace[-1]
        found = history.instruction_before(int(push["t"]))
        assert found is not None and found["t"] == t
        history.back_instructions(1)
        assert machine.t == t and machine.registers.boundary


@pytest.mark.parametrize("trace", [40, 10_000])
def test_instructions_are_counted_alike_on_the_trace_and_before_it(trace: int) -> None:
    everything, _ = pressed(10_000, 1e9)
    fetches = [int(r["t"]) for r in everything.trace.all() if r["type"] == Cycle.OF]
    begun = sorted([*fetches, *acceptances(everything)])
    for count in (1, 5, 40, 101, len(begun)):
        machine, history = pressed(trace, 0.0)
        there = [t for t in begun if t < machine.t][-count]
        assert history.back_instructions(count)
        assert machine.t == there
    machine, history = pressed(trace, 0.0)
    assert not history.back_instructions(len(begun) + 1) and machine.t == 3


@pytest.mark.parametrize("trace", [40, 10_000])
def test_machine_cycles_are_counted_over_resets(trace: int) -> None:
    machine = rig(LISTENER, trace)
    history = History(machine, apart=0.0)
    for _ in range(4):
        machine.run(t_states=60)
        machine.reset()
        machine.run(t_states=40)
    total = machine.trace.total
    for back in (1, 5, 20, 60, 80):
        history.go_to(history.latest_t)
        assert history.back_cycles(back)
        assert machine.trace.total == total - back
    history.go_to(history.latest_t)
    while history.back_cycles(1):  # a reset stops nobody on the way
        assert machine.trace.total < total
        total = machine.trace.total
    assert machine.t == 3


def test_the_beginning_is_told_of() -> None:
    machine, history = busy(1000)
    machine.step(10)
    assert history.back_cycles(10) and machine.t == 3
    assert not history.back_cycles(1) and not history.back_instructions(1)
    machine.step(10)
    assert not history.back_cycles(11) and machine.t == 3


@pytest.mark.parametrize("most", [4, 80])
def test_stretches_that_touched_nothing_wanted_are_not_made_anew(most: int) -> None:
    machine, history = busy(100, most=most)
    for _ in range(30):
        machine.run(t_states=400)
    resting = rests_of(machine)
    assert last_write(history, 0x8030) is None
    assert back_to(history, "on MW at 8030", "on IOR") is None
    assert resting.count == 0
    write = last_write(history, 0x8020)
    assert write is not None and write["t"] == 43
    # There and back: one stretch of the thirty, or what has been joined to it since.
    assert 0 < resting.count < 12 * 80 // most


LOUD = """
        ORG     0
        LXI     SP,8800H        ; T 3, 10 T-states
        MVI     A,0C0H          ; T 13, 7
        SIM                     ; T 20, 4: SOD rises
        LDA     8300H           ; T 24, 13: RAM never written, read from T 34
        MVI     A,40H           ; T 37, 7
        SIM                     ; T 44, 4: SOD falls
        MVI     A,55H           ; T 48, 7
        STA     8020H           ; T 55, 13: 55 written from T 65
L0:     STA     8020H
        INX     H
        MOV     A,H
        ORI     80H
        JMP     L0
"""


@pytest.mark.parametrize("trace", [60, 10_000])
@pytest.mark.parametrize(
    ("text", "starts"),
    [
        ("on finding", [34]),
        ("when SOD falls", [48]),  # the first cycle that begins with it
        ("when SOD rises", [24]),
        ("when SOD high", [24]),
        ("on MW data 55", [68 - 3, 68 + 10]),
        ("on OF when SOD low", None),
        ("when SID high", []),
        ("on MW at 8020 when SOD rises", []),
        ("on INA", []),
    ],
)
def test_what_was_long_ago_is_found_again(trace: int, text: str, starts: list[int] | None) -> None:
    """T-states counted by hand from the manual's instruction times, as in the comments."""
    machine = rig(LOUD, trace)
    history = History(machine, apart=0.0)
    for _ in range(30):
        machine.run(t_states=400)
    stop = machine.stops.add(text)
    found: list[int] = []
    while len(found) < 3 and history.back_to_stop([stop]):
        found.append(int(machine.trace[-1]["t"]))
    if starts is None:
        assert len(found) == 3
        return
    assert found[::-1] == starts


def test_stretches_in_which_no_line_moved_are_not_made_anew() -> None:
    machine = rig(LOUD, 60)
    history = History(machine, apart=0.0)
    for _ in range(30):
        machine.run(t_states=400)
    resting = rests_of(machine)
    assert back_to(history, "when SID rises", "when HOLD high", "when INTR falls") is None
    assert back_to(history, "on HALT", "on INA", "on HOLD") is None
    assert resting.count == 0
    assert back_to(history, "when SOD falls", "on finding") is not None
    assert machine.t == 52
    assert 0 < resting.count < 12


@pytest.mark.parametrize("trace", [30, 10_000])
def test_a_reset_of_long_ago_is_gone_back_to(trace: int) -> None:
    machine = rig(LOUD, trace)
    history = History(machine, apart=0.0)
    machine.run(t_states=400)
    reset = machine.t
    machine.reset()
    for _ in range(10):
        machine.run(t_states=400)
    found = back_to(history, "on RESET")
    assert found is not None and found["t"] == reset and machine.t == reset + 3
