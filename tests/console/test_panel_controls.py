"""The panel's keys at a session, with no terminal; all they do can be recorded."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from emu85.console.grammar import parse
from emu85.console.panel.controls import Controls
from emu85.console.panel.room import Room
from emu85.console.panel.scene import Mode
from emu85.console.panel.screen import PanelScreen
from emu85.console.screen import PlainScreen
from emu85.console.session import Burnt, Session
from emu85.machine import Machine
from emu85.rehearsal import rehearse
from emu85.rehearsal.report import report
from tests.rehearsal.stage import lay_out

TYPED = "type "
SLICES = 3


class Seat:
    """A session on the small board of the rehearsals, and the panel in front of it."""

    def __init__(self, folder: Path) -> None:
        lay_out(folder)
        machine = Machine.from_board(str(folder / "bench.yaml"), firmware=folder / "bench.asm")
        self.session = Session(machine, PlainScreen(io.StringIO()))
        self.session.burnt = Burnt(folder / "bench.asm", None)

    @contextmanager
    def panel(self) -> Iterator[Controls]:
        """As the console word has it."""
        session, screen = self.session, PanelScreen()
        command = parse("panel", session.forms, session.context)
        assert command is not None
        console, session.screen = session.screen, screen
        with session.lines_done.line("panel", command, session.pane.name):
            controls = Controls(session, screen)
            try:
                yield controls
            finally:
                controls.close()
                session.screen = console

    def press(self, keys: Sequence[str]) -> None:
        """Keys, or what is typed to the board, a little time apart."""
        with self.panel() as controls:
            for key in keys:
                if key.startswith(TYPED):
                    controls.type(key.removeprefix(TYPED).encode())
                else:
                    controls.press(key)
                for _ in range(SLICES):
                    controls.advance()


@pytest.fixture
def seat(tmp_path: Path) -> Seat:
    return Seat(tmp_path)


def test_frames_fall_on_no_grid_while_the_panel_is_there(seat: Seat) -> None:
    throttle = seat.session.throttle
    with seat.panel() as controls:
        controls.press("space")
        lengths = set()
        for _ in range(20):
            before = seat.session.machine.t
            controls.advance()
            lengths.add(seat.session.machine.t - before)
        assert throttle.is_uneven and len(lengths) > 10
    assert not throttle.is_uneven


def test_steps_runs_and_paces(seat: Seat) -> None:
    machine = seat.session.machine
    with seat.panel() as controls:
        controls.press("s")
        controls.press("i")
        assert machine.t == 3 + 10  # the reset, and LXI SP
        controls.press("p")
        assert controls.scene(Room(80, 24)).mode is Mode.PACING
        before = machine.trace.total
        controls.advance()
        controls.advance()
        assert machine.trace.total == before + 2
        controls.press("space")
        assert not controls.is_moving
        controls.press("space")
        controls.advance()
        controls.press("r")  # goes on running
        assert controls.scene(Room(80, 24)).mode is Mode.RUNNING
    assert not controls.is_moving
    assert machine.trace.total > before + 2


def test_chosen_cycle_types_hold_and_leave_no_stop_behind(seat: Seat) -> None:
    with seat.panel() as controls:
        controls.press("3")
        controls.press("space")
        while controls.is_moving:
            controls.advance()
        scene = controls.scene(Room(80, 24))
        assert scene.message == "Held on MW: memory write of 3E to 8000."
        assert (scene.address, scene.data) == (0x8000, 0x3E)
    held = seat.session.machine.run(t_states=100)
    assert not held.stops and not len(seat.session.machine.stops)


def test_a_mistake_is_a_message(seat: Seat) -> None:
    with seat.panel() as controls:
        seat.session.pane.name = ""
        controls.press("t")
        assert "no serial line" in controls.scene(Room(80, 24)).message
        assert not controls.is_typing


_KEYS = st.sampled_from(
    ["s", "i", "b", "r", "space", "p", "+", "-", "3", "5", f"{TYPED}h", f"{TYPED}."]
)
_LISTS = st.lists(_KEYS, max_size=12)


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(before=_LISTS, keys=_LISTS)
def test_all_that_the_keys_do_can_be_recorded(before: list[str], keys: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        seat, path = Seat(Path(folder)), Path(folder) / "made.rehearsal"
        seat.press(before)
        seat.session.execute(f"record '{path}'")
        seat.press(keys)
        seat.session.execute("record end")
        verdict = rehearse(path)
        assert verdict.passed, report(verdict) + path.read_text()
        assert "panel" not in path.read_text()
