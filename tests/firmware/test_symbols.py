from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.firmware import read_names, read_symbols, write_symbols

NAMES = st.from_regex(r"[A-Za-z_?@][A-Za-z0-9_?@$]{0,8}", fullmatch=True)


def test_reads_lines() -> None:
    text = "; board\nStart\t0100\n\n  loop?  1F ; inner\r\n@x$\tffff\n"
    assert read_symbols(text) == {"Start": 0x100, "loop?": 0x1F, "@x$": 0xFFFF}


@settings(deadline=None)
@given(st.dictionaries(NAMES, st.integers(0, 0xFFFF), max_size=20))
def test_comes_back_as_it_went(symbols: dict[str, int]) -> None:
    different = {name.upper(): (name, value) for name, value in symbols.items()}
    kept = dict(different.values())
    again = read_symbols(write_symbols(kept))
    assert list(again.items()) == list(kept.items())


@pytest.mark.parametrize(
    ("text", "line", "column", "message"),
    [
        ("A1\t1\n9X\t2", 2, 1, "'9X' is not a symbol name"),
        ("$X\t2", 1, 1, "'$X' is not a symbol name"),
        ("NAME", 1, 5, "NAME has no value"),
        ("NAME\t12345", 1, 6, "'12345' is not a value"),
        ("NAME\t0G", 1, 6, "'0G' is not a value"),
        ("NAME 1 2", 1, 8, "more than a name and a value"),
        ("one 1\n ONE 2", 2, 2, "ONE already has a value from line 1"),
    ],
)
def test_faults(text: str, line: int, column: int, message: str) -> None:
    with pytest.raises(UserError) as caught:
        read_symbols(text, "a.sym")
    place = caught.value.place
    assert (place.file, place.line, place.column) == ("a.sym", line, column)
    assert message in caught.value.message


def test_a_name_that_is_no_place_is_marked() -> None:
    text = write_symbols({"LOOP": 0x100, "RATE": 4}, {"RATE"})
    assert text == "LOOP\t0100\nRATE\t0004\tequ\n"
    names = read_names(text)
    assert names.values == {"LOOP": 0x100, "RATE": 4}
    assert names.equated == {"RATE"}
