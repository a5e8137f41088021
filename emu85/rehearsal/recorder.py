"""What was done at a console, with what was seen, written down as a rehearsal.

A rehearsal begins at power-on and a recording may begin at any moment.  So what was
done before ``record`` stands first in the file, without expectations but for what the
serial ends had sent by then and for the state that it came to; then each line entered
with what was seen of the machine after it (:mod:`emu85.rehearsal.seen`).

A line whose course the wall clock had a part in (somebody typed meanwhile, a run was
held by Ctrl-C, a halt was waited out) is written as what it came to in board time:
characters with the times between them (``at`` their T-states in an exact recording), and
when it ended.  The line itself stands before that as a comment.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.board import shelf
from emu85.console.lines_done import DoneLine, Sent
from emu85.errors import Place, UserError
from emu85.firmware import atomic_write
from emu85.firmware.files import read_text
from emu85.machine import Reason
from emu85.rehearsal.check import NOT_HERE
from emu85.rehearsal.script import TRACE
from emu85.rehearsal.seen import Seen, numbered_stops, quoted_name

if TYPE_CHECKING:
    from emu85.console.session import Session

_LEFT_OUT = {"panel", "quit", "record", "rehearse"}
"""Words that are no part of what is rehearsed."""
_TYPING = {"type", "enter"}
_OF_THE_TRACE = {"back", "bus", "find", "wave", "who"}
"""Words for which it matters how much the trace holds."""
_USUAL_LIMIT = 60
_FIRST = "rehearsal: recorded on "


@dataclass(frozen=True, slots=True)
class _Piece:
    """Lines of the file, and how many of them were entered."""

    lines: tuple[str, ...]
    entered: int = 0


class Recorder:
    """Writes down what a session does from now on, with what led up to it.

    The file is written anew after every line, as a whole or not at all, so that no
    mishap takes more than the line it came in.

    Attributes:
        path: the rehearsal's file.
    """

    def __init__(self, session: Session, path: Path, *, exact: bool = False) -> None:
        """Begin, and write the file with what was done so far.

        Args:
            session: whose lines are recorded.
            path: the rehearsal's file.
            exact: pin every T-state and register, so that another build will not pass.

        Raises:
            UserError: the file cannot be written, or the session cannot be replayed.
        """
        _check_replayable(session)
        _check_may_be_replaced(path)
        self.path = path
        self._session = session
        self._machine = session.machine
        self._is_exact = exact
        self._seen = Seen(session, exact=exact)
        self._longest = 0
        self._looked_back = False
        done = session.lines_done.lines
        for line in done:
            self._seen.note(line)
        self._pieces = [_Piece(tuple(self._replayed(line))) for line in done]
        if self._machine.trace.total > 1 or any(piece.lines for piece in self._pieces):
            self._pieces.append(_Piece(("# Here the recording began.", *self._seen.beginning())))
        self._write()
        session.lines_done.listeners.append(self._take)

    @property
    def entered(self) -> int:
        """Lines entered since the beginning."""
        return sum(piece.entered for piece in self._pieces)

    def end(self) -> None:
        """Write the last expectation, on findings, and take no more lines.

        Raises:
            UserError: the file cannot be written.
        """
        self._session.lines_done.listeners.remove(self._take)
        self._session.recorder = None
        last = tuple(self._seen.end())
        if not self._pieces or self._pieces[-1].lines[-len(last) :] != last:
            self._pieces.append(_Piece(last))
        self._write()

    def _take(self, done: DoneLine) -> None:
        """Write down a line that has been done."""
        self._seen.note(done)
        replayed = list(self._replayed(done))
        seen = list(self._seen.after(done)) if replayed else []
        if replayed or seen:
            self._pieces.append(_Piece((*replayed, *seen), entered=int(bool(done.text))))
            self._write()

    # --- what is done again -----------------------------------------------------

    def _replayed(self, done: DoneLine) -> Iterator[str]:
        """Lines that do what a line did."""
        word = done.command.form.word if done.command else ""
        if word in _LEFT_OUT or (done.is_refused and not (done.sent or done.ended > done.began)):
            return
        self._longest = max(self._longest, done.ended - done.began)
        self._looked_back |= word in _OF_THE_TRACE
        if _is_told_in_board_time(done, word):
            yield from self._in_board_time(done)
        elif word in NOT_HERE:
            yield f"# {done.text.strip()}"
        else:
            before = [one for one in done.sent if one.t <= done.began]
            yield from self._typed(before, done.began)
            yield self._line(done)
            yield from self._typed(done.sent[len(before) :], done.ended)

    def _in_board_time(self, done: DoneLine) -> Iterator[str]:
        if done.text:
            yield f"# {done.text.strip()}"
        yield from self._typed(done.sent, done.began)
        began = max([done.began, *(one.t for one in done.sent)])
        if done.ended <= began:
            return
        stops = numbered_stops(done.held)
        if stops:
            yield f"reach stop {stops[0].number} within {self._leeway(done.ended - began)}"
        elif done.held and done.held.reason is Reason.ADDRESS:
            place = self._seen.names.text(self._machine.registers.pc)
            yield f"reach {place} within {self._leeway(done.ended - began)}"
        elif self._is_exact:
            yield f"at {done.ended}"
        else:
            yield f"wait {done.ended - began} T"

    def _leeway(self, t_states: int) -> str:
        """How long to wait for what took so long; another build may take longer."""
        if self._is_exact:
            return f"{t_states} T"
        return f"{math.ceil(2000 * t_states / self._machine.clock_hz) + 1} ms"

    def _typed(self, sent: Iterable[Sent], t: int) -> Iterator[str]:
        """Lines that type, begun at T-state ``t``.

        An exact recording names the T-states; the usual one the time that lies between, so
        that a build that takes longer to come there gets its characters as well.
        """
        for one in _joined(sent):
            line = f"type to {quoted_name(one.end)} {_typed_text(one.data)}"
            if self._is_exact:
                yield f"at {one.t} {line}"
                continue
            if one.t > t:
                yield f"wait {one.t - t} T"
                t = one.t
            yield line

    def _line(self, done: DoneLine) -> str:
        """The line as a rehearsal can do it: files and serial ends named from there."""
        assert done.command is not None
        text = done.text.strip()
        offset = len(done.text) - len(done.text.lstrip())
        paths = [
            (done.command.columns[slot] - 1 - offset, value)
            for slot, value in done.command.values.items()
            if isinstance(value, Path)
        ]
        for at, path in sorted(paths, reverse=True):
            end = at + len(_first_word(text[at:]))
            text = text[:at] + quoted_name(self._from_file(path)) + text[end:]
        word = done.command.form.word
        first = next(iter(self._machine.board.serial_ends), "")
        if word in _TYPING and "end" not in done.command.values and done.pane != first:
            text = f"{word} to {quoted_name(done.pane)}{text[len(word) :]}"
        return text

    def _from_file(self, path: Path) -> str:
        return Path(os.path.relpath(path, self.path.parent)).as_posix()

    # --- the file -----------------------------------------------------------------

    def _write(self) -> None:
        lines = list(self._heading())
        for piece in self._pieces:
            lines += ["", *piece.lines] if piece.lines else []
        atomic_write(self.path, "\n".join(lines) + "\n")

    def _heading(self) -> Iterator[str]:
        board = self._machine.board
        yield f"{_FIRST}{board.name}"
        file = board.description.file
        name = shelf.board_name(file)
        yield f"board: {self._from_file(Path(file)) if name == file else name}"
        burnt = self._session.burnt
        if burnt is not None:
            yield f"firmware: {self._from_file(burnt.file)}"
            if burnt.at is not None:
                yield f"at: {burnt.at:04X}"
        if self._looked_back and self._machine.trace.total > TRACE:
            yield f"trace: {self._machine.trace.size}"
        seconds = int(self._longest / board.clock_hz) + 1
        if seconds >= _USUAL_LIMIT:
            yield f"limit: {seconds} s"


def _check_replayable(session: Session) -> None:
    """Refuse what a rehearsal could not do again.

    Raises:
        UserError: it says why.
    """
    if session.lines_done.is_full:
        raise UserError(
            "too much has been done in this session to be replayed", expected="a new session"
        )
    description = session.machine.board.description
    if not description.file:
        raise UserError("this board has no file", expected="a board read from a file")
    kept = [chip.name for chip in description.memory if chip.battery_file]
    if kept:
        raise UserError(
            f"{kept[0]} began with bytes from its battery's file, which a rehearsal does not have",
            expected="'battery: yes' in the board file",
        )


def _check_may_be_replaced(path: Path) -> None:
    """Let a recording be made anew, but nothing that somebody has written.

    Raises:
        UserError: what is there is no recording, or cannot be read.
    """
    if path.exists() and not read_text(path).startswith(_FIRST):
        raise UserError(
            "there already, and not a recording", Place(str(path)), expected="another name"
        )


def _is_told_in_board_time(done: DoneLine, word: str) -> bool:
    """Whether doing the same line again might take another course."""
    if done.command is None or done.is_refused:
        return True
    if not done.is_free:
        return False
    is_asked = done.held is not None and done.held.reason is Reason.ASKED
    return bool(done.sent) or done.hears or is_asked or word in NOT_HERE


def _joined(sent: Iterable[Sent]) -> Iterator[Sent]:
    """Characters that came to one end at one moment, together."""
    last: Sent | None = None
    for one in sent:
        if last and (last.t, last.end) == (one.t, one.end):
            last = last._replace(data=last.data + one.data)
            continue
        if last:
            yield last
        last = one
    if last:
        yield last


def _typed_text(data: bytes) -> str:
    r"""Bytes as 'type' takes them, in quotes."""
    return '"' + "".join(map(_typed_character, data)) + '"'


def _typed_character(byte: int) -> str:
    letters = {0x0D: r"\r", 0x0A: r"\n", 0x09: r"\t", 0x5C: r"\\"}
    if byte in letters:
        return letters[byte]
    return chr(byte) if 0x20 <= byte < 0x7F and byte != 0x22 else f"\\x{byte:02X}"


def _first_word(text: str) -> str:
    """The word that a text begins with, its quotes included."""
    if text[:1] in ("'", '"'):
        return text[: text.index(text[0], 1) + 1]
    return text.split(maxsplit=1)[0]
