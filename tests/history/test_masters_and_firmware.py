"""Cycles of a bus master, stops of the firmware, and the very beginning, gone back to."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from emu85.bus.lines import Line
from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.firmware import assemble
from emu85.history.history import History
from emu85.history.seeking import Seeker
from emu85.history.wanted import of_last_steps
from emu85.machine import Machine
from emu85.stops import parse
from tests.history.test_short_and_long_traces import guarded

FLY_BY = """
name: fly-by
crystal: 4 MHz
memory:
  - {chip: 2716, name: rom, at: 0000-07FF}
  - {chip: 6116, name: ram, at: 8000-87FF}
ports:
  - {device: 8257, name: dma, at: 40-4F, port 0: 21}
  - {device: switches, name: sw, at: 21, value: A5}
wired:
  - {device: tick, name: req, rate: 40 kHz, pulse: 6 us}
lines:
  HOLD: dma.hrq
  dma.hlda: HLDA
  dma.drq0: req.out
"""
TAKING = """
        ORG     0
        LXI     SP,8700H
        XRA     A
        OUT     40H             ; from 8000
        MVI     A,80H
        OUT     40H
        MVI     A,0FFH          ; 256 bytes, to memory
        OUT     41H
        MVI     A,40H
        OUT     41H
        MVI     A,81H           ; channel 0, loaded again by itself
        OUT     48H
LOOP:   JMP     LOOP
"""


def test_machine_cycles_are_counted_over_those_of_a_bus_master() -> None:
    ends = []
    for trace in (100, 200, 1_000_000):
        machine = Machine.from_text(FLY_BY, trace=trace)
        machine.load(assemble(TAKING, "taking.asm").image)
        history = History(machine, apart=1e9)
        machine.run(t_states=100_000)
        given_away = machine.trace.all()["lines"] & int(Line.HLDA) != 0
        assert given_away.any()
        found = []
        for count in (500, 7000, 3000, 1):
            assert history.back_cycles(count)
            found.append(machine.t)
        ends.append(found)
    assert ends[0] == ends[1] == ends[2]


@pytest.mark.parametrize("trace", [100, 1_000_000])
def test_a_session_of_the_very_beginning_comes_back(tmp_path: Path, trace: int) -> None:
    machine = Machine.from_board("slate", trace=trace)
    machine.load(machine.board.firmware or "")
    out = io.StringIO()
    session = Session(machine, PlainScreen(out))
    fresh = machine.trace.all().tolist()
    session.execute("run for 5 ms")
    session.execute("back 1000000")
    assert machine.t == 3 and machine.trace.all().tolist() == fresh
    session.execute(f"save {tmp_path}/s.json")
    session.execute("run for 1 ms")
    session.execute(f"load {tmp_path}/s.json")
    assert session.machine.t == 3


@pytest.mark.parametrize("action", ["drop", "rest"])
def test_what_is_done_to_a_stop_of_the_firmware_is_done_again(action: str) -> None:
    machine, history = guarded(1000, 0.0)
    held = machine.t
    getattr(machine, f"{action}_stop")(501)
    machine.run(t_states=50_000)
    state, end = machine.registers.state.tolist(), machine.t
    assert end >= held + 50_000  # nothing holds it now
    stops = [(stop.number, stop.armed) for stop in machine.stops]
    history.go_to(held - 5000)
    assert [(stop.number, stop.armed) for stop in machine.stops] == [(501, True)]
    history.go_to(end)
    assert [(stop.number, stop.armed) for stop in machine.stops] == stops
    assert machine.registers.state.tolist()[:20] == state[:20]


def test_a_level_that_a_line_never_had_is_not_searched_for() -> None:
    machine = Machine.from_board("slate", trace=100)
    machine.load(machine.board.firmware or "")
    history = History(machine, apart=0.0)
    for _ in range(20):
        machine.run(t_states=10_000)
    seeker = Seeker(history)
    for text, is_searched in (("on OF with TRAP high", False), ("on OF with TRAP low", True)):
        wanted = of_last_steps([parse(text)])
        found = list(seeker.stretches(machine.t, wanted=wanted))
        assert len(found) == (len(history.snapshots) - 1 if is_searched else 0)
