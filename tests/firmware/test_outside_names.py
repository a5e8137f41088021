"""Names that a source uses and others define."""

from __future__ import annotations

import pytest

from emu85.firmware import AssemblyErrors, assemble

OUTSIDE = {"Delay": 0x0123, "COUNT": 5}


def test_they_stand_for_their_values_in_any_case() -> None:
    text = "NEXT EQU DELAY+1\n ORG DELAY\n CALL delay\n LXI H,NEXT\n MVI A,Count\n"
    image = assemble(text, outside=OUTSIDE).image
    # CALL is CD, LXI H 21, MVI A 3E (User's Manual, October 1979; values from memory).
    assert image.segments[0].start == 0x0123
    assert image.segments[0].data == bytes.fromhex("CD2301 212401 3E05")
    assert image.symbols == {"NEXT": 0x0124}


def test_what_the_source_defines_is_its_own() -> None:
    image = assemble(" JMP DELAY\nDELAY: HLT\n", outside=OUTSIDE).image
    assert image.segments[0].data == bytes.fromhex("C30300 76")


def test_an_equated_name_may_mix_them_with_what_follows() -> None:
    image = assemble("FAR EQU HERE+COUNT\n LXI H,FAR\nHERE: HLT\n", outside=OUTSIDE).image
    assert image.segments[0].data == bytes.fromhex("210800 76")


def test_one_that_is_defined_further_down_is_not_taken_from_outside_in_silence() -> None:
    with pytest.raises(AssemblyErrors, match="phase error: FAR is 0006 here and was 0123"):
        assemble("FAR EQU DELAY\n LXI H,FAR\n JMP FAR\nDELAY: HLT\n", outside=OUTSIDE)


def test_they_are_offered_as_the_nearest() -> None:
    with pytest.raises(AssemblyErrors, match="did you mean 'Delay'") as caught:
        assemble(" CALL DELYA\n", "s.asm", outside=OUTSIDE)
    assert (caught.value.place.line, caught.value.place.column) == (1, 7)


def test_code_begins_where_it_is_told_unless_org_says_otherwise() -> None:
    image = assemble("HERE: JMP HERE\n ORG 200H\n NOP\n", start=0x0100).image
    assert [(each.start, each.data.hex()) for each in image.segments] == [
        (0x0100, "c30001"),
        (0x0200, "00"),
    ]
