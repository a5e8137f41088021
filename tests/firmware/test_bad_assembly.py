"""Bad assembly: each mistake has one message, with its line and column."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.firmware import AssemblyErrors, assemble

BAD = {
    "unknown mnemonic": (" NOP\n MOVE A,B", 2, 2, "'MOVE' is no instruction", "MOV"),
    "label without colon": ("LOOP DCR B", 1, 1, "'LOOP' is no instruction", ""),
    "undefined symbol": ("COUNT EQU 5\n MVI A,CUONT", 2, 8, "CUONT is not defined", "COUNT"),
    "duplicate label": ("L1: NOP\n NOP\nl1: NOP", 3, 1, "l1 is already defined at bad.asm:1:1", ""),
    "label and EQU": ("L1: NOP\nL1 EQU 5", 2, 1, "L1 is already defined", ""),
    "EQU twice": ("X1 EQU 1\nX1 EQU 1", 2, 1, "X1 is already defined", ""),
    "SET after EQU": ("X1 EQU 1\nX1 SET 1", 2, 1, "X1 is already defined", ""),
    "reserved label": (" NOP\nCALL: NOP", 2, 1, "CALL is a reserved word", ""),
    "register as label": ("B: NOP", 1, 1, "B is a reserved word", ""),
    "byte too big": ("\tMVI\tA,256", 1, 8, "0100H does not fit in a byte", ""),
    "byte too small": (" ADI -257", 1, 6, "FEFFH does not fit in a byte", ""),
    "byte in DB": (" DB 1,2,1000", 1, 9, "03E8H does not fit in a byte", ""),
    "port too big": (" OUT 100H", 1, 6, "0100H does not fit in a byte", ""),
    "wrong pair": (" LXI A,5", 1, 6, "LXI does not take A", ""),
    "PSW where SP": (" PUSH SP", 1, 7, "PUSH does not take SP", ""),
    "no such register": (" MOV A,8", 1, 8, "MOV does not take 8", ""),
    "memory to memory": (" MOV M,M", 1, 8, "memory cannot be moved to memory", ""),
    "restart": (" RST 8", 1, 6, "RST does not take 8", ""),
    "operand missing": (" MOV A   ; and?", 1, 7, "MOV takes two operands, 1 given", ""),
    "no operand at all": (" JMP", 1, 5, "JMP takes one operand, 0 given", ""),
    "operand too many": (" CMA A", 1, 6, "CMA takes no operand", ""),
    "third operand": (" MVI A,1,2", 1, 10, "MVI takes two operands, 3 given", ""),
    "string not closed": (" DB 'abc", 1, 5, "string is not closed", ""),
    "double quotes": (' DB "abc"', 1, 5, "double quote", ""),
    "string empty": (" DB 1,''", 1, 7, "string is empty", ""),
    "bad hex number": (" LXI H,0FFGH", 1, 8, "'0FFGH' is not a number", ""),
    "hex without H": (" MVI A,3F", 1, 8, "'3F' is not a number", ""),
    "bad binary": (" MVI A,102B", 1, 8, "'102B' is not a number", ""),
    "comma at the end": (" DB 1,", 1, 7, "operand is missing", ""),
    "DB alone": (" DB", 1, 4, "operand is missing", ""),
    "DW alone": (" DW ; none", 1, 4, "operand is missing", ""),
    "EQU without a name": (" EQU 5", 1, 2, "EQU without a name", ""),
    "EQU after a colon": ("X1: EQU 5", 1, 3, "a name before EQU has no colon", ""),
    "EQU to nothing": ("X1 EQU", 1, 7, "operand is missing", ""),
    "EQU in a circle": ("X1 EQU Y1\nY1 EQU X1+0*Y1", 1, 8, "Y1 is not defined", ""),
    "name that is none": ("1X EQU 5", 1, 1, "'1X' is not a name", ""),
    "reserved name": ("DB EQU 5", 1, 1, "DB is a reserved word", ""),
    "ORG ahead": (" ORG LATER\nLATER:", 1, 6, "LATER is not defined", ""),
    "DS ahead": (" DS LATER\nLATER:", 1, 5, "LATER is not defined", ""),
    "a mnemonic where none is taken": (" NOP NOP", 1, 6, "NOP takes no operand", ""),
    "negative DS": (" DS -1", 1, 5, "a count of -1", ""),
    "far below 0 DS": (" ORG 5000H\n DS 100H-$", 2, 5, "a count of -20224", ""),
    "negative REPT": (" REPT 2-5\n NOP\n ENDM", 1, 7, "a count of -3", ""),
    "negative ORG": (" ORG -1", 1, 6, "an address of -1", ""),
    "negative EQU": ("N1 EQU 2-3\nN2 EQU N1*2\n DS N2", 3, 5, "a count of -2", ""),
    "negative SET": ("N1 SET 0\nN1 SET N1-1\n REPT N1\n ENDM", 3, 7, "a count of -1", ""),
    "IF ahead": (" IF LATER\n ENDIF\nLATER:", 1, 5, "LATER is not defined", ""),
    "IF not closed": (" IF 1\n NOP", 1, 2, "IF is not closed", ""),
    "ELSE without IF": (" NOP\n ELSE", 2, 2, "ELSE without IF", ""),
    "ENDIF without IF": (" ENDIF", 1, 2, "ENDIF without IF", ""),
    "second ELSE": (" IF 0\n ELSE\n ELSE\n ENDIF", 3, 2, "a second ELSE", ""),
    "operand of ENDIF": (" IF 1\n ENDIF 1", 2, 8, "ENDIF takes no operand", ""),
    "past the end": (" ORG 0FFFEH\n JMP 0", 2, 2, "3 bytes at FFFE run past FFFF", ""),
    "a byte past the end": (
        " ORG 0FFFFH\n NOP\n NOP",
        3,
        2,
        "1 byte at the end runs past FFFF",
        "",
    ),
    "DS past the end": (" ORG 8000H\n DS 8001H", 2, 5, "32769 bytes at 8000 run past FFFF", ""),
    "same address twice": (" DB 1,2\n ORG 1\n DB 3", 3, 2, "address 0001 already has a byte", ""),
    "phase": (
        "X1 SET 1\nY1 EQU X1+LATER\nX1 SET 2\nLATER: DB Y1",
        *(2, 1, "phase error: Y1 is 0001 here and was 0002", ""),
    ),
    "no file": (" INCLUDE 'none.inc'", 1, 10, "no file 'none.inc'", ""),
    "INCLUDE alone": (" INCLUDE", 1, 9, "no file to include", ""),
    "INCLUDE of itself": (" NOP\n INCLUDE 'bad.asm'", 2, 10, "bad.asm includes itself", ""),
    "stray character": (" MVI A,5 ] 3", 1, 10, "']' has no meaning", ""),
    "a quote alone": ("'", 1, 1, '"\'" is no instruction', ""),
    "END with a fault": (" END NOWHERE", 1, 6, "NOWHERE is not defined", ""),
}


@pytest.mark.parametrize("name", BAD)
def test_each_mistake(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source, line, column, message, nearest = BAD[name]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.asm").write_text(source)
    with pytest.raises(AssemblyErrors) as caught:
        assemble(source, "bad.asm")
    error = caught.value.errors[0]
    assert message in error.message
    assert (error.place.file, error.place.line, error.place.column) == ("bad.asm", line, column)
    assert error.nearest == nearest
    assert error.expected
    text = source.split("\n")[line - 1]
    under = "".join(c if c == "\t" else " " for c in text[: column - 1])
    assert str(error).endswith(f"\n    {text}\n    {under}^")


def test_all_mistakes_are_told_in_order() -> None:
    source = " MVI A,300\n FOO\nL1: NOP\n JMP L2\nL1: NOP\n"
    with pytest.raises(AssemblyErrors) as caught:
        assemble(source, "a.asm")
    assert [error.place.line for error in caught.value.errors] == [1, 2, 4, 5]
    assert str(caught.value).count("a.asm:") == 5  # the fifth names the first L1


def test_one_mistake_does_not_breed_others() -> None:
    source = "X1 EQU LATER\n DS X1\nL1: JMP L2\n NOP\nL2: JMP L1\nLATER:"
    with pytest.raises(AssemblyErrors) as caught:
        assemble(source, "a.asm")
    (error,) = caught.value.errors
    assert (error.place.line, error.message) == (2, "X1 is not defined")


def test_only_twenty_are_printed() -> None:
    with pytest.raises(AssemblyErrors) as caught:
        assemble(" FOO\n" * 30, "a.asm")
    assert len(caught.value.errors) == 30
    text = str(caught.value)
    assert text.count("a.asm:") == 20
    assert text.endswith("... and 10 more")


def test_a_hundred_are_enough() -> None:
    with pytest.raises(AssemblyErrors) as caught:
        assemble(" FOO\n" * 5000, "a.asm")
    assert len(caught.value.errors) == 101
    assert "the rest was not read" in caught.value.errors[-1].message


def test_files_that_include_each_other(tmp_path: Path) -> None:
    (tmp_path / "a.inc").write_text(" INCLUDE 'b.inc'\n")
    (tmp_path / "b.inc").write_text("\n INCLUDE 'a.inc'\n")
    with pytest.raises(AssemblyErrors) as caught:
        assemble(" INCLUDE 'a.inc'", str(tmp_path / "main.asm"))
    (error,) = caught.value.errors
    assert str(error.place) == f"{tmp_path / 'b.inc'}:2:10"
    assert "a.inc includes itself" in error.message


def test_a_chain_of_files_too_long(tmp_path: Path) -> None:
    for n in range(30):
        (tmp_path / f"{n}.inc").write_text(f" INCLUDE '{n + 1}.inc'\n")
    with pytest.raises(AssemblyErrors, match="too deep"):
        assemble(" INCLUDE '0.inc'", str(tmp_path / "main.asm"))


def test_nearest_file_is_offered(tmp_path: Path) -> None:
    (tmp_path / "ports.inc").touch()
    with pytest.raises(AssemblyErrors) as caught:
        assemble(" INCLUDE 'port.inc'", str(tmp_path / "main.asm"))
    assert caught.value.nearest == "ports.inc"
