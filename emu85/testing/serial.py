"""A serial end of a board under test: text sent, and text waited for."""

from __future__ import annotations

from collections.abc import MutableMapping

from emu85.errors import UserError
from emu85.machine import Held, Machine
from emu85.rehearsal.listening import NOTHING, hear_out, shown
from emu85.rehearsal.patterns import quoted, read_pattern
from emu85.rehearsal.report import difference_lines
from emu85.rehearsal.verdict import Difference
from emu85.testing.failure import BoardFailure, told_at_the_test
from emu85.testing.given import t_states_of, text_of

PATIENCE = "1 s"
"""Board time that is waited for a text unless told otherwise."""


class SerialEnd:
    """The far end of one of the board's serial lines.

    Attributes:
        name: what the board calls it.
    """

    def __init__(self, machine: Machine, name: str, heard: MutableMapping[str, int]) -> None:
        """``heard``: how many characters of each end have been told of."""
        self.name = name
        self._machine = machine
        self._end = machine.board.serial_ends[name]
        self._heard = heard

    @property
    def received(self) -> bytes:
        """All that has come from the board since power-on."""
        return bytes(self._end.received)

    @told_at_the_test
    def send(self, text: str | bytes) -> None:
        """Queue characters to the board; they take their time while it runs.

        Raises:
            UserError: no text, or a character that is no byte.
        """
        self._end.send(_bytes(text_of(text)))

    @told_at_the_test
    def hear(self, pattern: str | bytes, within: int | str = PATIENCE) -> str:
        """Let the board run until a text has come; what has come and was not told of counts.

        Args:
            pattern: the text, or its bytes; ``*`` is any characters, ``?`` any one, ``\\*`` and
                ``\\?`` those themselves, as in rehearsals.
            within: board time: T-states, or a text such as ``"20 ms"``.

        Returns:
            what has come since the last text that was heard, to the end of this one.

        Raises:
            UserError: a pattern or a time that is none.
            BoardFailure: it has not come.
        """
        looked_for, length = read_pattern(_written(text_of(pattern))), self._t_states(within)
        before = self._heard[self.name]
        amiss = hear_out(self._machine, self._heard, self.name, looked_for, length, self._run)
        if amiss:
            raise BoardFailure("\n".join(difference_lines(amiss)).lstrip())
        return self.received[before : self._heard[self.name]].decode("latin-1")

    @told_at_the_test
    def hear_nothing(self, during: int | str) -> None:
        """Let time pass in which nothing comes; what has come and was not told of counts.

        Raises:
            UserError: a time that is none.
            BoardFailure: something has come.
        """
        self._run(self._t_states(during))
        came = self.received[self._heard[self.name] :]
        self._heard[self.name] += len(came)
        if came:
            amiss = Difference(NOTHING, shown(came), f"{self.name} is not silent")
            raise BoardFailure("\n".join(difference_lines(amiss)).lstrip())

    def _run(self, length: int) -> Held:
        return self._machine.run(t_states=length, wait=True)

    def _t_states(self, time: int | str) -> int:
        return t_states_of(time, self._machine.clock_hz)


def _written(pattern: str) -> str:
    """A pattern with its control characters as they are written in rehearsals."""
    return "".join(c if c.isprintable() else quoted(c)[1:-1] for c in pattern)


def _bytes(text: str) -> bytes:
    try:
        return text.encode("latin-1")
    except UnicodeEncodeError as error:
        raise UserError(
            f"{text[error.start]!r} is no character of one byte",
            expected="bytes, or \\x00 to \\xFF",
        ) from None
