"""Random boards, random programs and what happens to them, from one number.

A world is meant to be rough: programs overwrite themselves, run into nothing,
loop, halt and are interrupted, while lines move on T-states of their own.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import partial

from hypothesis import strategies as st

from emu85.bus.lines import Line
from emu85.machine import Machine

SPACE_OF_INTEREST = (
    *(0x0000, 0x0041, 0x0080, 0x01F0, 0x0FFF),  # RAM with the program
    *(0x1080, 0x1FFF),  # its mirror
    *(0x4000, 0x4010, 0x47FE),  # more RAM, never written
    *(0x5000, 0x50FF),  # ROM
    *(0x4800, 0x48FF),  # two chips at once
    *(0x6000, 0x6001),  # a device in the memory space
    *(0x9000, 0xFFFF),  # nothing
)
PORTS_OF_INTEREST = (0x00, 0x03, 0x10, 0x10, 0x10, 0x11, 0x20, 0x20, 0x21, 0x30, 0x80)
BODY, BODY_END = 0x0040, 0x0200

# Bytes after the opcode, from the lengths that the assembly language manual
# gives: immediate bytes and ports are one, addresses and words are two.
WITH_BYTE = (*range(0x06, 0x40, 8), *range(0xC6, 0x100, 8), 0x28, 0x38)
WITH_WORD = (
    *(0x01, 0x11, 0x21, 0x31, 0x22, 0x2A, 0x32, 0x3A),
    *(0xC3, 0xCD, 0xDD, 0xFD, *range(0xC2, 0x100, 8), *range(0xC4, 0x100, 8)),
)
RETURNS = (0xC9, 0xE9, *range(0xC0, 0x100, 8))


@dataclass(frozen=True)
class World:
    """One random case; ``t_states`` is how long it is watched."""

    board: str
    program: bytes
    rom: bytes
    lines: tuple[tuple[int, Line, int], ...]
    key_at: int
    sent: bytes
    sent_at: int
    t_states: int

    def machine(self, trace: int = 20_000) -> Machine:
        """A machine of its own, powered, everything that will happen scheduled."""
        machine = Machine.from_text(self.board, trace=trace)
        self.prepare(machine)
        return machine

    def prepare(self, machine: Machine) -> None:
        """Power ``machine``, put the program in, and schedule all that will happen."""
        for line in Line.TRAP, Line.HOLD:  # driven by hand, so power does not change them
            machine.drive(line, 0)
        machine.power()
        machine.memory[0 : len(self.program)] = self.program
        machine.memory[0x5000:0x5100] = self.rom
        at = machine.schedule.at
        for t, line, level in self.lines:
            at(t, partial(machine.drive, line, level))
        at(self.key_at, partial(machine.board.adjust, "key", "press"))
        assert machine.serial is not None
        at(self.sent_at, partial(machine.serial.send, self.sent))
        # Everybody is held at the same boundary, halted or not.
        at(self.t_states - 1, machine.ask_hold)


def world(seed: int) -> World:
    """The world of that number."""
    rng = random.Random(seed)
    t_states = rng.choice([600, 1500, 3000])
    return World(
        board=_board(rng),
        program=_program(rng),
        rom=rng.randbytes(0x100),
        lines=_pulses(rng, t_states),
        key_at=rng.randrange(t_states),
        sent=rng.randbytes(rng.randrange(1, 4)),
        sent_at=rng.randrange(t_states),
        t_states=t_states,
    )


WORLDS = st.integers(0, 1 << 32).map(world)


def _board(rng: random.Random) -> str:
    def waits() -> int:
        return rng.choice([0, 0, 0, 1, 2, 7])

    return f"""
name: random
crystal: {rng.choice([2, 4, 6])} MHz
pull-ups: {rng.choice([0x00, 0xFF, 0x76, 0xC9]):02X}
fill: {rng.choice(["zeros", "random 7", "pattern 76"])}
stack: {rng.choice(["0000-FFFF", "4000-47FF", "0E00-0FFF"])}
memory:
  - {{ram: 4K, name: main, at: 0000-1FFF, code: yes, waits: {waits()}}}
  - {{ram: 4K, name: more, at: 4000-4FFF, code: {rng.choice(["yes", "no"])}, waits: {waits()}}}
  - {{rom: 256, name: burnt, at: 5000-50FF, waits: {waits()}}}
  - {{ram: 256, name: clash, at: 4800-48FF, waits: {waits()}}}
  - {{device: converter, name: near, at: 6000-6001, waits: {waits()}, convert: 20 us,
      every: 50 us, values: [00, 3E, C9, F3, FB, 76, CD]}}
ports:
  - {{device: switches, at: 00-03, value: {rng.randrange(256):02X}, waits: {waits()}}}
  - {{device: converter, name: far, at: 10-11, waits: {waits()}, convert: 10 us, every: 30 us,
      values: [11, 22, 33, 80, FF]}}
  - {{device: latch, name: control, at: 20-21, readable: yes, clear: yes}}
  - {{device: lamps, at: 30}}
wired:
  - {{device: tick, rate: {rng.choice([2, 7.3, 40])} kHz}}
  - {{device: key, hold: 60 us}}
  - {{device: vector, {rng.choice(["rst: 5", "rst: 1", "call: 0123", "call: 6000"])}}}
lines:
  RST 7.5: tick.out
  RST 6.5: {{any: [far.done, control.q1]}}
  RST 5.5: {{any: [key.out, near.done]}}
  INTR: vector.intr
  vector.request: {{any: [control.q0, SOD, {rng.choice(["HLDA", "tick.out", "not key.out"])}]}}
serial: {{baud: {rng.choice([9600, 31250, 100000])}, format: {rng.choice(["8N1", "7E2"])}}}
"""


def _program(rng: random.Random) -> bytes:
    code = bytearray(BODY_END)
    code[0:3] = 0xC3, BODY, 0x00
    for restart in range(0x08, 0x40, 4):
        code[restart : restart + 4] = _handler(rng)
    body = bytearray([0x31, *rng.choice([(0xF0, 0x0F), (0x00, 0x48), (0x02, 0x00)])])
    body += bytes([0x3E, 0x18 | rng.choice([0, 0, 1, 4, 7]), 0x30])
    while len(body) < BODY_END - BODY:
        body += _instruction(rng, BODY + len(body))
    code[BODY:] = body[: BODY_END - BODY]
    code[-6:] = 0x00, 0x00, 0x00, 0xC3, BODY, 0x00
    return bytes(code)


def _handler(rng: random.Random) -> bytes:
    """Four bytes that mostly come back, with interrupts enabled."""
    first, second = (rng.choice([0x00, 0x04, 0x80, 0xF5, 0x20, 0x3C]) for _ in range(2))
    return bytes([first, second, rng.choice([0xFB, 0xFB, 0x00]), 0xC9])


def _instruction(rng: random.Random, here: int) -> bytes:
    way = rng.random()
    if way < 0.03:
        return rng.randbytes(rng.randrange(1, 4))
    if way < 0.20:
        return bytes([rng.choice([0xD3, 0xDB]), rng.choice(PORTS_OF_INTEREST)])
    if way < 0.28:
        return bytes([rng.choice([0xFB, 0xFB, 0x20, 0x30, 0xF3, 0x76])])
    if way < 0.34:  # a loop counted in B, which something inside may change
        inside = _instruction(rng, here + 2) + _instruction(rng, here + 2)
        back = here + 2
        return bytes([0x06, rng.randrange(1, 5), *inside, 0x05, 0xC2, back & 0xFF, back >> 8])
    if way < 0.44:  # SOD or the masks
        return bytes([0x3E, rng.choice([0xC0, 0x40, 0x18, 0x1F, rng.randrange(256)]), 0x30])
    if way < 0.60:  # HL at a place worth touching, and touch it
        place = rng.choice(SPACE_OF_INTEREST)
        touch = rng.choice([0x77, 0x7E, 0x34, 0x35, 0x86, 0x36, 0x34, 0x39])
        return bytes([0x21, place & 0xFF, place >> 8, touch, *([0xAA] if touch == 0x36 else [])])
    return _any_instruction(rng, here)


def _any_instruction(rng: random.Random, here: int) -> bytes:
    opcode = rng.randrange(256)
    if opcode in RETURNS and rng.random() < 0.7:
        return bytes([0x00])
    if opcode in WITH_WORD:
        # Mostly forward, or the program would soon go round in a small circle.
        ahead = rng.randrange(here + 3, here + 0x30) % BODY_END
        place = ahead if rng.random() < 0.9 else rng.choice(SPACE_OF_INTEREST)
        return bytes([opcode, place & 0xFF, place >> 8])
    if opcode in WITH_BYTE:
        return bytes([opcode, rng.randrange(256)])
    return bytes([opcode])


def _pulses(rng: random.Random, t_states: int) -> tuple[tuple[int, Line, int], ...]:
    """HOLD and TRAP pulses of any length, also none at all, also shorter than a cycle."""
    pulses: list[tuple[int, Line, int]] = []
    for line in (Line.HOLD, Line.HOLD, Line.HOLD, Line.TRAP, Line.TRAP):
        if rng.random() < 0.3:
            continue
        rise = rng.randrange(t_states)
        pulses += [(rise, line, 1), (rise + rng.choice([1, 2, 5, 20, 60]), line, 0)]
    return tuple(pulses)
