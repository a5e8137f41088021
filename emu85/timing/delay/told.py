"""What a solved and measured delay comes to, for people."""

from __future__ import annotations

from fractions import Fraction

from emu85.board.quantities import seconds_text
from emu85.errors import UserError
from emu85.timing.delay.solver import Plan, Use
from emu85.wording import counted


def tell(plan: Plan, wanted: Fraction, clock: Fraction, measured: int) -> str:
    """Wanted, promised and measured, four lines.

    Args:
        wanted: in T-states; may be no whole number of them.
        clock: of the CPU, in hertz.
        measured: T-states of a run.
    """
    rows = [
        ("wanted", f"{_t_text(wanted)}, {seconds_text(wanted / clock)}"),
        ("takes", f"{counted(plan.t_states, 'T-state')}, {_error(plan, wanted, clock)}"),
        ("measured", f"{counted(measured, 'T-state')}, {_verdict(plan, measured)}"),
        ("size", _size(plan)),
    ]
    return "".join(f"{name:<9} {text}\n" for name, text in rows)


def refuse_out_of_reach(wanted: Fraction, clock: Fraction, reach: tuple[int, int]) -> None:
    """Tell what can be had.

    Args:
        wanted: in T-states.

    Raises:
        UserError: it cannot.
    """
    low, high = reach
    if low <= round(wanted) <= high:
        return
    times = " to ".join(seconds_text(t / clock) for t in reach)
    raise UserError(
        f"{seconds_text(wanted / clock)}, {_t_text(wanted)}, is out of reach",
        expected=f"{low} to {high} T-states, {times}, with these registers and wait states",
    )


def _t_text(wanted: Fraction) -> str:
    if wanted.denominator == 1:
        return counted(int(wanted), "T-state")
    return f"{float(wanted):.3f} T-states"


def _error(plan: Plan, wanted: Fraction, clock: Fraction) -> str:
    error = plan.t_states - wanted
    if not error:
        return "exactly that"
    said = f"{seconds_text(abs(error) / clock)} too {'long' if error > 0 else 'short'}"
    return f"{float(error):+.4g} T-state{'' if abs(error) == 1 else 's'}: {said}"


def _verdict(plan: Plan, measured: int) -> str:
    return "as promised" if measured == plan.t_states else "NOT AS PROMISED"


def _size(plan: Plan) -> str:
    tail = ", and 3 for each CALL" if plan.use is Use.ROUTINE else ""
    return f"{counted(plan.size, 'byte')}{tail}"
