"""Code put on a board under test, and its serial lines."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from emu85.errors import UserError
from emu85.firmware import AssemblyErrors, Image, Segment
from emu85.testing.board import BoardUnderTest, put_up
from emu85.testing.failure import BoardFailure
from tests.testing.boards import board

ECHO = """
name: echo
crystal: 6.144 MHz
memory:
  - {rom: 4K, name: program, at: 0000-0FFF}
  - {ram: 4K, name: work, at: 8000-8FFF}
ports:
  - {device: 8251A, name: usart, at: 20-21, terminal: {baud: 9600}}
serial: {baud: 1200}
"""


def test_snippets_know_each_other_and_the_firmware() -> None:
    under = board("ONE: INR A\n RET", at=0x100)
    under.assemble("TWO: CALL one\n CALL ONE\n RET", 0x200)
    assert under.call("TWO", a=0).registers.a == 2
    assert under.address("two") == 0x200


def test_code_may_stand_in_ram() -> None:
    under = board("FAST: MVI A,9\n RET", at=0x9000)
    assert under.call("FAST").registers.a == 9
    assert list(under.machine.findings) == []


def test_code_in_the_way_is_told_and_may_be_replaced() -> None:
    under = board("ASK: MVI A,1\n RET\nUSE: CALL ASK\n ADD A\n RET")
    with pytest.raises(UserError, match="code at 0000-0002 already"):
        under.assemble("ASK: MVI A,5\n RET")
    assert under.call("USE").registers.a == 2
    under.assemble(" ORG ASK\n MVI A,5\n RET", over=True)
    assert under.call("USE").registers.a == 10


def test_a_name_defined_again_is_the_new_one() -> None:
    under = board("Go: MVI A,1\n RET\nFIVE EQU 5\n")
    under.assemble("GO: MVI A,FIVE\n RET\nFive: NOP\n", 0x80)
    assert under.call("go").registers.a == 0x80 + 2 + 1  # behind MVI A and RET
    assert list(under.machine.symbols) == ["GO", "Five"]
    assert under.machine.equated == set()


def test_mistakes_in_a_snippet_are_placed() -> None:
    with pytest.raises(AssemblyErrors, match="snippet:2:2: 'MIV' is no instruction") as caught:
        board("GO: RET\n MIV A,1")
    assert caught.value.nearest == "MVI"


def test_code_where_no_memory_is() -> None:
    with pytest.raises(UserError, match="D000"):
        board("GO: RET", at=0xD000)


def test_boards_and_firmware_by_name_and_beside_the_test(tmp_path: Path) -> None:
    (tmp_path / "two.asm").write_text("TWO: MVI A,2\n RET\n")
    (tmp_path / "b.yaml").write_text(ECHO)
    for name, firmware in (("slate", "two.asm"), ("b.yaml", tmp_path / "two.asm")):
        under = put_up(name, firmware, at=None, trace=100, folder=tmp_path)
        assert under.call("TWO").registers.a == 2
    shipped = put_up("slate", "slate.asm", at=None, trace=100, folder=tmp_path)
    assert shipped.address("ROUND") == 0x43
    with pytest.raises(UserError) as caught:
        put_up("slate", "tow.asm", at=None, trace=100, folder=tmp_path)
    told = "no firmware 'tow.asm'; expected a file beside the test, or demo firmware; "
    assert str(caught.value) == f"{told}did you mean 'two.asm'?"
    with pytest.raises(UserError, match=r"did you mean 'saltmarsh\.asm'"):
        put_up("slate", "saltmarch.asm", at=None, trace=100, folder=tmp_path)
    with pytest.raises(UserError, match=r"elsewhere/two\.asm: no such file"):
        put_up("slate", "elsewhere/two.asm", at=None, trace=100, folder=tmp_path)
    with pytest.raises(UserError, match="did you mean 'slate'"):
        put_up("slat", None, at=None, trace=100, folder=tmp_path)


def test_ram_on_a_battery_is_kept_in_no_file(tmp_path: Path) -> None:
    kept = ECHO.replace("name: work,", "name: work, battery: kept.ram,")
    (tmp_path / "b.yaml").write_text(kept)
    under = put_up("b.yaml", None, at=None, trace=100, folder=tmp_path)
    under.write(0x8000, b"x")
    under.machine.power()
    assert [path.name for path in tmp_path.iterdir()] == ["b.yaml"]


def test_a_board_without_firmware_or_symbols_says_so() -> None:
    with pytest.raises(UserError) as caught:
        board().call("ADDER")
    told = "there is no symbol 'ADDER': the board has no firmware; expected an address"
    assert str(caught.value) == told
    image = Image((Segment(0, b"\xc9"),))
    under = put_up("slate", image, at=None, trace=100, folder=Path())
    with pytest.raises(UserError, match="no symbol 'ADDER': the firmware has none; expected an a"):
        under.read("ADDER")


def test_a_stop_may_name_symbols() -> None:
    under = board("ONE: INR A\n JMP ONE\nTWO: RET")
    stop = under.stop("on OF at one")
    held = under.machine.run(seconds=1)
    assert held.stops == (stop,)
    assert int(under.machine.trace[-1]["address"]) == under.address("ONE")
    under.machine.stops.drop(stop.number)
    with pytest.raises(UserError, match=r"'TOW' is not an address.*did you mean 'TWO'"):
        under.stop("on OF at TOW")
    with pytest.raises(UserError, match="5 is no text"):
        under.stop(5)  # type: ignore[arg-type]


# --- serial lines --------------------------------------------------------------------


def tide() -> BoardUnderTest:
    return put_up("saltmarsh", "saltmarsh.asm", at=None, trace=10_000, folder=Path())


def test_what_is_heard_is_returned_up_to_the_patterns_end() -> None:
    under = tide()
    greeting = under.serial.hear("station *\r\n", within="2 s")
    assert greeting == "\r\nsaltmarsh tide gauge, station 42\r\n"
    assert under.serial.hear("tide> ").endswith("logging.\r\ntide> ")
    under.serial.send("level\r")
    assert under.serial.hear(r"level ???\x0D*\n", within=1_500_000).startswith("level\r\nlevel ")


def test_the_board_goes_on_after_a_call() -> None:
    under = tide()
    under.serial.hear("tide> ")
    under.assemble("ADDER: ADD B\n RET", at=0x1000)
    assert under.call("ADDER", a=1, b=2).registers.a == 3
    under.serial.send("level\r")
    assert under.serial.hear("level ???\r\n").startswith("level\r\n")
    assert list(under.machine.findings) == []


def test_what_is_not_heard_is_told_beside_what_was() -> None:
    under = tide()
    with pytest.raises(BoardFailure) as caught:
        under.serial.hear("ready?\r\n", within="500 ms")
    told = str(caught.value)
    assert told.startswith("not heard from serial within 1536000 T (500 ms)\n")
    assert '"ready?\\r\\n"' in told
    assert '# "saltmarsh tide gauge, station 42\\r' in told
    assert under.machine.t == pytest.approx(1_536_003, abs=20)


def test_silence() -> None:
    under = tide()
    under.serial.hear("tide> ")
    under.serial.hear_nothing("100 ms")
    under.serial.send(b"x")
    with pytest.raises(BoardFailure, match=r"serial is not silent\n.*\n.*\(nothing\).*\"x\""):
        under.serial.hear_nothing("100 ms")
    under.serial.hear_nothing("10 ms")


def test_one_of_several_ends_by_its_name() -> None:
    under = board(on=ECHO)
    assert list(under.ends) == ["usart", "serial"]
    assert under.serial is under.ends["usart"]
    assert under.serial.received == b""


@pytest.mark.parametrize(
    ("pattern", "within", "told"),
    [
        ("x", "20", "'20' has no unit"),
        ("x", "20 ms more", "'20 ms more' is no time"),
        ("x", "", "'' is no time"),
        ("x", -1, "-1 is no time"),
        ("x", 1.5, "1.5 is no time"),
        ("x", None, "None is no time"),
        (5, 1, "5 is no text; expected a text, or bytes"),
        (r"\q", 1, r"there is no escape \\q"),
    ],
)
def test_mistakes_of_the_test(pattern: Any, within: Any, told: str) -> None:
    with pytest.raises(UserError, match=told):
        tide().serial.hear(pattern, within)


def test_bytes_are_heard_like_a_text() -> None:
    assert tide().serial.hear(b"station ??\r\n", within="2 s").endswith("station 42\r\n")


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("abc", "'abc' is a text; expected bytes, such as b'abc'"),
        (1.5, "1.5 is no byte; expected 0 to 255, bytes, or a list of numbers"),
        (None, "None is no byte"),
        ([1, "2"], "'2' is no byte"),
        ([1, -2], "-2 is no byte; expected 0 to 255"),
    ],
)
def test_what_is_no_byte_is_not_written(data: Any, told: str) -> None:
    under = board()
    with pytest.raises(UserError, match=told):
        under.write(0x8000, data)
    under.write(0x8000, (1, 2))
    assert under.read(0x8000, 2) == b"\1\2"


def test_what_is_no_count_or_no_source() -> None:
    under = board()
    with pytest.raises(UserError, match="the count cannot be '3'"):
        under.read(0x8000, "3")  # type: ignore[arg-type]
    with pytest.raises(UserError, match="5 is no text"):
        under.assemble(5)  # type: ignore[arg-type]
    with pytest.raises(UserError, match="5 is no text"):
        tide().serial.send(5)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"board": 5}, "the board cannot be 5; expected a name, a board file"),
        ({"firmware": b"x"}, "the firmware cannot be b'x'; expected a file, or an image"),
        ({"trace": 0}, "trace cannot be 0; expected 1 or more machine cycles"),
        ({"trace": "9"}, "trace cannot be '9'; expected a whole number"),
        ({"at": "9"}, "at cannot be '9'; expected an address"),
    ],
)
def test_what_no_board_can_be_put_up_with(given: dict[str, Any], told: str) -> None:
    usual: dict[str, Any] = {"board": "slate", "firmware": None, "at": None, "trace": 100}
    with pytest.raises(UserError, match=told):
        put_up(**usual | given, folder=Path())


def test_a_board_without_a_serial_line_and_a_character_that_is_none() -> None:
    with pytest.raises(UserError, match="plain has no serial line") as caught:
        _ = board().serial
    # Beside this line only the wrapper that hides itself from pytest.
    assert [entry.name for entry in caught.traceback][1:] == ["told"]
    with pytest.raises(UserError, match="'€' is no character of one byte"):
        tide().serial.send("5 €")
