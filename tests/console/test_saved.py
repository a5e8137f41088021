"""Loading and saving from the console."""

import json
from pathlib import Path

import pytest

from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.programs import COUNTER


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench("slate", COUNTER, tmp_path)


def test_a_session_comes_back_as_it_was(bench: Bench, tmp_path: Path) -> None:
    bench.do("stop on MW at 8004", "stop on IOW at 40 after 5", "run", "stops rest 2", "speed 2")
    before = bench.do("stops")
    bench.do(f"save {tmp_path}/one.json", "stops drop all", "speed off")
    bench.machine.symbols.clear()
    bench.do(f"load {tmp_path}/one.json")
    assert bench.do("stops") == before
    assert bench.machine.symbols["LOOP"] == 3
    assert bench.session.throttle.factor == 2.0
    assert "Held by stop 1" in bench.do("run")


def test_memory_is_saved_and_loaded_again(bench: Bench, tmp_path: Path) -> None:
    bench.do("put mem 8100 01 02 03", f"save {tmp_path}/m.hex 8100-8102")
    bench.do(f"save {tmp_path}/m.bin 8100-8102", "put mem 8100 00 00 00")
    assert (tmp_path / "m.bin").read_bytes() == b"\x01\x02\x03"
    bench.do(f"load {tmp_path}/m.hex")
    assert bytes(bench.machine.memory[0x8100 + i] for i in range(3)) == b"\x01\x02\x03"
    bench.do(f"load {tmp_path}/m.bin at 8200")
    assert bench.machine.memory[0x8202] == 3


def test_symbol_files_are_loaded(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "more.sym").write_text("ELSEWHERE\t8123\n")
    bench.do(f"load {tmp_path}/more.sym")
    assert "8123  ELSEWHERE" in bench.do("symbols else")


@pytest.mark.parametrize(
    "line",
    [
        "save x.hex",
        "save x.txt 8000-8001",
        "save x.json 8000-8001",
        "save no-such-folder/x.json",
        "load nothing-here.hex",
        "load nothing-here.json",
        "load x.unknown",
    ],
)
def test_files_that_cannot_be_taken(bench: Bench, line: str) -> None:
    with pytest.raises(UserError):
        bench.do(line)


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data.pop("stops"),
        lambda data: data.pop("emu85 session"),
        lambda data: data.update({"emu85 session": 2}),
        lambda data: data["stops"].update(stops=7),
        lambda data: data.update(symbols=[1]),
        lambda data: data["symbols"].update(A="12345"),
        lambda data: data["symbols"].update({"9A": "12"}),
        lambda data: data.update(speed="warp"),
    ],
)
def test_a_damaged_session_changes_nothing(bench: Bench, tmp_path: Path, change: object) -> None:
    assert callable(change)
    bench.do("stop on MW at 8004", f"save {tmp_path}/s.json")
    data = json.loads((tmp_path / "s.json").read_text())
    change(data)
    (tmp_path / "s.json").write_text(json.dumps(data))
    before = bench.do("stops"), dict(bench.machine.symbols), bench.session.throttle.factor
    with pytest.raises(UserError, match=r"s\.json"):
        bench.do(f"load {tmp_path}/s.json")
    after = bench.do("stops"), dict(bench.machine.symbols), bench.session.throttle.factor
    assert after == before


def test_a_truncated_session_is_placed(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "s.json").write_text('{"emu85 session": 1,\n "stops": {')
    with pytest.raises(UserError) as caught:
        bench.do(f"load {tmp_path}/s.json")
    assert caught.value.place.line == 2


CONSTANTS = """
LAMPS   EQU 40H
        ORG 0
START:  MVI A,1
        OUT LAMPS
        JMP START
        ORG 8000H
COUNT:  DS 4
        END
"""


def test_equated_names_name_no_place_and_come_back_with_a_session(tmp_path: Path) -> None:
    bench = Bench("slate", CONSTANTS, tmp_path)
    assert bench.machine.equated == {"LAMPS"}
    assert bench.session.places.text(0x40) == "0040"
    assert bench.session.places.text(0x8003) == "8003 COUNT+3"
    assert bench.session.places.text(0x8004) == "8004"
    bench.do(f"save {tmp_path}/one.json")
    bench.machine.equated.clear()
    assert bench.session.places.text(0x40) == "0040 LAMPS"
    bench.do(f"load {tmp_path}/one.json")
    assert bench.session.places.text(0x40) == "0040"


def test_names_loaded_later_say_anew_what_they_are(tmp_path: Path) -> None:
    bench = Bench("slate", CONSTANTS, tmp_path)
    (tmp_path / "more.sym").write_text("LAMPS\t0040\nCOUNT\t8000\tequ\n")
    bench.do(f"load {tmp_path}/more.sym")
    assert bench.session.places.text(0x40) == "0040 LAMPS"
    assert bench.session.places.text(0x8000) == "8000"
    (tmp_path / "part.hex").write_text(":018100005529\n:00000001FF\n")
    assert "1 byte at 8100-8100" in bench.do(f"load {tmp_path}/part.hex")
    assert bench.session.places.text(0x02) == "0002 START+2"  # still known


def test_a_saved_session_with_one_of_a_thing_says_so(bench: Bench, tmp_path: Path) -> None:
    bench.machine.symbols = {"ONE": 1}
    assert (
        "1 stop, 1 symbol" in bench.do("stop on MW", f"save {tmp_path}/one.json").splitlines()[-1]
    )
    assert "1 stop, 1 symbol" in bench.do(f"load {tmp_path}/one.json").splitlines()[-1]


def test_a_session_of_another_board_is_told(bench: Bench, tmp_path: Path) -> None:
    bench.do(f"save {tmp_path}/here.json")
    path = tmp_path / "here.json"
    assert "saved on" not in bench.do(f"load {path}")
    path.write_text(path.read_text().replace('"slate"', '"elsewhere"'))
    assert "It was saved on elsewhere; this board is slate" in bench.do(f"load {path}")


def test_memory_to_save_must_be_named(bench: Bench) -> None:
    with pytest.raises(UserError, match="no memory to save is named; expected a range"):
        bench.session.execute("save x.hex")
