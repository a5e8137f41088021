"""The demo firmware, running as it does on its boards, keeps to what is told of it."""

from __future__ import annotations

import pytest

from emu85.board import fit, load_board
from emu85.machine import Machine
from emu85.profile.routines import Begun
from emu85.profile.watch import Watch
from emu85.timing.duration.asked import follow


@pytest.mark.parametrize(("name", "routines"), [("slate", 4), ("saltmarsh", 8)])
def test_every_call_that_returned_was_within_least_and_most(name: str, routines: int) -> None:
    """Interrupts that came meanwhile are left out by the profile."""
    board = load_board(name).without_batteries()
    machine = Machine(fit(board), trace=200_000)
    assert machine.board.firmware is not None
    image = machine.load(machine.board.firmware)
    watch = Watch(machine)
    machine.run(seconds=2.5)
    called = [
        row for row in watch.figures().routines.rows() if row.begun is Begun.CALLED and row.over
    ]
    assert len(called) >= routines
    for row in called:
        _, result = follow("it", row.address, image, fit(board), {})
        assert result.ways is not None
        assert result.ways.least.t <= row.least, f"{row.address:04X}"
        if result.ways.most is not None:
            assert row.most <= result.ways.most.t, f"{row.address:04X}"
