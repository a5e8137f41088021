"""``emu85 budget``: its options, and what it prints and writes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from emu85.cli import main

Captured = pytest.CaptureFixture[str]


def told(capsys: Captured, *words: str) -> tuple[int, str]:
    status = main(["budget", *words])
    taken = capsys.readouterr()
    return status, taken.out + taken.err


def row(text: str, place: str, path: str) -> list[str]:
    """The columns behind the name of a path, in the block of a place."""
    block = text.split(f"\n{place}: ")[1].split("\n\n")[0]
    found = next(line for line in block.splitlines() if line.startswith(f"  {path} "))
    return found.removeprefix(f"  {path} ").split()


@pytest.mark.parametrize("board", ["slate", "saltmarsh", "gantry"])
def test_boards_as_they_are_fit_the_width_and_defer_to_data_sheets(
    capsys: Captured, board: str
) -> None:
    status, text = told(capsys, board)
    assert status == 0
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "defer to the data sheets of the very parts" in words
    assert "(value from memory)" in words


def test_a_row_has_what_is_given_needed_and_left(capsys: Captured) -> None:
    """By hand, T = 500: tAD = 1250 - 225; latch 30 and chip 450."""
    _, text = told(capsys, "slate")
    assert row(text, "program", "address to data") == ["tAD", "1025.0", "480.0", "+545.0", "0"]


def test_another_part_and_crystal(capsys: Captured) -> None:
    """By hand, 8085AH-2 at 10 MHz: tAD = 350 and 480 needed; tRAE = 90 and 100 needed."""
    status, text = told(capsys, "slate", "--part", "8085ah-2", "--crystal", "10 MHz")
    assert status == 1
    assert row(text, "program", "address to data")[-3:] == ["-130.0", "1", "missing"]
    assert row(text, "program", "bus free after RD")[-4:] == ["-10.0", "none", "help", "missing"]
    assert "Wait states cannot help bus free after RD." in " ".join(text.split())
    assert "Fastest crystal with 0 wait states: 7.936 MHz." in text  # 2 / 252 ns


def test_a_clock_that_the_part_is_not_made_for(capsys: Captured) -> None:
    status, text = told(capsys, "saltmarsh", "--crystal", "10 MHz")
    assert status == 1
    assert "not made for this clock" in text


def test_supposed_access_times_and_waits(capsys: Captured) -> None:
    """By hand, T = 325.52: tAD = 588.8; with a 650 ns EPROM and the latch 680 needed."""
    status, text = told(capsys, "saltmarsh", "--access", "650 ns for PROGRAM")
    assert status == 1
    assert row(text, "program", "address to data") == [
        "tAD", "588.8", "680.0", "-91.2", "1", "missing",
    ]  # fmt: skip
    assert "It needs 1 wait state; 0 in the file: not enough." in " ".join(text.split())
    options = ("--access", "650 ns for program", "--waits", "1 for program")
    status, text = told(capsys, "saltmarsh", *options)
    assert status == 0
    assert row(text, "program", "address to data")[-2:] == ["+234.3", "1"]
    _, text = told(capsys, "saltmarsh", "--access", "100 ns")
    assert row(text, "program", "address to data")[2] == "130.0"
    assert row(text, "log", "address to data")[2] == "130.0"


def test_the_sums_are_explained_line_by_line(capsys: Captured) -> None:
    status, text = told(capsys, "saltmarsh", "--explain", "float")
    assert status == 0
    assert max(map(len, text.splitlines())) <= 80
    block = text.split("\n\nRD to data\n")[1].split("\n\n")[0]
    numbers = [line.split()[-1] for line in block.splitlines() if line.startswith("    ")]
    # 2.5 T, less 180, is tRD; no buffers; the device takes 400.
    assert numbers == ["+813.8", "-180.0", "+633.8", "+0.0", "+0.0", "-400.0", "+233.8"]
    assert "tRD = (3/2+N)T-180" in block


def test_the_board_itself_is_explained(capsys: Captured) -> None:
    _, text = told(capsys, "saltmarsh", "--explain", "board")
    assert "READY in time" in text
    assert "tARY = (3/2)T-260" in text


def test_json_has_the_same_figures(capsys: Captured, tmp_path: Path) -> None:
    file = tmp_path / "budget.json"
    status, _ = told(capsys, "saltmarsh", "--json", str(file))
    assert status == 0
    found = json.loads(file.read_text("utf-8"))
    place = next(one for one in found["places"] if one["name"] == "float")
    assert (place["waits"], place["waits needed"], place["suffices"]) == (1, 1, True)
    rd = next(one for one in place["paths"] if one["path"] == "RD to data")
    assert rd["CPU gives ns"] == pytest.approx(2.5 * 2e9 / 6.144e6 - 180)
    assert rd["output ns"] == rd["needed ns"] == 400
    assert found["fastest crystal Hz"] == 6.25e6
    _, printed = told(capsys, "saltmarsh", "--json", "-")
    assert json.loads(printed) == found


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("slat",), "did you mean 'slate'?"),
        (("slate", "--part", "8086"), "unknown CPU part '8086'"),
        (("slate", "--crystal", "10"), "'10' is not a frequency"),
        (("slate", "--access", "450 for program"), "'450' is not a time"),
        (("slate", "--access", "450 ns for progam"), "did you mean 'program'?"),
        (("slate", "--access", "450 ns for "), "names no chip"),
        (("slate", "--waits", "2"), "--waits '2 for NAME'"),
        (("slate", "--waits", "300 for program"), "300 is out of range"),
        (("slate", "--explain", "progam"), "did you mean 'program'?"),
        (("saltmarsh", "--explain", "foo"), "expected one of program, log, float, board"),
        (("saltmarsh", "--explain", "bord"), "did you mean 'board'?"),
        (("slate", "--explain", "lamps"), "states no times of 'lamps'"),
        (("slate", "--explain", "board"), "no chip or device 'board'"),
    ],
)
def test_mistakes(capsys: Captured, words: tuple[str, ...], message: str) -> None:
    status, text = told(capsys, *words)
    assert status == 2
    assert message in text
    assert text.startswith("emu85: ")


def test_the_board_file_is_not_written_over(capsys: Captured, tmp_path: Path) -> None:
    file = tmp_path / "mine.yaml"
    text = "name: mine\ncrystal: 4 MHz\nmemory:\n  - {chip: 2716, at: 0}\n"
    file.write_text(text)
    status, message = told(capsys, str(file), "--json", str(file))
    assert (status, file.read_text()) == (2, text)
    assert "the JSON file would be written over the board file" in message


def test_a_board_without_times(capsys: Captured, tmp_path: Path) -> None:
    file = tmp_path / "bare.yaml"
    file.write_text("name: bare\ncrystal: 4 MHz\nmemory:\n  - {chip: 2716, at: 0}\n")
    status, text = told(capsys, str(file))
    assert status == 0
    assert "no sum can be made" in text
    assert "No times stated, so no sums: 2716." in text


def test_figures_of_a_sum_stand_in_one_column_whatever_the_name(
    capsys: Captured, tmp_path: Path
) -> None:
    """12 MHz: T = 166.67 ns, the nearest of which is 166.7."""
    file = tmp_path / "long.yaml"
    file.write_text(
        "name: long\ncrystal: 12 MHz\ncpu: 8085AH-1\ndelays: {control-buffer: 12 ns}\nmemory:\n"
        "  - {chip: 2716, name: x, at: 0, times: {output: 100 ns}}\n"
    )
    _, text = told(capsys, str(file), "--explain", "x")
    assert "= 166.7 ns" in text and "166.6" not in text
    assert "rounded down" in text
    ends = {len(line) for line in text.splitlines() if re.search(r"^    .* [+-][0-9.]+$", line)}
    assert ends == {71}
    assert re.search(r"less control-buffer \([^+]*\)\s+-12\.0", text)


def test_no_figure_is_shown_better_than_it_is(capsys: Captured, tmp_path: Path) -> None:
    """3 MHz: T = 666.67, tAD = 1441.67; 1441.7 needed leaves less than nothing."""
    file = tmp_path / "tight.yaml"
    file.write_text(
        "name: tight\ncrystal: 3 MHz\nmemory:\n"
        "  - {chip: 2716, name: x, at: 0, times: {access: 1441.7 ns}}\n"
    )
    status, text = told(capsys, str(file))
    assert status == 1
    assert row(text, "x", "address to data") == [
        "tAD", "1441.6", "1441.7", "-0.1", "1", "missing",
    ]  # fmt: skip


def test_times_that_a_chip_does_not_state_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "part.yaml").write_text(
        "name: part\ncrystal: 6 MHz\nmemory:\n"
        "  - {chip: 2716, name: rom, at: 0000-07FF, times: {output: 120 ns}}\n"
    )
    assert main(["budget", str(tmp_path / "part.yaml")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Times not stated, so no sums of them: rom access, enable, read-pulse, float." in out
