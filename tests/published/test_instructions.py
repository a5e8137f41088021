"""Every opcode run on the emulated board against the hand table and the model.

Sources: those of :mod:`opcodes` and :mod:`model`, values from memory.
"""

from __future__ import annotations

import copy
import random
import re
from collections.abc import Iterator

import pytest

from . import flags as fl
from .harness import REGISTERS, Rig, Seen
from .model import Processor
from .opcodes import HLT, LENGTH, OPCODES, Opcode

TYPES = {"F": "OF", "S": "OF", "R": "MR", "W": "MW", "I": "IOR", "O": "IOW", "B": "BI"}
"""Our cycle type for each letter of the manual's summary."""

STATUS = {
    "OF": (0, 1, 1),
    "MR": (0, 1, 0),
    "MW": (0, 0, 1),
    "IOR": (1, 1, 0),
    "IOW": (1, 0, 1),
    "BI": (0, 1, 0),
}
"""IO/M, S1, S0 (8085AH data sheet, machine cycle chart; BI here is the one of DAD)."""

SETTINGS = 40

UNPUBLISHED_FLAGS = {"DAA": fl.V | fl.K}
"""Flags that no published source describes after an instruction: not judged."""


@pytest.fixture(scope="module")
def rig() -> Rig:
    return Rig()


@pytest.fixture(scope="module")
def model() -> Processor:
    """A processor whose memory starts out as the rig's will."""
    return Processor(memory=bytearray(random.Random(85).randbytes(0x10000)))


def settings(opcode: Opcode, model: Processor) -> Iterator[Processor]:
    """The model in random states with the opcode at PC; the last ones at the edges of memory."""
    chance = random.Random(opcode.code)
    for n in range(SETTINGS):
        cpu = model
        for name in ("A", "B", "C", "D", "E", "H", "L"):
            setattr(cpu, name, chance.randrange(256))
        cpu.F = chance.randrange(256) & fl.ALL
        cpu.SP, cpu.PC = chance.randrange(0x10000), chance.randrange(0x10000)
        if n >= SETTINGS - 12:
            cpu.PC = chance.choice((0x0000, 0xFFFD, 0xFFFE, 0xFFFF))
            cpu.SP = chance.choice((0x0000, 0x0001, 0x0002, 0xFFFE, 0xFFFF))
            for pair in ("HL", "BC", "DE"):
                cpu.set_pair(pair, chance.choice((0x0000, 0x7FFF, 0x8000, 0xFFFF)))
        cpu.halted = False
        cpu.ports_in = bytearray([chance.randrange(256)]) * 256
        cpu.ports_out = {}
        yield cpu


@pytest.mark.parametrize("code", range(256), ids=lambda code: str(OPCODES[code]))
def test_opcode(code: int, rig: Rig, model: Processor) -> None:
    """Machine cycles, their addresses, data, T-states and status; registers, flags, memory."""
    opcode = OPCODES[code]
    paths = set()
    rig.fill(model.memory)
    for cpu in settings(opcode, model):
        place_instruction(rig, cpu, code)
        # Interrupts and masks have their own tests; here they stand as after RESET.
        rig.machine.reset()
        vars(cpu).update(ie=0, mask75=1, mask65=1, mask55=1)
        rig.put_state(cpu)
        rig.set_input(cpu.ports_in[0])
        before = copy.deepcopy(cpu)
        cpu.run_one()
        taken = went_as_if_taken(opcode, before, cpu)
        paths.add(taken)

        seen = rig.instruction()

        assert bus_of(seen) == expected_bus(opcode, before, taken), before
        assert sum(cycle.t for cycle in seen) == (opcode.t if taken else opcode.t_not)
        assert registers_of(rig, opcode) == registers_of_model(cpu, opcode), before
        assert rig.get("ie") == cpu.ie
    assert rig.bytes(0, 0x10000).tolist() == list(model.memory)
    assert len(paths) == (2 if opcode.conditional else 1), "both paths must have been seen"


def place_instruction(rig: Rig, cpu: Processor, code: int) -> None:
    """The opcode at PC, in both memories."""
    cpu.memory[cpu.PC] = code
    rig.put(cpu.PC, [code])


def went_as_if_taken(opcode: Opcode, before: Processor, after: Processor) -> bool:
    """Whether a conditional instruction's condition held (True for any other)."""
    if not opcode.conditional:
        return True
    return before.condition("V" if opcode.mnemonic == "RSTV" else opcode.mnemonic[1:])


def registers_of(rig: Rig, opcode: Opcode) -> dict[str, int]:
    return _judged(rig.registers(), opcode)


def registers_of_model(cpu: Processor, opcode: Opcode) -> dict[str, int]:
    return _judged({name: getattr(cpu, name) for name in REGISTERS}, opcode)


def _judged(registers: dict[str, int], opcode: Opcode) -> dict[str, int]:
    registers["F"] &= ~UNPUBLISHED_FLAGS.get(opcode.mnemonic, 0)
    return registers


Bus = tuple[str, int | None, int | None, int, tuple[int, int, int]]
"""Type, address, data, T-states, status; address and data of a bus idle cycle are not driven."""


def bus_of(seen: list[Seen]) -> list[Bus]:
    return [
        ("BI", None, None, c.t, (c.io_m, c.s1, c.s0))
        if c.type == "BI"
        else (c.type, c.address, c.data, c.t, (c.io_m, c.s1, c.s0))
        for c in seen
        if c.type != "HALT"
    ]


def expected_bus(opcode: Opcode, before: Processor, taken: bool) -> list[Bus]:
    """The hand table's machine cycles with the numbers of this state."""
    cycles = opcode.cycles if taken else opcode.cycles_not
    if opcode.code == HLT:
        cycles = cycles[:1]  # Its bus idle cycle is the halt state: see the test below.
    return [_expected_cycle(cycle, before) for cycle in cycles]


def _expected_cycle(cycle: str, before: Processor) -> Bus:
    found = re.fullmatch(r"([FSRWIOB])(?:\[(.+?)\])?(?:=(.+))?", cycle)
    assert found
    letter, where, what = found.groups()
    kind = TYPES[letter]
    if letter == "B":
        return kind, None, None, LENGTH[letter], STATUS[kind]
    address = address_of(where or "PC", before)
    data = data_of(what, before) if what else read_data(letter, address, before)
    return kind, address, data, LENGTH[letter], STATUS[kind]


def address_of(symbol: str, before: Processor) -> int:
    """The address a symbol of the hand table stands for."""
    d8 = before.read(before.PC + 1)
    if symbol == "port":
        return d8 << 8 | d8
    base, sign, offset = re.fullmatch(r"([A-Za-z]+)([+-])?(\d)?", symbol).groups()  # type: ignore[union-attr]
    start = d8 | before.read(before.PC + 2) << 8 if base == "nn" else before.pair(base)
    return (start + int(f"{sign or '+'}{offset or 0}")) & 0xFFFF


def read_data(letter: str, address: int, before: Processor) -> int:
    """What a read cycle finds."""
    return before.ports_in[address & 0xFF] if letter == "I" else before.read(address)


def data_of(symbol: str, before: Processor) -> int:
    """The byte a symbol of the hand table stands for."""
    if symbol in ("M+1", "M-1"):
        return (before.get("M") + int(symbol[1:])) & 0xFF
    if symbol == "d8":
        return before.read(before.PC + 1)
    if "." not in symbol:
        return before.get(symbol)
    name, half = symbol.split(".")
    word = _word(name, before)
    return word >> 8 if half == "hi" else word & 0xFF


def _word(name: str, before: Processor) -> int:
    if name == "ret":
        return (before.PC + OPCODES[before.read(before.PC)].size) & 0xFFFF
    return before.pair({"B": "BC", "D": "DE", "H": "HL", "PSW": "PSW"}[name])


def test_the_hand_table_is_whole() -> None:
    """256 opcodes, and each one's T-states are the sum of its machine cycles'.

    The exception is HLT, five T-states by the data sheet.
    """
    assert sorted(OPCODES) == list(range(256))
    for opcode in OPCODES.values():
        for t, cycles in ((opcode.t, opcode.cycles), (opcode.t_not, opcode.cycles_not)):
            whole = sum(LENGTH[cycle[0]] for cycle in cycles)
            assert t == (5 if opcode.code == HLT else whole), opcode


def test_out_reaches_the_port_and_in_asks_it(rig: Rig) -> None:
    """The port number stands on both halves of the address bus (User's Manual, IN and OUT)."""
    rig.put(0x0100, [0xD3, 0x5A, 0xDB, 0xA5])
    rig.machine.reset()
    rig.set(PC=0x0100, A=0x3C)
    written = rig.instruction()[-1]
    assert (written.type, written.address, written.data) == ("IOW", 0x5A5A, 0x3C)
    assert rig.output() == 0x3C
    rig.set_input(0x77)
    read = rig.instruction()[-1]
    assert (read.type, read.address, read.data) == ("IOR", 0xA5A5, 0x77)
    assert rig.get("A") == 0x77
