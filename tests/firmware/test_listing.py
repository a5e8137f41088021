from __future__ import annotations

from emu85.firmware import assemble

SOURCE = """\
; lamps
PORT    EQU 21H
        ORG 100H
BLINK   MACRO V
        MVI A,V
        OUT PORT
        ENDM
START:  BLINK 0FFH
        IF 0
        HLT
        ENDIF
        DB 'lamps on'
N       SET 3
SPACE:  DS 2
        END START
"""

LISTING = """\
Listing of lamps.asm

addr  bytes           line  source
                         1  ; lamps
=0021                    2  PORT    EQU 21H
0100                     3          ORG 100H
                         4  BLINK   MACRO V
                         5          MVI A,V
                         6          OUT PORT
                         7          ENDM
0100                     8  START:  BLINK 0FFH
0100  3E FF        +     5          MVI A,0FFH
0102  D3 21        +     6          OUT PORT
                         9          IF 0
                   -    10          HLT
                        11          ENDIF
0104  6C 61 6D 70       12          DB 'lamps on'
0108  73 20 6F 6E
=0003                   13  N       SET 3
010C                    14  SPACE:  DS 2
                        15          END START

Symbols

0003  set    N                        lamps.asm:13:1
0021  equ    PORT                     lamps.asm:2:1
010C  label  SPACE                    lamps.asm:14:1
0100  label  START                    lamps.asm:8:1
"""


def test_the_whole_listing() -> None:
    assert assemble(SOURCE, "lamps.asm").listing == LISTING


def test_rows_as_data() -> None:
    rows = assemble(SOURCE, "lamps.asm").rows
    assert [row.data for row in rows if row.expanded] == [b"\x3e\xff", b"\xd3\x21"]
    assert [row.source.line for row in rows if row.skipped] == [10]
