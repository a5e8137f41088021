"""Random stop conditions over the random worlds."""

from __future__ import annotations

import random

from emu85.errors import UserError
from emu85.stops import Condition, parse
from tests.worlds import BODY, BODY_END, PORTS_OF_INTEREST, SPACE_OF_INTEREST

MEMORY_TYPES = ("OF", "MR", "MW", "INA", "BI", "HALT", "HOLD")
LINES = ("TRAP", "RST 7.5", "RST 6.5", "RST 5.5", "INTR", "SID", "SOD", "HOLD", "HLDA", "READY")


def random_conditions(seed: int, count: int) -> list[Condition]:
    """So many conditions, each of one to three steps."""
    rng = random.Random(seed)
    found: list[Condition] = []
    while len(found) < count:
        text = " then ".join(_step(rng) for _ in range(rng.choice([1, 1, 1, 2, 3])))
        try:
            found.append(parse(text))
        except UserError:  # parts that cannot hold together
            continue
    return found


def _step(rng: random.Random) -> str:
    after = f" after {rng.randrange(1, 4)}" if rng.random() < 0.2 else ""
    if rng.random() < 0.25:
        return f"when {_lines(rng)}{after}"
    with_lines = f" with {_lines(rng)}" if rng.random() < 0.2 else ""
    return f"{_bus(rng)}{with_lines}{after}"


def _lines(rng: random.Random) -> str:
    return " and ".join(
        f"{line} {rng.choice(['high', 'low', 'rises', 'falls'])}"
        for line in rng.sample(LINES, rng.choice([1, 1, 2]))
    )


def _bus(rng: random.Random) -> str:
    way = rng.random()
    if way < 0.15:
        return "on finding" + _data(rng)
    if way < 0.35:
        return f"on {rng.choice(['IOR', 'IOW', 'IOR,IOW'])}" + _port(rng) + _data(rng)
    types = ",".join(rng.sample(MEMORY_TYPES, rng.randrange(1, 5)))
    return f"on {rng.choice([types, types, 'any'])}" + _address(rng) + _data(rng)


def _port(rng: random.Random) -> str:
    port = rng.choice(PORTS_OF_INTEREST)
    return rng.choice(["", f" at {port:02X}", f" outside {port:02X}", f" at {port:02X}-FF"])


def _place(rng: random.Random) -> int:
    near = rng.random() < 0.6
    return rng.randrange(BODY, BODY_END) if near else rng.choice(SPACE_OF_INTEREST)


def _address(rng: random.Random) -> str:
    if rng.random() < 0.4:
        return ""
    low, high = sorted((_place(rng), _place(rng)))
    return rng.choice(
        [
            f" at {low:04X}-{high:04X}",
            f" outside {low:04X}-{high:04X}",
            f" at hi {high >> 8:02X}",
            f" at lo {low & 0xFF:02X}",
            f" at 00{low >> 4 & 15:X}x",
            f" at {low:04X}",
        ]
    )


def _data(rng: random.Random) -> str:
    if rng.random() < 0.7:
        return ""
    byte = rng.randrange(256)
    return rng.choice([f" data {byte:02X}", f" data x{byte & 15:X}", f" data 00-{byte:02X}"])
