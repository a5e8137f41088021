"""The panel on a terminal: frames, keys, the mouse, and the terminal as it was afterwards."""

from __future__ import annotations

import asyncio
import sys
import time
from collections.abc import Callable

from prompt_toolkit.application import Application
from prompt_toolkit.data_structures import Size
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.key_binding.key_processor import KeyPressEvent
from prompt_toolkit.keys import ALL_KEYS, Keys
from prompt_toolkit.layout import Layout, Window
from prompt_toolkit.layout.controls import FormattedTextControl
from prompt_toolkit.mouse_events import MouseEvent, MouseEventType
from prompt_toolkit.styles import Style

from emu85.console.drivers import on_interrupt
from emu85.console.endings import left_by
from emu85.console.kept_terminal import screen_filled
from emu85.console.live import NOT_TYPED
from emu85.console.panel.controls import Controls
from emu85.console.panel.lamps import lamps_for
from emu85.console.panel.picture import picture
from emu85.console.panel.pieces import Piece
from emu85.console.panel.room import Room
from emu85.console.panel.screen import PanelScreen
from emu85.console.session import Session

FRAMES = 30
"""A second, at most."""
_FRAME = 1 / FRAMES
_STYLE = Style.from_dict({"strong": "bold", "head": "reverse", "lit": "bold"})
"""Emphasis only: the panel is the same without colour, on a light ground and on a dark one."""
_KEYS = {"space": " ", "+": "+", "-": "-"}


def show_panel(session: Session) -> None:
    """Show the panel until it is left; the board is held then.

    The terminal gets its modes back however that comes about.

    Raises:
        SystemExit: a signal ended it.
    """
    screen = PanelScreen()
    console, session.screen = session.screen, screen
    controls = Controls(session, screen)
    try:
        with screen_filled():
            _Panel(controls, session).run()
    finally:
        session.screen = console
        controls.close()
    for line in screen.told:
        session.screen.show(line)


class _Panel:
    def __init__(self, controls: Controls, session: Session) -> None:
        self._controls = controls
        self._session = session
        self._lamps = lamps_for(sys.stdout.encoding)
        self._fragments: StyleAndTextTuples = []
        self._due = 0.0
        self._size = Size(0, 0)
        self._mistake: Exception | None = None
        self._is_hold_asked = False
        self._application = self._make()

    def run(self) -> None:
        """Until it is left."""
        with left_by(self._leave_soon), on_interrupt(self._hold_soon):
            asyncio.run(self._live())

    async def _live(self) -> None:
        mover = asyncio.ensure_future(self._move())
        try:
            await self._application.run_async(handle_sigint=False)
        finally:
            self._controls.is_over = True
        await mover
        if self._mistake:
            raise self._mistake

    async def _move(self) -> None:
        """Slices of the board's motion, and a frame whenever one is due.

        A mistake in here, ours or the drawing's, leaves the panel and is raised once the
        terminal has its modes back.
        """
        application = self._application
        while not application.is_running and not self._controls.is_over:
            await asyncio.sleep(0)
        try:
            while not self._controls.is_over:
                if self._is_hold_asked:
                    self._is_hold_asked = False
                    self._hold()
                wait = self._controls.advance()
                self._frame()
                await self._pass(wait)
        finally:
            if application.is_running:
                application.exit()

    async def _pass(self, seconds: float) -> None:
        """Let time pass, but no more than a frame of it, so that keys are answered."""
        await asyncio.sleep(min(seconds, _FRAME))

    def _frame(self) -> None:
        now = time.perf_counter()
        size = self._application.output.get_size()
        if now < self._due and size == self._size:
            return
        # A slice takes as long as most of a frame: what is late is made up for by the next.
        self._due = max(self._due + _FRAME, now)
        self._size = size
        room = Room(size.columns, size.rows)
        lines = picture(self._controls.scene(room), room, self._lamps)
        fragments: StyleAndTextTuples = []
        for number, line in enumerate(lines):
            if number:
                fragments.append(("", "\n"))
            fragments += [self._fragment(piece) for piece in line]
        if fragments != self._fragments:
            self._fragments = fragments
            self._application.invalidate()

    def _fragment(
        self, piece: Piece
    ) -> tuple[str, str] | tuple[str, str, Callable[[MouseEvent], object]]:
        style = f"class:{piece.style}" if piece.style else ""
        if not piece.action:
            return (style, piece.text)
        return (style, piece.text, self._clicks[piece.action])

    def _make(self) -> Application[None]:
        self._clicks = {key: self._click(key) for key in self._controls.keys}
        control = FormattedTextControl(lambda: self._fragments, show_cursor=False, focusable=True)
        return Application(
            layout=Layout(Window(control, always_hide_cursor=True)),
            key_bindings=self._bindings(),
            style=_STYLE,
            full_screen=True,
            mouse_support=True,
            max_render_postpone_time=0,
        )

    def _click(self, key: str) -> Callable[[MouseEvent], object]:
        def clicked(event: MouseEvent) -> object:
            if event.event_type is MouseEventType.MOUSE_UP:
                self._press(key)
                return None
            return NotImplemented

        return clicked

    def _bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        def other(event: KeyPressEvent) -> None:
            if self._controls.is_typing:
                self._controls.type(event.data.encode("latin-1", "ignore"))

        def hold(event: KeyPressEvent) -> None:
            self._hold()

        def escape(event: KeyPressEvent) -> None:
            self._controls.stop_typing()

        for key in ALL_KEYS:
            if key not in NOT_TYPED:
                bindings.add(key)(other)
        bindings.add(Keys.Any)(other)
        for name in self._controls.keys:
            bindings.add(_KEYS.get(name, name))(self._key(name, other))
        bindings.add(Keys.ControlC)(hold)
        bindings.add(Keys.Escape, eager=True)(escape)
        return bindings

    def _key(
        self, name: str, other: Callable[[KeyPressEvent], None]
    ) -> Callable[[KeyPressEvent], None]:
        def pressed(event: KeyPressEvent) -> None:
            if self._controls.is_typing:
                other(event)
            else:
                self._press(name)

        return pressed

    def _press(self, key: str) -> None:
        """Do what a key does; a mistake of ours is kept until the terminal is as it was."""
        try:
            self._controls.press(key)
        except Exception as error:
            self._mistake = error
            self._controls.is_over = True

    def _hold(self) -> None:
        if self._controls.is_moving:
            self._press("space")

    def _hold_soon(self) -> None:
        """May be called from a signal handler."""
        self._is_hold_asked = True

    def _leave_soon(self) -> None:
        """May be called from a signal handler."""
        self._controls.is_over = True
