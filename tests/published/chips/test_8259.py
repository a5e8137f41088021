"""The 8259A driven by firmware over the bus, in its MCS-80/85 mode.

Source: Intel 8259A Programmable Interrupt Controller data sheet, and application note
AP-59; the part each check rests on is named beside it.  All values from memory.

Each service routine notes its level when it begins and its level + 80H when it ends,
so the notes tell in what order requests were served and which ran inside which.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle
from emu85.cpu.layout import IO_BASE

from .bench import Bench

BOARD = """
ports:
  - {device: 8259A, name: pic, at: 40-41}
  - {device: peripheral, name: requests, at: 30}
  - {device: peripheral, name: jam, at: 31}
lines:
  INTR: {any: [pic.int, not jam.q0]}
  pic.ir0-ir7: requests.q0-q7
"""

NAMES = """
REQ     EQU 30H
JAM     EQU 31H
PIC     EQU 40H
PICMASK EQU 41H
SLAVE   EQU 50H
WAIT    MACRO N             ; time for services to run
        REPT N
        NOP
        ENDM
        ENDM
"""

NON_SPECIFIC = "PUT PIC, 20H\n"
ALONE_BY_4, ALONE_BY_8 = 0x16, 0x12
"""ICW1: edges, one controller, no ICW4, addresses 4 or 8 apart."""


def services(
    bodies: Mapping[int, str] | None = None,
    ends: str = NON_SPECIFIC,
    *,
    table: int = 0x100,
    apart: int = 4,
    code: int = 0x200,
    noted: int = 0,
    own_end: int | None = None,
) -> str:
    """The table of jumps and the routines; a body may act while its level is in service.

    The body of level ``own_end`` sees to its end of interrupt by itself.
    """
    jumps, routines = "", f"ORG {code}\n"
    for level in range(8):
        name, number = f"T{table:X}L{level}", level + noted
        jumps += f"ORG {table + apart * level}\nJMP {name}\n"
        routines += f"""
{name}: PUSH PSW
        MVI M, {number}
        INX H
        {(bodies or {}).get(level, "")}
        {"" if level == own_end else ends}
        MVI M, {number + 0x80}
        INX H
        POP PSW
        EI
        RET
"""
    return jumps + routines


def start(icw1: int = ALONE_BY_4, icw2: int = 1, icw4: int | None = None) -> str:
    """No request, then the initialization sequence."""
    words = f"PUT REQ, 0\nPUT PIC, {icw1}\nPUT PICMASK, {icw2}\n"
    return words if icw4 is None else words + f"PUT PICMASK, {icw4}\n"


def run(main: str, routines: str = "", board: str = BOARD) -> tuple[Bench, list[int]]:
    """Run ``main`` after the routines are in place; the bench, and what was noted."""
    bench = Bench(board)
    return bench, bench.run(NAMES + "JMP MAIN\n" + routines + "ORG 600H\nMAIN:\n" + main)


def notes(main: str, routines: str = "", board: str = BOARD) -> list[int]:
    """What was noted."""
    return run(main, routines, board)[1]


def acknowledged(bench: Bench) -> list[int]:
    """The bytes on the bus in INTA cycles, in order."""
    records = bench.machine.trace.all()
    return [int(byte) for byte in records["data"][records["type"] == Cycle.INA]]


def whole(*levels: int) -> list[int]:
    """The notes of services that run one after the other."""
    return [note for level in levels for note in (level, level + 0x80)]


# --- the CALL -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("icw1", "apart", "page"), [(0xE0 | ALONE_BY_4, 4, 0x5E0), (0xE0 | ALONE_BY_8, 8, 0x5C0)]
)
def test_the_call_and_its_addresses(icw1: int, apart: int, page: int) -> None:
    """Three INTA cycles: CD; A7-A5 of ICW1 (A7-A6 if 8 apart), the level; A15-A8 of ICW2."""
    each = "".join(f"PUT REQ, {1 << level}\nWAIT 2\nPUT REQ, 0\n" for level in range(8))
    bench, noted = run(
        start(icw1, 5) + "EI\n" + each, services(table=page, apart=apart, code=0x200)
    )
    assert noted == whole(*range(8))
    expected = [byte for level in range(8) for byte in (0xCD, (page & 0xFF) + apart * level, 5)]
    assert acknowledged(bench) == expected


def test_icw4_may_be_asked_for() -> None:
    """ICW1 bit 0: ICW4 follows ICW2 of a single controller; then A0 = 1 is OCW1."""
    noted = notes(start(ALONE_BY_4 | 1, 1, 0x00) + "PUT PICMASK, 5AH\nKEEP PICMASK\n")
    assert noted == [0x5A]


def test_icw1_starts_afresh() -> None:
    """ICW1 clears IMR and the edge sense, makes IR7 lowest, ends special mask mode and
    selects IRR for reading: a level already high has to rise again."""
    noted = notes(
        start()
        + """
        PUT PICMASK, 0FFH
        PUT PIC, 0C3H       ; IR3 lowest
        PUT PIC, 0BH        ; read ISR
        PUT REQ, 18H
        PUT PIC, 16H
        PUT PICMASK, 1
        KEEP PICMASK
        KEEP PIC            ; IRR
        PUT REQ, 00H
        PUT REQ, 18H
        KEEP PIC
        EI
        WAIT 2
        """,
        services(),
    )
    assert noted == [0, 0, 0x18, *whole(3, 4)]


# --- priorities -----------------------------------------------------------------------------


def test_requests_at_once_are_served_by_priority() -> None:
    """Fully nested mode: IR0 is the highest, IR7 the lowest."""
    noted = notes(start() + "PUT REQ, 0FFH\nEI\nWAIT 8\n", services())
    assert noted == whole(*range(8))


def test_fully_nested() -> None:
    """While a level is in service only higher ones interrupt; the others wait for its EOI."""
    body = "PUT REQ, 54H\nEI\nWAIT 4\nDI\n"
    noted = notes(start() + "EI\nPUT REQ, 10H\nWAIT 4\n", services({4: body}))
    assert noted == [4, *whole(2), 0x84, *whole(6)]


def test_masked_requests_wait() -> None:
    """OCW1: a 1 holds off its input; the request stays in IRR and is served when unmasked."""
    noted = notes(
        start()
        + """
        PUT PICMASK, 0FBH
        KEEP PICMASK
        EI
        PUT REQ, 0EH
        WAIT 4
        KEEP PIC            ; IRR
        PUT PICMASK, 00H
        WAIT 4
        """,
        services(),
    )
    assert noted == [0xFB, *whole(2), 0x0A, *whole(1, 3)]


def test_irr_and_isr() -> None:
    """OCW3: 0A selects IRR, 0B ISR, and the choice stays; IRR is what is read at first."""
    body = """
        PUT REQ, 0B0H
        KEEP PIC            ; IRR: 7 and 5; 4 was taken
        PUT PIC, 0BH
        KEEP PIC
        KEEP PIC
        PUT PIC, 0AH
        KEEP PIC
        """
    noted = notes(start() + "EI\nPUT REQ, 10H\nWAIT 4\n", services({4: body}))
    assert noted == [4, 0xA0, 0x10, 0x10, 0xA0, 0x84, *whole(5, 7)]


# --- end of interrupt -----------------------------------------------------------------------


NESTED_2_IN_4 = {4: "PUT REQ, 14H\nEI\nWAIT 2\nDI\n"}
READ_ISR = "PUT PIC, 0BH\nKEEP PIC\n"


@pytest.mark.parametrize(
    ("command", "left"), [(0x20, 0x10), (0x62, 0x10), (0x64, 0x04)], ids=["20", "62", "64"]
)
def test_end_of_interrupt(command: int, left: int) -> None:
    """Non-specific EOI resets the highest level in service, specific EOI the one named."""
    bodies = {**NESTED_2_IN_4, 2: READ_ISR + f"PUT PIC, {command}\nKEEP PIC\n"}
    noted = notes(start() + "EI\nPUT REQ, 10H\nWAIT 4\n", services(bodies, ends="PUT PIC, 20H\n"))
    assert noted[:4] == [4, 2, 0x14, left]


def test_automatic_end_of_interrupt() -> None:
    """ICW4 bit 1: the level is out of service after the last INTA, so that any other may
    interrupt the routine as soon as interrupts are enabled."""
    body = READ_ISR + "PUT REQ, 44H\nEI\nWAIT 2\nDI\n"
    noted = notes(
        start(ALONE_BY_4 | 1, 1, 0x02) + "EI\nPUT REQ, 04H\nWAIT 4\n",
        services({2: body}, ends=""),
    )
    assert noted == [2, 0x00, *whole(6), 0x82]


# --- rotation -------------------------------------------------------------------------------


def test_rotate_on_non_specific_eoi() -> None:
    """AP-59's example: IR4 and IR6 in service; the command resets IS4 and makes IR4 lowest,
    IR5 highest.  IR6 in service then holds back IR7 but not IR5."""
    bodies = {
        6: "PUT REQ, 50H\nEI\nWAIT 2\n" + READ_ISR + "PUT REQ, 0E0H\nWAIT 4\nDI\n",
        4: "PUT PIC, 0A0H\n" + READ_ISR,
    }
    noted = notes(start() + "EI\nPUT REQ, 40H\nWAIT 4\n", services(bodies, own_end=4))
    assert noted == [6, 4, 0x40, 0x84, 0x40, *whole(5), 0x86, *whole(7)]


def test_rotation_shares_time_between_equals() -> None:
    """With rotation on each EOI a device is served once before another is served twice."""
    again = "PUT REQ, 02H\nPUT REQ, 03H\n"
    for command, order in (("20H", (0, 0, 0, 1)), ("0A0H", (0, 1, 0))):
        three = f"MOV A, L\nCPI 4\nJNC $+11\n{again}"
        noted = notes(
            start() + "PUT REQ, 03H\nEI\nWAIT 4\n",
            services({0: three}, ends=f"PUT PIC, {command}\n"),
        )
        assert noted == whole(*order), command


@pytest.mark.parametrize("command", [0xC5, 0xE5], ids=["set priority", "rotate on specific EOI"])
def test_the_lowest_priority_can_be_named(command: int) -> None:
    """'If IR5 is programmed as the bottom priority device, then IR6 will have the highest
    one'; rotate on specific EOI does that and resets IS5 as well."""
    noted = notes(
        start() + f"PUT PIC, {command}\nPUT REQ, 0FFH\nEI\nWAIT 8\n",
        services(),
    )
    assert noted == whole(6, 7, 0, 1, 2, 3, 4, 5)


def test_rotate_on_specific_eoi_ends_that_level() -> None:
    """The other half of the command."""
    bodies = {4: READ_ISR + "PUT PIC, 0E4H\nKEEP PIC\n"}
    noted = notes(start() + "EI\nPUT REQ, 10H\nWAIT 4\n", services(bodies, ends=""))
    assert noted == [4, 0x10, 0x00, 0x84]


@pytest.mark.parametrize(
    ("command", "order"), [(0x80, (0, 1, 0)), (0x00, (0, 0, 0, 1))], ids=["set", "clear"]
)
def test_rotate_in_automatic_eoi(command: int, order: tuple[int, ...]) -> None:
    """OCW2 80 sets and 00 clears the rotation that goes with automatic EOI."""
    again = "MOV A, L\nCPI 4\nJNC $+11\nPUT REQ, 02H\nPUT REQ, 03H\n"
    noted = notes(
        start(ALONE_BY_4 | 1, 1, 0x02)
        + f"PUT PIC, 80H\nPUT PIC, {command}\nPUT REQ, 03H\nEI\nWAIT 4\n",
        services({0: again}, ends=""),
    )
    assert noted == whole(*order)


# --- special mask mode, poll ----------------------------------------------------------------


def test_special_mask_mode() -> None:
    """'When a mask bit is set in OCW1 it inhibits further interrupts at that level and
    enables interrupts from all other levels, lower as well as higher'.  Non-specific EOI
    does not clear a level in service that is masked."""
    body = """
        PUT PICMASK, 10H
        PUT PIC, 68H        ; set special mask
        PUT REQ, 0D4H
        EI
        WAIT 4
        DI
        PUT PIC, 48H        ; reset it
        PUT PICMASK, 00H
        """
    noted = notes(
        start() + "EI\nPUT REQ, 10H\nWAIT 4\nPUT PIC, 0BH\nKEEP PIC\n", services({4: body})
    )
    assert noted == [4, *whole(2, 6, 7), 0x84, 0x00]


def test_poll() -> None:
    """OCW3 with bit 2: the next read is the acknowledge; bit 7 and the level, which goes
    into service.  00 with no request is our choice."""
    noted = notes(
        start()
        + """
        PUT REQ, 28H
        PUT PIC, 0BH        ; read ISR
        PUT PIC, 0CH        ; poll
        KEEP PIC
        KEEP PIC            ; ISR again
        PUT PIC, 0CH
        KEEP PIC            ; IR5 is held back
        PUT PIC, 20H
        PUT PIC, 0CH
        KEEP PIC
        KEEP PIC
        """
    )
    assert noted == [0x83, 0x08, 0x00, 0x85, 0x20]


def test_special_mask_mode_and_the_level_itself() -> None:
    """The level in service does not interrupt itself, masked or not; once it is unmasked it
    holds back lower ones again, until its EOI.  Requests that had to wait are kept."""
    body = """
        MOV A, L
        CPI 2
        JNC AGAIN
        PUT PICMASK, 10H
        PUT PIC, 68H        ; set special mask
        PUT REQ, 00H
        PUT REQ, 50H        ; IR4 again, and IR6
        EI
        WAIT 4
        PUT PICMASK, 00H
        PUT REQ, 74H        ; IR5 waits, IR2 does not
        WAIT 4
        DI
AGAIN:  NOP
        """
    noted = notes(start() + "EI\nPUT REQ, 10H\nWAIT 4\n", services({4: body}))
    assert noted == [4, *whole(6, 2), 0x84, *whole(4, 5)]


def test_rotation_in_automatic_eoi_goes_round() -> None:
    """Eight levels that all ask without end, rotation in automatic EOI: each in its turn."""
    last = "MOV A, L\nCPI 21\nJC $+7\nPUT REQ, 00H\n"
    noted = notes(
        start(ALONE_BY_4 | 9, 1, 0x02) + "PUT PIC, 80H\nPUT REQ, 0FFH\nEI\nWAIT 4\n",
        services(dict.fromkeys(range(8), last), ends=""),
    )
    assert noted == whole(*range(8), 0, 1, 2)


def test_a_level_in_service_lets_higher_ones_by_after_rotation() -> None:
    """Set priority while a level is in service: what is higher from then on interrupts it."""
    bodies = {2: "PUT PIC, 0C4H\nPUT REQ, 0E6H\nEI\nWAIT 6\nDI\n"}  # IR4 lowest
    noted = notes(start() + "EI\nPUT REQ, 04H\nWAIT 6\n", services(bodies, ends="PUT PIC, 20H\n"))
    # IR5 is the highest; IR1 stands before IR2 still.
    assert noted == [2, *whole(5, 6, 7, 1), 0x82]


# --- triggering -----------------------------------------------------------------------------


def test_an_edge_is_served_once() -> None:
    """ICW1 bit 3 = 0: a high input asks again only after it was low."""
    noted = notes(
        start() + "EI\nPUT REQ, 20H\nWAIT 4\nPUT REQ, 00H\nPUT REQ, 20H\nWAIT 4\n", services()
    )
    assert noted == whole(5, 5)


def test_an_edge_must_last_until_the_acknowledge() -> None:
    """'The IR inputs must remain high until after the falling edge of the first INTA'."""
    noted = notes(
        start() + "PUT REQ, 20H\nKEEP PIC\nPUT REQ, 00H\nKEEP PIC\nEI\nWAIT 4\n", services()
    )
    assert noted == [0x20, 0x00]


def test_an_edge_that_falls_as_the_cpu_decides_gives_ir7() -> None:
    """INTR was sampled, then the input fell before INTA: 'a default IR7 will occur', with
    no bit in ISR.  EI's shadow ends with the OUT that takes IR5 away."""
    bench, noted = run(
        start() + "PUT REQ, 20H\nXRA A\nEI\nOUT REQ\nWAIT 4\n",
        services({7: READ_ISR}),
    )
    assert noted == [7, 0x00, 0x87]
    assert acknowledged(bench) == [0xCD, 0x1C, 1]


def test_a_level_is_served_again_after_its_eoi() -> None:
    """ICW1 bit 3 = 1: 'the interrupt request must be removed before the EOI'."""
    drop = "MOV A, L\nCPI 4\nJC $+7\nPUT REQ, 00H\n"
    noted = notes(start(ALONE_BY_4 | 8) + "EI\nPUT REQ, 20H\nWAIT 4\n", services({5: drop}))
    assert noted == whole(5, 5, 5)


def test_an_acknowledge_with_no_request_gives_ir7() -> None:
    """'A default IR7': its CALL, with no bit in ISR, by which the routine can tell."""
    bodies = {7: "PUT JAM, 0FFH\n" + READ_ISR}
    noted = notes(start() + "EI\nPUT JAM, 0FEH\nWAIT 4\n", services(bodies))
    assert noted == [7, 0x00, 0x87]


# --- cascade --------------------------------------------------------------------------------


CASCADE = """
ports:
  - {device: 8259A, name: master, at: 40-41}
  - {device: 8259A, name: slave, at: 50-51}
  - {device: peripheral, name: requests, at: 30}
  - {device: peripheral, name: more, at: 31}
lines:
  INTR: master.int
  master.ir0-ir2: requests.q0-q2
  master.ir3: slave.int
  master.ir4-ir7: requests.q4-q7
  slave.ir0-ir7: more.q0-q7
  slave.cas0-cas2: master.cas0-cas2
  requests.p0-p2: master.cas0-cas2
  more.p0: slave.int
"""
STRAPPED = CASCADE + "  slave.sp: low\n"


def start_both(master_icw4: int = 0x00, slave_icw4: int = 0x00) -> str:
    """Slave 3 at IR3; calls to 0100 and 0140."""
    return f"""
        PUT REQ, 0
        PUT JAM, 0
        PUT 50H, 55H
        PUT 51H, 1
        PUT 51H, 3          ; ICW3 of a slave: its number
        PUT 51H, {slave_icw4}
        PUT 40H, 15H
        PUT 41H, 1
        PUT 41H, 08H        ; ICW3 of a master: which inputs have slaves
        PUT 41H, {master_icw4}
        EI
        """


def both_services(
    master: Mapping[int, str] | None = None, slave: Mapping[int, str] | None = None
) -> str:
    """Routines of both; the slave's are noted with 10H added, and end with two EOI."""
    return services(master) + services(
        slave, "PUT 50H, 20H\nPUT 40H, 20H\n", table=0x140, code=0x400, noted=0x10
    )


@pytest.mark.parametrize(
    ("board", "master_icw4", "slave_icw4"),
    [(STRAPPED, 0x00, 0x00), (CASCADE, 0x0C, 0x08)],
    ids=["SP", "buffered mode"],
)
def test_the_slave_gives_the_address(board: str, master_icw4: int, slave_icw4: int) -> None:
    """The master gives CD and puts the slave's number on CAS from the trailing edge of the
    first INTA to that of the third; the slave gives bytes 2 and 3.  A level of the
    master's own leaves CAS low."""
    bench, noted = run(
        start_both(master_icw4, slave_icw4)
        + "PUT JAM, 20H\nWAIT 2\nPUT REQ, 20H\nWAIT 2\nPUT JAM, 0\nPUT JAM, 80H\nWAIT 2\n",
        both_services(),
        board,
    )
    assert noted == whole(0x15, 5, 0x17)
    assert acknowledged(bench) == [0xCD, 0x54, 1, 0xCD, 0x14, 1, 0xCD, 0x5C, 1]
    records = bench.machine.trace.all()
    inta = [int(t) for t in records["t"][records["type"] == Cycle.INA]]
    for pin, levels in (("p0", (1, 0, 1, 0)), ("p1", (1, 0, 1, 0)), ("p2", ())):
        # INTA is low in T2 and T3.
        at = zip((inta[0] + 3, inta[2] + 3, inta[6] + 3, inta[8] + 3), levels, strict=False)
        assert [c for c in bench.changes("requests", pin) if c[0] >= inta[0]] == list(at)


def test_a_slave_holds_back_its_own_lower_levels_only() -> None:
    """The master sees one level for the whole slave: a higher one of the same slave waits
    for the EOI, a higher one of the master does not."""
    body = "PUT JAM, 22H\nPUT REQ, 02H\nEI\nWAIT 4\nDI\n"
    noted = notes(start_both() + "PUT JAM, 20H\nWAIT 4\n", both_services(slave={5: body}), STRAPPED)
    assert noted == [0x15, *whole(1), 0x95, *whole(0x11)]


def test_special_fully_nested_mode() -> None:
    """ICW4 bit 4 in the master: higher requests of a slave in service are let through; the
    routine sends the master its EOI only when the slave has nothing left in service."""
    end_of_slave = """
        PUT 50H, 20H
        PUT 50H, 0BH
        IN 50H
        ANA A
        JNZ $+7
        PUT 40H, 20H
        """
    body = "PUT JAM, 0A2H\nEI\nWAIT 4\nDI\n"
    routines = services() + services({5: body}, end_of_slave, table=0x140, code=0x400, noted=0x10)
    noted = notes(start_both(0x10) + "PUT JAM, 20H\nWAIT 4\n", routines, STRAPPED)
    assert noted == [0x15, *whole(0x11), 0x95, *whole(0x17)]


def test_special_fully_nested_mode_and_the_levels_of_the_master() -> None:
    """Only levels with slaves are let through twice; a level of the master's own waits for
    its EOI as ever, and priorities between levels hold."""
    again = "MOV A, L\nCPI 2\nJNC $+13\nPUT REQ, 00H\nPUT REQ, 02H\nEI\nWAIT 4\nDI\n"
    noted = notes(
        start_both(0x10) + "PUT REQ, 02H\nWAIT 4\n",
        both_services({1: again.replace("$+13", "ONCE") + "ONCE: NOP\n"}),
        STRAPPED,
    )
    assert noted == whole(1, 1)
    body = "PUT REQ, 22H\nEI\nWAIT 4\nDI\n"
    noted = notes(
        start_both(0x10) + "PUT JAM, 20H\nWAIT 4\n", both_services(slave={5: body}), STRAPPED
    )
    assert noted == [0x15, *whole(1), 0x95, *whole(5)]


def test_a_slave_rotates_its_own_levels() -> None:
    """Rotate on non-specific EOI in the slave shares its level of the master."""
    again = "MOV A, L\nCPI 4\nJNC ONCE\nPUT JAM, 02H\nPUT JAM, 03H\nONCE: NOP\n"
    for command, order in (("20H", (0, 0, 0, 1)), ("0A0H", (0, 1, 0))):
        routines = services() + services(
            {0: again}, f"PUT 50H, {command}\nPUT 40H, 20H\n", table=0x140, code=0x400, noted=0x10
        )
        noted = notes(start_both() + "PUT JAM, 03H\nWAIT 4\n", routines, STRAPPED)
        assert noted == [each + 0x10 for each in whole(*order)]


def test_the_number_of_a_slave_before_icw3() -> None:
    """ICW1: 'The slave mode address is set to 7'."""
    for words, said in (
        ("", "awaits ICW1"),
        ("PUT 50H, 55H\n", "slave 7, awaits ICW2"),
        ("PUT 50H, 55H\nPUT 51H, 1\n", "slave 7, awaits ICW3"),
        ("PUT 50H, 55H\nPUT 51H, 1\nPUT 51H, 3\n", "slave 3, awaits ICW4"),
        ("PUT 50H, 54H\nPUT 51H, 1\nPUT 51H, 3\nPUT 50H, 55H\n", "slave 7, awaits ICW2"),
    ):
        bench, _ = run(words, "", STRAPPED)
        assert bench.machine.board.devices["slave"].state() == said


def test_a_slave_with_no_request_gives_its_ir7() -> None:
    """A master's level with a slave is raised by another: the slave's default IR7 is called,
    with a bit of ISR in the master only."""
    board = STRAPPED.replace("master.ir3: slave.int", "master.ir3: {any: [slave.int, requests.q3]}")
    body = "PUT 50H, 0BH\nKEEP 50H\nPUT 40H, 0BH\nKEEP 40H\n"
    noted = notes(start_both() + "PUT REQ, 08H\nWAIT 2\n", both_services(slave={7: body}), board)
    assert noted == [0x17, 0x00, 0x08, 0x97]


def test_nobody_answers_before_initialization() -> None:
    """Our choice: INT stays low until the last ICW."""
    bench, noted = run("PUT REQ, 0\nEI\nPUT REQ, 0FFH\nPUT PIC, 16H\nWAIT 4\n", services())
    assert noted == [] and acknowledged(bench) == []


# --- requests that are clocks ---------------------------------------------------------------

CLOCKED = """
ports:
  - {device: 8259A, name: pic, at: 40-41}
  - {device: peripheral, name: requests, at: 30}
  - {device: 8253, name: timer, at: 60-63}
wired:
  - {device: tick, name: tick, rate: 3700 Hz}
  - {device: oscillator, name: clock, rate: 1 MHz}
lines:
  INTR: pic.int
  timer.clk0: clock.out
  pic.ir0: tick.out
  pic.ir3: timer.out0
"""
GATED = CLOCKED.replace("tick.out", "{any: [tick.out, requests.q0]}").replace(
    "timer.out0", "{any: [timer.out0, requests.q0]}"
)
"""The same through gates, so that the controller gets every edge by itself."""
LOOKS = "".join(f"KEEP PIC\nPAUSE {count}\n" for count in (1, 20, 3, 30, 7, 14, 41, 2))
PAUSE = """
PAUSE   MACRO N             ; 14 T-states for each
        MVI D, N
        DCR D
        JNZ $-1
        ENDM
"""


@pytest.mark.parametrize("icw1", [ALONE_BY_4, ALONE_BY_4 | 8], ids=["edge", "level"])
def test_a_clock_asks_as_its_edges_would(icw1: int) -> None:
    """Masked, served, polled, begun anew, and with a clock that starts and stops."""
    # With level triggering the timer's output stays low, or its interrupts would never end.
    high = "" if icw1 & 8 else "PUT 60H, 80H\nPUT 60H, 00H\n"
    main = (
        PAUSE
        + start(icw1)
        + f"""
        PUT PICMASK, 0FFH
        {LOOKS}
        PUT 63H, 36H        ; counter 0, mode 3: every 0.3 ms
        PUT 60H, 2CH
        PUT 60H, 01H
        {LOOKS}
        PUT PICMASK, 0F6H
        EI
        PAUSE 255
        PAUSE 255
        PUT 63H, 30H        ; mode 0: the clock ends, the output is low
        PAUSE 200
        {high}
        PAUSE 200
        DI
        {LOOKS}
        PUT PIC, 0CH
        {LOOKS}
        PUT PIC, 20H
        PUT PIC, {icw1}
        PUT PICMASK, 1
        {LOOKS}
        PUT PICMASK, 0FFH
        """
    )
    both = [run(main, services(), board) for board in (CLOCKED, GATED)]
    (clocked, noted), (gated, again) = both
    assert noted == again
    assert clocked.machine.trace.all().tolist() == gated.machine.trace.all().tolist()
    assert {0, 0x80, 3, 0x83} <= set(noted)  # both were served
    assert {0x00, 0x01, 0x08, 0x09} <= set(noted)  # and seen in IRR


def test_a_clock_that_is_masked_makes_no_events() -> None:
    """What nobody can see costs nothing."""
    board = CLOCKED.replace("  pic.ir3: timer.out0\n", "")
    bench, noted = run(start() + "PUT PICMASK, 0FFH\nWAIT 100\nKEEP PIC\n", "", board)
    assert bench.machine.schedule.next_t == NEVER
    assert noted == [0x01] or noted == [0x00]
    bench.machine.board.writers[IO_BASE + 0x41](0)
    assert bench.machine.schedule.next_t < NEVER
