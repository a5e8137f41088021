"""Board files: what is read, and what each kind of mistake is told."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st

from emu85.board import fit, load_board, read_board, schema_text
from emu85.board.description import Driver, Pin
from emu85.bus.lines import Line
from emu85.errors import UserError, UserErrors
from tests.board.fakes import MINIMAL

HEAD = "name: bad\ncrystal: 4 MHz\n"
ROM = "memory:\n  - rom: 2K\n    at: 0000\n"
GOOD = HEAD + ROM
PORT = GOOD + "ports:\n"
WIRED = GOOD + "wired:\n  - device: key\n  - device: sounder\n"

# text, line, column, words that the message must have
MISTAKES: dict[str, tuple[str, int, int, tuple[str, ...]]] = {
    "empty": ("", 1, 0, ("empty",)),
    "comment only": ("# nothing\n", 1, 0, ("empty",)),
    "not a table": ("- slate\n", 1, 1, ("must be a table", "crystal")),
    "broken YAML": ("name: [a\n", 2, 1, ("not YAML",)),
    "tab": ("name: a\n\tcrystal: 4 MHz\n", 2, 1, ("not YAML",)),
    "two documents": ("name: a\n---\nname: b\n", 2, 1, ("not YAML", "single document")),
    "control character": ("name: a\nabout: \x07\n", 2, 8, ("does not allow", "'\\x07'")),
    "key twice": (GOOD + "name: again\n", 6, 1, ("'name' is given twice", "line 1")),
    "alias": ("name: &n a\nabout: *n\n", 2, 8, ("aliases",)),
    "loop": ("&a [*a]\n", 1, 5, ("aliases",)),
    "tag": ("name: !!python/object:os.system a\n", 1, 7, ("tags are not used",)),
    "unknown key": ("name: a\ncristal: 4 MHz\n", 2, 1, ("'cristal'", "did you mean 'crystal'?")),
    "key in capitals": (GOOD + "Ports: []\n", 6, 1, ("'Ports'", "did you mean 'ports'?")),
    "missing key": (ROM, 1, 1, ("a board has no 'name'", "a name")),
    "no crystal": ("name: a\n" + ROM, 1, 1, ("no 'crystal'", "6.144 MHz")),
    "value missing": ("name:\ncrystal: 4 MHz\n", 1, 6, ("value is missing", "a name")),
    "list for a word": ("name: [a]\ncrystal: 4 MHz\n", 1, 7, ("one value belongs", "a name")),
    "bad name": ("name: 9.lives\ncrystal: 4 MHz\n", 1, 7, ("cannot be a name",)),
    "no unit": ("name: a\ncrystal: 4\n", 2, 10, ("not a frequency", "MHz")),
    "crystal too fast": ("name: a\ncrystal: 4000 MHz\n", 2, 10, ("out of range", "100 MHz")),
    "byte too large": (GOOD + "pull-ups: 100\n", 6, 11, ("too large", "00 to FF")),
    "fill": (GOOD + "fill: patern 55\n", 6, 7, ("fill RAM", "did you mean 'pattern'?")),
    "fill byte": (GOOD + "fill: pattern ZZ\n", 6, 7, ("'ZZ' is not a number",)),
    "backwards": (GOOD + "stack: 8800-8700\n", 6, 8, ("backwards", "lower end first")),
    "address too large": (GOOD + "stack: [8000, 10000]\n", 6, 15, ("too large", "FFFF")),
    "no memory": (HEAD, 1, 1, ("no memory",)),
    "memory no list": (HEAD + "memory: 2764\n", 3, 9, ("must be a list",)),
    "memory entry": (HEAD + "memory:\n  - 2764\n", 4, 5, ("must be a table",)),
    "unknown part": (
        HEAD + "memory:\n  - chip: 2746\n    at: 0\n",
        4,
        11,
        ("unknown memory part '2746'", "did you mean '2764'?"),
    ),
    "two kinds": (
        HEAD + "memory:\n  - chip: 2764\n    ram: 2K\n    at: 0\n",
        4,
        5,
        ("chip and ram", "one of"),
    ),
    "no kind": (HEAD + "memory:\n  - at: 0\n", 4, 5, ("has no chip",)),
    "no at": (HEAD + "memory:\n  - ram: 2K\n", 4, 5, ("no 'at'", "8000-87FF")),
    "beyond the top": (
        HEAD + "memory:\n  - chip: 2764\n    at: F000\n",
        5,
        9,
        ("8192 addresses from F000 go beyond FFFF", "at most E000"),
    ),
    "size": (HEAD + "memory:\n  - ram: 2M\n    at: 0\n", 4, 10, ("'2M' is not a size", "2K")),
    "size too large": (HEAD + "memory:\n  - ram: 65K\n    at: 0\n", 4, 10, ("out of range",)),
    "own address line": (
        HEAD + "memory:\n  - ram: 2K\n    at: 0\n    ignores: [A12, A10]\n",
        6,
        14,
        ("chip itself uses", "A11 to A15"),
    ),
    "no address line": (
        HEAD + "memory:\n  - ram: 2K\n    at: 0\n    ignores: [A12, A16]\n",
        6,
        20,
        ("not an address line", "A15"),
    ),
    "code in ROM": (GOOD + "    code: yes\n", 6, 5, ("'code' is for RAM",)),
    "image in RAM": (
        HEAD + "memory:\n  - ram: 2K\n    at: 0\n    image: a.hex\n",
        6,
        5,
        ("'image' is for ROM",),
    ),
    "yes or no": (
        HEAD + "memory:\n  - ram: 2K\n    at: 0\n    code: maybe\n",
        6,
        11,
        ("neither yes nor no",),
    ),
    "waits": (GOOD + "    waits: 256\n", 6, 12, ("out of range", "0 to 255")),
    "name twice": (
        HEAD + "memory:\n  - {rom: 2K, at: 0, name: a}\n  - {ram: 2K, at: 8000, name: A}\n",
        5,
        31,
        ("'A' is used twice",),
    ),
    "unknown CPU": (GOOD + "cpu: 8085AH-3\n", 6, 6, ("unknown CPU part", "did you mean '8085AH-")),
    "delays no table": (GOOD + "delays: 30 ns\n", 6, 9, ("delays must be a table", "latch")),
    "unknown delay": (
        GOOD + "delays: {latsch: 30 ns}\n",
        6,
        10,
        ("unknown key of delays", "did you mean 'latch'?"),
    ),
    "delay without unit": (GOOD + "delays:\n  latch: 30\n", 7, 10, ("not a time", "20 ms")),
    "delay too long": (GOOD + "delays: {ready: 1 ms}\n", 6, 17, ("out of range", "100 us")),
    "unknown time": (GOOD + "    times: {acces: 9 ns}\n", 6, 13, ("did you mean 'access'?",)),
    "time of a RAM": (
        GOOD + "    times: {access: 9 ns, write-pulse: 9 ns}\n",
        6,
        27,
        ("'write-pulse' is for RAM and this is ROM",),
    ),
    "times without an address": (
        GOOD + "wired:\n  - device: key\n    times: {access: 9 ns}\n",
        8,
        5,
        ("'times'",),
    ),
    "time of a device": (
        PORT + "  - device: latch\n    at: 20\n    times: {data-setup: yes}\n",
        9,
        25,
        ("'yes' is not a time",),
    ),
    "unknown device": (
        PORT + "  - device: lmaps\n    at: 20\n",
        7,
        13,
        ("unknown device 'lmaps'", "did you mean 'lamps'?"),
    ),
    "no device": (PORT + "  - at: 20\n", 7, 5, ("no 'device'",)),
    "device option": (
        PORT + "  - device: latch\n    at: 20\n    readible: yes\n",
        9,
        5,
        ("unknown key of device latch", "did you mean 'readable'?"),
    ),
    "port too large": (PORT + "  - device: latch\n    at: 100\n", 8, 9, ("00 to FF",)),
    "port line": (
        PORT + "  - device: latch\n    at: 20\n    ignores: A8\n",
        9,
        14,
        ("not an address line", "A0 to A7"),
    ),
    "wired device in ports": (
        PORT + "  - device: key\n    at: 20\n",
        7,
        13,
        ("no registers", "under wired"),
    ),
    "port device in wired": (
        GOOD + "wired:\n  - device: lamps\n",
        7,
        13,
        ("has registers", "under ports"),
    ),
    "vector of nothing": (GOOD + "wired:\n  - device: vector\n", 7, 5, ("either rst or call",)),
    "levels twice": (
        PORT + "  - device: converter\n    at: 20\n    values: [1]\n    file: a.csv\n",
        7,
        5,
        ("one of values, file and wave",),
    ),
    "level": (
        PORT + "  - device: converter\n    at: 20\n    values: [1, 2, G]\n",
        9,
        20,
        ("'G' is not a number",),
    ),
    "unknown line": (
        WIRED + "lines:\n  RST 7.6: key.out\n",
        10,
        3,
        ("unknown line 'RST 7.6'", "did you mean 'RST 7.5'?"),
    ),
    "output line": (WIRED + "lines:\n  SOD: key.out\n", 10, 3, ("SOD is driven by the CPU",)),
    "unknown source": (
        WIRED + "lines:\n  TRAP: kye.out\n",
        10,
        9,
        ("no device 'kye'", "did you mean 'key.out'?"),
    ),
    "unknown pin": (
        WIRED + "lines:\n  TRAP: key.oot\n",
        10,
        9,
        ("unknown output pin of key 'oot'", "did you mean 'out'?"),
    ),
    "no outputs": (WIRED + "lines:\n  TRAP: sounder.drive\n", 10, 9, ("no output pins",)),
    "unknown input": (
        WIRED + "lines:\n  sounder.driv: key.out\n",
        10,
        3,
        ("unknown input pin", "did you mean 'drive'?"),
    ),
    "wired twice": (
        WIRED + "lines:\n  RST 7.5: key.out\n  rst75: key.out\n",
        11,
        3,
        ("wired twice",),
    ),
    "nothing drives": (WIRED + "lines:\n  TRAP: []\n", 10, 9, ("nothing drives",)),
    "SID twice": (
        WIRED + "lines:\n  SID: key.out\nserial:\n  baud: 1200\n",
        10,
        3,
        ("SID is driven by the serial line",),
    ),
    "baud": (GOOD + "serial:\n  baud: fast\n", 7, 9, ("'fast' is not a number",)),
    "baud too fast": (
        GOOD + "serial:\n  baud: 500001\n",
        7,
        9,
        ("shorter than 4 T-states", "at most 500000 baud"),
    ),
    "format": (
        GOOD + "serial:\n  baud: 300\n  format: 9N1\n",
        8,
        11,
        ("'9N1' is not a serial format", "8N1"),
    ),
    "polarity": (
        GOOD + "serial:\n  baud: 300\n  polarity: inverse\n",
        8,
        13,
        ("'inverse'", "did you mean 'inverted'?"),
    ),
    "gap": (GOOD + "serial:\n  baud: 300\n  gap: 20\n", 8, 8, ("not a time", "20 ms")),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_mistake(case: str) -> None:
    text, line, column, words = MISTAKES[case]
    with pytest.raises(UserError) as caught:
        read_board(text, "bad.yaml")
    place = caught.value.place
    assert (place.file, place.line, place.column) == ("bad.yaml", line, column)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("device: tick\n    rate: 1.5 MHz", "half a period is shorter than a T-state"),
        ("device: tick\n    rate: 1 kHz\n    pulse: 1 ms", "as long as the period"),
        ("device: tick\n    rate: 1 kHz\n    pulse: 1 ns", "the pulse is shorter"),
        ("device: key\n    hold: 1 ns", "the hold time is shorter"),
    ],
)
def test_options_that_the_clock_rules_out(options: str, words: str) -> None:
    with pytest.raises(UserError, match=words) as caught:
        fit(read_board(GOOD + f"wired:\n  - {options}\n", "bad.yaml"))
    assert (caught.value.place.line, caught.value.place.column) == (7, 5)


def test_nested_too_deeply() -> None:
    with pytest.raises(UserError, match="nested too deeply"):
        read_board("[" * 5000, "deep.yaml")


def test_a_message_shows_the_line_with_a_caret() -> None:
    with pytest.raises(UserError) as caught:
        read_board("name: a\ncristal: 4 MHz\n", "bad.yaml")
    assert str(caught.value).endswith("\n    cristal: 4 MHz\n    ^")


@settings(max_examples=300, deadline=None)
@example('"\\UFFFFFFFF"')
@example("%YAML 1.1\n---\n? [a]\n: b")
@example("%YAML " + "9" * 5000 + ".1\n--- a")
@example("? {a: b}\n: c")
@example("<<: {name: a}")
@example("\ufeffname: a")
@given(st.text(max_size=60) | st.text("abnme:-[]{}&*!|>'\"%@ \n\t#?,0", max_size=60))
def test_any_text_gives_a_board_or_a_message(text: str) -> None:
    try:
        read_board(text, "any.yaml")
    except UserError:
        return


LEAVES = st.sampled_from(
    (
        "2764",
        "8000",
        "8000-8FFF",
        "zeros",
        "random 1",
        "yes",
        "latch",
        "tick",
        "key",
        "1 kHz",
        "8N1",
        "A15",
        "key.out",
        "sounder.drive",
        "[]",
        "{}",
        "",
        "-",
        "7",
        "~",
        "not key.out",
        "low",
        "control.q0-q7",
        "{any: [key.out, tick.out]}",
        "{all: [high, not float.done]}",
        "[key.out, tick.out]",
        "{any: {all: key.out}}",
        "{baud: 300}",
    )
)


@settings(max_examples=120, deadline=None)
@given(st.data())
def test_a_good_board_with_lines_changed(data: st.DataObject) -> None:
    lines = (Path(load_board("saltmarsh").file)).read_text("utf-8").splitlines()
    lines = [line for line in lines if line.strip() and not line.startswith("#")]
    for _ in range(data.draw(st.integers(1, 3))):
        n = data.draw(st.integers(0, len(lines) - 1))
        key = lines[n].partition(":")[0]
        lines[n] = data.draw(
            st.sampled_from([f"{key}: {data.draw(LEAVES)}", "", lines[n][2:], "  " + lines[n]])
        )
    try:
        fit(read_board("\n".join(lines), "changed.yaml")).power()
    except UserError as error:
        assert error.place.line > 0


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=80))
def test_any_bytes_in_a_file(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "bytes.yaml"
    path.write_bytes(data)
    with pytest.raises(UserError):
        load_board(path)


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    (tmp_path / "b.yaml").write_bytes(b"name: a\nabout: \xff\n")
    with pytest.raises(UserError, match=r"b\.yaml:2: .*UTF-8"):
        load_board(tmp_path / "b.yaml")


def test_everything_a_board_may_say() -> None:
    board = read_board(
        """\
name: Full House
about: "it has: everything"
crystal: 4.9152 MHz
pull-ups: 0x7F
fill: random 12
stack: [8000-80FF, C000]
memory:
  - chip: 2114 pair
    at: 8000
    waits: 2
    code: yes
    battery: no
  - rom: 800H bytes
    at: 0000-1FFF
    ignores: [A13, A14-A15]
ports:
  - {device: latch, at: 20, ignores: A0}
wired:
  - {device: key, name: go}
  - {device: key}
  - {device: sounder}
lines:
  trap: {any: [not go.out, key.out, latch.q3]}
  Sounder.Drive: SOD
serial: {baud: 110, format: 7e2, polarity: inverted, gap: 1.5 ms}
firmware: a b.hex
""",
        "full.yaml",
    )
    assert board.name == "Full House" and board.about == "it has: everything"
    assert board.clock == Fraction(2_457_600)
    assert board.pull_ups == 0x7F and str(board.fill) == "random 12"
    assert board.stack == ((0x8000, 0x80FF), (0xC000, 0xC000))
    ram, rom = board.memory
    assert (ram.part.size, ram.waits, ram.code, ram.select.high) == (1024, 2, True, 0x83FF)
    assert (rom.part.size, rom.part.kind, rom.select.ignores) == (0x800, "rom", 0xE000)
    assert [use.name for use in board.devices] == ["latch", "go", "key", "sounder"]
    trap, sounder = board.wires
    assert trap.sink is Line.TRAP
    assert trap.drivers == (
        Driver(Pin("go", "out"), True),
        Driver(Pin("key", "out"), False),
        Driver(Pin("latch", "q3"), False),
    )
    assert sounder.sink == Pin("sounder", "drive") and sounder.drivers[0].source is Line.SOD
    assert board.serial is not None
    assert (board.serial.bits, board.serial.parity, board.serial.stop) == (7, "E", Fraction(2))
    assert board.serial.inverted and board.serial.gap == Fraction(3, 2000)
    assert board.firmware == Path("a b.hex")


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("20", 0x20),
        ("08", 0x08),
        ("1B", 0x1B),
        ("0D", 0x0D),
        ("1e", 0x1E),
        ("0FFH", 0xFF),
        ("FFH", 0xFF),
        ("0x3c", 0x3C),
        ("377Q", 0xFF),
        ("10101010B", 0xAA),
        ("255D", 0xFF),
    ],
)
def test_bytes_are_read_as_they_are_written(written: str, value: int) -> None:
    assert read_board(MINIMAL + f"pull-ups: {written}\n", "b.yaml").pull_ups == value


def test_names_are_made_up_where_none_is_given() -> None:
    text = HEAD + "memory:\n" + "  - chip: 6116\n    at: 8000\n" * 3
    names = [chip.name for chip in read_board(text, "b.yaml").memory]
    assert names == ["6116", "6116 2", "6116 3"]


def test_demo_boards_read() -> None:
    for name in ("slate", "saltmarsh"):
        assert load_board(name).name == name
    with pytest.raises(UserError, match="did you mean 'saltmarsh'"):
        load_board("saltmarch")


def test_the_schema_names_every_key_of_the_demo_boards() -> None:
    text = schema_text()
    assert max(len(line) for line in text.splitlines()) <= 80

    def keys(value: object) -> set[str]:
        if isinstance(value, dict):
            found = {str(k) for k in value}
            return found.union(*(keys(v) for k, v in value.items() if k != "lines"))
        if isinstance(value, list):
            return set().union(*(keys(v) for v in value))
        return set()

    for name in ("slate", "saltmarsh"):
        board = yaml.safe_load(Path(load_board(name).file).read_text("utf-8"))
        for key in keys(board):
            if board.get("lines") is None or key not in board["lines"]:
                assert f"  {key} " in text or f"device: {key}" in text or key == "device", key


@pytest.mark.parametrize(
    ("text", "line", "column", "message"),
    [
        ("name: t\ncrystal: 6 MHz\nfill: random\n", 3, 7, "random stands alone"),
        ("name: 't\ncrystal: 6 MHz\n", 1, 7, "unexpected end of stream"),
    ],
)
def test_what_is_left_open_is_placed_where_it_began(
    text: str, line: int, column: int, message: str
) -> None:
    with pytest.raises(UserError, match=message) as caught:
        read_board(text, "b.yaml")
    assert (caught.value.place.line, caught.value.place.column) == (line, column)


SEVERAL = """name: t
crystal: 6 furlongs
memory:
  - {rom: 2K, at: 0000, wait: 1}
  - {ram: 2K, at: 80000}
ports:
  - {device: lach, at: 20}
  - {device: latch, name: a, at: 21, waits: 999}
colour: blue
"""


def test_mistakes_that_hide_no_other_are_told_together() -> None:
    with pytest.raises(UserErrors) as caught:
        read_board(SEVERAL, "b.yaml")
    told = str(caught.value)
    places = [(error.place.line, error.place.column) for error in caught.value.errors]
    assert sorted(places) == [(2, 10), (4, 25), (5, 19), (7, 14), (8, 45), (9, 1)]
    for part in ("6 furlongs", "'wait'", "80000", "did you mean 'latch'", "999", "'colour'"):
        assert part in told
    assert told.count("\n    ^") == 1  # that of 'colour', in column 1


def test_more_than_twenty_mistakes_are_counted() -> None:
    ports = "".join(f"  - {{device: x{n}, at: 20}}\n" for n in range(30))
    text = f"name: t\ncrystal: 6 MHz\nmemory:\n  - {{rom: 2K, at: 0000}}\nports:\n{ports}"
    with pytest.raises(UserErrors, match="and 10 more"):
        read_board(text, "b.yaml")


FAULTY = """name: t
crystal: 6 MHz
serial: {baud: 0}
memory:
  - {rom: 2K, at: F900, name: a, code: yes}
  - {rom: 2K, at: 0000, waits: 300}
ports:
  - {device: latch, name: lamps, at: 20}
lines:
  RST 8: lamps.q0
  RST 7.5: lamps.q9
  RST 6.5: lamp.q1
  RST 5.5: lamps.q2
"""


def test_lines_serial_and_entries_are_told_together_in_order() -> None:
    with pytest.raises(UserErrors) as caught:
        read_board(FAULTY, "b.yaml")
    places = [(error.place.line, error.place.column) for error in caught.value.errors]
    assert places == [(3, 16), (5, 19), (5, 34), (6, 32), (10, 3), (11, 12), (12, 12)]
    told = [line for line in str(caught.value).splitlines() if line.startswith("b.yaml:")]
    assert len(told) == 7 and all("; expected " in line for line in told if "code" not in line)


def test_lines_wait_until_the_devices_they_join_are_in_order() -> None:
    text = FAULTY.replace("at: 20}", "at: 20, colour: red}")
    with pytest.raises(UserErrors) as caught:
        read_board(text, "b.yaml")
    assert [error.place.line for error in caught.value.errors] == [3, 5, 5, 6, 8]


def test_one_mistake_is_told_as_it_is() -> None:
    with pytest.raises(UserError) as caught:
        read_board(FAULTY.split("serial")[0] + "memory:\n  - {rom: 2K, at: 0, wait: 1}\n", "b.yaml")
    assert not isinstance(caught.value, UserErrors)
    assert str(caught.value).splitlines() == [
        "b.yaml:4:22: unknown key of a memory entry 'wait'; expected one of at, battery, chip, "
        "code, ignores, image, name, ram, rom, times, waits; did you mean 'waits'?",
        "      - {rom: 2K, at: 0, wait: 1}",
        "                         ^",
    ]


def test_every_image_that_is_not_there_is_told(tmp_path: Path) -> None:
    text = """name: t
crystal: 6 MHz
memory:
  - {rom: 2K, at: 0000, image: one.hex}
  - {rom: 2K, at: 0800, image: two.hex}
"""
    with pytest.raises(UserErrors) as caught:
        fit(read_board(text, str(tmp_path / "b.yaml")))
    assert [error.place.line for error in caught.value.errors] == [4, 5]
