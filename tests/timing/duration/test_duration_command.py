"""``emu85 duration`` at the command line.

``slate.asm`` says in its comments, counted by hand, what its routines take: DELAY 499 913
T-states, CYCLES 83 + 98 + 62, both with their RET and without the CALL.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.cli import main
from emu85.firmware import assemble, atomic_write, write_binary, write_symbols

_POLL = """
        ORG     0
R:      MVI     B,2
POLL:   IN      0
        ANI     1
        JZ      POLL
        DCR     B
        JNZ     POLL
        RET
"""


def told(arguments: str, capsys: pytest.CaptureFixture[str], status: int = 0) -> str:
    assert main(["duration", *arguments.split()]) == status
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    return out


@pytest.fixture
def poll(tmp_path: Path) -> Path:
    file = tmp_path / "poll.asm"
    file.write_text(_POLL)
    return file


def test_the_routines_of_slate_take_what_its_source_says(
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = told("DELAY --board slate", capsys)
    assert "  least     499913 T-states  249.957 ms\n  most      499913 T-states" in out
    assert "  at DPASS (0069): 20829 passes\n    DCX D counts DE from 20829 to 0\n" in out
    assert "The only way\n" in out
    out = told("cycles --board slate --runs 3", capsys)
    assert f"least  {83 + 98 + 62:>9} T-states" in out
    assert "Measured in 3 runs: 243 to 243 T-states, within what is told.\n" in out


def test_a_loop_without_a_most_and_one_that_is_stated(
    poll: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """MVI 7, IN 10, ANI 7, JZ 10 or 7, DCR 4, JNZ 10 or 7, RET 10.

    A pass by way of JZ is 27, one by way of JNZ 38; the last of all is 35.  At most 4 passes of
    the loop, however they go on, are 7 + 3 x 38 + 35 + 10.
    """
    out = told(f"R {poll} --board slate", capsys)
    assert "  most        none\n" in out
    assert "depends on" in out
    assert "--at-most POLL=PASSES" in out
    out = told(f"R {poll} --board slate --at-most POLL=4", capsys)
    assert f"  most   {7 + 3 * 38 + 35 + 10:>9} T-states" in out
    assert "The longest way\n" in out


def test_a_binary_with_its_symbols(
    poll: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    image = assemble(_POLL, "poll.asm").image
    binary, names = tmp_path / "poll.bin", tmp_path / "poll.sym"
    atomic_write(binary, write_binary(image))
    atomic_write(names, write_symbols(image.symbols, image.equated))
    same = told(f"R {poll} --board slate", capsys)
    assert told(f"R {binary} --at 0 --symbols {names} --board slate", capsys) == same
    assert told(f"0 {binary} --at 0 --board slate", capsys).count("POLL") == 0


def test_a_run_that_leaves_the_code_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """LEAF is a conditional return and nothing behind it."""
    out = told("LEAF --board slate --runs 20", capsys, status=1)
    assert "no code of the image is at 009A (at 0099)" in out
    assert "Measured: LEAF ran away to 009A" in out


def test_runs_longer_than_a_limit_of_the_users_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ten passes of 14 T-states, less 3, with MVI and RET; the user says that three are most."""
    file = tmp_path / "ten.asm"
    file.write_text("R: MVI B,10\nON: DCR B\n JNZ ON\n RET\n")
    out = told(f"R {file} --board slate --at-most ON=3 --runs 2", capsys, status=1)
    assert "Measured in 2 runs: 154 to 154 T-states, NOT WITHIN WHAT IS TOLD.\n" in out


def test_long_ways_are_cut_unless_all_is_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "long.asm"
    file.write_text("R:\n" + 49 * " NOP\n" + " RET\n")
    assert "  ... and 10 lines more; --all shows them\n" in told(f"R {file} --board slate", capsys)
    assert told(f"R {file} --board slate --all", capsys).count(" NOP ") == 49


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ("WALC --board slate", "did you mean 'WALK'?"),
        ("WALK --board slat", "did you mean 'slate'?"),
        ("9000 --board slate", "no code of the image is at 9000"),
        ("WALK --board slate --at-most WSTEP", "LOOP=PASSES"),
        ("WALK --board slate --at-most WSTEP=0", "passes, 1 to"),
        ("WALK --board slate --at-most WSTP=3", "did you mean 'WSTEP'?"),
        ("WALK --board slate --at-most WALK=3", "expected one of WSTEP, DPASS"),
        ("WALK --board slate --runs many", "--runs with 1 to"),
    ],
)
def test_mistakes(arguments: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["duration", *arguments.split()]) == 2
    assert message in capsys.readouterr().err
