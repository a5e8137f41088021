"""The printed reference; figures from the User's Manual, October 1979 (values from memory)."""

import re
import subprocess
import sys

import pytest

from emu85.errors import UserError
from emu85.isa.reference import card, mnemonics, summary


def test_the_summary_has_every_opcode_once() -> None:
    codes = [line[:2] for line in summary().splitlines()[4:]]
    assert codes == [f"{opcode:02X}" for opcode in range(256)]


def test_a_card_tells_both_paths_of_a_conditional() -> None:
    text = card("jnz")
    assert "C2  JNZ addr" in text
    assert "10/7" in text
    assert "OF MR MR / OF MR" in text
    assert "unless NZ: the instruction ends here" in text


def test_a_card_tells_what_each_machine_cycle_does() -> None:
    lines = card("IN").splitlines()
    cycle = next(line for line in lines if "IOR" in line and "3 T" in line)
    assert "port twice" in cycle
    assert "A <- port" in cycle


def test_addresses_count_from_the_registers_before_the_instruction() -> None:
    def addresses(name: str) -> list[str]:
        return [line[14:31].strip() for line in card(name).splitlines() if line[2:3].isdigit()]

    assert addresses("PUSH")[-2:] == ["SP - 1", "SP - 2"]
    assert addresses("XTHL")[1:] == ["SP", "SP + 1", "SP + 1", "SP"]
    assert "SP as it is before" in card("RST") and "SP as it is" not in card("LHLD")
    assert addresses("SHLD")[-2:] == ["WZ", "WZ + 1"]


def test_a_card_can_be_asked_for_by_opcode_or_alias() -> None:
    assert card("76").startswith("HLT")
    assert card("0CBH").startswith("RSTV")
    assert card("JX5").startswith("JK")


def test_unspecified_opcodes_are_marked_with_their_source_and_choice() -> None:
    text = card("LDSI")
    assert "Not in Intel's manuals" in text
    assert "Dehnhardt & Sorensen" in text
    assert "Choice:" in text


def test_everything_fits_on_eighty_columns() -> None:
    texts = [summary(), *(card(f"{opcode:02X}") for opcode in range(256))]
    assert max(len(line) for text in texts for line in text.splitlines()) <= 80


def test_no_column_runs_into_the_next() -> None:
    for text in (summary(), *(card(name) for name in mnemonics())):
        lines = text.splitlines()
        at = next(n for n, line in enumerate(lines) if line.startswith("op "))
        for line in lines[at + 1 :]:
            if not line:
                break
            fields = re.split(r"  +", line.strip())
            assert len(fields) == 6, line
            assert line.index(f"  {fields[5]}", 20) + 2 == lines[at].index("flags"), line


@pytest.mark.parametrize("name", ["MOVV", "100", "", "XYZ"])
def test_unknown_names_are_refused(name: str) -> None:
    with pytest.raises(UserError) as caught:
        card(name)
    assert "expected a mnemonic" in str(caught.value)


def test_no_compiler_is_loaded_for_it() -> None:
    code = (
        "import sys; from emu85.cli import main; main(['isa', 'MOV']); "
        "assert not {'numba', 'numpy', 'prompt_toolkit'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
