"""Whatever is thrown at a reader, only UserError comes out."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.firmware import assemble, read_binary, read_hex, read_image, read_symbols
from emu85.firmware.reader import SUFFIXES

HEX_LIKE = st.text(":0123456789ABCDEFabcdef\r\n \x1a", max_size=120)
_SPELLED = (
    "ORG EQU SET DB DW DS IF ELSE ENDIF MACRO ENDM REPT IRP IRPC EXITM LOCAL INCLUDE END NUL "
    "HIGH LOW MOD SHL AND NOT EQ MOV MVI LXI RST JMP NOP A B M SP PSW X Y X: Y: 1 2 0FFH 'a' "
    "'it''s' ' , ( ) + - * / $ & < > % ; ;; : x&y \" \t \x00 é ²"
)
WORDS = st.sampled_from(_SPELLED.split(" "))
LINES = st.lists(st.lists(WORDS, max_size=7).map(" ".join), max_size=12).map("\n".join)
ANY_TEXT = st.text(max_size=200)


@settings(deadline=None)
@given(ANY_TEXT | HEX_LIKE)
def test_hex(text: str) -> None:
    with contextlib.suppress(UserError):
        read_hex(text, "any")


@settings(deadline=None)
@given(st.binary(max_size=40), st.integers(0, 255))
def test_hex_with_one_byte_changed(data: bytes, at: int) -> None:
    """Records that are nearly right reach further than random ones."""
    text = bytearray(b":0300300002337A1E\n:0400000300000030C9\n:00000001FF\n")
    for offset, byte in enumerate(data):
        text[(at + offset * 7) % len(text)] = byte
        with contextlib.suppress(UserError):
            read_hex(text.decode("latin-1"), "any")


@settings(max_examples=300, deadline=None)
@given(LINES | ANY_TEXT)
@example(" INCLUDE '\0'")
@example(" INCLUDE '.'")
@example(" INCLUDE '" + "x" * 5000 + "'")
@example("X MACRO\n X\n X\n ENDM\n X")
@example(" REPT 65535\n DS 65535\n ENDM")
@example(" REPT 65535\n REPT 65535\n ENDM\n ENDM")
@example("9" * 5000)
@example(" DB " + "9" * 5000)
@example(" DB " + "(" * 5000)
@example(" DB " + "NOT " * 5000)
@example("IF " * 5000)
def test_assembly(text: str) -> None:
    with contextlib.suppress(UserError):
        assemble(text, "any")


@settings(deadline=None)
@given(ANY_TEXT)
def test_symbols(text: str) -> None:
    with contextlib.suppress(UserError):
        read_symbols(text, "any")


@settings(deadline=None)
@given(st.binary(max_size=20), st.integers())
def test_binary(data: bytes, at: int) -> None:
    with contextlib.suppress(UserError):
        read_binary(data, at, "any")


@pytest.mark.parametrize("suffix", SUFFIXES)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.binary(max_size=200))
def test_files(suffix: str, data: bytes, tmp_path: Path) -> None:
    path = tmp_path / f"any{suffix}"
    path.write_bytes(data)
    with contextlib.suppress(UserError):
        read_image(path)
