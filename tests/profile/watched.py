"""Programs run on the rig under a watch, for tests of where their time goes."""

from __future__ import annotations

from emu85.machine import Machine
from emu85.profile.routines import Begun, Spent
from emu85.profile.watch import Figures, Watch
from tests.rig import rig


def watched(program: str, t_states: int = 3000, trace: int = 1000) -> tuple[Machine, Figures]:
    """A machine that has run a program from power-on, and what was counted."""
    machine = rig(program, trace=trace)
    watch = Watch(machine)
    machine.run(t_states=t_states, wait=True)
    return machine, watch.figures()


def row_of(figures: Figures, address: int, begun: Begun = Begun.CALLED) -> Spent:
    """The one row of a routine."""
    found = [r for r in figures.routines.rows() if (r.address, r.begun) == (address, begun)]
    assert len(found) == 1
    return found[0]


def spent_of(program: str, *names: str) -> list[Spent]:
    """Rows of called routines by their labels, after a run to a halt."""
    machine, figures = watched(program)
    assert machine.registers.halted
    assert_whole(figures)
    return [row_of(figures, machine.symbols[name]) for name in names]


def assert_whole(figures: Figures) -> None:
    """Every T-state is somebody's, and nobody's twice."""
    rows = figures.routines.rows()
    assert sum(row.own for row in rows) == figures.t_states
    for row in rows:
        assert 0 <= row.idle <= row.own
        assert row.own <= row.whole <= figures.t_states
        assert row.least <= row.mean <= row.most or not row.over
        assert row.left <= row.over <= row.calls
    executed = figures.execution.t_states.sum() + figures.execution.acknowledge_t
    assert executed == figures.t_states
