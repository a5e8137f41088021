"""One sentence on why the machine is held."""

from __future__ import annotations

from emu85.console.views.bus import sentence
from emu85.machine import Held, Machine, Reason
from emu85.stops import Stop


def held_sentence(held: Held, machine: Machine) -> str:
    """Which stop or other reason, in which machine cycle, at what T-state."""
    if held.reason is Reason.HALTED:
        return f"Held: the CPU waits at T-state {held.t}, and nothing on the board will wake it."
    return f"Held {_reason(held, machine)}: {_where(machine)}."


def _reason(held: Held, machine: Machine) -> str:
    if held.reason is Reason.STOP:
        return " and ".join(_stop_text(stop) for stop in held.stops)
    if held.reason is Reason.ADDRESS:
        return f"before the opcode fetch at {machine.registers.pc:04X}"
    if held.reason is Reason.ASKED:
        return "by Ctrl-C"
    if held.reason is Reason.LIMIT:
        return "after the time asked for"
    return "as asked"


def _stop_text(stop: Stop) -> str:
    of = "" if stop.owner == "user" else f" of the {stop.owner}"
    return f"by stop {stop.number}{of} ({stop.written})"


def worded(stop: Stop) -> str:
    """A stop's condition as it was written, and what that came to if it differs."""
    if stop.written.casefold() == stop.text.casefold():
        return stop.written
    return f"{stop.written} ({stop.text})"


def _where(machine: Machine) -> str:
    if not len(machine.trace):
        return "no machine cycle done yet"
    record = machine.trace[-1]
    return f"{sentence(record)}, T-state {int(record['t'])}"
