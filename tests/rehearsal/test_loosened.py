"""Lines as patterns: the exact ones meet the line alone, the loose ones what moves as well."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu85.rehearsal.loosened import exact_patterns, loose_patterns
from emu85.rehearsal.patterns import read_pattern


def meets(quoted: str, line: str) -> bool:
    return read_pattern(quoted[1:-1]).matches(map(ord, line.strip()))


SAME = [
    (
        "  6145401 MW    1010 0000 0000 1011 A00B 1011 0010 B2 001 01000011 .",
        "      401 MW    1010 0000 0000 1100 A00C 1011 0010 B2 001 00000011 .",
    ),
    (
        "  1  armed    on MW at LEVEL (on MW at A00B)   1 hit, last at T-state 6145401",
        "  1  armed    on MW at LEVEL (on MW at A00C)   1 hit, last at T-state 77",
    ),
    ("    A00B  B2        LEVEL:       ORA D", "    A013  B2        LEVEL:       ORA D"),
    ("PC  004A  32 0B A0               STA LEVEL", "PC  004B  32 0C A0               STA LEVEL"),
    ("0 of 12 machine cycles, in 3 ms", "0 of 14 machine cycles, in 0 ms"),
    ("  A00B  LEVEL", "  A00D  LEVEL"),
]
OTHER = [
    (
        "  6145401 MW    1010 0000 0000 1011 A00B 1011 0010 B2 001 01000011 .",
        "  6145401 MW    1010 0000 0000 1011 A00B 1011 0011 B3 001 01000011 .",
    ),
    (
        "  1  armed    on MW at LEVEL   1 hit, last at T-state 6145401",
        "  1  armed    on MW at LEVEL   2 hits, last at T-state 6145401",
    ),
    ("    A00B  B2        LEVEL:       ORA D", "    A00B  B1        LEVEL:       ORA C"),
    ("0 of 12 machine cycles, in 3 ms", "1 of 12 machine cycles, in 3 ms"),
    ("  A00B  LEVEL", "  A00B  LEVELS"),
]


@pytest.mark.parametrize(("line", "other"), SAME)
def test_what_moves_from_build_to_build_is_loose(line: str, other: str) -> None:
    (loose,), (exact,) = loose_patterns([line]), exact_patterns([line])
    assert meets(loose, line) and meets(loose, other)
    assert meets(exact, line)
    assert not meets(exact, other)


@pytest.mark.parametrize(("line", "other"), OTHER)
def test_what_somebody_looks_for_is_not(line: str, other: str) -> None:
    (loose,) = loose_patterns([line])
    assert meets(loose, line) and not meets(loose, other)


def test_wall_time_is_never_told() -> None:
    (exact,) = exact_patterns(["3 of 9 machine cycles, in 3 ms; 7 older ones are forgotten"])
    assert meets(exact, "3 of 9 machine cycles, in 41 ms; 7 older ones are forgotten")
    assert not meets(exact, "3 of 9 machine cycles, in 3 ms; 8 older ones are forgotten")


@given(st.lists(st.text(st.characters(codec="latin-1", exclude_categories=["Cc"])), max_size=3))
def test_every_line_meets_its_patterns(lines: list[str]) -> None:
    said = [line for line in lines if line.strip()]
    exact = list(exact_patterns(said))
    assert len(exact) == len(said)
    assert all(meets(pattern, line) for pattern, line in zip(exact, said, strict=True))
    for line in said:
        assert all(meets(pattern, line) for pattern in loose_patterns([line]))
