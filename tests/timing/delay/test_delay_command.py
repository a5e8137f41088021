"""``emu85 delay`` at the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.cli import main
from emu85.firmware import assemble


def told(arguments: str, capsys: pytest.CaptureFixture[str], *more: str) -> str:
    assert main(["delay", *arguments.split(), *more]) == 0
    return capsys.readouterr().out


def refused(arguments: str, capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["delay", *arguments.split()]) == 2
    return capsys.readouterr().err


def test_a_time_at_a_crystal(capsys: pytest.CaptureFixture[str]) -> None:
    """10 ms of 3.072 MHz are 30720 T-states."""
    out = told("10 ms --crystal 6.144 MHz", capsys)
    assert "wanted    30720 T-states, 10 ms\n" in out
    assert "takes     30720 T-states, exactly that\n" in out
    assert "measured  30720 T-states, as promised\n" in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_time_that_is_no_whole_number_of_t_states(capsys: pytest.CaptureFixture[str]) -> None:
    """100.1 us of 3 MHz are 300.3 T-states; 0.3 of them are 100 ns."""
    out = told("100.1 us --crystal 6MHz", capsys)
    assert "wanted    300.300 T-states, 100.1 us\n" in out
    assert "takes     300 T-states, -0.3 T-states: 100 ns too short\n" in out


def test_what_no_code_can_take(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing takes 1 T-state besides CALL and RET, so 29 become 28."""
    out = told("--t-states 29 --crystal 2MHz", capsys)
    assert "takes     28 T-states, -1 T-state: 1 us too short\n" in out
    assert "measured  28 T-states, as promised\n" in out


def test_the_wait_states_of_a_board(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    board = tmp_path / "slow.yaml"
    board.write_text(
        "name: slow\ncrystal: 4 MHz\nmemory:\n"
        "  - {rom: 8K, name: low, at: 0000-1FFF, waits: 1}\n"
        "  - {rom: 8K, name: high, at: 2000-3FFF, waits: 3}\n"
        "  - {ram: 2K, name: work, at: 8000-87FF, waits: 2}\n"
    )
    out = told(f"1 ms --board {board}", capsys)
    assert "1 in each read of the code, 2 on the stack" in out
    assert "measured  2000 T-states, as promised\n" in out
    assert "3 in each read" in told(f"1 ms --board {board} --at 2000", capsys)
    assert "several wait states, 1 to 3" in refused(f"1 ms --board {board} --at 1FFE", capsys)


def test_the_source_can_be_written_and_used(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "pause.asm"
    out = told("1 ms --crystal 6.144MHz --name PAUSE --write", capsys, str(file))
    assert file.read_text() in out
    image = assemble(f" ORG 100H\n{file.read_text()} END\n", "x.asm").image
    assert image.symbols["PAUSE"] == 0x100


@pytest.mark.parametrize("levels", [1, 2, 3])
def test_as_many_loops_as_are_asked_for(levels: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Each loop ends with a JNZ of its own."""
    wanted = (300, 300, 5000)[levels - 1]
    out = told(f"--t-states {wanted} --crystal 6MHz --levels {levels}", capsys)
    assert out.split("wanted")[0].count("JNZ ") == levels
    assert f"measured  {wanted} T-states, as promised\n" in out


def test_levels_of_the_registers_that_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    out = told("--t-states 9000 --crystal 6MHz --registers D,E --levels 2", capsys)
    assert "MVI     D," in out and "MVI     E," in out
    assert "at most 1 with" in refused(
        "--t-states 9000 --crystal 6MHz --registers D --levels 2", capsys
    )


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ("1 ms --crystal 6MHz --levels 4", "--levels with 1 to 3"),
        ("--t-states 81 --crystal 6MHz --levels 3", "expected 82 to "),
        ("--crystal 6MHz", "no time is named"),
        ("1 ms", "no crystal is named"),
        ("abc", "'abc' is not a time"),
        ("1 ms --board breakwater --at 4000", "no memory is at 4000 for 1 byte of code"),
        ("1 ms --board breakwater --at 07FE", "no memory is at 07FE for "),
        ("1 ms --crystal 6", "is not a frequency"),
        ("1 m --crystal 6MHz", "is not a time"),
        ("1 ms --t-states 5 --crystal 6MHz", "one too many"),
        ("1 us --crystal 6MHz", "expected 28 to 103081246755 T-states, 9.33333 us to "),
        ("--t-states 5 --crystal 6MHz --as rutine", "did you mean 'routine'?"),
        ("1 ms --crystal 6MHz --name 9", "cannot be a label"),
        ("1 ms --crystal 6MHz --name MOV", "cannot be a label"),
        ("1 ms --board slat", "did you mean 'slate'?"),
        ("1 ms --board slate --waits 1", "the board's wait states count"),
        ("1 ms --crystal 6MHz --at 100", "--at goes with --board"),
        ("1 ms --crystal 6MHz --waits 300", "0 to 255"),
        ("2 s --crystal 6MHz --registers B", "out of reach"),
    ],
)
def test_mistakes(arguments: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert message in refused(arguments, capsys)


def test_a_count_of_t_states_needs_no_crystal(capsys: pytest.CaptureFixture[str]) -> None:
    out = told("--t-states 38", capsys)
    assert out == told("--t-states 38 --crystal 6.144 MHz", capsys)
    assert "measured  38 T-states, as promised\n" in out


def test_the_reach_of_the_loops_is_the_only_limit(capsys: pytest.CaptureFixture[str]) -> None:
    """More than an hour, and more than three loops of 256, 65536 and 256 passes can take."""
    from fractions import Fraction

    from emu85.timing.delay import Use, Waits, plan

    clock = Fraction(3_072_000)
    assert plan(5000 * clock, clock, Use.ROUTINE, Waits(0, 0)).t_states == 5000 * clock
    said = refused("40000 s --crystal 6.144 MHz", capsys)
    assert "is out of reach" in said and "to 33555.1 s" in said


def test_a_long_label_has_a_line_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    def code(name: str) -> list[str]:
        out = told(f"1 ms --crystal 6.144 MHz --name {name}", capsys)
        return [line for line in out.splitlines() if not line.startswith(";") and " ; " in line]

    long, usual = code("OVERLONGLABEL"), code("DELAY")
    assert [line[8:15] for line in long] == [line[8:15] for line in usual]
    assert len({line.index(";") for line in long}) == 1
    assert all(not line[:8].strip() for line in long)
