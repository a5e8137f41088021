"""The checks, in the order in which they are told; each file has those of one concern."""

from __future__ import annotations

from emu85.burn.checks import control, handlers, memory, placing, running, stack
from emu85.burn.checks.kinds import Check, NotMadeError

CHECKS: tuple[Check, ...] = (
    *placing.CHECKS,
    *control.CHECKS,
    *memory.CHECKS,
    *stack.CHECKS,
    *handlers.CHECKS,
    *running.CHECKS,
)

__all__ = ["CHECKS", "Check", "NotMadeError"]
