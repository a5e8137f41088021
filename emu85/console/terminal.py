"""The console on a terminal: prompt, completion, history, bottom line."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterable

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.eventloop.inputhook import InputHook, InputHookContext
from prompt_toolkit.history import FileHistory, History, InMemoryHistory

from emu85.bus.lines import Line
from emu85.console import state_dir
from emu85.console.drivers import interrupts_ignored
from emu85.console.endings import has_come, left_by
from emu85.console.live import LiveDriver, LiveScreen
from emu85.console.session import Session
from emu85.console.suggest import explain, suggestions
from emu85.console.throttle import speed_text
from emu85.console.views import bus
from emu85.machine import Machine

_PROMPT = "emu85> "
_MOST_SUGGESTED = 200


def open_terminal(machine: Machine, speed: float | None) -> TerminalConsole:
    """A console on this terminal."""
    screen = LiveScreen()
    session = Session(machine, screen, speed=speed)
    console = TerminalConsole(session)
    session.driver = LiveDriver(screen, console.bottom, console.send, lambda: session.pane.name)
    return console


class TerminalConsole:
    """Reads lines at a prompt and has the session execute them.

    Attributes:
        session: what the words work on.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self._prompt: PromptSession[str] = PromptSession(
            history=_history(),
            completer=_Completer(session),
            complete_while_typing=True,
            bottom_toolbar=self._bottom_at_prompt,
            reserve_space_for_menu=5,
        )

    def loop(self) -> None:
        """Until ``quit``, or Ctrl-D at an empty prompt; Ctrl-C never ends it."""
        while not self.session.is_over:
            # The prompt leaves Python's own handling of the signal behind.
            with contextlib.suppress(KeyboardInterrupt):
                self._turn()

    def _turn(self) -> None:
        """One line read and executed."""
        try:
            with left_by(self._leave):
                line = self._prompt.prompt(
                    _PROMPT, inputhook=self._hook(), pre_run=self._leave_if_ended
                )
        except KeyboardInterrupt:
            self.session.screen.show("The board is held. 'quit' or Ctrl-D ends the session.")
            return
        except EOFError:
            self.session.is_over = True
            return
        with interrupts_ignored():
            self.session.attempt(line)

    def _leave(self) -> None:
        """End the prompt as soon as its loop turns; may be called from a signal handler."""
        application = self._prompt.app
        if application.is_running and application.loop:
            application.loop.call_soon_threadsafe(self._exit)

    def _leave_if_ended(self) -> None:
        if has_come():  # before there was a loop
            self._leave()

    def _exit(self) -> None:
        if not self._prompt.app.is_done:
            self._prompt.app.exit(exception=EOFError)

    def _hook(self) -> InputHook | None:
        """Serves the links while a line is typed."""
        if not len(self.session.links):
            return None

        def serve(context: InputHookContext) -> None:
            while not context.input_is_ready():
                time.sleep(self.session.attend() or 0)

        return serve

    def send(self, data: bytes) -> None:
        """Bytes typed while keys go to a serial end."""
        self.session.type_by_hand(data)

    def bottom(self, state: str) -> str:
        """The bottom line: state, time, the bus, the serial pins, stops, speed; what fits."""
        machine = self.session.machine
        word = int(machine.lines)
        armed = sum(stop.armed for stop in machine.stops)
        last = bus.brief(machine.trace[-1]) if len(machine.trace) else "-"
        parts = [
            state,
            f"T {machine.t}",
            last,
            f"SID {int(bool(word & Line.SID))} SOD {int(bool(word & Line.SOD))}",
            f"{armed} stop{'' if armed == 1 else 's'}",
            f"speed {speed_text(self.session.throttle.factor)}",
        ]
        return _fitting(parts, self.session.screen.width)

    def _bottom_at_prompt(self) -> str:
        line = self._prompt.default_buffer.document.text_before_cursor
        forms = explain(line, self.session.forms, self.session.context) if line.strip() else []
        if not forms:
            return self.bottom("held")
        found = suggestions(line, self.session.forms, self.session.context)
        hint = next((one.about for one in found if not one.text), forms[0].summary)
        more = f"   (and {len(forms) - 1} more)" if len(forms) > 1 else ""
        return f" {forms[0].usage}: {hint}{more}"


class _Completer(Completer):
    """Offers what the grammar allows next."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def get_completions(
        self, document: Document, complete_event: CompleteEvent
    ) -> Iterable[Completion]:
        line = document.text_before_cursor
        if not line.strip() and not complete_event.completion_requested:
            return
        found = suggestions(line, self._session.forms, self._session.context)
        for one in [one for one in found if one.text][:_MOST_SUGGESTED]:
            yield Completion(one.text, start_position=-one.replaces, display_meta=one.about)


def _fitting(parts: list[str], width: int) -> str:
    """As many of ``parts``, the weightiest first, as fit on one line."""
    line = f" {parts[0]}"
    for part in parts[1:]:
        if len(line) + 3 + len(part) <= width:
            line += f" | {part}"
    return line


def _history() -> History:
    path = state_dir.folder() / "history"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    except OSError:
        return InMemoryHistory()
    return FileHistory(str(path))
