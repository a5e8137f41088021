"""The 8355 and 8755A driven by firmware that runs from their own ROM.

Source: Intel 8355/8355-2 16,384-bit ROM with I/O and 8755A/8755A-2 16,384-bit EPROM
with I/O data sheets; the section each check rests on is named beside it.  All values
from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from emu85.bus.cycles import Cycle
from emu85.cpu.layout import FindingKind
from emu85.errors import UserError

from .bench import Bench

HEAD = """
name: bench
crystal: 6 MHz
memory:
  - {ram: 1K, at: 8000}
"""

BOARD = """
ports:
  - {device: 8355, name: rom, at: 00-03, memory-at: 0000-07FF}
  - {device: far side, name: side a, at: 30}
  - {device: far side, name: side b, at: 31}
lines:
  rom.pa0-pa7: side a.p0-p7
  rom.pb0-pb7: side b.p0-p7
"""

NAMES = """
PA      EQU 0           ; A1 A0: 00 port A, 01 port B, 10 DDR A, 11 DDR B
PB      EQU 1
DDRA    EQU 2
DDRB    EQU 3
SIDEA   EQU 30H
SIDEB   EQU 31H
"""


@pytest.fixture(params=["8355", "8755"])
def bench(request: pytest.FixtureRequest) -> Bench:
    return Bench(BOARD.replace("8355", request.param), head=HEAD)


def test_reset_makes_all_pins_inputs(bench: Bench) -> None:
    """Pin description, RESET: 'all pins in ports A and B assume input mode'."""
    kept = bench.run(
        NAMES,
        """
        KEEP SIDEA          ; nobody drives: the pull-ups are seen
        KEEP SIDEB
        PUT SIDEA, 5AH
        PUT SIDEB, 0C3H
        KEEP PA
        KEEP PB
    """,
    )
    assert kept == [0xFF, 0xFF, 0x5A, 0xC3]


def test_each_bit_has_its_direction(bench: Bench) -> None:
    """Data direction register: a 0 makes the pin an input, a 1 an output; a port read
    gives both kinds of bits.
    """
    kept = bench.run(
        NAMES,
        """
        PUT SIDEA, 33H
        PUT SIDEB, 33H
        PUT DDRA, 0FH
        PUT DDRB, 0F0H
        PUT PA, 55H
        PUT PB, 55H
        KEEP PA
        KEEP SIDEA
        KEEP PB
        KEEP SIDEB
    """,
    )
    assert kept == [0x35, 0xF5, 0x53, 0x5F]


def test_a_write_loads_all_bits_of_the_latch(bench: Bench) -> None:
    """I/O section: 'all I/O bits of the selected port are affected, regardless of their
    I/O mode'; they come out when the direction changes.
    """
    kept = bench.run(
        NAMES,
        """
        PUT PA, 96H
        KEEP SIDEA
        PUT DDRA, 0FFH
        KEEP SIDEA
        PUT DDRA, 00H
        KEEP SIDEA
    """,
    )
    assert kept == [0xFF, 0x96, 0xFF]


def test_the_ports_are_apart(bench: Bench) -> None:
    """I/O section: the two ports have a latch and a direction register each."""
    kept = bench.run(
        NAMES,
        """
        PUT DDRB, 0FFH
        PUT PB, 12H
        PUT PA, 34H
        KEEP SIDEB
        KEEP SIDEA
    """,
    )
    assert kept == [0x12, 0xFF]


def test_an_output_changes_at_the_end_of_the_write(bench: Bench) -> None:
    """I/O section: 'the actual output level does not change until IOW returns high'."""
    bench.run(NAMES, "PUT DDRA, 01H\nPUT PA, 01H\nPUT PA, 03H\nPUT PA, 0\n")
    first, _, last = bench.ends_of(Cycle.IOW, 0x00)
    (directed,) = bench.ends_of(Cycle.IOW, 0x02)
    assert bench.changes("side a", "p0")[-3:] == [(directed, 0), (first, 1), (last, 0)]
    assert [level for _, level in bench.changes("side a", "p1")] == [1]


def test_direction_registers_cannot_be_read(bench: Bench) -> None:
    """I/O section: they are written only; that the bus then floats is our choice."""
    assert bench.run(NAMES, "PUT DDRA, 5AH\nKEEP DDRA\nKEEP DDRB\n") == [0xFF, 0xFF]


def test_reset_clears_the_directions(bench: Bench) -> None:
    """Pin description, RESET.  That the output latch keeps its bits is our choice."""
    bench.run(NAMES, "PUT DDRA, 0FFH\nPUT PA, 42H\n")
    bench.machine.reset()
    assert bench.run(NAMES, "KEEP SIDEA\nPUT DDRA, 0FFH\nKEEP SIDEA\n") == [0xFF, 0x42]


def test_the_memory_is_a_rom_of_2k(bench: Bench) -> None:
    """Features: 2048 words x 8 bits; a write to it is lost."""
    kept = bench.run(
        NAMES,
        """
        MVI A, 77H
        STA MARK
        LDA MARK
        MOV M, A
        INX H
        JMP DONE
        ORG 7FFH
MARK:   DB 5DH
        ORG 700H
    """,
    )
    assert kept == [0x5D]
    assert FindingKind.ROM_WRITE in [finding.kind for finding in bench.machine.findings]
    beyond = bench.machine.board.memory_map()[1]
    assert (beyond.kind, beyond.low) == ("gap", 0x800)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("memory-at: 0000-07FF", "image: gone.bin, memory-at: 0000-07FF"), ["gone.bin", ":8:"]),
        (("rom.pa0-pa7: side a", "rom.pc0-pc7: side a"), ["'pc0'", "bench.yaml:12:3"]),
        (("memory-at: 0000-07FF", "memory-at: F900"), ["2048 addresses", "bench.yaml:8:"]),
    ],
)
def test_mistakes_in_the_board_file(change: tuple[str, str], told: Sequence[str]) -> None:
    with pytest.raises(UserError) as caught:
        Bench(BOARD.replace(*change), head=HEAD)
    assert all(part in str(caught.value) for part in told), str(caught.value)
