"""Loading and saving from the console."""

import hashlib
import json
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import IO, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.cpu.layout import IO_BASE
from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.programs import COUNTER, TALKER
from tests.history.sight import sight


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


def test_what_is_to_come_is_not_saved_and_that_is_told(bench: Bench, tmp_path: Path) -> None:
    bench.do("run for 2000 T", "back to 500 T")
    here = bench.machine.t
    told = bench.do(f"save {tmp_path}/s.json")
    assert told.endswith("what is still to come from here is not in it.\n")
    bench.do("run for 700 T", f"load {tmp_path}/s.json")
    assert bench.machine.t == here and not bench.session.history.in_past
    assert "still to come" not in bench.do(f"save {tmp_path}/s.json")


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


OF_PYTHON = r"object|int\(|Error|unpack|subscript|NoneType|argument|Incorrect|literal|base64|-bit"
"""Words of Python's own messages."""


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data.pop("stops"),
        lambda data: data.pop("emu85 session"),
        lambda data: data.update({"emu85 session": 3}),
        lambda data: data["stops"].update(stops=7),
        lambda data: data.update(symbols=[1]),
        lambda data: data["symbols"].update(A="12345"),
        lambda data: data["symbols"].update({"9A": "12"}),
        lambda data: data.update(speed="warp"),
        lambda data: data.update(runs=[[1]]),
        lambda data: data.update(moment=7),
        lambda data: data["moment"].pop("began"),
        lambda data: data["moment"].update(began="AAAA"),
        lambda data: data["moment"].update(began=data["moment"]["programmed"]),
        lambda data: data["moment"].update(T=-5),
        lambda data: data["moment"].update(T="soon"),
        lambda data: data["moment"].update(T=None),
        lambda data: data["moment"].update(began=None),
        lambda data: data["moment"].update(done=7),
        lambda data: data.update(moment=None),
        lambda data: data.update(stops=None),
        lambda data: data["stops"]["stops"][0].update(hits=10**30),
        lambda data: data["stops"]["stops"].append(data["stops"]["stops"][0]),
        lambda data: data.update(runs=[[0, 10**30]]),
        lambda data: data["moment"].update(T=data["moment"]["T"] + 100),
        lambda data: data["moment"].update({"first T": 0}),
        lambda data: data["moment"].update(digest="00"),
        lambda data: data["moment"]["done"].append([1, "reset"]),
        lambda data: data["moment"]["done"].append(5),
        lambda data: data["moment"].update(stops=5),
        lambda data: data["moment"].update(stops=[[9, 3, [[1, 0, 0, -1]]]]),
        lambda data: data["moment"]["stops"][0].pop(),
        *(
            lambda data, began=began: data["moment"]["stops"][0].__setitem__(slice(1, 3), began)
            for began in (
                [-1, [[1, 0, 0, -1]]],
                [10**9, [[1, 0, 0, -1]]],
                ["now", [[1, 0, 0, -1]]],
                [3, 5],
                [3, [[1, 0, 0]]],
                [3, [["one", 0, 0, -1]]],
                [3, [[1, 0, 1 << 70, -1]]],
                [3, [[1, 0, 7, -1]]],  # it has not come from there
            )
        ),
        *(
            lambda data, deed=deed: data["moment"]["done"].append([data["moment"]["T"], *deed])
            for deed in (
                ["melt"],
                ["send", "nobody", {"bytes": "AA=="}],
                ["adjust", "nobody", "press", ""],
                ["poke", [[1 << 40, 1]]],
                ["cells", [[4, 1 << 70]]],
                ["program", [[5, {"bytes": "AA=="}], [5, {"bytes": "AA=="}]]],
                ["send", 5],
            )
        ),
    ],
)
def test_a_damaged_session_changes_nothing(bench: Bench, tmp_path: Path, change: object) -> None:
    assert callable(change)
    bench.do("stop on MW at 8004", f"save {tmp_path}/s.json")
    data = json.loads((tmp_path / "s.json").read_text())
    change(data)
    (tmp_path / "s.json").write_text(json.dumps(sealed(data)))
    bench.do("run", "step 7")
    seen = sight(bench.machine)
    before = bench.do("stops"), dict(bench.machine.symbols), bench.session.throttle.factor
    with pytest.raises(UserError, match=r"s\.json") as caught:
        bench.do(f"load {tmp_path}/s.json")
    assert not re.search(OF_PYTHON, str(caught.value))
    after = bench.do("stops"), dict(bench.machine.symbols), bench.session.throttle.factor
    assert after == before
    assert sight(bench.machine) == seen
    bench.do("back 5", "step 5")
    assert sight(bench.machine) == seen


def sealed(data: dict[str, Any]) -> dict[str, Any]:
    """The data with the checksum of the layout's description, made here."""
    data.pop("checksum", None)
    text = json.dumps(data, sort_keys=True)
    return {**data, "checksum": hashlib.sha256(text.encode()).hexdigest()}


@given(st.integers(0, 1 << 32))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_flipped_bit_is_refused(flip: int) -> None:
    """One session for all of them; what is still the same JSON is taken, all else refused."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench("slate", COUNTER, Path(folder))
        bench.do("stop on MW at 8004", "run", f"save {folder}/s.json")
        whole = Path(folder, "s.json").read_bytes()
        place, bit = divmod(flip % (8 * len(whole)), 8)
        damaged = bytearray(whole)
        damaged[place] ^= 1 << bit
        Path(folder, "s.json").write_bytes(damaged)
        try:
            same = json.loads(damaged.decode()) == json.loads(whole)
        except ValueError:
            same = False
        if same:
            bench.do(f"load {folder}/s.json")
            return
        with pytest.raises(UserError):
            bench.do(f"load {folder}/s.json")


def test_a_session_comes_to_its_moment_with_its_past(tmp_path: Path) -> None:
    bench = Bench("saltmarsh", TALKER, tmp_path)
    bench.do("run for 3 ms", "put mem A900 11 22", "put HL 1234", "run for 2 ms", "back 50")
    text = bench.do(f"save {tmp_path}/one.json")
    seen, t = sight(bench.machine), bench.machine.t
    other = Bench("saltmarsh", TALKER, tmp_path)
    other.machine.power()
    text = other.do(f"load {tmp_path}/one.json")
    assert f"T-state {t} with all that led to it" in text
    assert sight(other.machine) == seen
    assert [e.deed.kind for e in other.session.history.journal.entries] == [
        "program",
        "poke",
        "cells",
    ]
    for each in (bench, other):
        each.do("back to 3 ms", "back 7")
    assert sight(other.machine) == sight(bench.machine)


@pytest.mark.parametrize("trace", [7, 300, 100_000])
def test_a_session_is_taken_whatever_the_length_of_the_trace(tmp_path: Path, trace: int) -> None:
    short = Bench("slate", COUNTER, tmp_path, trace=400)
    short.do("run for 5000 T", f"save {tmp_path}/s.json")
    other = Bench("slate", COUNTER, tmp_path, trace=trace)
    assert f"T-state {short.machine.t} with" in other.do(f"load {tmp_path}/s.json")
    here, there = sight(short.machine, 7), sight(other.machine, 7)
    assert here == there


def test_bytes_given_to_ports_are_part_of_the_past(tmp_path: Path) -> None:
    """At every port of a board with all chips at which something takes a byte."""
    bench = Bench("gantry", COUNTER.replace("8800H", "0D000H"), tmp_path)
    board = bench.machine.board
    ports = [index - IO_BASE for index in board.writers if index >= IO_BASE]
    assert len(ports) > 40
    rng = random.Random(85)
    bench.do("run for 100 T")
    for port in ports:
        bench.do(f"put port {port:02X} {rng.randrange(256):02X}")
        bench.do(f"run for {rng.randrange(40)} T") if rng.random() < 0.5 else None
    bench.do(f"put port {ports[0]:02X} 5A", f"save {tmp_path}/s.json")
    seen, devices = sight(bench.machine), bench.do("ports")
    bench.do("back 300", "forth")
    assert sight(bench.machine) == seen and bench.do("ports") == devices
    other = Bench("gantry", "        END", tmp_path)
    other.do(f"load {tmp_path}/s.json")
    assert sight(other.machine) == seen and other.do("ports") == devices


@pytest.mark.parametrize("back", ["back to 3300 T", "step", "back 20"])
def test_stops_have_counted_in_a_session_what_they_had_at_each_moment(
    tmp_path: Path, back: str
) -> None:
    bench = Bench("slate", COUNTER, tmp_path)
    bench.do("run for 2000 T", "stop on MW at 8004 after 9", "stop on MR then MW at 8004 after 7")
    bench.do("stop on OF", "stops rest 3", "run for 300 T", "run", "run")
    bench.do("stop on MW at 8004 after 3", "run", "run for 500 T", back)
    bench.do(f"save {tmp_path}/s.json")
    other = Bench("slate", COUNTER, tmp_path)
    other.do("stop on IOW", f"load {tmp_path}/s.json")
    for line in ("step", "back to 2700 T", "run", "back stop", "back 70", "run", "run", "run"):
        other.do(line)
        bench.do(line)
        assert other.do("stops") == bench.do("stops"), line
        assert sight(other.machine, 9) == sight(bench.machine, 9)


def test_a_board_that_was_changed_keeps_its_own_moment(tmp_path: Path) -> None:
    text = "name: mine\ncrystal: 4 MHz\nmemory:\n  - {ram: 4K, at: 0000, code: yes}\n"
    for name, more in (("a", ""), ("b", "wired:\n  - {device: key}\n"), ("c", "# the same\n")):
        (tmp_path / f"{name}.yaml").write_text(text + more)
    first = Bench(str(tmp_path / "a.yaml"), COUNTER.replace("8800H", "0F00H"), tmp_path)
    first.do("run for 1 ms", f"save {tmp_path}/s.json")
    for name, words in (("b", "changed since"), ("c", "T-state")):
        other = Bench(str(tmp_path / f"{name}.yaml"), COUNTER, tmp_path)
        assert words in other.do(f"load {tmp_path}/s.json")
        assert (other.machine.t == first.machine.t) == (name == "c")


SAVER = """
import io, os, signal, sys
from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.machine import Machine

session = Session(Machine.from_board("slate", trace=1000), PlainScreen(io.StringIO(), width=80))
for line in sys.stdin:
    child = os.fork()
    if not child:
        signal.alarm(60)  # one that hangs is not waited for
        os.write(1, f"{os.getpid()}\\n".encode())
        while True:
            session.machine.step(3)
            session.execute(f"save {sys.argv[1]}/s.json")
            os.write(1, b"saved\\n")  # in one piece: print may write the line's end by itself
    os.waitpid(child, 0)
    os.write(1, b"gone\\n")
    session.machine.step(100)  # so that the next child saves other moments
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork")
def test_killed_while_saving_leaves_a_whole_file(tmp_path: Path) -> None:
    loaded = Bench("slate", COUNTER, tmp_path)
    loaded.do(f"save {tmp_path}/s.json")
    rng, moments = random.Random(85), set[int]()
    with subprocess.Popen(
        [sys.executable, "-c", SAVER, tmp_path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as parent:
        assert parent.stdin is not None and parent.stdout is not None
        for _ in range(60):
            kill_a_child(parent.stdin, parent.stdout, tmp_path, rng)
            loaded.do(f"load {tmp_path}/s.json")
            moments.add(loaded.machine.t)
        parent.stdin.close()
    assert len(moments) > 30
    assert len(list(tmp_path.glob(".s.json.*"))) > 5  # so many were killed in the midst of it


def kill_a_child(orders: IO[str], told: IO[str], folder: Path, rng: random.Random) -> None:
    """Have one save again and again, and kill it while it writes one of its first files."""
    left = len(os.listdir(folder))
    print(file=orders, flush=True)
    child = int(told.readline())
    for _ in range(rng.randrange(3)):
        assert told.readline() == "saved\n"
    end = time.monotonic() + 1
    while len(os.listdir(folder)) == left and time.monotonic() < end:
        pass
    end = time.perf_counter() + rng.random() * 0.001
    while time.perf_counter() < end:
        pass
    os.kill(child, signal.SIGKILL)
    lines = iter(told.readline, "gone\n")
    assert all(line == "saved\n" for line in lines)  # no end of file, for one


def test_what_the_killed_have_left_goes_with_the_next_save(bench: Bench, tmp_path: Path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    old, fresh, alive, other = (
        tmp_path / f".{name}.{process}-abc_12"
        for name, process in (
            ("s.json", ended.pid),
            ("s.json", ended.pid),
            ("s.json", os.getpid()),
            ("s_json", ended.pid),
        )
    )
    fresh = fresh.with_name(fresh.name + "x")
    for path in (old, fresh, alive, other):
        path.touch()
        if path is not fresh:
            os.utime(path, (0, 0))
    bench.do(f"save {tmp_path}/s.json")
    assert not old.exists()
    assert fresh.exists() and alive.exists() and other.exists()
    assert len(list(tmp_path.glob(".*"))) == 3


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


def test_a_session_of_another_board_is_refused(bench: Bench, tmp_path: Path) -> None:
    bench.do("stop on MW at 8004", "run for 50 T", f"save {tmp_path}/here.json")
    other = Bench("saltmarsh", TALKER, tmp_path)
    other.do("stop on IOW", "run for 10 T")
    before = other.do("stops"), dict(other.machine.symbols), sight(other.machine)
    with pytest.raises(UserError, match="of the board 'slate', and this is 'saltmarsh'"):
        other.do(f"load {tmp_path}/here.json")
    assert (other.do("stops"), dict(other.machine.symbols), sight(other.machine)) == before


def test_a_moment_too_late_for_any_board_is_refused(bench: Bench, tmp_path: Path) -> None:
    path = tmp_path / "s.json"
    bench.do(f"save {path}")
    data = json.loads(path.read_text())
    for t in (10**30, 10**15 + 1):
        data["moment"]["T"] = t
        path.write_text(json.dumps(sealed(data)))
        with pytest.raises(UserError, match="T-state is too late for any board"):
            bench.do(f"load {path}")


def test_versions_that_are_taken_are_named(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "s.json").write_text('{"emu85 session": 3}')
    with pytest.raises(UserError, match="of version 3; expected version 1 or 2"):
        bench.do(f"load {tmp_path}/s.json")


def test_memory_to_save_must_be_named(bench: Bench) -> None:
    with pytest.raises(UserError, match="no memory to save is named; expected a range"):
        bench.session.execute("save x.hex")
