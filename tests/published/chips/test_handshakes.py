"""Parallel ports that talk to one another through their handshake lines, moved by firmware.

Two 8255As, and an 8255A and an 8155, are joined as the trade does it: the sender's "full"
strobes the receiver, the receiver's "full" acknowledges to the sender.

Sources: Intel 8255A/8255A-5 Programmable Peripheral Interface data sheet, mode 1 and mode 2
waveforms; Intel 8155/8156 data sheet, strobed input and output.  All values from memory.
"""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle

from .bench import Bench

MESSAGE = [0x00, 0xFF, 0x5A, 0xA5, 0x01, 0x80, 0x3C]
"""Each neighbour differs in many bits."""

ACROSS = """
ports:
  - {device: 8255A, name: tx, at: 20-23}
  - {device: 8255A, name: rx, at: 24-27}
  - {device: peripheral, name: watch, at: 30}
lines:
  rx.pa0-pa7: tx.pa0-pa7
  rx.pb0-pb7: tx.pb0-pb7
  rx.pc4: tx.pc7                # group A: OBF strobes
  tx.pc6: not rx.pc5            #          IBF acknowledges
  rx.pc2: tx.pc1                # group B, the same
  tx.pc2: not rx.pc1
"""

WATCHED = {
    "A": "  watch.p0: tx.pc7\n  watch.p1: rx.pc5\n  watch.p2: rx.pc3\n  watch.p3: tx.pc3\n",
    "B": "  watch.p0: tx.pc1\n  watch.p1: rx.pc1\n  watch.p2: rx.pc0\n  watch.p3: tx.pc0\n",
}
OBF, IBF, INTR_RX, INTR_TX = "p0", "p1", "p2", "p3"

# Control words: the group in mode 1, all else an input; set/reset words: INTE.
GROUPS = {
    "A": ("0A3H", "0B3H", "0DH", "09H", "0CH", "20H", "24H", "3"),
    "B": ("9DH", "9FH", "05H", "05H", "04H", "21H", "25H", "0"),
}


def message_of(bench: Bench, group: str) -> list[int]:
    """Send MESSAGE by interrupts, and give what was received, by interrupts too."""
    tx_word, rx_word, tx_on, rx_on, tx_off, out, into, _ = GROUPS[group]
    return bench.run(f"""
        JMP START
        ORG 2CH
        JMP SEND
        ORG 34H
        KEEP {into}             ; RST 6.5: a byte has come
        DCR C
        EI
        RET
        ORG 80H
SEND:   LDAX D                  ; RST 5.5: the sender is free
        INX D
        DCR B
        JM STOP
        OUT {out}
        EI
        RET
STOP:   PUT 23H, {tx_off}
        EI
        RET
START:  PUT 27H, {rx_word}
        PUT 23H, {tx_word}
        LXI D, TABLE
        MVI B, {len(MESSAGE)}
        MVI C, {len(MESSAGE)}
        PUT 27H, {rx_on}
        MVI A, 08H              ; no mask
        SIM
        EI
        PUT 23H, {tx_on}        ; the first INTR: the buffer is empty
WAIT:   MOV A, C
        ORA A
        JNZ WAIT
        JMP DONE
TABLE:  DB {", ".join(map(str, MESSAGE))}, 0
    """)


@pytest.mark.parametrize("group", "AB")
def test_mode_1_output_feeds_mode_1_input(group: str) -> None:
    """Every byte arrives once and in order; no flag stays up behind the last."""
    intr = GROUPS[group][-1]
    lines = f"  RST 6.5: rx.pc{intr}\n  RST 5.5: tx.pc{intr}\n"
    bench = Bench(ACROSS + WATCHED[group] + lines)
    assert message_of(bench, group) == MESSAGE
    assert bench.machine.findings.noted == []
    final = [bench.changes("watch", pin)[-1][1] for pin in (OBF, IBF, INTR_RX)]
    assert final == [1, 0, 0]


@pytest.mark.parametrize("group", "AB")
def test_the_waveforms_of_a_mode_1_pair(group: str) -> None:
    """WR: OBF falls (tWOB), the sender's INTR falls (tWIT).  STB low sets IBF (tSIB); ACK low
    sets OBF (tAOB), so STB rises, and the receiver's INTR with it (tSIT).  RD resets that INTR
    (tRIT) and IBF (tRIB); ACK rises, and the sender's INTR with it (tAIT).  No delay is
    modelled, so all that follows from one strobe has its T-state."""
    bench = Bench(ACROSS + WATCHED[group])
    tx_word, rx_word, tx_on, rx_on, _, out, into, _ = GROUPS[group]
    received = bench.run(f"""
        PUT 27H, {rx_word}
        PUT 23H, {tx_word}
        PUT 27H, {rx_on}
        PUT 23H, {tx_on}
        PUT {out}, 5AH
        NOP
        KEEP {into}
    """)
    assert received == [0x5A]
    (written,) = bench.ends_of(Cycle.IOW, int(out[:2], 16))
    (read,) = bench.ends_of(Cycle.IOR, int(into[:2], 16))
    changes = [(pin, level) for t, pin, level in bench.peripheral("watch").changes if t == written]
    assert sorted(changes[:2]) == [(OBF, 0), (INTR_TX, 0)]
    assert changes[2:] == [(IBF, 1), (OBF, 1), (INTR_RX, 1)]
    # A read is answered at the start of the T-state in which its cycle's data are taken.
    later = [(t, pin, level) for t, pin, level in bench.peripheral("watch").changes if t > written]
    assert sorted(later[:2]) == [(later[0][0], IBF, 0), (later[0][0], INTR_RX, 0)]
    assert [(pin, level) for _, pin, level in later[2:]] == [(INTR_TX, 1)]
    assert {t for t, _, _ in later} <= set(range(read - 3, read + 1))


BOTH_WAYS = """
ports:
  - {device: 8255A, name: p, at: 20-23}
  - {device: 8255A, name: q, at: 24-27}
lines:
  p.pa0-pa7: q.pa0-pa7
  q.pc4: p.pc7
  p.pc6: not q.pc5
  p.pc4: q.pc7
  q.pc6: not p.pc5
"""

MODE_2 = """
        JMP BEGIN
AWAIT   MACRO PORT              ; until IBF, PC5
        LOCAL AGAIN
AGAIN:  IN PORT
        ANI 20H
        JZ AGAIN
        ENDM
BEGIN:  PUT 23H, 0C3H           ; group A in mode 2, B and PC0-PC2 inputs
        PUT 27H, 0C3H
"""


def test_two_ports_in_mode_2_send_to_and_fro() -> None:
    """Mode 2: OBF strobes the other side, which acknowledges by IBF; ACK lets the data out.

    Neither drives the bus while the other one does, as long as they take turns."""
    bench = Bench(BOTH_WAYS)
    sent = [0x12, 0xED, 0x00, 0x7F]
    turns = "".join(
        f"""
        PUT 20H, {value}
        AWAIT 26H
        KEEP 24H                ; q takes it
        CMA
        OUT 24H                 ; and gives back its complement
        AWAIT 22H
        KEEP 20H
        """
        for value in sent
    )
    expected = [byte for value in sent for byte in (value, value ^ 0xFF)]
    assert bench.run(MODE_2, turns, "KEEP 22H\nKEEP 26H\n") == [*expected, 0x87, 0x87]
    assert bench.machine.findings.noted == []


def test_two_ports_in_mode_2_that_send_at_once_fight() -> None:
    """Each is acknowledged by the other's full input buffer, so both three-state buffers are
    enabled together: such a bus needs an arbiter."""
    bench = Bench(BOTH_WAYS)
    bench.run(MODE_2, "PUT 20H, 0F0H\nPUT 24H, 3CH\nNOP\n")  # before q has read
    fights = bench.machine.findings.noted
    assert {each.description for each in fights} == {"one output drives a wire high, another low"}
    assert len(fights) == 4  # the bits in which F0 and 3C differ


TO_8155 = """
ports:
  - {device: 8255A, name: ppi, at: 20-23}
  - {device: 8155, name: combo, at: 28-2F, memory-at: 9000-90FF}
lines:
  combo.pa0-pa7: ppi.pa0-pa7
"""


def test_an_8155_strobes_an_8255a() -> None:
    """8155 strobed output: BF rises with the write and falls with STB, INTR rises with STB's
    end.  8255A mode 1 input."""
    lines = "  ppi.pc4: not combo.pc1\n  combo.pc2: not ppi.pc5\n"
    bench = Bench(TO_8155 + lines)
    kept = bench.run("""
        PUT 23H, 0B3H           ; A mode 1 input
        PUT 23H, 09H            ; INTE
        PUT 28H, 15H            ; ALT 3, A output, its interrupt enabled
        KEEP 28H                ; 0 INTR and INTE: the buffer is empty
        PUT 29H, 0C3H
        KEEP 28H                ; 1 BF has gone up and down; INTR waits for the end of STB
        KEEP 22H                ; 2 IBF, INTE, INTR
        KEEP 20H                ; 3
        KEEP 28H                ; 4 INTR
        PUT 29H, 3CH
        KEEP 20H                ; 5
    """)
    assert [kept[n] & 0x07 for n in (0, 1, 4)] == [0b101, 0b100, 0b101]
    assert kept[2] & 0x38 == 0x38
    assert [kept[3], kept[5]] == [0xC3, 0x3C]
    assert bench.machine.findings.noted == []


def test_an_8255a_strobes_an_8155() -> None:
    """8255A mode 1 output; 8155 strobed input: BF rises with STB and falls with the read,
    INTR rises with STB's end and falls with the read."""
    lines = "  combo.pc2: ppi.pc7\n  ppi.pc6: not combo.pc1\n"
    bench = Bench(TO_8155 + lines)
    kept = bench.run("""
        PUT 28H, 14H            ; ALT 3, A input, its interrupt enabled
        PUT 23H, 0A3H           ; A mode 1 output
        PUT 23H, 0DH            ; INTE
        KEEP 28H                ; 0 INTE alone
        PUT 20H, 0C3H
        KEEP 28H                ; 1 BF, INTR
        KEEP 22H                ; 2 OBF high again, no INTR: ACK lasts till the byte is read
        KEEP 29H                ; 3
        KEEP 28H                ; 4
        KEEP 22H                ; 5 INTR
        PUT 20H, 3CH
        KEEP 29H                ; 6
    """)
    assert [kept[n] & 0x07 for n in (0, 1, 4)] == [0b100, 0b111, 0b100]
    assert [kept[n] & 0xC8 for n in (2, 5)] == [0xC0, 0xC8]
    assert [kept[3], kept[6]] == [0xC3, 0x3C]
    assert bench.machine.findings.noted == []
