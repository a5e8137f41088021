"""However much the trace remembers, going back comes to the same moments.

What a short trace has forgotten is made anew, with devices that hold the board, resets, and
snapshots that fall into halts on the way.
"""

from __future__ import annotations

import random

import numpy as np
import pytest

from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.firmware import assemble
from emu85.history.history import History
from emu85.machine import Machine
from tests.board.chips.test_sentry import BOARD, HEAD, slot
from tests.history.test_stops_then import counting, run_to

SHORT, LONG = 200, 1_000_000

HELD = f"""{HEAD}
{slot(0, "0=10 2=22 3=22 4=FF 5=FF D=01")}
        MVI     B,0
ROUND:  OUT     22H             ; held here by the card, round by round
        MVI     C,20
WAIT:   DCR     C
        JNZ     WAIT
        INR     B
        MOV     A,B
        STA     8000H
        CPI     5
        JNZ     ROUND
        STA     8001H           ; once
        JMP     ROUND
"""


def guarded(trace: int, apart: float) -> tuple[Machine, History]:
    machine = Machine.from_text(BOARD, trace=trace)
    machine.load(assemble(HELD, "held.asm").image)
    history = History(machine, apart=apart)
    for _ in range(30):
        machine.run(t_states=100_000)
    return machine, history


@pytest.mark.parametrize("apart", [0.0, 1e9])
def test_a_card_that_holds_the_board_is_no_hit_of_the_past(apart: float) -> None:
    found = []
    for trace in (SHORT, LONG):
        machine, history = guarded(trace, apart)
        assert machine.trace.forgotten == (0 if trace == LONG else machine.trace.total - trace)
        change = history.last_change(0x8001).by
        assert isinstance(change, np.void)
        stop = machine.stops.add("on MW at 8000 after 3")
        assert history.back_to_stop([stop])
        counted = machine.trace[-1]
        found.append((int(change["t"]), int(counted["t"])))
        assert [int(one["address"]) for one in (change, counted)] == [0x8001, 0x8000]
    assert found[0] == found[1]


def test_numbers_of_stops_do_not_depend_on_the_way() -> None:
    """The firmware arms its stop once more in each way from before it did."""
    machine, history = guarded(SHORT, 0.0)
    assert [stop.number for stop in machine.stops] == [501]
    for t in (5, 900_000, 20, NEVER, 3, NEVER):
        history.go_to(t)
        if t != 3:
            machine.run(t_states=2_000)
    assert [(stop.number, stop.owner) for stop in machine.stops] == [(501, "firmware")]
    assert machine.stops.add("on MW").number == 1


def lighthouse(trace: int) -> tuple[Machine, History]:
    """A board that halts most of the time, with a snapshot each few milliseconds."""
    machine = Machine.from_board("breakwater", trace=trace)
    machine.load(machine.board.firmware or "")
    history = History(machine, apart=0.0, most=30)
    rng = random.Random(8)
    for _ in range(60):
        machine.run(t_states=rng.randrange(1, 20_000), wait=True)
    return machine, history


def test_instructions_and_cycles_are_counted_alike_over_halts() -> None:
    short, history = lighthouse(SHORT)
    long, everything = lighthouse(LONG)
    rng = random.Random(85)
    for _ in range(60):
        move = rng.choice(("back_cycles", "back_instructions"))
        count = int(2 ** rng.uniform(0, 13))
        for past in (history, everything):
            past.go_to(NEVER)
            assert getattr(past, move)(count)
        assert short.t == long.t, (move, count)


@pytest.mark.parametrize("trace", [100, LONG])
def test_resets_are_found_in_counts_and_by_their_line(trace: int) -> None:
    machine, history = counting(trace)
    resets = []
    for _ in range(3):
        run_to(machine, machine.t + 2000)
        resets.append(machine.t)
        machine.reset()
    run_to(machine, machine.t + 2000)
    for text, expected in (
        ("on RESET", resets[2]),
        ("on RESET after 1", resets[1]),
        ("on RESET after 2", resets[0]),
        ("when RESET OUT rises", resets[2]),
    ):
        stop = machine.stops.add(text)
        history.go_to(NEVER)
        assert history.back_to_stop([stop]), text
        assert int(machine.trace[-1]["t"]) == expected, text
        machine.stops.drop(stop.number)


def test_where_a_stop_begins_anew_it_has_counted_nothing() -> None:
    """Also where a snapshot is due at the very end of the way there."""
    machine, history = counting(apart=1e9)
    run_to(machine, 60_000)
    stop = machine.stops.add("on OF")
    rng = random.Random(3)
    for _ in range(80):
        history.go_to(NEVER)
        history._apart = 0.0
        history.go_to(rng.randrange(30_000, 50_000))
        history._apart = 1e9
        for _ in range(20):
            machine.step()
        history.back_cycles(1)
        begin = history.beginnings[stop].t
        records = machine.trace.all()
        fetches = records[(records["type"] == Cycle.OF) & (records["t"] >= begin)]
        assert stop.hits == len(fetches)


def test_a_line_that_falls_while_a_device_answers_is_seen_to_fall() -> None:
    """INTR of the horn's gate falls with the acknowledge."""
    machine = Machine.from_board("breakwater")
    machine.load(machine.board.firmware or "")
    stop = machine.stops.add("when INTR falls")
    while machine.t < 100_000:
        machine.run(t_states=100_000 - machine.t, wait=True)
    high = (machine.trace.all()["lines"] & int(Line.INTR)) != 0
    assert stop.hits == np.count_nonzero(high[:-1] & ~high[1:]) > 20
