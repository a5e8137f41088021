"""What follows from the pins alone must be what the trace says.

The levels themselves are held against the data sheet's figures in tests/published.
"""

from __future__ import annotations

import numpy as np
import pytest

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.expand import State, expand
from emu85.bus.lines import Line
from emu85.bus.pins import PINS, WIDTHS
from emu85.machine import Machine


@pytest.fixture(scope="module")
def light() -> tuple[Machine, list[State]]:
    """The harbour light: every type of machine cycle, and a hold."""
    machine = Machine.from_board("breakwater")
    firmware = machine.board.firmware
    assert firmware is not None
    machine.load(firmware)
    machine.run(t_states=6000, wait=True)
    machine.board.adjust("hold", "press")
    machine.run(t_states=6000, wait=True)
    assert {Cycle(int(one)) for one in machine.trace.all()["type"]} == set(Cycle)
    return machine, list(expand(machine.trace.all(), machine.t))


def test_every_t_state_is_there_once(light: tuple[Machine, list[State]]) -> None:
    machine, states = light
    first = int(machine.trace.all()["t"][0])
    assert [state.t for state in states] == list(range(first, machine.t))


def test_every_pin_has_a_level(light: tuple[Machine, list[State]]) -> None:
    for state in light[1]:
        for half in (state.first, state.second):
            assert set(half) == set(PINS)
            for name, level in half.items():
                assert not isinstance(level, int) or 0 <= level < 1 << WIDTHS.get(name, 1)


def test_names_count_up_from_t1(light: tuple[Machine, list[State]]) -> None:
    machine, states = light
    records = machine.trace.all()
    for place in range(len(records)):
        names = [state.name for state in states if state.record == place][:9]
        if Cycle(int(records["type"][place])) in STATES:
            assert set(names) == {f"T{Cycle(int(records['type'][place])).name}"}
        else:
            assert names == [f"T{n}" for n in range(1, len(names) + 1)]
        if place > 200:
            break


def test_cycles_are_recovered_from_the_pins(light: tuple[Machine, list[State]]) -> None:
    """The address at ALE's fall, the byte at the rise of a strobe, as an analyser takes them."""
    machine, states = light
    recovered = []
    address = -1
    for state in states:
        if state.first["ALE"] and not state.second["ALE"]:
            high, low = state.first["A8-A15"], state.first["AD0-AD7"]
            assert isinstance(high, int) and isinstance(low, int)
            address = high << 8 | low
        for strobe in ("RD", "WR", "INTA"):
            if state.first[strobe] == 0 and state.second[strobe] == 1:
                recovered.append((strobe, address, state.first["AD0-AD7"]))
    records = machine.trace.all()
    wanted = {
        **dict.fromkeys((Cycle.OF, Cycle.MR, Cycle.IOR), "RD"),
        **dict.fromkeys((Cycle.MW, Cycle.IOW), "WR"),
        Cycle.INA: "INTA",
    }
    assert recovered == [
        (wanted[Cycle(int(one["type"]))], int(one["address"]), int(one["data"]))
        for one in records
        if int(one["type"]) in wanted
    ]


@pytest.mark.parametrize("waits", range(4))
def test_wait_states_follow_t2_and_ready_allows_t3(waits: int) -> None:
    machine = Machine.from_text(
        "name: slow\ncrystal: 4 MHz\nmemory:\n"
        f"  - {{chip: 2716, name: rom, at: 0000-07FF, waits: {waits}}}\n"
    )
    machine.run(t_states=30)
    fetch = machine.trace.all()[1:2]
    end = int(machine.trace.all()["t"][2])
    states = list(expand(fetch, end, after=machine.trace.all()[2]))
    names = [state.name for state in states]
    assert names[: 3 + waits] == ["T1", "T2", *["TW"] * waits, "T3"]
    sampled = [state.first["READY"] for state in states[1 : 2 + waits]]
    assert sampled == [0] * waits + [1]  # in T2 and in each TW; T3 follows the first high one
    assert [state.first["RD"] for state in states[1 : 3 + waits]] == [0] * (2 + waits)


def test_hlda_turns_half_a_t_state_before_the_bus_does(
    light: tuple[Machine, list[State]],
) -> None:
    machine, states = light
    kinds = machine.trace.all()["type"]
    halves = [(state, half) for state in states for half in (state.first, state.second)]
    held = [i for i, (state, _) in enumerate(halves) if kinds[state.record] == Cycle.HOLD]
    granted = [i for i, (_, half) in enumerate(halves) if half["HLDA"]]
    assert granted == [i - 1 for i in held]
    asked = {state.t for state, half in halves if half["HOLD"]}
    assert min(asked) < halves[granted[0]][0].t or kinds[halves[granted[0]][0].record] == Cycle.HALT


def test_levels_of_inputs_are_those_of_the_trace(light: tuple[Machine, list[State]]) -> None:
    machine, states = light
    lines = machine.trace.all()["lines"]
    high = np.array([state.first["SOD"] for state in states], bool)
    assert np.array_equal(high, [bool(lines[state.record] & Line.SOD) for state in states])
    assert not high.any()


@pytest.mark.parametrize(("name", "line"), [("RST 7.5", Line.RST75), ("INTR", Line.INTR)])
def test_requests_are_drawn_to_be_sampled_one_t_state_before(
    light: tuple[Machine, list[State]], name: str, line: Line
) -> None:
    """User's Manual, October 1979, section 2.3 (value from memory): as CLK falls for the last
    T-state of the machine cycle before."""
    machine, states = light
    records = machine.trace.all()
    high = (records["lines"] & int(line)) != 0
    ends = np.append(records["t"][1:], machine.t)
    changed = 0
    for state in states:
        left = int(ends[state.record]) - state.t
        after = min(state.record + 1, len(records) - 1)
        first = after if left == 1 else state.record
        second = after if left <= 2 else state.record
        assert (state.first[name], state.second[name]) == (high[first], high[second])
        changed += state.first[name] != state.second[name]
    assert changed > 1
