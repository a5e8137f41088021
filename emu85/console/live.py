"""A motion on a terminal: keys, the serial line as it is written, a bottom line.

While the machine moves, a small application owns the terminal's lowest lines:
the line the board is writing, with the cursor in it, and the bottom line.
Whatever is complete goes above them and stays in the terminal's own memory.
Keys are read raw, so Ctrl-C is a key that holds the machine.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable

from prompt_toolkit.application import Application
from prompt_toolkit.application.run_in_terminal import run_in_terminal
from prompt_toolkit.data_structures import Point
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.key_binding.key_processor import KeyPressEvent
from prompt_toolkit.keys import ALL_KEYS, Keys
from prompt_toolkit.layout import HSplit, Layout, Window
from prompt_toolkit.layout.controls import FormattedTextControl

from emu85.console.drivers import interrupt_holds
from emu85.console.endings import left_by
from emu85.console.motion import Motion, Steps
from emu85.console.screen import ColourScreen
from emu85.console.serial_text import SerialText
from emu85.errors import UserError
from emu85.machine import Held

_REDRAW = 0.1
"""Seconds between two looks at the bottom line."""
_SERVED = 0.03
"""Seconds within which complete lines and keys are served."""
NOT_TYPED = (
    Keys.CPRResponse,
    Keys.Vt100MouseEvent,
    Keys.WindowsMouseEvent,
    Keys.Ignore,
    Keys.SIGINT,
    Keys.ScrollUp,
    Keys.ScrollDown,
)

Bottom = Callable[[str], str]
"""The bottom line, given what is going on."""


class LiveScreen(ColourScreen):
    """The terminal's screen; while a motion passes it collects what is to be shown.

    Attributes:
        serial_text: the line the board is writing.
    """

    def __init__(self) -> None:
        super().__init__()
        self.serial_text = SerialText()
        self._is_live = False
        self._waiting: list[str] = []
        self._last_unfinished = ""

    def show(self, text: str = "") -> None:
        if self._is_live:
            self._waiting.append(text)
        else:
            super().show(text)

    def serial(self, data: bytes) -> None:
        lines = self.serial_text.feed(data)
        if self._is_live:
            self._waiting += lines
            return
        for line in lines:
            super().show(line)

    def problem(self, error: UserError | str) -> None:
        self.flush()
        super().problem(error)

    def begin_live(self) -> None:
        """Collect from now on."""
        self._is_live = True

    def end_live(self) -> None:
        """Show what is left, the unfinished line too."""
        self._is_live = False
        self.flush()
        if self.serial_text.current != self._last_unfinished:
            self._last_unfinished = self.serial_text.current
            super().show(self._last_unfinished)

    @property
    def has_waiting(self) -> bool:
        """Whether lines wait to be shown."""
        return bool(self._waiting)

    def flush(self) -> None:
        """Show what waits."""
        waiting, self._waiting = self._waiting, []
        if waiting:
            super().show("\n".join(waiting))


class LiveDriver:
    """Lets motions pass on a terminal."""

    has_keyboard = True

    def __init__(
        self,
        screen: LiveScreen,
        bottom: Bottom,
        send: Callable[[bytes], None],
        keys_go_to: Callable[[], str],
    ) -> None:
        """``send`` gets the bytes typed while keys go to a serial end; ``keys_go_to`` names
        that end, and is empty where there is none."""
        self._screen = screen
        self._bottom = bottom
        self._send = send
        self._keys_go_to = keys_go_to
        self._is_asked = False

    def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
        if isinstance(motion, Steps):
            return self._drive_steps(motion)
        self._is_asked = False
        self._screen.begin_live()
        try:
            with left_by(lambda: self._hold(motion)):
                return asyncio.run(self._live(motion, keyboard))
        finally:
            self._screen.end_live()

    def _hold(self, motion: Motion) -> None:
        self._is_asked = True
        motion.hold()

    def _drive_steps(self, motion: Steps) -> Held:
        with interrupt_holds(motion):
            return motion.finish()

    async def _live(self, motion: Motion, keyboard: bool) -> Held:
        application = self._application(motion, keyboard)
        mover = asyncio.ensure_future(self._move(motion, application))
        try:
            with interrupt_holds(motion):
                await application.run_async(handle_sigint=False)
        finally:
            self._hold(motion)
        return await mover

    async def _move(self, motion: Motion, application: Application[None]) -> Held:
        """Slices with room between them for keys and drawing."""
        while not application.is_running and not self._is_asked:
            await asyncio.sleep(0)
        served = drawn = time.perf_counter()
        try:
            while (held := motion.advance()) is None:
                now, wait = time.perf_counter(), motion.wait()
                if self._screen.has_waiting and max(wait, now - served) >= _SERVED:
                    await run_in_terminal(self._screen.flush)
                    served = now
                if max(wait, now - drawn) >= _REDRAW:
                    application.invalidate()
                    drawn = now
                await self._pass(wait)
            return held
        finally:
            if application.is_running:
                application.exit()

    async def _pass(self, seconds: float) -> None:
        # A long wait is cut, so that a hold asked for meanwhile is served.
        end = time.perf_counter() + seconds
        await asyncio.sleep(0)
        while (left := end - time.perf_counter()) > 0 and not self._is_asked:
            await asyncio.sleep(min(left, _SERVED))

    def _application(self, motion: Motion, keyboard: bool) -> Application[None]:
        text = self._screen.serial_text
        line = FormattedTextControl(
            lambda: text.current,
            focusable=True,
            get_cursor_position=lambda: Point(text.column, 0),
        )
        end = self._keys_go_to() if keyboard else ""
        hint = f"keys go to {end}, Ctrl-C holds" if end else "Ctrl-C holds"
        bottom = FormattedTextControl(lambda: self._bottom(f"{motion.state}, {hint}"))
        return Application(
            layout=Layout(
                HSplit(
                    [
                        Window(line, wrap_lines=True, dont_extend_height=True),
                        Window(bottom, height=1, style="reverse"),
                    ]
                )
            ),
            key_bindings=self._keys(motion, keyboard),
            erase_when_done=True,
        )

    def _keys(self, motion: Motion, keyboard: bool) -> KeyBindings:
        keys = KeyBindings()

        def hold(event: KeyPressEvent) -> None:
            self._hold(motion)

        def typed(event: KeyPressEvent) -> None:
            if keyboard:
                self._send(event.data.encode("latin-1", "ignore"))

        for key in ALL_KEYS:
            if key not in NOT_TYPED:
                keys.add(key)(typed)
        keys.add(Keys.Any)(typed)
        keys.add(Keys.ControlC)(hold)
        return keys
