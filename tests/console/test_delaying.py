"""Console words about delays and how long code takes."""

from pathlib import Path

import pytest

from emu85.errors import UserError
from tests.console.bench import Bench

PROGRAM = """
        ORG     0
        LXI     SP,8800H
BACK:   CALL    DELAY
        JMP     BACK
DELAY:  MVI     B,10
AGAIN:  DCR     B
        JNZ     AGAIN
        RET
"""


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    return Bench("slate", PROGRAM, tmp_path)


def test_a_delay_on_the_board(slate: Bench) -> None:
    """1 ms of 2 MHz are 2000 T-states; CALL and RET take 28 of them."""
    shown = slate.do("delay 1 ms")
    assert "measured  2000 T-states, as promised\n" in shown
    assert "CALL 18 + RET 10 + " in shown
    assert "RET" not in slate.do("delay 1 ms inline")
    assert "wanted    200 T-states" in slate.do("delay 200 T")


def test_a_time_between_two_t_states_has_its_error(tmp_path: Path) -> None:
    """5.12345 MHz: 3 ms are 3e-3 * 2561725 = 7685.175 T-states; 0.175 T are 68.3 ns."""
    (tmp_path / "odd.yaml").write_text(
        "name: odd\ncrystal: 5.12345 MHz\nstack: 8700-87FF\nmemory:\n"
        "  - {chip: 2716, name: rom, at: 0000-07FF}\n  - {chip: 6116, name: ram, at: 8000-87FF}\n"
    )
    shown = Bench(str(tmp_path / "odd.yaml"), PROGRAM, tmp_path).do("delay 3 ms")
    assert "wanted    7685.175 T-states, 3 ms\n" in shown
    assert "-0.175 T-states: 68.3133 ns too short" in shown


def test_a_stack_of_several_wait_states_is_no_matter_inline(tmp_path: Path) -> None:
    (tmp_path / "two.yaml").write_text(
        "name: two\ncrystal: 4 MHz\nmemory:\n"
        "  - {chip: 2716, name: rom, at: 0000-07FF, waits: 1}\n"
        "  - {chip: 6116, name: fast, at: 8000-87FF}\n"
        "  - {chip: 6116, name: slow, at: 9000-97FF, waits: 2}\n"
    )
    bench = Bench(str(tmp_path / "two.yaml"), PROGRAM, tmp_path)
    assert "measured  200 T-states, as promised\n" in bench.do("delay 100 us inline")
    with pytest.raises(UserError, match=r"the stack has 0 to 2 wait states.*'stack:' in the board"):
        bench.do("delay 100 us")


def test_the_machine_stays_as_it_is(slate: Bench) -> None:
    before = slate.do("regs"), slate.do("bus 5"), slate.do("mem 0 20")
    slate.do("delay 1 ms")
    slate.do("duration DELAY")
    assert (slate.do("regs"), slate.do("bus 5"), slate.do("mem 0 20")) == before


def test_the_least_and_the_most_of_a_routine(slate: Bench) -> None:
    """7 + 10(4 + 10) - 3 + 10; with a patched count of 2, 7 + 2(4 + 10) - 3 + 10."""
    assert "  least        154 T-states  77 us\n" in slate.do("duration DELAY")
    slate.do("put mem 000A 02")
    assert "  most          42 T-states  21 us\n" in slate.do("duration DELAY")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("delay 1 us", "1 us, 2 T-states, is out of reach; expected 28 to "),
        ("delay 1.3 us", "1.3 us, 2.600 T-states, is out of reach; expected 28 to "),
        ("delay 1 ms routin", "did you mean 'routine'"),
        ("duration DELY", "did you mean 'DELAY'"),
        ("duration 9000", "no code of the image is at 9000"),
    ],
)
def test_mistakes(slate: Bench, line: str, message: str) -> None:
    with pytest.raises(UserError) as caught:
        slate.do(line)
    assert message in str(caught.value)
