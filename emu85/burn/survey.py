"""The flow over an image from everything that is known to begin there."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from emu85.burn.flow import Facts, Flow, Hints, Kind, Patience, Root
from emu85.burn.ground import Ground
from emu85.burn.vectors import Comes, comes, jammed, vectors
from emu85.bus.lines import INPUTS, Line

_WAKING = INPUTS & ~(Line.SID | Line.HOLD)


@dataclass(frozen=True, slots=True)
class Survey:
    """What the flow came to.

    Attributes:
        covered: bytes of the instructions reached from reset, inputs and named entries.
        entered: vectors that code was followed from, by address.
        served: where routines of INTR begin that the run has come to.
        likely: where instructions of interrupt routines begin that may never come, but are
            code beyond doubt.
        seen: bytes reached only from what the run has executed.
    """

    flow: Flow
    facts: Facts
    covered: frozenset[int]
    entered: dict[int, Comes]
    served: frozenset[int]
    likely: frozenset[int]
    seen: frozenset[int]


def survey(
    ground: Ground,
    hints: Hints,
    executed: Iterable[int],
    *,
    clean: bool,
    served: Iterable[int] = (),
) -> Survey:
    """Follow control from reset, the inputs that may come, named entries, and the run.

    Args:
        executed: addresses of opcode fetches in a run.
        served: those of them that begin a routine of INTR.
        clean: whether that run was without a fault, so that what it did counts as meant.
    """
    unfit: set[int] = set()
    seen = _Seen(list(executed), sorted(served), clean)
    patience = Patience()
    while True:
        one = _survey(ground, hints, seen, unfit=unfit, patience=patience)
        if one.flow.changed <= unfit:
            return one
        unfit |= one.flow.changed


class _Seen(NamedTuple):
    """What a run has shown, as for :func:`survey`."""

    executed: list[int]
    served: list[int]
    clean: bool


def _survey(
    ground: Ground,
    hints: Hints,
    ran: _Seen,
    *,
    unfit: set[int],
    patience: Patience,
) -> Survey:
    wakes = any(ground.drives(line) for line in Line if line & _WAKING)
    flow = Flow(
        ground,
        hints,
        wakes=wakes,
        traps=ground.drives(Line.TRAP),
        unfit=unfit,
        patience=patience,
    )
    flow.enter(Root(0, Kind.RESET))
    for address in hints.entries:
        flow.enter(Root(address, Kind.NAMED))
    entered: dict[int, Comes] = {}
    while _enter_vectors(flow, ground, entered, lambda how: how is Comes.YES, sure=True):
        pass
    while _enter_vectors(flow, ground, entered, lambda how: how is Comes.PERHAPS, sure=False):
        pass
    called = _enter_called(flow, ground, entered)
    likely = _enter_rest(flow, ground, entered, patience)
    covered = frozenset(flow.covered())
    served = [address for address in ran.served if ground.is_held(address)]
    for address in served:
        flow.enter(Root(address, Kind.INTERRUPT), sure=ran.clean)
    served += called
    for address in ran.executed:
        if address not in flow.reached() and ground.is_held(address):
            flow.enter(Root(address, Kind.NAMED), sure=ran.clean)
    facts = flow.facts()
    seen = frozenset(flow.covered()) - covered
    return Survey(flow, facts, covered, entered, frozenset(served), frozenset(likely), seen)


def _enter_vectors(
    flow: Flow,
    ground: Ground,
    entered: dict[int, Comes],
    wanted: Callable[[Comes], bool],
    *,
    sure: bool,
) -> bool:
    """Follow vectors that may come; whether there was a new one."""
    found = False
    for vector in vectors():
        how = comes(vector, ground, flow)
        if vector.address not in entered and wanted(how):
            entered[vector.address] = how
            flow.enter(Root(vector.address, Kind.INTERRUPT), sure=sure)
            found = True
    return found


def _enter_called(flow: Flow, ground: Ground, entered: dict[int, Comes]) -> list[int]:
    """Follow what INTR leads to by a CALL that the board jams; where that is."""
    found = jammed(ground)
    if found is None or found.target is None or not flow.enables or found.target in entered:
        return []
    flow.enter(Root(found.target, Kind.INTERRUPT))
    return [found.target] if ground.is_held(found.target) else []


def _enter_rest(
    flow: Flow, ground: Ground, entered: dict[int, Comes], patience: Patience
) -> set[int]:
    """Follow what stands at the other vectors, where it is code beyond doubt.

    Nothing is known to lead there, so it may be data or the middle of an instruction; what
    runs into trouble is left alone.

    Returns:
        where the instructions begin that are entered by inputs, those that may come as well.
    """
    likely: set[int] = set()
    for vector in vectors():
        root = Root(vector.address, Kind.ROUTINE)
        is_new = vector.address not in flow.covered()
        is_unsure = is_new or entered.get(vector.address) is Comes.PERHAPS
        if not is_unsure or not ground.is_held(vector.address):
            continue
        trial = Flow(ground, Hints(), wakes=False, traps=False, patience=patience)
        trial.enter(root)
        facts = trial.facts()
        if facts.outside or facts.lost or trial.changed:
            continue
        if vector.line is not None:  # at another, ordinary code may well stand
            likely |= {address for address, sure in facts.starts.items() if sure}
        if is_new:
            entered.setdefault(vector.address, Comes.NO)
            flow.enter(root, sure=False)
    return likely
