"""The monitor ROM, its whole dialogue on both of its boards."""

from __future__ import annotations

import hashlib
import io
import random
import re
from collections.abc import Iterator

import intelhex
import numpy as np
import pytest

from emu85.board.shelf import find_firmware, folder
from emu85.bus.cycles import Cycle
from emu85.cpu.layout import FindingKind
from emu85.firmware import read_image
from tests.firmware_examples.gauge import bit_time, sod_edges
from tests.firmware_examples.quay import (
    BOARDS,
    CODE_IN_RAM,
    FIRST_SP,
    NO_GAP,
    OWN,
    Quay,
)

FLAGS = ("S", "Z", "K", "AC", None, "P", "V", "CY")
"""Bit 7 first; bit 3 is not used.  K and V: Electronics, 18 January 1979."""


def fresh(name: str, *changes: tuple[str, str]) -> Quay:
    """A monitor at its first prompt; programs may run in the RAM of either board."""
    code = () if name == "gantry" else (CODE_IN_RAM,)
    quay = Quay(name, *code, *changes)
    quay.greeting()
    return quay


@pytest.fixture(scope="module", params=BOARDS)
def quay(request: pytest.FixtureRequest) -> Iterator[Quay]:
    """A monitor which tests may talk to one after another."""
    yield fresh(request.param)


def no_noise(quay: Quay) -> None:
    line = quay.line
    assert (line.framing_errors, line.parity_errors, line.breaks) == (0, 0, 0)


# --- the ROM ------------------------------------------------------------------------


@pytest.mark.parametrize("name", BOARDS)
def test_it_fits_4_kb_and_messages_find_their_variables(name: str) -> None:
    machine = Quay(name).machine
    used = [index for index, byte in enumerate(machine.memory[0:0x2000]) if byte != 0xFF]
    assert used[-1] < 4096
    told = (folder("firmware_examples") / "quay.md").read_text("utf-8")
    source = find_firmware(f"quay-{name}.asm")
    assert source is not None
    size = sum(len(segment.data) for segment in read_image(source).segments)
    assert re.search(rf"{size}\s+(bytes )?for `{name}`", told)
    symbols = machine.symbols
    assert symbols["WORK"] == OWN[name]
    assert symbols["LINE"] + 64 <= symbols["WORK"] + 0x100  # their high half is WORK's
    # TRAP looks at the low half of where it comes from.
    assert symbols["GO"] < symbols["TRAP"] < symbols["STILL"] < symbols["HSAY"] <= 0x100


def test_two_letters_tell_any_word(quay: Quay) -> None:
    words = [re.match(r"\w+", line) for line in quay.tell("help")]
    names = [word[0] for word in words if word]
    assert len(names) == len(words) == 14
    assert len({name[:2] for name in names}) == len(names)
    for name in names:
        if name not in ("take", "onward", "help"):
            assert quay.tell(f"{name[:2]} x x x x")[0].startswith("? ")


def test_shipped_dialogue_is_what_the_boards_say() -> None:
    text = (folder("firmware_examples") / "quay.md").read_text("utf-8")
    blocks = re.findall(r"```dialogue (\w+)\n(.*?)```", text, re.DOTALL)
    assert [name for name, _ in blocks] == list(BOARDS)
    for name, dialogue in blocks:
        quay = Quay(name)
        said = quay.greeting() + "quay> " + replay(quay, dialogue)
        shown = "".join(x for x in dialogue.splitlines(True) if not x.startswith("< "))
        assert said.removeprefix("\r\n") == shown.removesuffix("\n").replace("\n", "\r\n") + " "
        no_noise(quay)


def replay(quay: Quay, dialogue: str) -> str:
    """Type what stands after the prompts; lines with ``<`` are a file sent to 'take'."""
    said = ""
    for part in dialogue.split("quay> ")[1:]:
        keys, *rest = part.splitlines()
        file = [line.removeprefix("< ") + "\n" for line in rest if line.startswith("< ")]
        if not file:
            said += quay.ask(keys) + "quay> "
            continue
        before = len(quay.line.received)
        quay.take("".join(file))
        said += quay.line.received[before:].decode("ascii")
    return said


# --- the line -----------------------------------------------------------------------


def test_a_line_can_be_edited(quay: Quay) -> None:
    rub = "\b \b"
    assert quay.ask("shoo\bw 0\x7f\x7f 44 44").startswith(f"shoo{rub}w 0{rub}{rub} 44 44\r\n0044  ")
    assert quay.ask("\b\x7f") == "\r\n"  # there is nothing to take back
    before = len(quay.line.received)
    quay.line.send(b"show 0\x03")
    assert quay.listen(before) == "show 0\r\n"  # control and C: not asked for
    long = "x" * 63
    assert quay.ask(long + "yz") == f"{long}\a\a\r\n? no word {long}\r\n"
    assert quay.answer("SHOW 44 44") == quay.answer("show 0044 0044")
    no_noise(quay)


@pytest.mark.parametrize(
    ("keys", "answer"),
    [
        ("", ""),
        ("   ", ""),
        ("s", "? no word s"),
        ("shows 0", "? no word shows"),
        ("Look R000", "? no word Look"),
        ("show R00G", "? no hexadecimal number: R00G"),
        ("show 18000", "? no hexadecimal number: 18000"),
        ("show R000 R001 R002", "? it goes: show [FROM [TO]]"),
        ("show R001 R000", "? TO is below FROM"),
        ("fill R000 R001", "? it goes: fill FROM TO BYTE"),
        ("fill R000 R001 100", "? no byte: 0100"),
        ("put R000", "? it goes: put AT BYTE ..."),
        ("port 100", "? no byte: 0100"),
        ("port 11 100", "? no byte: 0100"),
        ("regs x 0", "? it goes: regs [NAME VALUE]"),
        ("regs a", "? it goes: regs [NAME VALUE]"),
        ("regs a 100", "? no byte: 0100"),
        ("call R000 1", "? it goes: call [ADDRESS]: run, RET comes back"),
        ("onward", "? no program is held"),
        ("vector 7", "? no vector"),
        ("vector 4", "? no vector"),
        ("vector 0C", "? no vector"),
        ("vector 40", "? no vector"),
        ("vector 14", "? no vector"),
        ("vector 0", "? no vector"),
        ("vector 108", "? no vector"),
        ("vector FF24", "? no vector"),
    ],
)
def test_mistakes_are_named(quay: Quay, keys: str, answer: str) -> None:
    assert quay.tell(quay.here(keys)) == quay.here(answer).splitlines()


def test_a_long_answer_can_be_ended(quay: Quay) -> None:
    before = len(quay.line.received)
    quay.line.send(b"show 0 FFF\r")
    quay.until("0020  ")
    quay.line.send(b"\x03")
    said = quay.listen(before)
    assert said.endswith("\r\nstopped\r\n")
    assert len(said.splitlines()) < 8
    assert quay.answer("show 44 44").startswith("0044  ")


@pytest.mark.parametrize("keys", ["match 0 7FFF 0", "try R000 RAFF", "fill R000 RAFF 0"])
def test_what_is_long_and_silent_can_be_ended(keys: str, quay: Quay) -> None:
    assert end_early(quay, quay.here(keys)) == "stopped\r\n"
    assert end_early(quay, quay.here("copy R000 R7FF R001")) == "stopped\r\n"
    assert quay.answer("match 0 F 0") == "all alike\r\n"


def end_early(quay: Quay, keys: str) -> str:
    """Type a line, and control and C a tenth of a second later; the answer."""
    before = len(quay.line.received)
    quay.line.send(keys.encode() + b"\r")
    while not quay.line.idle:
        quay.machine.run(seconds=quay.typing)
    quay.machine.run(seconds=0.1)
    quay.line.send(b"\x03")
    asked = quay.machine.seconds
    said = quay.listen(before)
    assert quay.machine.seconds - asked < 0.5
    return said.removeprefix(keys + "\r\n")


@pytest.mark.parametrize(
    "keys", ["help", "fill 8000 8FFF 0", "copy 8000 8FFF 8001", "try 8000 81FF"]
)
def test_what_is_typed_during_an_answer_waits_on_the_usart(keys: str) -> None:
    quay = fresh("gantry")
    quay.line.send(f"{keys}\rport 4D\rport 4D\r".encode())
    quay.machine.run(seconds=2)
    assert quay.line.received.endswith(b"quay> port 4D\r\nport 4D reads 5A\r\n" * 2 + b"quay> ")


def test_bits_on_sid_and_sod_are_exact_to_the_t_state() -> None:
    quay = fresh("saltmarsh")
    begun = len(quay.line.received)
    quay.answer("port 14")
    bit = bit_time()
    assert bit == 2560
    edges = sod_edges(quay.machine)
    measured = 0
    for arrival in list(quay.line.arrivals)[begun:]:
        inside = edges[(edges > arrival.start_t) & (edges < arrival.start_t + 9.5 * bit)]
        assert {(int(t) - arrival.start_t) % bit for t in inside} == {0}
        measured += len(inside)
    assert measured > 100
    trace = quay.machine.trace.all()
    sampled = (trace["type"] == Cycle.OF) & (trace["address"] == quay.machine.symbols["GBIT"])
    samples = trace["t"][sampled].reshape(-1, 9)
    assert len(samples) == len("port 14\r")
    assert set(np.diff(samples, axis=1).ravel()) == {2560}


# --- memory -------------------------------------------------------------------------


def test_memory_is_put_shown_filled_copied_and_matched(quay: Quay) -> None:
    def ask(keys: str) -> list[str]:
        return [line.rstrip() for line in quay.tell(quay.here(keys))]

    def shown(address: int, data: bytes) -> str:
        groups = [data[i : i + 4].hex(" ").upper() for i in range(0, 16, 4)]
        text = "".join(chr(byte) if 32 <= byte < 127 else "." for byte in data)
        return f"{address:04X}  {'  '.join(groups):<50}  {text}".rstrip()

    data = b"Slack water\x00\x7f\x80\xff~ and ebb"
    assert ask(f"put R0F3 {data[:14].hex(' ')}") == ask(f"put R101 {data[14:].hex(' ')}") == []
    assert quay.machine.memory[quay.ram + 0xF3 :][: len(data)] == data
    assert ask("show R0F3 R10A") == [
        shown(quay.ram + 0xF3, data[:16]),
        shown(quay.ram + 0x103, data[16:]),
    ]
    assert ask("fill R200 R24F 2E") == []
    assert quay.machine.memory[quay.ram + 0x200 : quay.ram + 0x250] == b"." * 0x50
    assert (
        ask("show R200")
        == ask("show R200 R23F")
        == ask("fill R24F R24F 2E")
        + [shown(quay.ram + row, b"." * 16) for row in (0x200, 0x210, 0x220, 0x230)]
    )
    assert ask("show")[0] == shown(quay.ram + 0x240, b"." * 16)  # goes on
    for at in (0x1F0, 0x1F5, 0x1EB, 0x300):  # itself, overlapping upwards and downwards
        quay.machine.memory[quay.ram + 0x1F0 : quay.ram + 0x1FA] = b"0123456789"
        assert ask(f"copy R1F0 R1F9 R{at:03X}") == []
        assert quay.machine.memory[quay.ram + at : quay.ram + at + 10] == b"0123456789"
    assert ask("match R1F0 R1F9 R300") == ["all alike"]
    quay.machine.memory[quay.ram + 0x300] = 0x40
    quay.machine.memory[quay.ram + 0x309] = 0x41
    assert ask("match R1F0 R1F9 R300") == [
        quay.here("R1F0 30  R300 40"),
        quay.here("R1F9 39  R309 41"),
        "different: 2",
    ]


def test_what_cannot_be_written_is_told(quay: Quay) -> None:
    was = quay.machine.memory[0x100:0x104]
    for keys in ("put 100 0", "fill 100 103 0", "copy 60 60 100"):
        (answer,) = quay.tell(keys)
        assert re.fullmatch(rf"\? no RAM at 0100: wrote \w\w, read {was[0]:02X}", answer)
    assert quay.machine.memory[0x100:0x104] == was
    own = OWN[quay.name]
    assert quay.tell(f"fill {own - 1:04X} FFFF 0") == [f"? {own:04X} is quay's own"]
    assert quay.tell(f"put {own + 0x2FF:04X} 0") == [f"? {own + 0x2FF:04X} is quay's own"]
    assert quay.tell(f"put {own + 0x300:04X} 0") == []  # the program's stack
    assert quay.tell("put FFFF 0") == ["? FFFF is quay's own"]  # by A14 on saltmarsh, too


@pytest.mark.parametrize(
    ("keys", "answer"),
    [  # nobody is at 5000 on either board, and a pulled-up bus reads FF
        ("put 5000 FF", "5000: wrote 00, read FF"),
        ("put 5000 FE", "5000: wrote FE, read FF"),
        ("fill 5000 5FFF FF", "5000: wrote 00, read FF"),
        ("copy 5000 5000 5001", "5001: wrote 00, read FF"),
        ("put 0 C3", "0000: wrote 3C, read C3"),  # JMP COLD
        ("copy 0 0 0", "0000: wrote 3C, read C3"),
    ],
)
def test_a_byte_that_was_there_before_proves_nothing(keys: str, answer: str, quay: Quay) -> None:
    assert quay.tell(keys) == [f"? no RAM at {answer}"]


@pytest.mark.parametrize(
    ("change", "keys", "answer"),
    [
        (None, "try 8000 9FFF", "good"),
        # Nobody at A000-BFFF: a pulled-up bus.
        ("at: 8000-9FFF", "try 9F00 A100", "bad at A000: wrote 01, read FF, a bit"),
        # 8000-9FFF again at A000: each byte of the lower half has the upper one's address.
        (
            "at: 8000-9FFF\n    ignores: A13",
            "try 8000 BFFF",
            "bad at 8000: wrote 80, read A0, an address",
        ),
        # ROM: bit 0 alone would be 01, and there it is what it is.
        (None, "try 0000 0003", "bad at 0000: wrote 01, read C3, a bit"),
    ],
)
def test_memory_test_tells_the_first_bad_address(
    change: str | None, keys: str, answer: str
) -> None:
    whole = "- chip: 62256\n    name: work\n    at: 8000-FFFF"
    parts = (
        "- {chip: 6264, name: high, at: E000-FFFF, code: yes}\n"
        f"  - chip: 6264\n    name: low\n    {change}"
    )
    quay = fresh("gantry", *([(whole, parts)] if change else []))
    assert quay.tell(keys) == [answer]


# --- ports and registers ------------------------------------------------------------


def test_ports_are_read_and_written(quay: Quay) -> None:
    switches, lamps, set_to = {
        "gantry": ("4D", "4C", "5A"),
        "saltmarsh": ("14", "11", "2A"),
    }[quay.name]  # as the board files have them
    assert quay.tell(f"port {switches}") == [f"port {switches} reads {set_to}"]
    assert quay.tell(f"port {lamps} c5") == []
    assert quay.machine.board.devices["lamps"].state().startswith("●●···●·●")


def registers(quay: Quay, masked: str, waiting: str, interrupts: str, **values: int) -> list[str]:
    """The display of registers."""
    flags = [name for bit, name in enumerate(FLAGS) if values["f"] << bit & 0x80 and name]
    pairs = "  ".join(f"{name} {values[name]:04X}" for name in ("bc", "de", "hl", "sp", "pc"))
    return [
        f"a {values['a']:02X}  f {values['f']:02X}  {pairs}",
        f"flags {' '.join(flags) or '-'}",
        f"masked {masked}, waiting {waiting}, interrupts {interrupts}",
    ]


def test_registers_are_set_by_name() -> None:
    quay = fresh("gantry")
    start = dict.fromkeys(("a", "f", "bc", "de", "hl"), 0) | {"sp": 0xFF80, "pc": 0x8000}
    assert quay.tell("regs") == registers(quay, "7.5 6.5 5.5", "-", "off", **start)
    for setting in ("a 12", "f F7", "b 34", "c 56", "de 789a", "h BC", "l DE", "sp FF00"):
        assert quay.tell(f"regs {setting}") == []
    assert quay.tell("regs pc 8765") == quay.tell("regs mask A") == []
    values = {"a": 0x12, "f": 0xF7, "bc": 0x3456, "de": 0x789A, "hl": 0xBCDE}
    values |= {"sp": 0xFF00, "pc": 0x8765}
    assert quay.tell("regs") == registers(quay, "6.5", "-", "on", **values)


# --- programs -----------------------------------------------------------------------

SET_ALL = """
        LXI     H,0A5D7H        ; A and the flags, all but the unused one
        PUSH    H
        POP     PSW
        LXI     B,1234H
        LXI     D,5678H
        LXI     H,9ABCH
"""
ALL_SET = {"a": 0xA5, "f": 0xD7, "bc": 0x1234, "de": 0x5678, "hl": 0x9ABC}


@pytest.mark.parametrize("number", range(1, 8))
def test_every_rst_shows_the_registers_and_can_be_gone_on_from(number: int, quay: Quay) -> None:
    pc = quay.ram + 3 + 1 + 1 + 3 + 3 + 3 + 1  # bytes of SET_ALL, and of RST
    after = f" PUSH PSW\n XTHL\n SHLD {quay.ram + 0x200}\n POP H\n RET\n"
    quay.program(f"{SET_ALL} RST {number}\n{after}")
    held = {**ALL_SET, "sp": FIRST_SP[quay.name] - 2, "pc": pc}
    quay.answer(f"regs sp {FIRST_SP[quay.name]:X}")
    quay.answer("regs mask 7")
    blank, said, *shown = quay.tell(f"call {quay.ram:X}")
    assert (blank, said) == ("", f"RST {number}: held at {pc:04X}")
    waiting = shown[2].split("waiting ")[1].split(",")[0]  # saltmarsh's tick goes on
    assert shown == registers(quay, "7.5 6.5 5.5", waiting, "off", **held)
    assert quay.tell("regs") == shown
    blank, said, *shown = quay.tell("onward")
    assert (blank, said) == ("", "the program came back")
    assert quay.machine.memory[quay.ram + 0x200 : quay.ram + 0x202] == b"\xd7\xa5"
    assert shown[0].startswith("a A5  f D7  bc 1234  de 5678")
    assert quay.tell("onward") == ["? no program is held"]


def test_a_program_comes_back_and_may_call_the_monitor(quay: Quay) -> None:
    quay.program(
        """
GETC    EQU     40H
PUTC    EQU     43H
PUTS    EQU     46H
PUT2    EQU     49H
PUT4    EQU     4CH
        LXI     H,ASKED
        CALL    PUTS
        CALL    GETC
        PUSH    PSW
        CALL    PUT2
        MVI     A,' '
        CALL    PUTC
        LXI     H,0BEEFH
        CALL    PUT4
        POP     PSW
        RET
ASKED:  DB      0AH,'which? ',0
"""
    )
    quay.line.send(f"call {quay.ram:X}\r".encode())
    quay.until("which? ")
    before = len(quay.line.received)
    quay.line.send(b"K")
    said = quay.listen(before)
    assert said.startswith("4B BEEF\r\nthe program came back\r\na 4B  ")


def test_leaving_by_the_monitors_door(quay: Quay) -> None:
    quay.program(" EI\n LXI SP,0\n JMP 4FH\n")
    assert quay.answer(f"call {quay.ram:X}") == ""
    assert quay.tell("onward") == ["? no program is held"]


def test_a_program_that_is_held_is_dropped_with_its_stack(quay: Quay) -> None:
    quay.program(" MVI A,11H\n RST 1\n JMP 4FH\n MVI A,77H\n RET\n")
    stops, returns = f"call {quay.ram:X}", f"call {quay.ram + 6:X}"
    top = FIRST_SP[quay.name] - 0x20
    quay.answer(f"regs sp {top:X}")
    for _ in range(3):  # by 'call'
        assert f"  sp {top - 2:04X}  pc {quay.ram + 3:04X}" in quay.tell(stops)[2]
    shown = quay.tell(returns)
    assert shown[1] == "the program came back"
    assert shown[2].startswith("a 77  ") and f"  sp {top:04X}  " in shown[2]
    assert quay.tell("onward") == ["? no program is held"]
    quay.answer(stops)  # by an end record that has an address
    at = f"00{quay.ram:04X}01"
    quay.take(f":{at}{-sum(bytes.fromhex(at)) & 0xFF:02X}\n")
    assert f"  sp {top:04X}  pc {quay.ram:04X}" in quay.tell("regs")[0]
    assert quay.tell("onward") == ["? no program is held"]
    quay.answer(stops)  # by the program, once it has been gone on with
    assert quay.answer("onward") == ""
    assert f"  sp {top:04X}" in quay.tell("regs")[0]
    assert quay.tell("onward") == ["? no program is held"]
    quay.answer(f"regs sp {FIRST_SP[quay.name]:X}")


LOOP = f"""
{SET_ALL}
        EI
LOOP:   JMP     LOOP
"""


def run_until_held(quay: Quay, keys: str, device: str, control: str) -> list[str]:
    """Type a line, then work a device by hand; the lines that come of it."""
    before = len(quay.line.received)
    quay.line.send(keys.encode() + b"\r")
    quay.machine.run(seconds=0.5)
    assert quay.line.received[before:] == keys.encode() + b"\r\n"  # it runs
    quay.machine.board.adjust(device, control, "")
    return quay.listen(before).splitlines()[1:]


@pytest.mark.parametrize(
    ("key", "mask", "name", "masked"),
    [("abort", 0x7, "TRAP", "7.5 6.5 5.5"), ("call", 0x6, "RST 5.5", "7.5 6.5")],
)
def test_keys_of_gantry_hold_a_program(key: str, mask: int, name: str, masked: str) -> None:
    quay = fresh("gantry")
    quay.program(LOOP)
    quay.answer(f"regs mask {mask}")
    for keys in ("call", "onward"):
        blank, said, *shown = run_until_held(quay, keys, key, "press")
        loop = quay.ram + 15
        assert (blank, said) == ("", f"{name}: held at {loop:04X}")
        waiting = shown[2].split("waiting ")[1].split(",")[0]  # the key may still be down
        held = {**ALL_SET, "sp": FIRST_SP["gantry"] - 2, "pc": loop}
        assert shown == registers(quay, masked, waiting, "on", **held)
        quay.machine.run(seconds=0.5)
    assert list(quay.machine.findings) == []
    # At the prompt the key of TRAP gives a new one, and the program is still held.
    before = len(quay.line.received)
    quay.line.send(b"pu")
    quay.machine.run(seconds=0.1)
    quay.machine.board.adjust("abort", "press", "")
    assert quay.listen(before + 2) == "\r\n"
    assert quay.tell("regs")[0] == shown[0]


def edge_of_trap(quay: Quay, length: int) -> None:
    quay.machine.board.adjust("abort", "down", "")
    quay.machine.run(t_states=length)
    quay.machine.board.adjust("abort", "up", "")


@pytest.fixture(scope="module")
def bouncer() -> Quay:
    """A gantry whose key bounces."""
    return fresh("gantry")


@pytest.mark.parametrize("first", range(3))
def test_a_second_trap_on_the_heels_of_the_first_does_no_harm(first: int, bouncer: Quay) -> None:
    """While the registers are being kept, which takes some 500 T-states, and shown."""
    quay = bouncer
    quay.program(f"{SET_ALL}LOOP: JMP LOOP\n")
    held = {**ALL_SET, "sp": FIRST_SP["gantry"] - 2, "pc": quay.ram + 14}
    expected = ["", f"TRAP: held at {quay.ram + 14:04X}"]
    expected += registers(quay, "7.5 6.5 5.5", "-", "off", **held)
    for gap in [*range(4 + 3 * first, 600, 9), *range(600 + first, 1500, 97), 40_000 + first]:
        before = len(quay.line.received)
        quay.line.send(b"call 8000\r")
        for length in (10, 100):
            quay.machine.run(t_states=gap if length == 100 else 100_000)
            edge_of_trap(quay, length)
        assert quay.listen(before).splitlines()[1:] == expected, gap
        assert quay.tell("regs") == expected[2:], gap
        before = len(quay.line.received)
        quay.line.send(b"onward\r")
        quay.machine.run(t_states=100_000)
        edge_of_trap(quay, 100)
        assert quay.listen(before).splitlines()[1:] == expected, gap


@pytest.mark.parametrize("interrupts", ["EI", "DI"])
def test_trap_on_the_way_into_a_program_or_out_of_it_does_no_harm(
    interrupts: str, bouncer: Quay
) -> None:
    quay = bouncer
    quay.program(
        f"""{SET_ALL} {interrupts}
        RST     1
        SHLD    8100H
        PUSH    PSW
        XTHL
        SHLD    8102H
        RIM
        STA     8104H
        DI
        POP     H
        RET
"""
    )
    enabled = 8 if interrupts == "EI" else 0
    quay.answer("regs mask 7")
    # The word that is interrupted, where from on, and for how long.
    for keys, place, length in (
        ("call 8000", "DOON", 330),
        ("call 8000", "CAUGHT", 500),
        ("onward", "GO", 130),
        ("onward", "RETURN", 500),
    ):
        for after in range(0, length, 13):
            quay.machine.memory[0x8100:0x8105] = bytes(5)
            said: list[str] = []
            for word in ("call 8000", *["onward"] * 4):
                before = len(quay.line.received)
                quay.line.send(word.encode() + b"\r")
                if word == keys and not any(line.startswith("TRAP") for line in said):
                    quay.machine.run(until=quay.machine.symbols[place], seconds=1)
                    quay.machine.run(t_states=after)
                    edge_of_trap(quay, 30)
                while not quay.line.idle:
                    quay.machine.run(seconds=quay.typing)
                said = quay.listen(before).splitlines()
                if "the program came back" in said:
                    break
            assert "the program came back" in said, (keys, place, after)
            stored = bytes(quay.machine.memory[0x8100:0x8105])
            assert stored[:4] == b"\xbc\x9a\xd7\xa5", (keys, place, after)
            assert stored[4] & 8 == enabled, (keys, place, after)
            assert "sp FF80" in quay.tell("regs")[0]


@pytest.mark.parametrize(
    ("mask", "start", "name", "masked"),
    [
        (0x3, "", "RST 7.5", "6.5 5.5"),  # eight times a second, whatever one does
        (0x5, " OUT 18H\n", "RST 6.5", "7.5 5.5"),  # a conversion is done 50 us later
    ],
)
def test_interrupts_of_saltmarsh_hold_a_program(
    mask: int, start: str, name: str, masked: str
) -> None:
    quay = fresh("saltmarsh")
    quay.program(start + LOOP)
    quay.answer(f"regs mask {mask}")
    _, said, *shown = quay.tell("call")
    loop = quay.ram + 15 + (2 if start else 0)
    assert said in (f"{name}: held at {loop - 1:04X}", f"{name}: held at {loop:04X}")
    assert shown[2].startswith(f"masked {masked}, waiting ")
    assert shown[2].endswith(", interrupts on")


def test_a_program_has_interrupt_routines_of_its_own() -> None:
    quay = fresh("saltmarsh")
    quay.program(
        """
        LXI     B,0
        EI
WAIT:   MOV     A,B
        CPI     8
        JNZ     WAIT
        RST     3
        RET
TICK:   PUSH    PSW
        INR     B               ; 8 a second
        POP     PSW
        EI
        RET
"""
    )
    tick = quay.machine.memory[quay.ram : quay.ram + 20].index(0xF5) + quay.ram
    assert quay.tell("vector 3C") == ["RST 7.5: held by quay"]
    assert quay.tell(f"vector 3C {tick:X}") == [f"RST 7.5: {tick:04X}"]
    quay.answer("regs mask 3")
    quay.line.send(b"call\r")
    quay.machine.run(seconds=0.3)
    began = quay.machine.seconds
    quay.until("RST 3")
    assert 0.7 < quay.machine.seconds - began < 1.1
    trace = quay.machine.trace.all()
    fetched = trace[trace["type"] == Cycle.OF]
    came = fetched["t"][fetched["address"] == 0x3C]
    there = fetched["t"][fetched["address"] == tick]
    # CALL; XTHL, PUSH twice, MVI, MOV M, INX, MOV M, MOV, ORA, JZ that does not jump, INX twice,
    # POP, XTHL, RET.
    long = 18 + 16 + 24 + 7 + 7 + 6 + 7 + 4 + 4 + 7 + 12 + 10 + 16 + 10
    assert len(there) >= 8
    assert set((there - came[-len(there) :]).tolist()) == {long} == {148}
    assert "bc 0800" in quay.listen(len(quay.line.received))
    assert quay.tell("vector 3C 0") == ["RST 7.5: held by quay"]
    assert quay.tell("vector 24") == ["TRAP: held by quay"]


# --- Intel HEX ----------------------------------------------------------------------


def hex_file(data: bytes, at: int, length: int = 16, end: str = "\n") -> str:
    """An Intel HEX file, written by the library."""
    image = intelhex.IntelHex()
    image.frombytes(data, at)
    file = io.StringIO()
    image.write_hex_file(file, byte_count=length)
    return file.getvalue().replace("\n", end)


@pytest.mark.parametrize(("length", "end"), [(16, "\r\n"), (255, "")])
def test_8_kb_at_9600_baud(length: int, end: str) -> None:
    quay = fresh("gantry")
    image = random.Random(9600).randbytes(8192)
    file = hex_file(image, 0x8000, length, end)
    began = quay.machine.seconds
    assert quay.take(file) == ["bytes taken: 8192, 8000-9FFF"]
    taken = quay.machine.memory[0x8000:0xA000]
    assert hashlib.sha256(taken).digest() == hashlib.sha256(image).digest()
    # Nothing held the sender up: ten bits a character, and the report after it.
    assert quay.machine.seconds - began < len(file) * 10 / 9600 + 0.5
    assert list(quay.machine.findings) == []
    no_noise(quay)


def test_1_kb_at_1200_baud_without_a_pause() -> None:
    quay = fresh("saltmarsh", NO_GAP)
    image = random.Random(1200).randbytes(1024)
    assert quay.take(hex_file(image, 0xA000, 32)) == ["bytes taken: 1024, A000-A3FF"]
    assert quay.machine.memory[0xA000:0xA400] == image
    assert list(quay.machine.findings) == []
    no_noise(quay)


def test_lines_too_long_for_1200_baud_are_refused_by_name() -> None:
    quay = fresh("saltmarsh", NO_GAP)
    image = random.Random(64).randbytes(512)
    *lost, refused, taken = quay.take(hex_file(image, 0xA000, 64))
    assert lost and all(re.fullmatch(r"line \d+: a character was lost", line) for line in lost)
    assert refused == f"lines refused: {len(lost)}"
    assert taken.startswith(f"bytes taken: {512 - 64 * len(lost)}, ")
    bad = {int(line.split()[1][:-1]) for line in lost}
    for row in range(8):
        if row + 1 not in bad:
            at = 0xA000 + row * 64
            assert quay.machine.memory[at : at + 64] == image[row * 64 : row * 64 + 64]


# Eight bad lines each, the most that are remembered, for RAM at 8000; what is told of
# each.  Checksums by hand: 02 80 10 00 11 22 add up to C5, and 3B more is 100.
BAD_LINES = [
    [
        (":0280100011223C", "checksum 3C, should be 3B"),
        (":02801000112A3B", "checksum 3B, should be 33"),
        (":0280100011223B0", "too long"),
        (":0180100011223B", "too long"),
        (":0380100011223B", "too short"),
        (":0280", "too short"),
        (":", "too short"),
        (":0280100G11223B", "no hexadecimal digit: G"),
    ],
    [
        ("0280100011223B", "no colon first"),
        (":02801000 11223B", "too short"),
        (":040000050000800077", "unwanted record type 05"),
        (":020000040001F9", "unwanted record type 04"),
        (":020000021000EC", "unwanted record type 02"),
        (":0201000011FFED", "no RAM at 0100: wrote 11, read ROM"),
        (":90FF7800" + "00" * 0x90 + "F9", "FF80 is quay's own"),
        (":02FAFF001122D2", "FB00 is quay's own"),
    ],
]


BAD_LINES.append(
    [  # what lies in a chip that is not written to, or in none, by a byte that it reads like
        (":01000000C33C", "no RAM at 0000: wrote 3C, read C3"),
        (":0450000000FF00FFAE", "no RAM at 5000: wrote 00, read FF"),
        (":0450000000FFFFFFAF", "no RAM at 5000: wrote 00, read FF"),
        (":0260FF00FFFFA1", "no RAM at 6100: wrote 00, read FF"),
        # A shift is two bytes, whatever the record before left; an end has no data.
        (":0100000400FB", "unwanted record type 04"),
        (":00000004FC", "unwanted record type 04"),
        (":03000002000000FB", "unwanted record type 02"),
        (":0100000155A9", "unwanted record type 01"),
    ]
)


@pytest.mark.parametrize("lines", BAD_LINES)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_bad_lines_are_named_and_change_nothing(
    lines: list[tuple[str, str]], end: str, taker: Quay
) -> None:
    memory = taker.machine.memory
    memory[0x8000:0x8020] = bytes(32)
    memory[0xFAFF] = 0
    first, last = ":048000000102030472", ":01801F005A06"
    file = [first, "", *(line for line, _ in lines), ":020000040000FA", last, ":00000001FF", ""]
    assert file[2] == lines[0][0]  # the third line of the file
    rom = f"{memory[0x100]:02X}"
    assert taker.take(end.join(file)) == [
        *(f"line {n}: {told.replace('ROM', rom)}" for n, (_, told) in enumerate(lines, 3)),
        "lines refused: 8",
        "bytes taken: 5, 8000-801F",
    ]
    assert memory[0x8000:0x8020] == b"\1\2\3\4" + bytes(27) + b"\x5a"
    assert memory[0xFAFF] == 0
    no_noise(taker)


@pytest.fixture(scope="module")
def taker() -> Quay:
    """A gantry that takes one file after another."""
    return fresh("gantry")


def test_a_line_over_the_monitors_stack_is_refused() -> None:
    quay = fresh("saltmarsh")
    line = ":90BF7800" + "00" * 0x90 + "39"  # 90 + BF + 78 = 1C7
    assert quay.take(line + "\n:00000001FF\n")[0] == "line 1: BF80 is quay's own"
    assert quay.tell("call 4F") == []


def test_more_mistakes_than_are_remembered_are_counted(taker: Quay) -> None:
    *named, refused, taken = taker.take(":0\n" * 300 + ":00000001FF\n")
    assert named == [f"line {n}: too short" for n in range(1, 9)]
    assert (refused, taken) == ("lines refused: 300", "bytes taken: 0")


def test_a_file_without_an_end_is_given_up(taker: Quay) -> None:
    assert taker.take(":01800000116E\n\x03") == ["no end record", "bytes taken: 1, 8000-8000"]
    assert taker.take("\x03") == ["no end record", "bytes taken: 0"]


@pytest.mark.parametrize("line", [":0100000400FB", ":00000004FC", ":0100000200FD"])
def test_a_shift_is_not_read_from_what_another_line_left(line: str, taker: Quay) -> None:
    kind = line[7:9]
    file = f":020000040000FA\n{line}\n:00000001FF\n"
    assert taker.take(file)[0] == f"line 2: unwanted record type {kind}"


def test_what_follows_an_end_record_is_not_for_the_prompt(quay: Quay) -> None:
    before = len(quay.line.received)
    assert quay.take(":00000001FF\r\nshow 8000\r\n") == ["bytes taken: 0"]
    quay.machine.run(seconds=1)
    assert quay.line.received[before:].count(b"quay> ") == 1


def test_the_end_record_tells_where_to_start(taker: Quay) -> None:
    taker.machine.memory[0x8123] = 0xC9
    assert taker.take(":008123015B\n") == ["bytes taken: 0, start 8123"]
    assert taker.tell("call")[1] == "the program came back"


@pytest.mark.parametrize("length", [1, 16, 35, 300])
def test_what_is_given_reads_back(length: int, quay: Quay) -> None:
    at = quay.ram + 0x3F5
    data = random.Random(length).randbytes(length)
    quay.machine.memory[at : at + length] = data
    given = quay.answer(f"give {at:X} {at + length - 1:X} {at + 1:X}")
    image = intelhex.IntelHex(io.StringIO(given))
    assert image.tobinstr() == data
    assert (image.minaddr(), image.maxaddr()) == (at, at + length - 1)
    last = given.splitlines()[-1]
    assert last[:9] == f":00{at + 1:04X}01"
    assert sum(bytes.fromhex(last[1:])) & 0xFF == 0
    assert max(len(line) for line in given.splitlines()) <= 11 + 2 * 16
    if length == 35:  # and it takes what it has given
        quay.machine.memory[at : at + length] = bytes(length)
        taken = f"bytes taken: 35, {at:04X}-{at + 34:04X}, start {at + 1:04X}"
        assert quay.take(given.replace("\r", "")) == [taken]
        assert quay.machine.memory[at : at + length] == data


# --- what the board notices ---------------------------------------------------------


def test_only_what_was_asked_for_is_noticed() -> None:
    quay = Quay("saltmarsh")
    quay.greeting()
    for keys in ("help", "fill A000 A0FF 0", "try A000 A0FF", "show A000", "regs", "vector 24"):
        quay.ask(keys)
    assert list(quay.machine.findings) == []
    quay.ask("port 14")  # it has to run IN from RAM, where the board file has no programs
    kinds = {finding.kind for finding in quay.machine.findings}
    assert kinds == {FindingKind.NOT_CODE}
