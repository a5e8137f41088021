"""The set of stops of one machine."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu85.cpu.layout import IO_BASE, SPACE, STOP_FIELDS, WATCH_SHIFT, MapBit
from emu85.cpu.layout import StopField as F
from emu85.errors import UserError
from emu85.stops import StopSet
from tests.stops.spec import Bus
from tests.stops.stand_in import StandIn

# Bit numbers of the cycle types, as ``bus.cycles`` documents them.
OF, MR, MW, IOR, IOW = (1 << (WATCH_SHIFT + n) for n in range(5))


def watched(*texts: str) -> np.ndarray:
    stops = StopSet()
    for text in texts:
        stops.add(text)
    words = np.zeros(SPACE, dtype=np.int64)
    stops.apply(words)
    return words


def where(words: np.ndarray, bit: int) -> list[int]:
    return np.flatnonzero(words & bit).tolist()


def test_watch_bits_stand_where_a_stop_looks_and_nowhere_else() -> None:
    words = watched("on MW at 8000-8003 data 1B", "on OF outside 0002-FFFD", "IOR at 2x lo 21")
    assert where(words, MW) == [0x8000, 0x8001, 0x8002, 0x8003]
    assert where(words, OF) == [0, 1, 0xFFFE, 0xFFFF]
    assert where(words, IOR) == [IO_BASE + 0x21]
    assert not (words & ~(MW | OF | IOR)).any()


def test_memory_types_watch_memory_and_port_types_ports() -> None:
    words = watched("on MR,IOR at 2121", "on IOW at 20-22", "MR at x0xx outside 0000-EFFF lo xF")
    assert where(words, MR) == [0x2121, *range(0xF00F, 0xF100, 16)]
    assert where(words, IOR) == [IO_BASE + 0x21]
    assert where(words, IOW) == [IO_BASE + p for p in (0x20, 0x21, 0x22)]


def test_every_type_of_state_watches_memory() -> None:
    words = watched("on INA,BI,HALT,HOLD,RESET at 0100")
    assert np.flatnonzero(words).tolist() == [0x0100]
    assert int(words[0x0100]) >> WATCH_SHIFT == 0b11_1110_0000


def test_later_steps_are_watched_too_and_line_steps_never() -> None:
    assert where(watched("on OF at 0100 then MW at 8004"), MW) == [0x8004]
    assert not watched("when SOD high", "on finding").any()


@given(st.integers(0, (1 << 28) - 1), st.integers(0, 0xFF))
def test_only_the_bits_of_stops_change(low_bits: int, high_bits: int) -> None:
    board_bits = low_bits | high_bits << 40
    words = np.full(SPACE, board_bits, dtype=np.int64)
    stops = StopSet()
    stop = stops.add("on OF at 0100")
    stops.apply(words)
    assert int(words[0x0100]) == board_bits | OF
    stops.drop(stop.number)
    stops.apply(words)
    assert (words == board_bits).all()


def test_the_highest_map_bits_survive() -> None:
    words = np.full(SPACE, int(MapBit.CONTENTION) | 5, dtype=np.int64)
    StopSet().apply(words)
    assert (words == int(MapBit.CONTENTION) | 5).all()


def test_data_watch_joins_all_stops_type_by_type() -> None:
    stops = StopSet()
    stops.add("on MW data 3x")
    stops.add("on MR,IOR data 10-11")
    stops.add("on IOR at 20")
    accepted = {n: np.flatnonzero(stops.data_watch >> n & 1).tolist() for n in range(10)}
    assert accepted[2] == list(range(0x30, 0x40))
    assert accepted[1] == [0x10, 0x11]
    assert accepted[3] == list(range(256))
    assert not any(accepted[n] for n in (0, 4, 5, 6, 7, 8, 9))


def test_an_empty_set_has_empty_tables() -> None:
    stops = StopSet()
    assert stops.table.shape == (0, STOP_FIELDS)
    assert stops.table.dtype == np.int64
    assert stops.data_watch.shape == (256,)
    assert not stops.data_watch.any()


def test_rows_of_a_sequence_are_linked() -> None:
    stops = StopSet()
    stops.add("on OF at 0100")
    stops.add("on MW at 8000 then when SOD high then IOW at 21 after 2")
    rows = stops.table
    assert rows[:, F.NEXT].tolist() == [-1, 2, 3, -1]
    assert rows[:, F.FIRST].tolist() == [0, 1, 1, 1]
    assert rows[:, F.ACTIVE].tolist() == [1, 1, 0, 0]
    assert rows[:, F.LINES_ONLY].tolist() == [0, 0, 1, 0]
    assert rows[:, F.PASSES].tolist() == [0, 0, 0, 2]
    assert rows[:, F.LAST_T].tolist() == [-1, -1, -1, -1]


def test_resting_stops_are_not_in_the_table_and_keep_their_hits() -> None:
    stops = StopSet()
    stop = stops.add("on MW at 8000")
    core = StandIn(stops)
    core.run([Bus("MW", 0x8000, 0, 0)] * 3)
    assert (stop.hits, stop.last_t) == (3, 2)
    stops.rest(1)
    assert len(stops.table) == 0
    core.run([Bus("MW", 0x8000, 0, 0)] * 3, first_t=3)
    assert (stop.armed, stop.hits, stop.last_t) == (False, 3, 2)
    assert stops.hit_at(2) == []
    stops.wake(1)
    core.run([Bus("MW", 0x8000, 0, 0)] * 2, first_t=6)
    assert (stop.armed, stop.hits, stop.last_t) == (True, 5, 7)


def test_waking_begins_a_sequence_anew_but_waking_the_awake_does_not() -> None:
    stops = StopSet()
    stop = stops.add("on MW at 8000 then OF at 0100")
    core = StandIn(stops)
    core.run([Bus("MW", 0x8000, 0, 0)])
    assert stop.step == 1
    stops.wake(1)
    assert stop.step == 1
    stops.rest(1)
    stops.wake(1)
    assert stop.step == 0


def test_hit_at_names_every_stop_that_hit_in_that_cycle() -> None:
    stops = StopSet()
    both = [stops.add("on MW at 8000"), stops.add("on any data 1B")]
    stops.add("on MR")
    StandIn(stops).run([Bus("MR", 0x8000, 0, 0), Bus("MW", 0x8000, 0x1B, 0)])
    assert stops.hit_at(1) == both
    assert [s.number for s in stops.hit_at(0)] == [3]
    assert stops.hit_at(5) == []


def test_begin_again() -> None:
    stops = StopSet()
    stop = stops.add("on MW after 1 then MR")
    core = StandIn(stops)
    core.run([Bus("MW", 0, 0, 0)] * 2 + [Bus("MR", 0, 0, 0)] + [Bus("MW", 0, 0, 0)])
    assert stop.hits == 1
    stops.begin_again()
    assert (stop.hits, stop.last_t, stop.step) == (0, None, 0)
    core.run([Bus("MW", 0, 0, 0), Bus("MR", 0, 0, 0)])
    assert stop.hits == 0


def test_numbers_are_never_given_twice() -> None:
    stops = StopSet()
    for _ in range(3):
        stops.add("on MW")
    stops.drop(3)
    stops.drop(1)
    assert stops.add("on MR").number == 4
    assert [s.number for s in stops] == [2, 4]


def test_clear_all_or_those_of_one_owner() -> None:
    stops = StopSet()
    stops.add("on MW")
    stops.add("on MR", owner="firmware")
    stops.clear("firmware")
    assert [(s.number, s.owner) for s in stops] == [(1, "user")]
    stops.clear()
    assert len(stops) == 0
    assert len(stops.table) == 0


def test_changes_are_announced_until_applied() -> None:
    stops = StopSet()
    words = np.zeros(SPACE, dtype=np.int64)
    for change in (
        lambda: stops.add("on MW"),
        lambda: stops.rest(1),
        lambda: stops.wake(1),
        lambda: stops.drop(1),
        lambda: stops.clear(),
    ):
        stops.apply(words)
        assert not stops.changed
        change()
        assert stops.changed


def test_a_bad_wording_leaves_the_set_as_it_was() -> None:
    stops = StopSet()
    stops.add("on MW")
    table = stops.table
    with pytest.raises(UserError):
        stops.add("on MW at nowhere")
    assert stops.table is table
    assert stops.add("on MR").number == 2


@pytest.mark.parametrize("act", ["drop", "rest", "wake"])
def test_a_stop_that_is_not_there(act: str) -> None:
    stops = StopSet()
    stops.add("on MW")
    with pytest.raises(UserError, match="there is no stop 7; expected one of 1"):
        getattr(stops, act)(7)


def test_an_unlisted_stop_hits_but_is_nowhere_counted() -> None:
    stops = StopSet()
    stops.add("on MW")
    own = stops.add_unlisted("on IOW at 21")
    assert len(stops) == 1
    assert [stop.number for stop in stops] == [1]
    assert [entry["number"] for entry in stops.to_data()["stops"]] == [1]
    words = np.zeros(SPACE, dtype=np.int64)
    stops.apply(words)
    assert where(words, IOW) == [IO_BASE + 0x21]
    stops.table[-1, F.LAST_T] = 70  # as the core would tell a hit
    assert stops.hit_at(70) == [own]
    stops.clear()
    assert own.last_t == 70, "it stays until it is taken away"
    assert stops.add("on MR").number == 2
    stops.drop_unlisted(own)
    assert stops.hit_at(70) == []
    stops.apply(words)
    assert where(words, IOW) == []


def test_symbols_are_kept_as_written() -> None:
    stops = StopSet()
    stop = stops.add("on  OF at start", {"START": 0x0150})
    assert stop.written == "on OF at start"
    assert stop.text == "on OF at 0150"


def test_saving_keeps_everything_and_is_plain() -> None:
    stops = StopSet()
    stops.add("on MW at 8000 after 1 then OF at Start after 3", {"START": 0x100})
    stops.add("on IOW", owner="firmware")
    stops.add("when SOD high")
    stops.rest(501)
    stops.drop(2)
    StandIn(stops).run([Bus("MW", 0x8000, 0, 0)] * 2 + [Bus("OF", 0x100, 0, 0)])
    data = json.loads(json.dumps(stops.to_data()))
    again = StopSet.from_data(data)
    assert again.to_data() == stops.to_data()
    assert (again.table == stops.table).all()
    assert again.add("on MR").number == 3
    assert again.add("on MR", owner="firmware").number == 502
    assert again.changed


GOOD = {
    "number": 1,
    "text": "on MW",
    "written": "on MW",
    "armed": True,
    "owner": "user",
    "hits": 0,
    "last_t": None,
    "step": 0,
    "seen": [0],
}


@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        {},
        {"next": 1, "stops": 5},
        {"next": "x", "stops": []},
        {"next": 1, "stops": [{}]},
        {"next": 2, "stops": [GOOD, GOOD]},
        {"next": 2, "stops": [GOOD | {"step": 4}]},
        {"next": 2, "stops": [GOOD | {"seen": [1, 2, 3]}]},
        {"next": 2, "stops": [GOOD | {"seen": "many"}]},
        {"next": 2, "stops": [GOOD | {"hits": 1 << 70}]},
        {"next": 2, "stops": [GOOD | {"text": "on nothing"}]},
    ],
)
def test_saved_stops_that_cannot_be_read(data: Any) -> None:
    with pytest.raises(UserError):
        StopSet.from_data(data)
