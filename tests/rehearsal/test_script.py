"""The file: its heading, what it includes, and mistakes with their places."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.errors import UserError, UserErrors
from emu85.firmware import assemble, read_image, write_binary, write_hex
from emu85.firmware.files import atomic_write
from emu85.rehearsal import perform, read_script, rehearse, set_up
from tests.rehearsal.stage import FIRMWARE, HEADING, lay_out, performed, write

BAD_HEADINGS = [
    ("", 1, 0, "the heading has no 'rehearsal:'"),
    ("hear 1\n", 1, 1, "not a rehearsal"),
    ("board: slate\n", 1, 1, "not a rehearsal"),
    ("rehearsal: a\n", 2, 0, "the heading has no 'board:'"),
    ("rehearsal: a\nboards: slate\n", 2, 1, "did you mean 'board'"),
    ("rehearsal: a\nboard:\n", 2, 1, "'board:' has no value"),
    ("rehearsal: a\nboard: slate\n  board: slate\n", 3, 3, "a second 'board:'"),
    ("rehearsal: a\nboard: slat\n", 2, 8, "did you mean 'slate'"),
    ("rehearsal: a\nboard: bench.yaml\nfirmware: bench.src\n", 3, 0, "did you mean 'bench.asm'"),
    (HEADING + "trace: many\n", 4, 8, "'many' is not a number"),
    (HEADING + "trace: 10 20\n", 4, 11, "'20' is too much"),
    (HEADING + "patience: 10\n", 4, 11, "'10' has no unit"),
    (HEADING + "limit: 5 days\n", 4, 8, "'days' is not a unit of time"),
    (HEADING + "symbols: none.sym\n", 4, 0, "none.sym: no such file"),
    (HEADING, 3, 0, "a rehearsal without lines"),
    (HEADING + "# to be written\n\n", 3, 0, "a rehearsal without lines"),
]


@pytest.mark.parametrize(("text", "line", "column", "told"), BAD_HEADINGS)
def test_mistakes_in_a_heading(
    text: str, line: int, column: int, told: str, tmp_path: Path
) -> None:
    lay_out(tmp_path)
    with pytest.raises(UserError) as caught:
        rehearse(write(tmp_path, text, heading=""))
    assert told in str(caught.value)
    assert (caught.value.place.line, caught.value.place.column) == (line, column)
    assert caught.value.place.file == str(tmp_path / "test.rehearsal")


BAD_LINES = [
    ("heer 1", 1, "did you mean 'hear'"),
    ("stepp", 1, "did you mean 'step'"),
    ("hear ready", 6, "'ready' stands in no quotes"),
    ('hear "re\\q"', 9, "there is no escape \\q"),
    ('hear "\u2026"', 6, "no character of one byte"),
    ('hear "ready', 6, "a quote is opened and not closed"),
    ('hear from usrt "x"', 11, "did you mean 'usart'"),
    ('hear ""', 6, "nothing between these quotes"),
    ('heard from usart "**"', 18, "a * alone is met before anything has come"),
    ('see findings "x" ""', 18, "nothing between these quotes"),
    ("see Q 3", 5, "'Q' cannot be taken here"),
    ("see HLL 8004", 5, "did you mean 'HL'?"),
    ("see mem COUNTD 12", 9, "did you mean 'COUNTED'?"),
    ("see mem 8000-COUNTD all 12", 9, "did you mean 'COUNTED'?"),
    ("see A", 5, "a register, pair or flag and its value"),
    ("see A 3 HL 12345", 12, "12345"),
    ("see mem 8000 3G", 14, "'3G' is no byte"),
    ("see line RST 8 1", 10, "'RST' is no line"),
    ("see 5 T since begin", 15, "there is no 'begin'"),
    ("see bus MW at XYZ", 15, "XYZ"),
    ("talk", 1, "a rehearsal has no 'talk'"),
    ("mem 80G0", 5, "'80G0' cannot be taken here"),
    ("at 49 mem 80G0", 11, "'80G0' cannot be taken here"),
    ("press kee", 7, "did you mean 'key'?"),
    ("stop on MW at COUNTD", 15, "did you mean 'COUNTED'?"),
    ("quit", 1, "what follows it would pass unseen"),
    ("at 5 pace 3", 6, "a rehearsal has no 'pace'"),
    ("at 5 at 6 step", 6, "there is no line that begins with 'at'"),
    ("join usart pty", 1, "'type to END TEXT'"),
    ("include", 0, "'include' takes one file"),
    ("include none.txt", 9, "no such file"),
    ("include test.rehearsal", 0, "includes itself"),
]


@pytest.mark.parametrize(("body", "column", "told"), BAD_LINES)
def test_mistakes_in_a_line(body: str, column: int, told: str, tmp_path: Path) -> None:
    lay_out(tmp_path)
    with pytest.raises(UserError) as caught:
        rehearse(write(tmp_path, f"step\n{body}\n"))
    assert told in str(caught.value)
    assert (caught.value.place.line, caught.value.place.column) == (5, column)
    assert str(caught.value).count(str(tmp_path / "test.rehearsal")) >= 1


def test_an_unknown_register_is_answered_in_short(tmp_path: Path) -> None:
    with pytest.raises(UserError) as caught:
        performed(tmp_path, "see Q 12\n")
    told = caught.value.expected
    assert len(told) < 200
    assert told.startswith("a register, pair or flag and its value, such as HL 8004")
    assert "device" in told and "findings" in told


def test_a_file_of_includes_without_lines(tmp_path: Path) -> None:
    (tmp_path / "none.txt").write_text("# nothing yet\n")
    with pytest.raises(UserError, match="a rehearsal without lines") as caught:
        performed(tmp_path, "include none.txt\n")
    assert caught.value.place.line == 3


def test_all_mistakes_are_told_together(tmp_path: Path) -> None:
    lay_out(tmp_path)
    with pytest.raises(UserErrors) as caught:
        rehearse(write(tmp_path, "sea A 1\nstep\nsee 1\nmark x\nsee 5 T since x\n"))
    assert [error.place.line for error in caught.value.errors] == [4, 6]


def test_included_lines_have_their_own_places(tmp_path: Path) -> None:
    inner = tmp_path / "parts"
    inner.mkdir()
    (inner / "start.txt").write_text("# what comes first\nreach COUNTED\ninclude 'deep er.txt'\n")
    (inner / "deep er.txt").write_text("\nsee A 12   # it is not\n")
    verdict = performed(tmp_path, "include parts/start.txt\nstep\n")
    assert [step.text for step in verdict.steps] == ["reach COUNTED", "see A 12   # it is not"]
    (failed,) = verdict.failed
    assert (failed.place.file, failed.place.line) == (str(inner / "deep er.txt"), 2)


def test_a_circle_of_files_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("include b.txt\n")
    (tmp_path / "b.txt").write_text("step\ninclude a.txt\n")
    with pytest.raises(UserError) as caught:
        performed(tmp_path, "include a.txt\n")
    assert caught.value.place.file == str(tmp_path / "b.txt")
    assert caught.value.place.line == 2


@pytest.mark.parametrize(
    ("wide", "deep", "told"), [(1000, 1, "more than 100000 lines"), (1, 30, "16 deep")]
)
def test_files_that_include_others_do_not_grow_for_ever(
    wide: int, deep: int, told: str, tmp_path: Path
) -> None:
    for number in range(deep):
        (tmp_path / f"{number}.txt").write_text(f"include {number + 1}.txt\n" * wide)
    (tmp_path / f"{deep}.txt").write_text("step\n" * wide)
    with pytest.raises(UserError, match=told):
        performed(tmp_path, "include 0.txt\n")


def test_console_lines_name_files_from_the_rehearsals_folder(tmp_path: Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "more.sym").write_text("THERE\t8000\n")
    body = "load more.sym\nreach COUNTED\nsee mem THERE 3E\nsave there.bin THERE-THERE\n"
    assert rehearse(write(tmp_path, body)).passed
    assert (tmp_path / "there.bin").read_bytes() == b"\x3e"


def test_symbols_of_the_heading(tmp_path: Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "more.sym").write_text("THERE\t8000\n")
    heading = HEADING + "symbols: more.sym\n"
    assert performed(tmp_path, "reach COUNTED\nsee mem THERE 3E 05\n", heading).passed


def test_a_binary_of_the_heading(tmp_path: Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "part.bin").write_bytes(bytes.fromhex("3E 12 76"))
    heading = "rehearsal: t\nboard: bench.yaml\nfirmware: part.bin\nat: 0100\n"
    assert performed(tmp_path, "put PC 0100\nreach halt\nsee A 12\n", heading).passed


def test_the_boards_own_firmware_is_taken_if_none_is_named(tmp_path: Path) -> None:
    assert performed(tmp_path, "reach WALK\n", "rehearsal: t\nboard: slate\n").passed


def test_another_firmware_stands_in(tmp_path: Path) -> None:
    lay_out(tmp_path)
    path = write(tmp_path, "reach COUNTED\nsee A 00\nsee mem 8000 3E 05\n")
    same = assemble(FIRMWARE, "bench.asm").image
    other = assemble(FIRMWARE.replace("MVI M,05H", "MVI M,06H"), "other.asm").image
    assert rehearse(path, firmware=same).passed
    verdict = rehearse(path, firmware=other)
    assert [(one.expected, one.seen) for one in verdict.differences] == [
        ("8000  3E 05", "8000  3E 06")
    ]


def test_an_image_of_the_same_bytes_takes_the_symbols_over(tmp_path: Path) -> None:
    lay_out(tmp_path)
    path = write(tmp_path, "reach COUNTED\n")
    image = assemble(FIRMWARE, "bench.asm").image
    atomic_write(tmp_path / "burn.hex", write_hex(image))
    atomic_write(tmp_path / "burn.bin", write_binary(image))
    assert rehearse(path, firmware=tmp_path / "burn.hex").passed
    assert rehearse(path, firmware=str(tmp_path / "burn.bin")).passed
    data = bytearray(write_binary(image))
    data[9] ^= 1
    atomic_write(tmp_path / "burn.bin", bytes(data))
    with pytest.raises(UserError, match="'COUNTED' is neither a number nor a symbol"):
        rehearse(path, firmware=tmp_path / "burn.bin")


def test_the_machine_can_be_looked_into_afterwards(tmp_path: Path) -> None:
    lay_out(tmp_path)
    script = read_script(write(tmp_path, "reach COUNTED\n"))
    machine = set_up(script, read_image(tmp_path / "bench.asm"))
    assert perform(script, machine).passed
    assert machine.registers.pc == machine.symbols["COUNTED"]


def test_no_battery_file_is_read_or_written(tmp_path: Path) -> None:
    lay_out(tmp_path)
    board = (tmp_path / "bench.yaml").read_text()
    with_battery = board.replace("{ram: 1K, at: 8000, code: yes}", BATTERY)
    assert with_battery != board
    (tmp_path / "bench.yaml").write_text(with_battery)
    kept = bytes(range(256)) * 4
    (tmp_path / "log.ram").write_bytes(kept)
    assert performed(tmp_path, "see mem 8010 00 00\nput mem 8010 12\npower\nsee mem 8010 12").passed
    assert (tmp_path / "log.ram").read_bytes() == kept


BATTERY = "{ram: 1K, at: 8000, battery: log.ram}"
