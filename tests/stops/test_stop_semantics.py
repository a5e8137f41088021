"""Tables and trace search against the reference evaluator, over random cycles."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.stops import Condition, StopSet, find, match, newest, parse
from tests.stops.spec import CYCLES, LINE_BITS, SPECS, Bus, Spec, cycle_number, hits
from tests.stops.stand_in import StandIn

RECORD = np.dtype(
    [
        ("t", np.int64),
        ("address", np.uint16),
        ("data", np.uint8),
        ("type", np.uint8),
        ("lines", np.uint16),
        ("waits", np.uint8),
        ("interrupts", np.uint8),
    ]
)
"""As the trace promises its records."""


def records_of(cycles: list[Bus]) -> np.ndarray:
    records = np.zeros(len(cycles), dtype=RECORD)
    for number, bus in enumerate(cycles):
        records[number] = (number * 4, bus.address, bus.data, cycle_number(bus), bus.lines, 0, 0)
    return records


def condition_of(spec: Spec, cycles: list[Bus]) -> Condition:
    """What the words come to; a refusal must mean that they can never hold."""
    try:
        return parse(spec.text)
    except UserError as refusal:
        # One stop cannot hold a range with a hole in it; that has a message of its own.
        assume("a hole" not in refusal.message)
        for step in spec.steps:
            try:
                parse(step.text)
            except UserError:
                assert not any(step.holds(now, before) for now in cycles for before in cycles), (
                    step.text
                )
        assume(False)
        raise


@given(SPECS, CYCLES)
def test_the_trace_search_agrees_with_the_words(spec: Spec, cycles: list[Bus]) -> None:
    condition = condition_of(spec, cycles)
    assert match(condition, records_of(cycles)).tolist() == hits(spec, cycles)


@given(SPECS, CYCLES)
def test_one_compiled_stop_agrees_with_the_words(spec: Spec, cycles: list[Bus]) -> None:
    condition = condition_of(spec, cycles)
    stops = StopSet()
    stop = stops.add(condition)
    core = StandIn(stops)
    for t, (bus, expected) in enumerate(zip(cycles, hits(spec, cycles), strict=True)):
        core.one(bus, t)
        assert stops.hit_at(t) == ([stop] if expected else [])
    assert stop.hits == sum(hits(spec, cycles))


@given(st.lists(SPECS, min_size=2, max_size=4), CYCLES, st.data())
def test_many_stops_do_not_disturb_one_another(
    specs: list[Spec], cycles: list[Bus], data: st.DataObject
) -> None:
    """Others are dropped and added on the way; the first and the last run as if alone."""
    conditions = [condition_of(spec, cycles) for spec in specs]
    turn = data.draw(st.integers(0, len(cycles)))
    stops = StopSet()
    first, *others = [stops.add(condition) for condition in conditions[:-1]]
    core = StandIn(stops)
    core.run(cycles[:turn])
    for stop in others:
        stops.drop(stop.number)
    core.run(cycles[turn:], first_t=turn)
    stops.add(conditions[-1])
    expected = hits(specs[0], cycles)
    assert first.hits == sum(expected)
    last = max((t for t, hit in enumerate(expected) if hit), default=None)
    assert first.last_t == last


@given(SPECS, CYCLES, st.data())
def test_a_saved_set_goes_on_where_it_was(
    spec: Spec, cycles: list[Bus], data: st.DataObject
) -> None:
    condition = condition_of(spec, cycles)
    turn = data.draw(st.integers(0, len(cycles)))
    stops = StopSet()
    stops.add(condition)
    core = StandIn(stops)
    core.run(cycles[:turn])
    core.stops = StopSet.from_data(stops.to_data())
    core.run(cycles[turn:], first_t=turn)
    (stop,) = core.stops
    assert stop.hits == sum(hits(spec, cycles))


@given(SPECS)
def test_the_canonical_text_reads_back_as_the_same_condition(spec: Spec) -> None:
    condition = condition_of(spec, [])
    again = parse(condition.text)
    assert again == condition
    assert again.text == condition.text


def at(text: str, *cycles: Bus) -> list[int]:
    """Where the trace search and a compiled stop find ``text``; both must agree."""
    stops = StopSet()
    stop = stops.add(text)
    core = StandIn(stops)
    places = []
    for t, bus in enumerate(cycles):
        core.one(bus, t)
        if stop.last_t == t:
            places.append(t)
    assert find(parse(text), records_of(list(cycles))).tolist() == places
    return places


W, R = Bus("MW", 0x8000, 0x1B, 0), Bus("MR", 0x8000, 0x1B, 0)
SOD_UP, SOD_DOWN = Bus("OF", 0x0100, 0, LINE_BITS["SOD"]), Bus("OF", 0x0100, 0, 0)


def test_after_lets_so_many_go_by_each_time() -> None:
    assert at("MW after 2", W, R, W, W, R, W, W, W) == [3, 7]


def test_a_step_is_looked_for_from_the_next_cycle_on() -> None:
    assert at("MW then MW", W, W, W, W, W) == [1, 3]
    assert at("MW then MR then MW", W, R, W, R, W) == [2]
    assert at("MW then MR after 1", R, W, R, W, R, R, W) == [4]


def test_a_level_alone_counts_when_it_comes_true() -> None:
    assert at("when SOD high", SOD_UP, SOD_UP, SOD_DOWN, SOD_UP, SOD_UP) == [3]
    assert at("OF with SOD high", SOD_UP, SOD_UP, SOD_DOWN, SOD_UP, SOD_UP) == [0, 1, 3, 4]
    assert at("when SOD low after 1", SOD_UP, SOD_DOWN, SOD_UP, SOD_DOWN, SOD_UP) == [3]


def test_no_line_changes_in_the_first_cycle() -> None:
    assert at("when SOD rises", SOD_UP, SOD_DOWN, SOD_UP) == [2]
    assert at("OF with SOD rises", SOD_UP, SOD_DOWN, SOD_UP, SOD_DOWN) == [2]
    assert at("OF with SOD falls", SOD_DOWN, SOD_UP, SOD_UP, SOD_DOWN) == [3]


def test_a_line_may_be_a_later_step() -> None:
    assert at("MW then when SOD high", SOD_DOWN, SOD_UP, SOD_DOWN, W, SOD_UP, SOD_UP) == [4]


def test_find_and_newest_order() -> None:
    cycles = [Bus("MW" if n % 3 == 0 else "MR", 0x8000 + n, n, 0) for n in range(30)]
    records = records_of(cycles)
    condition = parse("on MW at 8005-8013")
    assert find(condition, records).tolist() == [6, 9, 12, 15, 18]
    assert newest(condition, records, 2).tolist() == [18, 15]
    assert newest(condition, records, 9).tolist() == [18, 15, 12, 9, 6]
    assert find(condition, records[:0]).tolist() == []


def test_a_large_trace_gives_the_same_as_a_slow_look_at_it() -> None:
    """Many records take the other way through the search than a few do."""
    rng = np.random.default_rng(85)
    count = 20_000
    records = np.zeros(count, dtype=RECORD)
    records["address"] = rng.integers(0, 0x10000, count)
    records["data"] = rng.integers(0, 256, count)
    records["type"] = rng.integers(0, 3, count)
    records["lines"] = rng.integers(0, 0x100, count)
    rows = list(
        zip(
            records["address"].tolist(),
            records["data"].tolist(),
            records["type"].tolist(),
            records["lines"].tolist(),
            strict=True,
        )
    )
    rare = find(parse("on MW at 4000-47FF data 3x with SID high"), records)
    assert rare.tolist() == [
        n
        for n, (a, d, k, ln) in enumerate(rows)
        if 0x4000 <= a <= 0x47FF and 0x30 <= d <= 0x3F and k == 2 and ln & 0x20
    ]
    common = find(parse("on OF,MR outside 4000-47FF with SID rises"), records)
    assert common.tolist() == [
        n
        for n, (a, d, k, ln) in enumerate(rows)
        if not 0x4000 <= a <= 0x47FF and k < 2 and n and ln & 0x20 and not rows[n - 1][3] & 0x20
    ]
