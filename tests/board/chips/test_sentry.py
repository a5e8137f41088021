"""The sentry card, armed by firmware; where it hits is read off the trace."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from emu85.board.chips.sounder import Sounder
from emu85.bus.cycles import Cycle
from emu85.console.saved import restore, save
from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.firmware import assemble
from emu85.machine import Machine, Reason
from emu85.stops import parse

BOARD = """
name: guarded
crystal: 2 MHz              # a T-state is a microsecond
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - {device: sentry, name: sentry, at: 40-41}
  - {device: switches, name: bank, at: 10, value: 3C}
wired:
  - {device: sounder, name: horn}
  - {device: tick, name: tick, rate: 1 kHz, pulse: 40 us}
lines:
  RST 5.5: sentry.hit
  RST 6.5: tick.out
  horn.drive: sentry.sound
"""
HOLD, PACE, RAISE, SOUND, DISARM = "01", "02", "04", "08", "10"

HEAD = """
PUT     MACRO   REG,VALUE
        MVI     A,REG
        OUT     40H
        MVI     A,VALUE
        OUT     41H
        ENDM
        ORG     0
        LXI     SP,8400H
"""


def card(*program: str, vectors: str = "") -> Machine:
    """A machine whose firmware begins with ``program``."""
    machine = Machine.from_text(BOARD)
    source = HEAD + "        JMP START\n" + vectors + "\n        ORG 100H\nSTART:\n"
    machine.load(assemble(source + "\n".join(program) + "\nDONE: JMP DONE\n", "guard.asm").image)
    return machine


def slot(number: int, fields: str) -> str:
    """Assembly that fills a slot's registers, as ``2=21 4=FF``, and arms it."""
    sets = [one.split("=") for one in fields.split()] + [["E", "01"]]
    return "\n".join(f"        PUT 0{number}{reg}H,0{value}H" for reg, value in sets)


def cycle(machine: Machine, at: int = -1) -> str:
    record = machine.trace[at]
    name = Cycle(int(record["type"])).name
    return f"{name} {int(record['address']):04X} {int(record['data']):02X}"


WORK = """
        MVI     A,37H
        STA     8004H
        IN      10H
        STA     8010H
        MVI     A,3BH
        STA     8004H
        OUT     22H
        OUT     21H
        LDA     0900H           ; nothing is there
        MVI     A,0C0H
        SIM
        STA     8004H
        DAD     H
        LDA     8200H           ; never written
        JMP     200H
        ORG     200H
        HLT
"""


@pytest.mark.parametrize(
    ("fields", "text", "hit"),
    [
        ("0=04 D=01", "on MW", "MW 8004 37"),
        ("0=04 2=10 3=80 4=FF 5=FF D=01", "on MW at 8010", "MW 8010 3C"),
        ("0=04 2=10 4=F0 D=01", "on MW at lo 1x", "MW 8010 3C"),
        ("0=04 6=3B 7=FF D=01", "on MW data 3B", "MW 8004 3B"),
        ("0=04 6=09 7=0B D=01", "on MW data xxxx1x01B", ""),
        ("0=04 6=38 7=FC D=01", "on MW data 001110xxB", "MW 8004 3B"),
        ("0=04 B=02 D=01", "on MW after 2", "MW 8004 3B"),
        ("0=08 D=01", "on IOR", "IOR 1010 3C"),
        ("0=18 2=21 4=FF 5=FF D=01", "on IOR,IOW at 21", "IOW 2121 3B"),
        ("0=10 2=21 3=21 4=FF 5=FF D=01", "on IOW at 21", "IOW 2121 3B"),
        ("0=02 2=00 3=09 5=FF D=01", "on MR at hi 09", "MR 0900 FF"),
        ("0=01 6=10 7=FF D=01", "on OF data 10", ""),
        ("0=01 6=76 7=FF D=01", "on OF data 76", "OF 0200 76"),
        ("0=40 D=01", "on BI", "BI"),
        ("0=80 D=01", "on HALT", "HALT"),
        ("1=80 D=01", "on finding", "IOW 2222 3B"),
        ("0=02 1=80 3=80 5=80 D=01", "on MR at hi 1xxxxxxxB with finding", "MR 8200 00"),
        ("0=04 8=80 9=80 D=01", "on MW with SOD high", "MW 8004 C0"),
        ("8=80 9=80 A=80 D=01", "when SOD rises", "OF 0141 32"),
        ("8=80 9=80 D=01", "when SOD high", "OF 0139 32"),
    ],
)
def test_each_condition_holds_in_the_first_cycle_that_meets_it(
    fields: str, text: str, hit: str
) -> None:
    machine = card(slot(3, fields), WORK)
    held = machine.run(t_states=20_000)
    assert [stop.text for stop in machine.stops] == [text]
    assert parse(text).steps == machine.stops[501].condition.steps  # as the user would write it
    if not hit:
        assert held.reason is Reason.LIMIT
        assert machine.stops[501].hits == 0
        return
    assert held.reason is Reason.STOP
    assert [(stop.owner, stop.number) for stop in held.stops] == [("firmware", 501)]
    assert held.stops[0].last_t == int(machine.trace[-1]["t"])
    assert cycle(machine).startswith(hit)


COUNTED = """
        PUT     00H,04H         ; slot 0: on MW at 8004 after 1
        PUT     02H,04H
        PUT     03H,80H
        PUT     04H,0FFH
        PUT     05H,0FFH
        PUT     0BH,1
        PUT     0DH,{action}H
        PUT     0EH,1
        STA     8004H
        STA     8004H           ; this one
        STA     8004H
"""
PUT_T = 7 + 10 + 7 + 10
"""MVI, OUT, MVI, OUT (User's Manual, instruction set; values from memory)."""
ARMED_T = 3 + 10 + 10 + 8 * PUT_T
"""Reset, LXI, JMP, eight times PUT."""
SECOND_WRITE_T = ARMED_T + 13 + 10
"""STA is four cycles of 4, 3, 3 and 3 T-states; the second one's write begins here."""


def test_a_hit_is_in_the_very_cycle() -> None:
    machine = card(COUNTED.format(action=HOLD))
    held = machine.run(seconds=1)
    assert (held.reason, held.t) == (Reason.STOP, SECOND_WRITE_T + 3)
    assert held.stops[0].last_t == SECOND_WRITE_T
    assert machine.run(t_states=1000).reason is Reason.LIMIT  # the third is let go by again
    assert machine.stops[501].hits == 1


def test_a_hit_raises_its_line_until_the_status_is_cleared() -> None:
    handler = """
        ORG     2CH             ; RST 5.5
        MVI     A,80H
        OUT     40H
        IN      41H
        STA     8010H
        OUT     41H             ; clears what has hit
        IN      41H
        STA     8011H
        RET
"""
    machine = card("MVI A,0EH", "SIM", "EI", COUNTED.format(action=RAISE), vectors=handler)
    machine.run(t_states=1000)
    # The line rises as the cycle ends, too late for this STA: the third one goes first.
    write = SECOND_WRITE_T + 7 + 4 + 4
    assert machine.stops[501].last_t == write
    records = machine.trace.all()
    acknowledge = records[records["type"] == int(Cycle.BI)][0]
    assert int(acknowledge["t"]) == write + 3 + 13
    assert list(machine.memory[0x8010:0x8012]) == [0x01, 0x00]
    assert list(records["address"]).count(0x2C) == 1  # the line fell again


def test_what_concerns_the_card_is_at_80_and_up() -> None:
    read = """
        MVI     A,{0}H
        OUT     40H
        IN      41H
        STA     {1}H
"""
    machine = card(
        slot(0, "0=04 D=00"),
        slot(5, "0=04 2=07 3=80 4=FF 5=FF D=10"),
        slot(7, "0=00"),  # asks for nothing
        read.format("81", "8000"),
        "STA 8007H",
        read.format("80", "8001"),
        read.format("81", "8002"),
        read.format("5E", "8003"),
        read.format("7E", "8004"),
        read.format("0F", "8005"),
        "MVI A,80H",
        "OUT 40H",
        "MVI A,01H",
        "OUT 41H",
        "IN 41H",
        "STA 8006H",
        read.format("8F", "8008"),
        read.format("8E", "8009"),
        read.format("83", "800A"),
        "IN 40H",
        "STA 800BH",
    )
    machine.run(t_states=5000)
    memory = machine.memory
    assert memory[0x8000] == 0x21  # slots 0 and 5 are armed
    assert memory[0x8001] == 0x21  # and both have hit
    assert memory[0x8002] == 0x01  # 5 was disarmed by its hit
    assert memory[0x8003] == 0x80
    assert memory[0x8004] == 0x40
    assert memory[0x8005] == 6  # writes since it was armed
    assert memory[0x8006] == 0x20
    assert list(memory[0x8008:0x800C]) == [0x5C, 0x01, 4, 0x83]
    assert [(stop.owner, stop.armed) for stop in machine.stops] == [
        ("firmware", True),
        ("firmware", False),
    ]


def test_a_write_moves_to_the_next_register_of_the_slot() -> None:
    machine = card(
        "MVI A,3EH",
        "OUT 40H",
        "XRA A",
        *["OUT 41H"] * 2,
        "MVI A,04H",
        "OUT 41H",
        "IN 40H",
        "STA 8000H",
        "MVI A,30H",
        "OUT 40H",
        "IN 41H",
        "IN 41H",
        "STA 8001H",
        "IN 40H",
        "STA 8002H",
    )
    machine.run(t_states=2000)
    assert list(machine.memory[0x8000:0x8003]) == [0x31, 0x04, 0x30]


@pytest.mark.parametrize(
    "fields",
    [
        "9=00",  # neither a cycle nor a line
        "0=08 2=21 3=22 4=FF 5=FF",  # no port shows 2221
        "0=08 2=01 3=02 4=03 5=03",
    ],
)
def test_what_can_never_be_met_is_not_armed(fields: str) -> None:
    machine = card(slot(0, fields), "MVI A,0EH", "OUT 40H", "IN 41H", "STA 8000H")
    machine.run(t_states=2000)
    assert machine.memory[0x8000] == 0x40
    assert not list(machine.stops)


def test_a_pace_is_asked_for_by_the_hit_and_ended_by_the_card() -> None:
    machine = card(
        "PUT 83H,0FFH",
        slot(0, "0=10 2=22 4=FF 5=FF D=02"),
        "OUT 22H",
        "MVI A,82H",
        "OUT 40H",
        "IN 41H",
        "STA 8000H",
        "MVI A,1",
        "OUT 41H",
        "IN 41H",
        "STA 8001H",
    )
    held = machine.run(t_states=10_000, heed_pace=True)
    assert (held.reason, machine.pace) == (Reason.PACE, 255)
    assert cycle(machine) == "IOW 2222 01"
    out = io.StringIO()
    session = Session(machine, PlainScreen(out, width=80))
    session.execute("run for 2 ms")
    shown = [line for line in out.getvalue().splitlines() if "1/s" not in line]
    # MVI 2 cycles, OUT 3, IN 3, STA 4, MVI 2, OUT 3: each is shown, then full speed.
    steps = [line for line in shown if line.lstrip()[:1].isdigit()]
    assert len(steps) == 17
    assert list(machine.memory[0x8000:0x8002]) == [1, 0]
    assert machine.pace == 0


def test_the_card_knows_that_the_user_has_ended_a_pace() -> None:
    machine = card(
        slot(0, "0=10 2=22 4=FF 5=FF D=02"),
        "OUT 22H",
        "MVI A,82H",
        "OUT 40H",
        "AGAIN: IN 41H",
        "STA 8000H",
        "JMP AGAIN",
    )
    session = Session(machine, PlainScreen(io.StringIO(), width=80))
    before = machine.t
    machine.run(t_states=10_000)  # paced only by who heeds it
    asked_t = machine.t
    assert (machine.pace, machine.memory[0x8000]) == (4, 1)
    motion = session.free_run()
    motion.hold()
    session.move(motion)
    assert machine.pace == 0
    session.execute("run for 1 ms")
    assert machine.memory[0x8000] == 0
    trace = machine.trace.all().tobytes()
    session.history.go_to(before)
    session.history.go_to(asked_t)
    assert machine.memory[0x8000] == 1
    session.execute("run for 1 ms")  # and it comes again when the past is gone through
    assert machine.memory[0x8000] == 0
    assert machine.trace.all().tobytes() == trace


def test_dropping_all_leaves_the_firmwares() -> None:
    machine = card(slot(2, "0=04 D=01"), slot(3, "0=02 D=01"), "AGAIN: STA 8000H", "JMP AGAIN")
    out = io.StringIO()
    session = Session(machine, PlainScreen(out, width=80))
    machine.run(t_states=10_000)
    machine.stops.add("on IOR")
    session.execute("stops drop all")
    assert out.getvalue() == "What the firmware has armed stays: 501, 502.\n"
    assert [stop.owner for stop in machine.stops] == ["firmware", "firmware"]
    assert machine.board.devices["sentry"].state() == "slots armed 23, hit 3"
    assert machine.run(t_states=1000).reason is Reason.STOP


def test_runs_that_heed_no_pace_go_on() -> None:
    machine = card(slot(0, "0=04 D=02"), "STA 8000H")
    assert machine.run(t_states=5000).reason is Reason.LIMIT
    machine.reset()
    assert machine.pace == 0


def test_a_hit_sounds() -> None:
    machine = card(slot(0, "0=04 D=08"), "STA 8000H")
    machine.run(t_states=200_000)
    horn = machine.board.devices["horn"]
    assert isinstance(horn, Sounder)
    assert horn.state() == "quiet, 100 edges"  # 2 kHz for 50 ms


def test_stops_are_listed_as_the_firmwares_and_the_user_has_the_last_word() -> None:
    machine = card(slot(2, "0=04 D=01"), "AGAIN: STA 8000H", "JMP AGAIN")
    out = io.StringIO()
    session = Session(machine, PlainScreen(out, width=80))
    machine.stops.add("on IOR")
    session.execute("run")
    session.execute("stops")
    assert "by stop 501 of the firmware (on MW)" in out.getvalue()
    assert "501  armed    on MW (armed by the firmware)" in out.getvalue()
    session.execute("stops rest 501")
    assert machine.run(t_states=1000).reason is Reason.LIMIT
    assert machine.board.devices["sentry"].state() == "slots armed none, hit 2"
    session.execute("stops wake 501")
    assert machine.run(t_states=1000).reason is Reason.STOP
    session.execute("stops drop 501")
    assert machine.run(t_states=1000).reason is Reason.LIMIT
    assert machine.board.devices["sentry"].state() == "slots armed none, hit 2"


def test_reset_and_power_take_the_firmwares_stops_away() -> None:
    machine = card(slot(2, "0=04 D=01"), "STA 8000H")
    user = machine.stops.add("on IOR")
    for begin_again in (machine.reset, machine.power):
        assert machine.run(t_states=1000).reason is Reason.STOP
        assert len(machine.stops) == 2
        begin_again()
        assert list(machine.stops) == [user]
        assert machine.board.devices["sentry"].state() == "slots armed none, hit none"


def test_a_saved_session_brings_the_firmwares_stops_back_with_its_moment(tmp_path: Path) -> None:
    machine = card(slot(2, "0=04 D=01"), "STA 8000H")
    session = Session(machine, PlainScreen(io.StringIO(), width=80))
    machine.stops.add("on IOR")
    machine.run(t_states=1000)
    before = [(stop.text, stop.owner, stop.hits) for stop in machine.stops]
    state = machine.board.devices["sentry"].state()
    assert [owner for _, owner, _ in before] == ["user", "firmware"] and "hit 2" in state
    path = tmp_path / "one.json"
    save(session, path)
    saved = json.loads(path.read_text())["stops"]["stops"]
    assert [stop["owner"] for stop in saved] == ["user"]
    session.execute("power")
    restore(session, path, path.read_text())
    after = [(stop.text, stop.owner, stop.hits) for stop in machine.stops]
    assert after == before and machine.board.devices["sentry"].state() == state
