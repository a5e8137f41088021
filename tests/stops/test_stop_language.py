"""The words of stops: what they come to, and how mistakes are told."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.errors import UserError
from emu85.stops import ANY, Condition, Step, next_words, parse

SYMBOLS = {"START": 0x0100, "Buffer": 0x8100, "TICK": 0x21, "FACE": 0x1234, "DATA": 0x8200}

OF, MR, MW = Cycle.OF, Cycle.MR, Cycle.MW
IOR, IOW = Cycle.IOR, Cycle.IOW
NONE: frozenset[Cycle] = frozenset()


def only(*types: Cycle) -> frozenset[Cycle]:
    return frozenset(types)


@pytest.mark.parametrize(
    ("text", "step"),
    [
        (
            "on MW at 8000-80FF data 1B",
            Step(only(MW), low=0x8000, high=0x80FF, data_low=0x1B, data_high=0x1B),
        ),
        ("on IOR,IOW", Step(only(IOR, IOW))),
        ("on OF outside 0000-1FFF", Step(only(OF), low=0, high=0x1FFF, outside=True)),
        ("on OF at hi 80", Step(only(OF), address_mask=0xFF00, address_value=0x8000)),
        ("on MR at lo 1B", Step(only(MR), address_mask=0x00FF, address_value=0x001B)),
        ("on any data 3x", Step(ANY, data_mask=0xF0, data_value=0x30)),
        ("on IOW at 21 after 5", Step(only(IOW), low=0x2121, high=0x2121, passes=5)),
        ("when SOD high", Step(NONE, line_mask=Line.SOD, line_value=Line.SOD)),
        (
            "when RST 7.5 rises",
            Step(NONE, line_mask=Line.RST75, line_value=Line.RST75, edge_mask=Line.RST75),
        ),
        ("with rst75 FALLS", Step(NONE, line_mask=Line.RST75, edge_mask=Line.RST75)),
        ("on finding", Step(ANY, finding=True)),
        ("on MR with finding", Step(only(MR), finding=True)),
        ("at 8x0x", Step(ANY, address_mask=0xF0F0, address_value=0x8000)),
        ("MW at hi 80 lo 1x", Step(only(MW), address_mask=0xFFF0, address_value=0x8010)),
        ("MW at hi 80 lo 1B", Step(only(MW), low=0x801B, high=0x801B)),
        ("data 0000xxx1B", Step(ANY, data_mask=0xF1, data_value=0x01)),
        ("read at 8000", Step(only(MR, IOR), low=0x8000, high=0x8000)),
        ("opcode fetch, I/O write", Step(only(OF, IOW))),
        ("on HALT , any", Step(ANY | {Cycle.HALT})),
        ("on IOR at 2x", Step(only(IOR), address_mask=0xF0F0, address_value=0x2020)),
        ("on IOR at 20-2F", Step(only(IOR), low=0x2020, high=0x2F2F)),
        ("on IOR at 2121", Step(only(IOR), low=0x2121, high=0x2121)),
        ("at 8000-80FF outside 8000-807F", Step(ANY, low=0x8080, high=0x80FF)),
        ("at 8000-80FF outside 8080-FFFF", Step(ANY, low=0x8000, high=0x807F)),
        ("at 8000-80FF outside 9000-FFFF", Step(ANY, low=0x8000, high=0x80FF)),
        ("IOR at 20-2F outside 28-FF", Step(only(IOR), low=0x2020, high=0x2727)),
        ("IOR at 20-2F outside 00-27", Step(only(IOR), low=0x2828, high=0x2F2F)),
        (
            "at 8000-80FF outside 8010-801F",
            Step(
                ANY,
                low=0x8010,
                high=0x801F,
                outside=True,
                address_mask=0xFF00,
                address_value=0x8000,
            ),
        ),
        (
            "on OF with SID low and SOD high",
            Step(only(OF), line_mask=Line.SID | Line.SOD, line_value=Line.SOD),
        ),
    ],
)
def test_what_words_come_to(text: str, step: Step) -> None:
    assert parse(text) == Condition((step,))


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("1B", 0x1B),
        ("0D", 0x0D),
        ("1b", 0x1B),
        ("5", 5),
        ("101B", 5),
        ("10D", 10),
        ("255D", 255),
        ("377Q", 255),
        ("0FFH", 255),
        ("0FF", 255),
        ("'A'", 65),
        ("' '", 32),
        ("''''", 39),
    ],
)
def test_bytes(written: str, value: int) -> None:
    (step,) = parse(f"data {written}").steps
    assert (step.data_low, step.data_high) == (value, value)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("101B", 0x101B),
        ("10D", 0x10D),
        ("00001010B", 10),
        ("32768D", 0x8000),
        ("8000H", 0x8000),
        ("0F000", 0xF000),
        ("start", 0x0100),
        ("START+1F", 0x011F),
        ("Start + 10 + 1", 0x0111),
        ("face", 0x1234),
        ("0FACE", 0xFACE),
        ("DATA", 0x8200),
    ],
)
def test_addresses(written: str, value: int) -> None:
    (step,) = parse(f"at {written}", symbols=SYMBOLS).steps
    assert (step.low, step.high) == (value, value)


def test_symbols_serve_as_ports_ranges_and_bytes() -> None:
    assert parse("IOR at tick", symbols=SYMBOLS) == parse("IOR at 21")
    assert parse("MW at Buffer-Buffer+F", symbols=SYMBOLS) == parse("MW at 8100-810F")
    assert parse("data TICK", symbols=SYMBOLS) == parse("data 21")


@pytest.mark.parametrize(
    ("count", "passes"), [("10", 10), ("10H", 16), ("101B", 5), ("10D", 10), ("17Q", 15)]
)
def test_counts_are_decimal(count: str, passes: int) -> None:
    assert parse(f"MW after {count}").steps[0].passes == passes


def test_sequences_of_any_length() -> None:
    words = [f"on MW at {n:04X}" for n in range(0x8000, 0x8040)]
    condition = parse(" then ".join(words))
    assert [step.low for step in condition.steps] == list(range(0x8000, 0x8040))
    assert condition.text == " then ".join(words)


@pytest.mark.parametrize(
    ("text", "column", "message", "expected", "near"),
    [
        ("", 1, "is missing", "cycle types", ""),
        ("on", 3, "a cycle type is missing", "OF, MR, MW", ""),
        ("on MX at 8000", 4, "'MX' is not a cycle type", "OF, MR, MW", None),
        ("on opcode fetsh", 4, "'opcode' is not a cycle type", "OF", "opcode fetch"),
        ("on MW,", 7, "a cycle type is missing", "OF", ""),
        ("on MW,,MR", 7, "',' stands where a cycle type belongs", "OF", ""),
        ("on MR,finding", 7, "'finding' is not a cycle type", "OF", None),
        ("on finding,MR", 11, "'finding' is no cycle type", "MR with finding", ""),
        ("MW otside 8000", 4, "'otside' is not part of a stop", "outside", "outside"),
        ("MW at", 6, "an address is missing", "0000 to FFFF", ""),
        ("MW at with SOD high", 7, "'with' stands where an address belongs", "0000 to FFFF", ""),
        ("MW at 12345", 7, "'12345' is too large for an address", "0000 to FFFF", ""),
        ("MW at 8Z00", 7, "'8Z00' is not an address", "0000 to FFFF", ""),
        ("MW at strat", 7, "'strat' is not an address", "a symbol", "START"),
        ("MW at Buffer+", 14, "an offset is missing", "hexadecimal", ""),
        ("MW at Buffer+FFFF", 7, "too large", "0000 to FFFF", ""),
        ("MW at 80FF-8000", 7, "runs backwards", "lower end first", ""),
        ("MW at 8xxx-9000", 7, "no don't-care digits", "two numbers", ""),
        ("MW at 8000-", 12, "an address is missing", "0000 to FFFF", ""),
        ("MW at 0x8000", 7, "'0x8000' is not how numbers are written here", "8000", ""),
        ("MW data 0x1B", 9, "'0x1B' is not how numbers are written here", "1B", ""),
        ("MW data 1FF", 9, "'1FF' is too large for a byte", "00 to FF", ""),
        ("MW data 12B", 9, "'12B' is too large for a byte", "00 to FF", ""),
        ("MW data 'AB'", 9, "is not a byte", "00 to FF", ""),
        ("MW data 3xQ", 9, "'3xQ' is not a byte", "00 to FF", ""),
        ("MW at 'A'", 7, "is not an address", "0000 to FFFF", ""),
        ("MW lo 30-39", 7, "lo takes no range", "pattern", ""),
        ("MW outside 8x0x", 12, "not one range", "8000-80FF", ""),
        ("MW at 8000 at 9000", 12, "'at' is given twice", "each part once", ""),
        ("on MW on MR", 7, "'on' is given twice", "each part once", ""),
        ("MW at 80xx hi 90", 15, "no address fits both", "", ""),
        ("MW at 8000 lo 01", 15, "no address fits", "hold together", ""),
        ("MW outside 0000-FFFF", 12, "no address fits", "hold together", ""),
        ("MW at 8000 outside 7000-9000", 20, "nothing is left", "", ""),
        ("MW at 8000-8002 outside 8001", 25, "both sides of a hole", "two stops", ""),
        ("IOR at 2122", 8, "no I/O cycle shows this", "a port", ""),
        ("MR,IOR at 21", 11, "a port for I/O cycles but an address", "0021", ""),
        ("with", 5, "a line is missing", "TRAP", ""),
        ("with SODD high", 6, "'SODD' is not a line", "SOD", "SOD"),
        ("with RST 7.6 high", 6, "'RST' is not a line", "RST 7.5", "RST 7.5"),
        ("with SOD", 9, "a level is missing", "high, low, rises, falls", ""),
        ("with SOD hihg", 10, "'hihg' is not a level", "high, low, rises", "high"),
        ("SOD high", 1, "'SOD' is not a cycle type", "OF", None),
        ("when SOD high and SOD low", 19, "two ways at once", "one of high, low", ""),
        ("MW after", 9, "a count is missing", "decimal count", ""),
        ("MW after many", 10, "'many' stands where a count belongs", "decimal count", ""),
        ("MW after 99999999999999999999", 10, "too large", "at most", ""),
        ("MW then", 8, "what to look for is missing", "when SOD high", ""),
        ("MW then then MR", 9, "stands where what to look for belongs", "cycle types", ""),
        ("MW at 8000 !", 12, "'!' is not part of a stop", "data", ""),
    ],
)
def test_mistakes(text: str, column: int, message: str, expected: str, near: str | None) -> None:
    """``near`` None: any or no suggestion will do."""
    with pytest.raises(UserError) as caught:
        parse(text, symbols=SYMBOLS)
    error = caught.value
    assert error.place.column == column
    assert message in error.message
    assert expected in error.expected
    assert near is None or error.nearest == near
    if text:
        assert str(error).splitlines()[-1] == " " * (4 + column - 1) + "^"


WORDS = st.sampled_from(
    [
        "on",
        "MW",
        "MR",
        "OF",
        "IOR",
        "any",
        "read",
        "finding",
        "opcode",
        "fetch",
        "RST",
        "7.5",
        "at",
        "outside",
        "hi",
        "lo",
        "data",
        "with",
        "when",
        "and",
        "then",
        "after",
        "SOD",
        "5",
        "high",
        "low",
        "rises",
        ",",
        "+",
        "-",
        "!",
        "'",
        "'A'",
        "START",
        "DATA",
        "xx",
        "8x0x",
        "8000",
        "21",
        "1B",
        "0x80",
    ]
)


@given(st.one_of(st.text(max_size=40), st.lists(WORDS, max_size=12).map(" ".join)))
@example("data '")
@example("after " + "9" * 5000)
@example("at ''' at ß")
def test_any_text_gives_a_condition_or_one_user_error(text: str) -> None:
    try:
        condition = parse(text, symbols=SYMBOLS)
    except UserError as error:
        assert error.message
        assert 1 <= error.place.column <= len(text) + 1
    else:
        assert parse(condition.text) == condition


@given(st.one_of(st.text(max_size=30), st.lists(WORDS, max_size=8).map(" ".join)))
def test_what_is_offered_can_be_read_further(text: str) -> None:
    """An error in the lengthened text, if any, is past the word that was offered."""
    start = len(text) - len(text.split(" ")[-1])
    if any(c in text[start:] for c in ",+-'") or not text.isascii() or not text.isprintable():
        return
    for word, help_text in next_words(text, SYMBOLS):
        assert help_text
        longer = text[:start] + word
        try:
            parse(longer, symbols=SYMBOLS)
        except UserError as error:
            whole = error.place.column > len(longer)
            # Parts that cannot hold together are refused only when all are read.
            refused = "fits" in error.message or "shows" in error.message
            unread = "stands where" in error.message or "is not" in error.message
            first_word_of_two = error.message.startswith(("'RST' is not", "'RESET' is not"))
            assert whole or refused or not unread or first_word_of_two or not word, longer


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("on M", ["MR", "MW"]),
        ("on MW, IO", ["IOR", "IOW"]),
        ("MW o", ["outside"]),
        ("MW at hi 80 ", ["at", "outside", "lo", "data", "with", "after", "and", "then"]),
        ("MW at ", ["", "hi", "lo", "START", "Buffer", "TICK", "FACE", "DATA"]),
        ("MW at bu", ["", "Buffer"]),
        ("MW data ", ["", "TICK"]),
        ("when RST ", ["7.5", "6.5", "5.5"]),
        ("when RST 6", ["6.5"]),
        ("when SOD ", ["high", "low", "rises", "falls"]),
        ("opcode ", ["fetch"]),
        ("MW after ", [""]),
        ("MW nonsense ", []),
    ],
)
def test_what_may_follow(text: str, words: list[str]) -> None:
    assert [word for word, _ in next_words(text, SYMBOLS)] == words


def test_an_empty_text_may_begin_with_types_parts_or_lines() -> None:
    words = {word for word, _ in next_words("")}
    assert words >= {"on", "when", "OF", "RESET", "any", "read", "finding", "at", "with"}
    assert "then" not in words
