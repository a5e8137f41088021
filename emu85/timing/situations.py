"""The circumstances for which a timing card is made: a board's, or a machine's as it stands."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from emu85.board import Board
from emu85.board.decode import Region
from emu85.bus.cycles import Cycle
from emu85.cpu.layout import WAIT_MASK
from emu85.errors import UserError, nearest
from emu85.machine import Machine
from emu85.timing.ac_table import part_named
from emu85.timing.bench import WAITING, Situation
from emu85.timing.cards import Setting
from emu85.timing.subjects import Subject, instruction_subject

_WAIT = re.compile(r"([A-Za-z]+)\s*=?\s*([0-9]{1,6})", re.A)
_KINDS = {kind.name: kind for kind in WAITING}
_EXPECTED = f"a count from 0 to {WAIT_MASK}, or counts by type of cycle such as 'OF 1, MW 2'"


def waits_named(text: str) -> dict[Cycle, int]:
    """Wait states by type of machine cycle: ``1`` for all, or ``OF 1, MW 2``.

    Raises:
        UserError: a type that has none or is none, or a count out of range.
    """
    if text.strip().isdecimal():
        return dict.fromkeys(WAITING, _count(text.strip()))
    waits: dict[Cycle, int] = {}
    for part in text.split(","):
        found = _WAIT.fullmatch(part.strip())
        if found is None:
            raise UserError(f"{part.strip()!r} says no wait states", expected=_EXPECTED)
        word = found[1].upper()
        if word not in _KINDS:
            raise UserError(
                f"{found[1]!r} is no cycle that a board can stretch",
                expected=f"one of {', '.join(_KINDS)}",
                nearest=nearest(word, _KINDS),
            )
        if _KINDS[word] in waits:
            raise UserError(f"{word} has its wait states already", expected="each type once")
        waits[_KINDS[word]] = _count(found[2])
    return waits


def _count(digits: str) -> int:
    if len(digits) > 6 or int(digits) > WAIT_MASK:
        raise UserError(f"{digits} wait states are too many", expected=_EXPECTED)
    return int(digits)


def board_setting(board: Board) -> Setting:
    """A board's crystal, part and wait states, and an example that lies in its chips.

    The code stands in the chip that answers after a reset, data in the first RAM, the stack
    where the board file has it or else at that RAM's end.
    """
    regions = [one for one in board.memory_map() if one.chip]
    ports = [one for one in board.port_map() if one.chip]
    situation = Situation(waits_at=board.wait_states())
    if regions:
        code = regions[0]
        situation = replace(situation, pc=_within(code, 0x50), target=_within(code, 0x80))
    if ports:
        situation = replace(situation, port=ports[0].low)
    return _on(board, _with_data(situation, regions, board.description.stack))


def _with_data(
    situation: Situation, regions: Sequence[Region], stacks: Sequence[tuple[int, int]]
) -> Situation:
    ram = next((one for one in regions if one.kind == "ram"), None)
    if ram is not None:
        situation = replace(
            situation,
            hl=_within(ram, 0x10),
            bc=_within(ram, 0x20),
            de=_within(ram, 0x30),
            direct=_within(ram, 0x40),
            sp=_within(ram, ram.high - ram.low - 0xF),
        )
    if stacks:
        situation = replace(situation, sp=max(stacks[0][0] + 2, stacks[0][1] - 0xF))
    return situation


def _within(region: Region, offset: int) -> int:
    return min(region.low + max(0, offset), max(region.low, region.high - 2))


def _on(board: Board, situation: Situation) -> Setting:
    description = board.description
    return Setting(situation, description.crystal, part_named(description.cpu), description.name)


def machine_setting(machine: Machine) -> Setting:
    """A machine's board, with the registers and what they point at as they stand now."""
    registers = machine.registers
    situation = Situation(
        pc=registers.instruction_at,
        sp=registers.sp,
        a=registers.a,
        f=registers.f,
        bc=registers.bc,
        de=registers.de,
        hl=registers.hl,
        waits_at=machine.board.wait_states(),
    )
    pointed = (registers.hl, registers.bc, registers.de, registers.sp, registers.sp + 1)
    read = machine.memory
    return _on(
        machine.board,
        replace(situation, bytes={at & 0xFFFF: read[at & 0xFFFF] for at in pointed}),
    )


def subject_at(machine: Machine, address: int) -> Subject:
    """The instruction in a machine's memory."""
    found = instruction_subject(machine.memory[address])
    assert found.instruction is not None
    size = found.instruction.length - 1
    if not size:
        return found
    data = bytes(machine.memory[address + at & 0xFFFF] for at in range(1, size + 1))
    return replace(found, operand=int.from_bytes(data, "little"))
