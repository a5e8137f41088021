"""Serial bytes as text."""

import io

import pytest

from emu85.console.screen import PlainScreen
from emu85.console.serial_text import SerialStream, SerialText


def test_lines_end_and_the_rest_stays() -> None:
    text = SerialText()
    assert text.feed(b"TIDE 12\r\nready> ") == ["TIDE 12"]
    assert text.current == "ready> "


def test_return_and_backspace_write_over() -> None:
    text = SerialText()
    text.feed(b"12%\r45%")
    assert text.current == "45%"
    text.feed(b"\x08!")
    assert text.current == "45!"


def test_a_character_taken_back_leaves_no_rest() -> None:
    text = SerialText()
    text.feed(b"alarn\x7f\x08 \x08m")  # an echoed DEL, then what takes the character away
    assert text.current == "alarm"


def test_other_bytes_cannot_reach_the_terminal() -> None:
    text = SerialText()
    text.feed(b"\x1b[2J\xe4\x07")
    assert text.current == "<1B>[2J<E4>"


def test_endless_lines_are_cut() -> None:
    assert len(SerialText().feed(b"x" * 1200)) == 2


@pytest.mark.parametrize("ending", [b"\r\n", b"\n\r", b"\r", b"\n"])
def test_a_stream_ends_lines_once(ending: bytes) -> None:
    stream = SerialStream()
    text = "".join(stream.feed(bytes([byte])) for byte in b"A" + ending + ending + b"B")
    assert text == "A\n\n"
    assert stream.take() == "B"
    assert stream.take() == ""


def test_a_stream_shows_lines_as_backspaces_have_left_them() -> None:
    stream = SerialStream()
    assert stream.feed(b"levv\x08 \x08el 17\x088\r\n\x08ok") == "level 18\n"
    assert stream.take() == "ok"


def test_a_stream_gives_out_an_endless_line_in_parts() -> None:
    stream = SerialStream()
    text = stream.feed(b"x" * 1200)
    assert "\n" not in text
    assert text + stream.take() == "x" * 1200


def test_a_plain_screen_puts_an_unfinished_line_before_anything_else() -> None:
    out = io.StringIO()
    screen = PlainScreen(out, width=80)
    screen.serial(b"\r\nready> ")
    assert out.getvalue() == "\n"
    screen.show("Held.")
    screen.serial(b"x")
    screen.end_serial()
    screen.end_serial()
    assert out.getvalue() == "\nready> \nHeld.\nx\n"
