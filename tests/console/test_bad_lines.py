"""Lines that cannot be taken: one message, and nothing lost."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from emu85.console.grammar import parse
from emu85.console.suggest import explain, suggestions
from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.programs import COUNTER

BAD = [
    "stp",
    "step twice",
    "step 99999999999999999999",
    "run fro 2 ms",
    "run for 2 fortnights",
    "run until NOWHERE",
    "pace 0.1",
    "pace 4 by XX",
    "stop",
    "stop on ZZ",
    "stop on MW at",
    "stop on MW at 80FF-8000",
    "stop when SOD sideways",
    "stops drop 9",
    "stops lose 1",
    "put",
    "put A",
    "put A 100",
    "put IX 1234",
    "put mem FFFF 1 2",
    "put port 99 12",
    "mem 10000",
    "code xyzzy",
    "find",
    "find MW att 8004",
    "load",
    "load missing.hex",
    "load program.asm at",
    "save dump.hex",
    "save dump.hex 8-",
    "speed warp",
    "type hello",
    "press",
    "help nothing",
    "talk to me",
    '"',
]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    made = Bench("slate", COUNTER, tmp_path_factory.mktemp("bench"))
    made.do("stop on MW at 8004", "step 7")
    return made


def state(bench: Bench) -> tuple[object, ...]:
    machine = bench.machine
    return (
        machine.t,
        machine.registers.pc,
        machine.registers.a,
        [(stop.number, stop.text, stop.armed, stop.hits) for stop in machine.stops],
        dict(machine.symbols),
        bytes(machine.memory[0x8000 + i] for i in range(32)),
    )


@pytest.mark.parametrize("line", BAD)
def test_one_message_and_nothing_lost(bench: Bench, line: str) -> None:
    before = state(bench)
    begin = len(bench.out.getvalue())
    assert not bench.session.attempt(line)
    told = bench.out.getvalue()[begin:]
    assert "Traceback" not in told
    assert "made a mistake" not in told
    assert 1 <= len(told.splitlines()) <= 3
    assert state(bench) == before


_SOME = """
step run for until stop on when at data after then MW OF,MR SOD high 8000-80FF 1B pace 4 by
stops drop 1 put A mem port HL regs bus find load save x.json type press set help speed # ' "
+ - , \\x tick NUL € 0x12 99999999999
"""


def test_a_caret_stands_under_the_mistake(bench: Bench) -> None:
    begin = len(bench.out.getvalue())
    bench.session.attempt("stop on MW at 12 daat 3")
    told = bench.out.getvalue()[begin:].splitlines()
    assert told[0].startswith("'daat' is not part of a stop; expected")
    assert told[1:] == ["    stop on MW at 12 daat 3", "    " + " " * 17 + "^"]


@pytest.mark.parametrize(
    ("board", "line", "mark"),
    [
        ("saltmarsh", "set key 1", "1"),
        ("saltmarsh", "set station 100", "100"),
        ("saltmarsh", "set station flip  99", "99"),
        ("saltmarsh", r"type ab\q", r"\q"),
        ("saltmarsh", r"type '\q'", r"\q"),
        ("saltmarsh", r"type to serial a\q", r"\q"),
        ("saltmarsh", r"enter \x4", r"\x4"),
        ("saltmarsh", "type a €", "€"),
        ("saltmarsh", "put mem 4000 12", "4000"),
        ("slate", "put mem FFFF 1 2", "FFFF"),
        ("slate", "put port 99 12", "99"),
        ("slate", "mem 0 99999999", "99999999"),
        ("slate", "save x.txt", "x.txt"),
        ("slate", "save x.json 8000", "8000"),
    ],
)
def test_a_caret_stands_under_a_value_that_proves_wrong(
    tmp_path: Path, board: str, line: str, mark: str
) -> None:
    bench = Bench(board, COUNTER, tmp_path)
    assert not bench.session.attempt(line)
    told = bench.out.getvalue().splitlines()[-2:]
    assert told == [f"    {line}", "    " + " " * line.rindex(mark) + "^"]


def test_names_that_are_not_listed_are_hinted_at(bench: Bench) -> None:
    begin = len(bench.out.getvalue())
    bench.session.attempt("help zork")
    told = bench.out.getvalue()[begin:].splitlines()[0]
    assert told.endswith(", …")
    assert told.count(",") == 12


WORDS = st.sampled_from([*_SOME.split(), "", "\0", "\x1b"])
LINES = st.one_of(st.text(max_size=60), st.lists(WORDS, max_size=8).map(" ".join))


@given(LINES)
@example("stop on")
@example("put mem 8000 ")
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_line_is_taken_or_refused(bench: Bench, line: str) -> None:
    refused = None
    try:
        parse(line, bench.session.forms, bench.session.context)
    except UserError as error:
        refused = error
    assert refused is None or refused.place.column > 0


@given(LINES)
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_line_can_be_completed(bench: Bench, line: str) -> None:
    context = bench.session.context
    explain(line, bench.session.forms, context)
    for one in suggestions(line, bench.session.forms, context):
        assert 0 <= one.replaces <= len(line)


def test_our_own_mistakes_do_not_end_the_session(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr(bench.machine, "step", lambda count=1: 1 / 0)
    begin = len(bench.out.getvalue())
    assert not bench.session.attempt("step")
    told = bench.out.getvalue()[begin:]
    assert told.count("\n") == 1
    assert "Traceback" not in told
    assert "ZeroDivisionError" in (tmp_path / "emu85" / "mistake.txt").read_text()
