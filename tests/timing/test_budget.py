"""The memory-access budget against sums made by hand, and what must hold of any such sum.

Hand sums use the formulas of the 8085AH/8085AH-2 data sheet's table of limits that depend on TCYC
(value from memory), typed here again, and the times of a 2716 of the 450 ns class: tACC 450,
tCE 450, tOE 120, tDF 100 ns (Intel 2716 data sheet, value from memory).
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board import load_board, read_board, schema
from emu85.board.description import BoardDescription
from emu85.errors import UserError
from emu85.timing.ac_table import PARTS
from emu85.timing.budget import Budget, Place, Sum, budget, supposing

EPROM = "{access: 450 ns, enable: 450 ns, output: 120 ns, float: 100 ns}"
MHZ = Fraction(10**6)


def board(memory: str, *, head: str = "", crystal: str = "6.144 MHz") -> BoardDescription:
    text = f"name: hand\ncrystal: {crystal}\n{head}memory:\n  - {memory}\n"
    return read_board(text, "hand.yaml")


def eprom(waits: int = 0) -> BoardDescription:
    memory = f"{{chip: 2716, name: program, at: 0000, waits: {waits}, times: {EPROM}}}"
    return board(memory, head="delays: {latch: 30 ns, decoder: 22 ns}\n")


def slacks(place: Place) -> dict[str, float]:
    return {one.path.name: float(one.slack) for one in place.sums}


def path(found: Budget, place: str, name: str) -> Sum:
    return next(one for one in found.place(place).sums if one.path.name == name)


def test_a_450_ns_eprom_at_6_144_mhz_needs_no_wait_state() -> None:
    """T = 325.52: tAD 588.80, tRD 308.28, tRAE 152.76."""
    found = budget(eprom())
    assert slacks(found.place("program")) == pytest.approx(
        {
            "address to data": 588.80 - 30 - 450,
            "select to data": 588.80 - 22 - 450,
            "RD to data": 308.28 - 120,
            "bus free after RD": 152.76 - 100,
        },
        abs=0.01,
    )
    assert found.place("program").waits_needed == 0
    assert found.suffices


def test_the_same_eprom_at_10_mhz_needs_one_and_floats_too_late() -> None:
    """8085AH-2, T = 200: tAD 350 + 200 a wait, tRD 150, tRAE 90."""
    found = budget(eprom(), PARTS["8085AH-2"], 10 * MHZ)
    assert slacks(found.place("program")) == {
        "address to data": -130,
        "select to data": -122,
        "RD to data": 30,
        "bus free after RD": -10,
    }
    assert path(found, "program", "address to data").waits_needed == 1
    assert path(found, "program", "bus free after RD").waits_needed is None
    assert found.place("program").waits_needed is None
    assert not found.suffices
    waiting = budget(eprom(waits=1), PARTS["8085AH-2"], 10 * MHZ)
    assert path(waiting, "program", "address to data").slack == 70


def test_the_fastest_crystal_by_hand() -> None:
    """8085AH-2: 5/2 T - 150 = 480 gives T = 252; with a wait 7/2 T gives 180, and then
    T/2 - 10 = 100 is what limits: 220."""
    part = PARTS["8085AH-2"]
    assert budget(eprom(), part).fastest_crystal == Fraction(2 * 10**9, 252)
    assert budget(eprom(waits=1), part).fastest_crystal == Fraction(2 * 10**9, 220)


def test_no_faster_than_the_part_and_no_slower() -> None:
    fast = supposing(eprom(), {"program": Fraction(1, 10**9)})
    assert budget(fast).fastest_crystal == 6_250_000
    slow = supposing(eprom(), {"program": Fraction(90_000, 10**9)})
    assert budget(slow).fastest_crystal is None
    assert not budget(eprom(), crystal=12 * MHZ).within_part
    assert budget(eprom(), PARTS["8085AH-1"], 12 * MHZ).within_part


FULL = """\
name: full
crystal: 5 MHz
delays:
  {latch: 1 ns, address-buffer: 2 ns, data-buffer: 4 ns, data-buffer-off: 8 ns,
   control-buffer: 16 ns, decoder: 32 ns, latch-setup: 64 ns, latch-hold: 65 ns, ready: 66 ns}
memory:
  - chip: 6116
    name: ram
    at: 8000
    times:
      {access: 301 ns, enable: 302 ns, output: 103 ns, float: 70 ns, read-pulse: 104 ns,
       address-setup: 105 ns, address-to-end: 206 ns, enable-to-end: 207 ns, write-pulse: 108 ns,
       data-setup: 109 ns, data-hold: 10 ns, address-hold: 11 ns}
ports:
  - device: lamps
    name: out
    at: 40
    waits: 2
    times: {address-setup: 50 ns, write-pulse: 500 ns, address-hold: 40 ns}
  - device: 8155
    name: pair
    at: 10
    memory-at: 6000
    times: {access: 400 ns, output: 170 ns, float: 100 ns, data-hold: 7 ns}
"""


def test_every_path_by_hand() -> None:
    """8085AH, T = 400."""
    found = budget(read_board(FULL, "full.yaml"))
    assert slacks(found.place("ram")) == {
        "address to data": (1000 - 225) - (1 + 2 + 301 + 4),
        "select to data": (1000 - 225) - (2 + 32 + 302 + 4),
        "RD to data": (600 - 180) - (16 + 103 + 4),
        "width of RD": (600 - 80) - 104,
        "bus free after RD": (200 - 10) - (16 + 8),  # the buffers float, not the chip
        "address before WR": (400 - 80) - (1 + 2 + 105),
        "address to WR's end": (400 - 80) + (600 - 80) - (1 + 2 + 206),
        "select to WR's end": (400 - 50) + (600 - 80) - (2 + 32 + 207),
        "width of WR": (600 - 80) - 108,
        "data to WR's end": (600 - 60) - (4 + 109),
        "data after WR": (200 - 60) - (16 + 10),
        "address after WR": (200 - 110) - (16 + 11),
    }
    assert slacks(found.place("out")) == {
        "address before WR": (400 - 80) - (1 + 2 + 50),
        "select before RD, WR": (400 - 50) - (2 + 32 + 50),
        "width of WR": (600 + 800 - 80) - 500,
        "address after WR": (200 - 110) - (16 + 40),
    }
    assert {one.path.name: float(one.slack) for one in found.board_sums} == {
        "latch set-up": (200 - 70) - 64,
        "latch hold": (200 - 60) - 65,
        "READY in time": (600 - 260) - (2 + 32 + 66),
    }


def test_a_chip_with_a_latch_of_its_own_stands_before_latch_and_buffers() -> None:
    found = budget(read_board(FULL, "full.yaml"))
    expected = {
        "address to data": 775 - 400,
        "RD to data": 420 - 170,
        "bus free after RD": 190 - 100,
        "data after WR": 140 - 7,
    }
    assert slacks(found.place("pair")) == slacks(found.place("pair RAM")) == expected


def test_ready_counts_only_where_something_waits() -> None:
    head = "delays: {ready: 60 ns}\n"
    memory = "{{chip: 2716, at: 0, waits: {}, times: {{access: 450 ns}}}}"
    assert budget(board(memory.format(0), head=head)).board_sums == ()
    (ready,) = budget(board(memory.format(1), head=head)).board_sums
    assert float(ready.slack) == pytest.approx(1.5 * 325.5208 - 260 - 60, abs=0.001)


def test_what_is_not_stated_is_named() -> None:
    found = budget(board("{chip: 2716, at: 0, times: {access: 450 ns}}"))
    assert found.unstated == ("latch", "address-buffer", "data-buffer")
    bare = budget(board("{chip: 2716, at: 0}"))
    assert (bare.places, bare.untimed, bare.suffices) == ((), ("2716",), True)
    head = "delays: {data-buffer: 18 ns}\n"
    off = budget(board("{chip: 2716, at: 0, times: {float: 100 ns}}", head=head))
    assert off.unstated == ("control-buffer", "data-buffer-off")
    assert path(off, "2716", "bus free after RD").time == 100


def test_the_rom_in_a_device_is_not_written() -> None:
    text = (
        "name: a\ncrystal: 4 MHz\nmemory:\n  - {rom: 2K, at: 0}\nports:\n"
        "  - {device: 8755, name: x, at: 10, memory-at: 4000,"
        " times: {write-pulse: 9 ns, access: 9 ns}}\n"
    )
    found = budget(read_board(text, "a.yaml"))
    assert set(slacks(found.place("x ROM"))) == {"address to data"}
    assert set(slacks(found.place("x"))) == {"address to data", "width of WR"}


def test_supposing_needs_a_chip_that_is_there() -> None:
    with pytest.raises(UserError, match="did you mean 'program'") as told:
        supposing(eprom(), {"progam": Fraction(1, 10**7)})
    assert "program" in told.value.expected
    with pytest.raises(UserError, match="no chip or device 'clock'"):
        supposing(load_board("gantry"), waits={"clock": 1})
    changed = supposing(load_board("gantry"), waits={"PPI": 3, "monitor": 2})
    found = budget(changed)
    assert (found.place("ppi").waits, found.place("monitor").waits) == (3, 2)


@pytest.mark.parametrize("name", ["slate", "saltmarsh", "gantry"])
def test_demo_boards_have_time_enough_as_they_are(name: str) -> None:
    found = budget(load_board(name))
    assert found.places
    assert found.suffices


def test_the_wait_state_of_saltmarsh_is_needed() -> None:
    """RD to data: 1.5 T - 180 = 308.3 is less than 400; width of WR: 408.3 less than 450."""
    without = budget(supposing(load_board("saltmarsh"), waits={"float": 0}))
    short = {one.path.name for one in without.place("float").sums if one.slack < 0}
    assert short == {"RD to data", "width of WR"}
    assert without.place("float").waits_needed == 1


TIMES = st.integers(0, 3000)
PERIODS = st.fractions(150, 2100, max_denominator=1000)


@st.composite
def sums(draw: st.DrawFn) -> tuple[Sum, ...]:
    """The sums of a RAM with any times, at any clock."""
    times = ", ".join(f"{key.name}: {draw(TIMES)} ns" for key in schema.TIMES)
    delay = f"delays: {{latch: {draw(TIMES)} ns, control-buffer: {draw(TIMES)} ns}}\n"
    one = board(f"{{ram: 2K, name: m, at: 0, times: {{{times}}}}}", head=delay)
    part = PARTS[draw(st.sampled_from(sorted(PARTS)))]
    return budget(one, part, 2 * 10**9 / draw(PERIODS)).places[0].sums


@settings(max_examples=60, deadline=None)
@given(sums(), PERIODS, st.integers(0, 9))
def test_slack_is_a_straight_line_in_t(made: tuple[Sum, ...], other: Fraction, waits: int) -> None:
    for one in (each.with_waits(waits) for each in made):
        there, between = one.at(other), one.at((one.t + other) / 2)
        assert one.slack + there.slack == 2 * between.slack
        assert (one.slack < there.slack) == (one.t < other)


@settings(max_examples=60, deadline=None)
@given(sums(), st.integers(0, 9))
def test_a_wait_state_adds_a_period_or_nothing(made: tuple[Sum, ...], waits: int) -> None:
    for one in made:
        added = one.with_waits(waits + 1).slack - one.with_waits(waits).slack
        assert added == (one.t if one.waits_help else 0)


@settings(max_examples=60, deadline=None)
@given(sums())
def test_the_wait_states_told_are_the_fewest_that_suffice(made: tuple[Sum, ...]) -> None:
    for one in made:
        needed = one.waits_needed
        if needed is None:
            assert one.with_waits(255).slack < 0
            continue
        assert one.with_waits(needed).slack >= 0
        assert not needed or one.with_waits(needed - 1).slack < 0


@settings(max_examples=60, deadline=None)
@given(sums(), st.integers(0, 3))
def test_nothing_is_left_at_the_shortest_period(made: tuple[Sum, ...], waits: int) -> None:
    for one in (each.with_waits(waits) for each in made):
        assert one.at(one.shortest_t).slack == 0
