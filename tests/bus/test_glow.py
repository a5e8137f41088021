"""Shares counted in bulk against the same counted T-state by T-state."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.expand import expand
from emu85.bus.glow import DARK, SHAPED, Glow, glow, together
from emu85.bus.lines import Line
from emu85.bus.pins import HOLD, SAMPLED
from emu85.bus.trace import RECORD
from emu85.machine import Machine
from tests.timing.waves import held, light, slow


def by_hand(records: NDArray[np.void], start: int, end: int) -> Glow:
    """Every half T-state looked at."""
    address, data, total = np.zeros(16), np.zeros(8), 0
    pins = dict.fromkeys((*SHAPED, HOLD, *SAMPLED), 0.0)
    for state in expand(records, end):
        if state.t < start:
            continue
        total += 1
        record = records[state.record]
        if Cycle(int(record["type"])) not in STATES:
            address += [int(record["address"]) >> bit & 1 for bit in range(16)]
            data += [int(record["data"]) >> bit & 1 for bit in range(8)]
        for pin in pins:
            pins[pin] += ((state.first[pin] == 1) + (state.second[pin] == 1)) / 2
    return Glow(
        total, address / total, data / total, {pin: high / total for pin, high in pins.items()}
    )


def same(one: Glow, other: Glow) -> None:
    assert one.t_states == other.t_states
    assert one.address == pytest.approx(other.address)
    assert one.data == pytest.approx(other.data)
    assert one.pins == pytest.approx(other.pins)


@pytest.mark.parametrize("machine", [light(), slow(0), slow(2), slow(40)], ids=str)
def test_shares_are_those_of_a_count_by_hand(machine: Machine) -> None:
    records = machine.trace.all()
    same(glow(records, 0, machine.t), by_hand(records, 0, machine.t))


@pytest.mark.parametrize("first", [1, 40, 90])
def test_a_frame_may_begin_within_a_halt(first: int) -> None:
    machine = light()
    records = machine.trace.all()
    kinds = records["type"].tolist()
    place = kinds.index(Cycle.HALT, first)
    start = int(records["t"][place]) + 7
    end = int(records["t"][place + 20])
    part = records[place : place + 20]
    same(glow(part, start, end), by_hand(part, start, end))


def test_a_frame_within_one_halt() -> None:
    machine = light()
    records = machine.trace.all()
    place = records["type"].tolist().index(Cycle.HALT)
    start = int(records["t"][place]) + 5
    found = glow(records[place : place + 1], start, start + 10)
    assert found.t_states == 10
    assert found.pins["S1"] == found.pins["RD"] == 0  # low, and floating
    assert found.pins["INTA"] == found.pins["READY"] == 1
    assert not found.address.any()


WORLDS: dict[str, Callable[[], Machine]] = {"light": light, "held": held, "slow": lambda: slow(40)}
_made: dict[str, Machine] = {}


@given(st.sampled_from(sorted(WORLDS)), st.integers(0, 1 << 30), st.integers(1, 60))
@settings(max_examples=120, deadline=None, derandomize=True)
def test_any_frame_is_counted_with_the_record_before_it(name: str, first: int, count: int) -> None:
    """As frames are looked at: nobody knows whether that one had ended."""
    machine = _made.setdefault(name, WORLDS[name]())
    records = machine.trace.all()
    ends = [*records["t"].tolist(), machine.t]
    first %= len(records)
    last = min(first + count, len(records))
    frame = records[max(first - 1, 0) : last]
    same(glow(frame, ends[first], ends[last]), by_hand(frame, ends[first], ends[last]))


@given(st.sampled_from(sorted(WORLDS)), st.integers(0, 1 << 30), st.integers(0, 1 << 30))
@settings(max_examples=120, deadline=None, derandomize=True)
def test_a_frame_may_begin_anywhere(name: str, first: int, later: int) -> None:
    machine = _made.setdefault(name, WORLDS[name]())
    records = machine.trace.all()
    first %= len(records) - 1
    start, end = records["t"][first : first + 2].tolist()
    start += later % (end - start) if end > start else 0
    last = min(first + 25, len(records) - 1)
    frame, end = records[first:last], int(records["t"][last])
    same(glow(frame, start, end), by_hand(frame, start, end))


def test_long_holds_and_halts_are_not_looked_at_by_t_states(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    machine = held()
    machine.run(seconds=0.4, wait=True)
    records = machine.trace.last(machine.trace.size)
    monkeypatch.delattr("emu85.bus.glow.expand")
    found = glow(records, int(records["t"][0]), machine.t)
    assert found.t_states > 1_000_000
    # 12 of each 50 us; HOLD is drawn from T2 of the cycle in which it was sampled.
    assert found.pins[HOLD] == pytest.approx(12 / 50, rel=0.1)


def test_nothing_glows_before_anything_happens() -> None:
    assert glow(np.empty(0, light().trace.all().dtype), 0, 0) is DARK


def test_a_loop_glows_by_its_sums() -> None:
    """JMP to itself: 10 T-states; ALE high for half of three T1s, RD low for 1.5 T of each."""
    machine = Machine.from_text(
        "name: loop\ncrystal: 4 MHz\nmemory:\n  - {chip: 2716, name: rom, at: 0000-07FF}\n"
    )
    machine.board.poke_all([(0, 0xC3), (1, 0), (2, 0)])
    machine.run(t_states=1013)
    records = machine.trace.all()[1:100]
    found = glow(records, int(records["t"][0]), int(records["t"][-1]) + 3)
    assert found.t_states == 330
    assert found.pins["ALE"] == pytest.approx(3 * 0.5 / 10)
    assert found.pins["RD"] == pytest.approx(1 - 3 * 1.5 / 10)
    assert found.pins["WR"] == 1
    assert found.pins["S0"] == pytest.approx(4 / 10)  # high in the opcode fetch alone
    assert found.address[0] == found.address[1] == pytest.approx(3 / 10)
    assert found.data[7] == found.data[6] == found.data[0] == pytest.approx(4 / 10)  # C3 in OF


def test_stretches_put_together_are_one() -> None:
    machine = light()
    records = machine.trace.all()
    cuts = [0, 17, 60, len(records)]
    ends = [*records["t"].tolist(), machine.t]
    parts = [glow(records[a:b], ends[a], ends[b]) for a, b in pairwise(cuts)]
    same(together(parts), by_hand(records, 0, machine.t))


@pytest.mark.parametrize("waits", [0, 1, 2, 7])
@pytest.mark.parametrize("length", [1, 2, 4, 30])
def test_a_bus_masters_cycle_may_be_looked_at_before_its_end(waits: int, length: int) -> None:
    given = Line.HOLD | Line.HLDA | (Line.READY if not waits else 0)
    records = np.zeros(2, RECORD)
    records["t"], records["type"] = (100, 110), (Cycle.HOLD, Cycle.MR)
    records["lines"], records["waits"] = (Line.HOLD | Line.HLDA, given), (0, waits)
    records["address"], records["data"] = (0, 0x8123), (0, 0x5A)
    end = 110 + length
    same(glow(records, 100, end), by_hand(records, 100, end))
    assert by_hand(records, 100, end).t_states == 10 + length
