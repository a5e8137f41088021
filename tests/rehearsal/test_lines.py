"""Every kind of expectation, met and not met, on firmware counted by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.console.words import FORMS as CONSOLE_FORMS
from emu85.rehearsal.lines import FORMS, WORDS
from tests.rehearsal.stage import FIRMWARE, lay_out, performed

COUNTED = "reach COUNTED\n"
READY = 'hear "> " within 20 ms\n'
STOP = "stop on MW at 8000\n"

MET = [
    'hear "ready"',
    'hear from usart "r*y\\r\\n> " within 20 ms',
    'hear "re??y"',
    'hear "> "\nhear nothing for 5 ms',
    'hear "> "\nenter abc\nhear "abc\\r"',
    'hear "> "\ntype "\\x01*?"\nhear "\\x01\\*\\?"',
    'run for 20 ms\nheard "ready\\r\\n"\nheard "> "\nheard nothing',
    'run for 20 ms\nheard from usart "r*\\n"\nheard from usart "> "\nheard nothing from usart',
    'hear nothing from other for 20 ms\nhear "ready"',
    "reach COUNTED within 46 T\nsee PC COUNTED",
    STOP + "reach stop 1 within 1 ms on MW at 8000 data 3E",
    STOP + "reach stop 1",
    STOP + "stop on OF\nreach any stop\nreach any stop within 1 ms on OF at 0003",
    STOP + "run\nsee held by stop 1\nsee held by stop 1 on MW at 80xx data 3E",
    "stop on MW at 8000 then MW at 8001\nrun\nsee held by stop 1\nsee bus MW at 8001 data 05",
    READY + "type .\nreach halt within 20 ms\nsee halted\nreach halt",
    READY + "type .\nreach halt\nwait 1 ms\nsee at least 1 ms since power\nhear nothing for 1 ms",
    "wait 100 T\nsee at least 100 T since power\nsee at most 106 T since power",
    "at 49\nsee PC COUNTED\nat 49 put A 12\nsee A 12",
    COUNTED + "see SP 8400 HL 8001\nsee H 80 L 01\nsee interrupts disabled",
    COUNTED + "put CY 1\nsee CY 1 Z 0",
    COUNTED + "see mem 8000 3E 05\nsee mem 8000 3x xx\nsee mem COUNTED 3E 4E D3 0010xxx1B",
    COUNTED + "see mem 0400-04FF all FF\nsee mem 8000-8000 all 0011xxxxB",
    READY + "see port 30 A5\nsee port 31 5A",
    READY + 'see device switches "5A*"\nsee device switches "*"',
    COUNTED + "see line RST 7.5 0\nsee line SOD 0\nset key down\nsee line rst7.5 1",
    COUNTED + "see 49 T since power\nmark there\nstep instruction 2\nsee 17 T since there",
    COUNTED + "mark one\nstep instruction\nmark two\nsee 7 T from one to two\nsee 7 T since line",
    COUNTED + "see at least 49 T since power\nsee at most 49 T since power",
    COUNTED + "mark one\nstep instruction\nmark two\n"
    "see at least 7 T from power to one\nsee at most 7 T from one to two",
    READY + "see no findings",
    "put mem 8000 D3 77 76\nput PC 8000\nreach halt\n"
    'see findings "write where no chip listens at port 77"',
    "put mem 8010 DB 77 32 34 12 76\nput PC 8010\nreach halt\n"
    'see findings "write*at 1234" "read where no chip answers at port ??"',
    "put mem 8010 DB 77 D3 77 D3 78 76\nput PC 8010\nreach halt\n"
    'see findings "read*" "write where no chip listens at port 7?"',
    "step 3\npower\nreach COUNTED\nsee 49 T since power",
    READY + 'power\nhear "ready"\n',
    STOP + 'run\nstops\nsee shown "1  armed*on MW at 8000*1 hit, last at T-state 30"',
    STOP + 'stop on IOW\nstops rest 1\nstops\nsee shown "1  resting*" "  2  armed*"',
    COUNTED + 'find MW at 8001\nsee shown "*MW*05*" "1 of * machine cycles*"\nsee no findings',
    "speed 0.01\nrun for 100 ms",
    COUNTED + "put mem 8020 FB 00 76\nput PC 8020\nstep instruction 2\nsee interrupts enabled",
]

NOT_MET = [
    ('hear "steady" within 20 ms', '"steady"', '"ready\\r\\n"\n"> "'),
    ('hear "ready" within 50 T', '"ready"', "(nothing)"),
    ('hear from other "x" within 1 ms', '"x"', "(nothing)"),
    ("hear nothing for 20 ms", "(nothing)", '"ready\\r\\n"\n"> "'),
    ('run for 20 ms\nheard "steady*"', '"steady*"', '"ready\\r\\n"\n"> "'),
    ('run for 20 ms\nheard "ready*never"', '"ready*never"', '"ready\\r\\n"\n"> "'),
    ("run for 20 ms\nheard nothing", "(nothing)", '"ready\\r\\n"\n"> "'),
    ("reach LOOP within 46 T", "the opcode fetch at 0026", "MW at 8001 data 05\nT-state 49"),
    (STOP + "reach COUNTED", "the opcode fetch at 000B", "MW at 8000 data 3E\nT-state 33"),
    (STOP + "reach stop 1 on MW data 3F", "on MW data 3F", "MW at 8000 data 3E\nT-state 33"),
    ("reach any stop within 7 T", "a stop", "MR at 0001 data 00\nT-state 10"),
    (STOP + "reach any stop on MR", "on MR", "MW at 8000 data 3E\nT-state 33"),
    (STOP + "reach stop 1 within 27 T", "stop 1", "MR at 0007 data 3E\nT-state 30"),
    (STOP + "stop on MR\nreach stop 1", "stop 1", "MR at 0001 data 00\nT-state 10"),
    (STOP + "run\nsee held by stop 1 on MW at 8001", "on MW at 8001", None),
    (STOP + "stop on MR\nrun\nsee held by stop 1", "held by stop 1", None),
    (STOP + "see held by stop 1", "held by stop 1", "nothing has moved"),
    ("reach halt within 10 ms", "a halt", None),
    ("hear nothing from usart for 20 ms", "(nothing)", '"ready\\r\\n"\n"> "'),
    ('run for 20 ms\nheard from usart "x"', '"x"', '"ready\\r\\n"\n"> "'),
    ("run for 20 ms\nheard nothing from usart", "(nothing)", None),
    (
        COUNTED + "put mem 8020 FB 00 76\nput PC 8020\nstep instruction 2\nsee interrupts disabled",
        "interrupts disabled",
        "interrupts enabled",
    ),
    (COUNTED + "see bus MR at 8001", "MR at 8001", "MW at 8001 data 05\nT-state 49"),
    (COUNTED + "see halted", "halted", "MW at 8001 data 05\nT-state 49"),
    (STOP + "wait 100 T", "nothing holds the board for 100 T (16.28 us)", None),
    ("wait 50 T\nat 40", "not yet T-state 40", "T-state 53"),
    (COUNTED + "see SP 8400 HL 8002 Z 1", "HL 8002 Z 1", "HL 8001 Z 0"),
    (COUNTED + "see interrupts enabled", "interrupts enabled", "interrupts disabled"),
    (COUNTED + "see mem 8000 3E 06", "8000  3E 06", "8000  3E 05"),
    (COUNTED + "see mem 8000-8001 all 3x", "8000-8001 all 3x", "8001  05"),
    (READY + "see port 30 A4", "port 30  A4", "port 30  A5"),
    (COUNTED + 'see device switches "00"', 'switches "00"', None),
    (COUNTED + "see line RST 7.5 1", "RST 7.5 1", "RST 7.5 0"),
    (COUNTED + "see 48 T since power", "48 T (7.812 us)", "49 T (7.975 us)"),
    (COUNTED + "see at least 50 T since power", "at least 50 T (8.138 us)", "49 T (7.975 us)"),
    (COUNTED + "see at most 48 T since power", "at most 48 T (7.812 us)", "49 T (7.975 us)"),
    (COUNTED + "mark a\nsee 49 T from a to a", "49 T (7.975 us)", "0 T (0 us)"),
    (COUNTED + "mark a\nsee at least 1 T from a to a", "at least 1 T (0.1628 us)", "0 T (0 us)"),
    (COUNTED + "mark a\nsee at most 1 T from power to a", "at most 1 T (0.1628 us)", None),
    (
        "put mem 8000 D3 77 76\nput PC 8000\nreach halt\nsee no findings",
        "no findings",
        '"write where no chip listens at port 77"',
    ),
    (READY + 'see findings "write*"', '"write*"', "no findings"),
    (
        'put mem 8000 D3 77 D3 78 76\nput PC 8000\nreach halt\nsee findings "*77"',
        "no other findings",
        '"write where no chip listens at port 78"',
    ),
    (
        'put mem 8000 D3 77 D3 78 D3 77 76\nput PC 8000\nreach halt\nsee findings "*78" "*79"',
        '"*79"',
        '"write where no chip listens at port 77"',
    ),
    ("run\n", "the line can be done", None),
    (
        COUNTED + 'symbols COUNTED\nsee shown "000C  COUNTED"',
        '"000C  COUNTED"',
        '"000B  COUNTED"',
    ),
    (
        COUNTED + 'mem 8000 1\nsymbols P\nsee shown "*LOOP" "*PUT" "*STOP"',
        '"*STOP"',
        '"0026  LOOP"\n"003B  PUT"',
    ),
    (COUNTED + 'symbols P\nsee shown "*PUT" "*LOOP"', '"*LOOP"', '"0026  LOOP"\n"003B  PUT"'),
    ('see shown "*"', '"*"', "(nothing)"),
    ("stops drop 3", "the line can be done", None),
    ("see held by stop 1", "the line can be done", None),
    ("see mem FFFF 00 00", "the line can be done", None),
    ("at 49 stops drop 3", "the line can be done", None),
]


@pytest.mark.parametrize("body", MET)
def test_met(body: str, tmp_path: Path) -> None:
    verdict = performed(tmp_path, body)
    assert verdict.passed, verdict.differences


@pytest.mark.parametrize(("body", "expected", "seen"), NOT_MET)
def test_not_met(body: str, expected: str, seen: str | None, tmp_path: Path) -> None:
    verdict = performed(tmp_path, body)
    assert [one.expected for one in verdict.differences] == [expected]
    if seen is not None:
        assert verdict.differences[0].seen == seen
    assert not verdict.passed
    assert verdict.failed == verdict.steps[-1:]
    assert verdict.failed[0].place.line == 3 + len(body.splitlines())


def test_every_form_is_tried_both_ways() -> None:
    """The bodies above are told apart by the words of a form alone."""

    def tried(bodies: list[str]) -> set[str]:
        lines = [f" {line} " for body in bodies for line in body.splitlines()]
        return {
            form.usage
            for form in FORMS
            if any(all(f" {word} " in line for word in _fixed(form.usage)) for line in lines)
        }

    everything = {form.usage for form in FORMS}
    assert tried(MET) == everything
    assert tried([body for body, *_ in NOT_MET]) >= everything - {"mark NEW"}


def _fixed(usage: str) -> list[str]:
    needed = usage.split("[")[0]
    return [word for word in needed.split() if word.islower()]


def test_no_line_begins_with_a_console_word() -> None:
    assert not WORDS & {form.word for form in CONSOLE_FORMS}


def test_looks_below_a_failure_are_still_made_and_then_it_ends(tmp_path: Path) -> None:
    verdict = performed(tmp_path, COUNTED + "see A 12\nregs\nsee SP 1234\nstep\nsee A 13\n")
    assert [step.text for step in verdict.failed] == ["see A 12", "see SP 1234"]
    assert (len(verdict.steps), verdict.lines) == (4, 6)


def test_serial_lines_amiss_are_told_one_by_one(tmp_path: Path) -> None:
    verdict = performed(tmp_path, 'run for 20 ms\nheard "Ready\\r\\n"\nheard "> "\nheard nothing\n')
    assert [one.expected for one in verdict.differences] == ['"Ready\\r\\n"']


def test_a_text_of_several_lines_amiss_takes_as_many(tmp_path: Path) -> None:
    body = 'run for 20 ms\nheard "ready\\r\\n> more"\nheard nothing\n'
    verdict = performed(tmp_path, body)
    assert [one.expected for one in verdict.differences] == ['"ready\\r\\n> more"']
    body = 'run for 20 ms\nheard "Ready\\r\\n"\nheard nothing\n'
    assert [one.seen for one in performed(tmp_path, body).differences] == [
        '"ready\\r\\n"\n"> "',
        '"> "',
    ]


def test_of_much_that_came_the_beginning_is_shown(tmp_path: Path) -> None:
    lay_out(tmp_path, FIRMWARE.replace("'ready'", f"'{'tidy ' * 250}'"))
    (difference,) = performed(tmp_path, 'run for 1 s\nheard "ready"\n').differences
    assert difference.seen.startswith('"tidy tidy') and difference.seen.count("tidy") == 200
    assert difference.seen.endswith("… 254 characters more")  # 50 of 5, CR LF, and "> "


def test_a_run_without_end_is_given_up_in_board_time(tmp_path: Path) -> None:
    heading = "rehearsal: t\nboard: bench.yaml\nfirmware: bench.asm\nlimit: 50 ms\n"
    verdict = performed(tmp_path, "run", heading)
    assert "it still runs after 307200 T (50 ms)" in verdict.differences[0].note
    again = performed(tmp_path, "run for 2 s", heading)
    assert again.passed and again.seconds >= 2


def test_hearing_holds_the_board_at_the_character(tmp_path: Path) -> None:
    """A character comes in the middle of its stop bit: 9.5 bits of 160 T-states each."""
    verdict = performed(
        tmp_path,
        "stop on IOW at 20\nreach stop 1\nmark out\nstops drop 1\n" + 'hear "r"\n'
        "see at least 1520 T since out\nsee at most 1760 T since out\n",
    )
    assert verdict.passed, verdict.differences


def test_board_time_counts_on_over_power(tmp_path: Path) -> None:
    verdict = performed(tmp_path, "run for 10 ms\npower\nrun for 10 ms\n")
    assert verdict.seconds == pytest.approx(0.020, abs=1e-5)
    assert verdict.steps[-1].t == pytest.approx(61_440, abs=20)


def test_twice_is_the_same(tmp_path: Path) -> None:
    body = READY + "enter hello\nrun for 5 ms\nheard nothing\n"
    assert performed(tmp_path, body) == performed(tmp_path, body)


def test_our_own_mistakes_are_told_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(machine: object) -> str:
        raise ZeroDivisionError("in the view")

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr("emu85.rehearsal.looks.bus", broken)
    (difference,) = performed(tmp_path, COUNTED + "see halted\n").differences
    assert "itself made a mistake (ZeroDivisionError: in the view)" in difference.note


def test_of_many_findings_some_are_shown(tmp_path: Path) -> None:
    writes = " ".join(f"D3 {port:02X}" for port in range(0x70, 0x70 + 25))
    body = f"put mem 8000 {writes} 76\nput PC 8000\nreach halt\nsee no findings"
    (one,) = performed(tmp_path, body).differences
    shown = one.seen.splitlines()
    assert shown[0] == '"write where no chip listens at port 70"'
    assert len(shown) == 21 and shown[-1] == "and 5 more"
