"""Console words on a real board, through a plain screen."""

from pathlib import Path

import pytest

from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.programs import COUNTER, ECHO, TALKER


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    return Bench("slate", COUNTER, tmp_path)


@pytest.fixture
def saltmarsh(tmp_path: Path) -> Bench:
    return Bench("saltmarsh", TALKER, tmp_path)


def test_a_step_is_one_machine_cycle_and_shows_the_bus(slate: Bench) -> None:
    text = slate.do("step")
    assert "OF  opcode fetch from T-state 3, 4 T-states" in text
    assert "0000 0000 0000 0000  0000  START" in text
    assert "0011 0001" in text  # 31, LXI SP
    assert "LXI SP,8800H" in text
    assert slate.machine.t == 3 + 4


def test_many_steps_show_one_row_each(slate: Bench) -> None:
    rows = [line for line in slate.do("step 3").splitlines() if line.split()[1] in ("OF", "MR")]
    assert len(rows) == 3
    assert slate.machine.t == 3 + 10


def test_step_instruction_and_past(slate: Bench) -> None:
    slate.do("step instruction")
    assert slate.machine.registers.pc == 3
    slate.do("run until 0009", "step past")
    assert slate.machine.registers.pc == 0x0C


def test_running_is_held_by_a_stop_with_one_clear_sentence(slate: Bench) -> None:
    text = slate.do("stop on MW at 8004 data 03", "run")
    assert "Held by stop 1 (on MW at 8004 data 03): memory write of 03 to 8004" in text
    record = slate.machine.trace[-1]
    assert f"8004, T-state {int(record['t'])}." in text
    assert (record["address"], record["data"]) == (0x8004, 3)


def test_stops_are_listed_rested_woken_and_dropped(slate: Bench) -> None:
    slate.do("put A 00", "stop on MW at 8004", "stop on IOW at 40", "run")
    assert "1 hit" in slate.do("stops").splitlines()[0]
    slate.do("stops rest 1")
    assert "resting" in slate.do("stops").splitlines()[0]
    assert "Held by stop 2" in slate.do("run")
    slate.do("stops wake 1", "stops drop 2")
    assert len(slate.do("stops").splitlines()) == 1
    slate.do("stops drop all")
    assert slate.do("stops").startswith("No stops")


def test_stops_are_listed_as_they_were_written(slate: Bench) -> None:
    slate.do("stop on MW at loop+8001", "stop on  iow at 40")
    first, second = slate.do("stops").splitlines()
    assert "  on MW at loop+8001 (on MW at 8004)   0 hits" in first
    assert "  on iow at 40   0 hits" in second
    assert "Held by stop 1 (on MW at loop+8001): memory write" in slate.do("put A 00", "run")


@pytest.mark.parametrize("line", ["stops clear", "stops remove 2", "stops drop *"])
def test_other_ways_to_ask_for_it_are_answered_with_the_word(slate: Bench, line: str) -> None:
    slate.do("stop on MW")
    with pytest.raises(UserError) as caught:
        slate.do(line)
    assert caught.value.nearest == "stops drop all"
    assert len(slate.machine.stops) == 1


def test_one_of_a_thing_is_not_many(slate: Bench) -> None:
    assert "1 of 1 machine cycle, in" in slate.do("find RESET")
    slate.do("step 17")
    assert "… 1 machine cycle before" in slate.do("step 17")


def test_running_for_a_time_and_until_an_address(slate: Bench) -> None:
    slate.do("run for 2 ms")
    assert 4000 <= slate.machine.t < 4018
    slate.do("run until loop")
    assert slate.machine.registers.pc == 3


def test_looking_and_putting(slate: Bench) -> None:
    slate.do("put mem 8010 3E 05 76", "put HL 8010", "put A 7F", "put CY 1")
    assert "8010  3E 05 76" in slate.do("mem 8010 3")
    assert "MVI A,05H" in slate.do("code 8010 2")
    text = slate.do("regs")
    assert "A 7F" in text
    assert "HL 8010" in text
    assert "CY 1" in text
    slate.do("put port 40 A5")
    assert "ports" in slate.do("ports")
    assert "●·●··●·●" in slate.do("ports")


def test_putting_where_no_chip_is_changes_nothing(saltmarsh: Bench) -> None:
    with pytest.raises(UserError, match="4000"):
        saltmarsh.do("put mem 4000 12")


def test_find_shows_the_newest_first(slate: Bench) -> None:
    slate.do("put A 00", "run for 5 ms")
    text = slate.do("find MW at 8004")
    rows = [line for line in text.splitlines() if " MW " in line]
    times = [int(row.split()[0]) for row in rows]
    assert times == sorted(times, reverse=True)
    data = {int(row.split()[9], 16) for row in rows}
    assert slate.machine.registers.a in data or slate.machine.registers.a - 1 in data


def test_findings_are_told_with_their_place(saltmarsh: Bench) -> None:
    assert saltmarsh.do("findings") == "No findings.\n"
    saltmarsh.do("put mem A000 3A 00 40 76", "put PC A000", "run for 100 T")
    text = saltmarsh.do("findings")
    assert "4000" in text
    assert "A000" in text


def test_bus_with_a_count_has_heads_and_rows(slate: Bench) -> None:
    slate.do("step 20")
    lines = slate.do("bus 5").splitlines()
    assert "T-state" in lines[3]
    assert sum(line.split()[0].isdigit() for line in lines[4:] if line.strip()) == 5
    assert max(map(len, lines)) <= 80


def test_what_the_board_sends_is_printed_as_it_comes(saltmarsh: Bench) -> None:
    assert "HI\nHI\n" in saltmarsh.do("run for 0.2 s")


def test_typed_text_reaches_the_pin(saltmarsh: Bench) -> None:
    text = saltmarsh.do("stop when SID low", r"type U\r", "run for 1 ms")
    assert "Held by stop 1 (when SID low)" in text


def test_enter_sends_a_line_and_type_only_the_text(tmp_path: Path) -> None:
    heard = []
    for lines in (["enter HI there"], [r"type HI\x20there\r"], ["type 'HI there'", "enter"]):
        bench = Bench("saltmarsh", ECHO, tmp_path)
        bench.do(*lines, "run for 0.5 s")
        assert bench.machine.serial is not None
        heard.append(bytes(bench.machine.serial.received))
    assert heard == [b"HI there\r"] * 3


@pytest.mark.parametrize(
    "line",
    [r"type \q", r"type \x4", "type €", "press nothing", "set station 123", "set nobody 1", "talk"],
)
def test_what_cannot_be_sent_or_set_is_refused(saltmarsh: Bench, line: str) -> None:
    with pytest.raises(UserError):
        saltmarsh.do(line)


def test_keys_and_switches_are_worked_by_hand(saltmarsh: Bench) -> None:
    assert "down" in saltmarsh.do("press key")
    assert "1" in saltmarsh.do("lines").split("RST 5.5 ")[1][0]
    saltmarsh.do("set station 3C")
    assert "3C" in saltmarsh.do("ports")
    saltmarsh.do("set key up")
    assert "RST 5.5 0" in saltmarsh.do("lines")


def test_reset_and_power(slate: Bench) -> None:
    slate.do("run for 1 ms", "put mem 8020 55", "reset")
    assert slate.machine.registers.pc == 0
    assert slate.machine.memory[0x8020] == 0x55
    slate.do("power")
    assert slate.machine.t == 3  # RESET IN lasts three T-states
    assert slate.machine.memory[0x8020] != 0x55


def test_speed_is_shown_and_set(slate: Bench) -> None:
    assert slate.do("speed") == "speed off: as fast as it goes\n"
    assert "speed real" in slate.do("speed real", "speed")
    assert slate.session.throttle.factor == 1.0


def test_pace_ends_at_a_stop_and_shows_each_step(slate: Bench) -> None:
    slate.do("put A 00", "stop on MW")
    assert slate.do("stops").splitlines() == ["  1  armed    on MW   0 hits"]
    text = slate.do("pace 60 by OF")
    assert "Held by stop 1" in text
    rows = [line for line in text.splitlines() if " OF   " in line]
    assert len(rows) == 3
    assert [stop.number for stop in slate.machine.stops] == [1]
    assert "  2  armed" in slate.do("stop on IOW"), "no number is skipped"


def test_pace_by_a_rare_cycle_type_goes_from_one_to_the_next(slate: Bench) -> None:
    text = slate.do("stop on IOW after 2", "pace 60 by IOW")
    rows = [line for line in text.splitlines() if " IOW   " in line]
    assert len(rows) == 3


def test_steps_and_pace_of_a_halted_cpu(slate: Bench) -> None:
    slate.do("put mem 8000 76", "put PC 8000", "step instruction")
    assert "nothing on the board will wake it" in slate.do("step")
    assert "nothing on the board will wake it" in slate.do("pace 60")
    assert "nothing on the board will wake it" in slate.do("run for 1 ms")


def test_help_tells_every_word_and_each_word_in_full(slate: Bench) -> None:
    text = slate.do("help")
    for form in slate.session.forms:
        assert form.usage in text
        slate.do(f"help {form.word}")
    assert max(map(len, text.splitlines())) <= 80


def test_every_form_has_an_action_with_its_slots_as_parameters(slate: Bench) -> None:
    import inspect

    from emu85.console.grammar import Slot

    for form in slate.session.forms:
        parameters = set(inspect.signature(form.action).parameters) - {"session"}
        slots = {e.name for path in form.paths for e in path if isinstance(e, Slot)}
        assert parameters == slots, form.usage


def test_quit_ends_the_session(slate: Bench) -> None:
    slate.do("quit")
    assert slate.session.is_over


def test_a_stop_like_another_is_told(tmp_path: Path) -> None:
    bench = Bench("slate", COUNTER, tmp_path)
    assert "the same as" not in bench.do("stop on MW at 8000")
    assert "the same as stop 1" in bench.do("stop on MW at 8000")
    assert "the same as" not in bench.do("stop on MW at 8001")


def test_more_memory_than_there_is_cannot_be_shown(tmp_path: Path) -> None:
    bench = Bench("slate", COUNTER, tmp_path)
    with pytest.raises(UserError, match="65537 bytes are more than there are"):
        bench.do("mem 0 65537")


def test_enter_to_one_of_several_ends(tmp_path: Path) -> None:
    bench = Bench("saltmarsh", COUNTER, tmp_path)
    bench.do("enter to serial hi")
    assert bench.machine.serial is not None and bench.machine.serial.pending + 1 >= 3


def test_a_key_of_a_keypad_is_pressed_by_name(tmp_path: Path) -> None:
    gantry = Bench("gantry", COUNTER, tmp_path)
    pad = gantry.machine.board.devices["pad"]
    gantry.do("press pad 8")
    assert pad.state() == "down: 8"
    for line, words in (
        ("press pad", "the value is missing; expected the name of a key"),
        ("press abort 8", "press of abort takes no value"),
        ("press padd 8", "did you mean 'pad'"),
    ):
        with pytest.raises(UserError, match=words):
            gantry.do(line)
