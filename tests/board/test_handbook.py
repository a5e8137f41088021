"""The device documentation page: complete, and the same wherever it is printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from emu85.board import load_board
from emu85.board.device import Device
from emu85.board.handbook import board_page, device_named, listing, page, paragraphs
from emu85.board.registry import ALONE, RELATIVES, devices, nearest_device
from emu85.board.shelf import folder
from emu85.cli import main
from emu85.errors import UserError

OURS = [device for device in devices().values() if device.__module__.startswith("emu85.")]


def by_word(device: type[Device]) -> str:
    return device.kind


@pytest.mark.parametrize("device", OURS, ids=by_word)
def test_every_device_says_what_is_modelled_and_by_what_source(device: type[Device]) -> None:
    parts = paragraphs(device)
    assert sum(part.startswith("Modelled: ") for part in parts) == 1
    assert sum(part.startswith("Not modelled: ") for part in parts) == 1
    text = " ".join(parts)
    sheets = re.findall(r"Data sheets?: [^.]+", text)
    if sheets:
        assert "alues from memory" in text  # none was read from a document
    else:
        assert "no published source" in text


@pytest.mark.parametrize("device", OURS, ids=by_word)
def test_a_page_has_text_options_registers_and_pins(device: type[Device]) -> None:
    text = page(device)
    assert text.splitlines()[0].count(device.about) == 1
    for key in device.options:
        assert re.search(rf"^  {re.escape(key.name)} ", text, re.M)
    for number, register in enumerate(device.registers):
        assert f"  register {number}  {register.name}: " in text
    for pin in {**device.sources(), **device.sinks()}:
        assert re.search(rf"^  pin {pin} ", text, re.M)
    assert "``" not in text


def test_the_shipped_page_of_the_backplane_is_what_is_printed() -> None:
    shipped = (folder("boards") / "gantry-devices.md").read_text("utf-8")
    assert shipped == board_page(load_board("gantry"))
    assert "`panel` at port 38-39" in shipped
    assert "`lcd`" in shipped
    assert max(len(line) for line in shipped.splitlines()) <= 100


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["devices"]) == 0
    assert capsys.readouterr().out == listing()
    assert main(["devices", "SENTRY"]) == 0
    assert capsys.readouterr().out == page(device_named("sentry"))
    assert main(["devices", "--board", "gantry"]) == 0
    assert capsys.readouterr().out == board_page(load_board("gantry"))
    assert main(["devices", "8251"]) == 2
    assert "did you mean '8251A'?" in capsys.readouterr().err


def test_the_readme_names_every_device() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    table = text[text.index("| kind | device words |") : text.index("Other commands:")]
    assert sorted(re.findall(r"`([\w-]+)`", table)) == sorted(device.kind for device in OURS)


def test_an_unknown_device_is_told() -> None:
    with pytest.raises(UserError, match="there is no device 'relay'"):
        device_named("relay")


@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("8237", "8257"),
        ("8237A-5", "8257"),
        ("8250", "16550"),
        ("16450", "16550"),
        ("8253-5", "8253"),
        ("82C54-2", "8254"),
        ("P8251A", "8251A"),
        ("8255A-5", "8255A"),
        ("8259", "8259A"),
        ("8755A", "8755"),
        ("74LS374", "latch"),
        ("lmaps", "lamps"),
        ("8275", ""),  # a CRT controller, one digit away from an 8255A and an 8279
        ("8272", ""),
        ("", ""),
    ],
)
def test_the_nearest_of_a_part_is_by_its_use(word: str, near: str) -> None:
    assert nearest_device(word) == near


def test_parts_without_a_word_of_their_own_are_listed_beside_the_nearest() -> None:
    assert set(RELATIVES.values()) <= set(devices())
    assert not (set(RELATIVES) | ALONE) & set(devices())
    assert not set(RELATIVES) & ALONE
    _, _, others = listing().partition("\n\n")
    for part, kind in RELATIVES.items():
        (row,) = re.findall(rf"^{re.escape(kind)} +(.*(?:\n {{12}}.*)*)", others, re.M)
        assert part in re.split(r"[,\s]+", row)


@pytest.mark.parametrize(
    ("word", "variant", "differs"),
    [
        ("8155", "8156", "the 8155 with an active-high chip enable"),
        ("8253", "8254", "the 8253 with read-back; odd counts are read otherwise in mode 3"),
        ("8755", "8355", "ROM of 2K and two ports with a direction for each bit"),
        ("8255A", "82C55A", "the 8255A in CHMOS; the control word can be read"),
    ],
)
def test_a_page_names_the_variants(word: str, variant: str, differs: str) -> None:
    told = " ".join(page(device_named(word)).split())
    assert f"See also: {variant} ({differs})." in told
    assert f"`{variant}` ({differs})" in " ".join(board_page(load_board("gantry")).split())
