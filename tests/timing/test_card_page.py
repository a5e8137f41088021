"""All timing cards as one page, read back by the standard library's HTML parser."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from emu85.timing.bench import Bench
from emu85.timing.card_page import write_page
from emu85.timing.cards import Setting
from emu85.timing.subjects import subject_named
from tests.published.opcodes import OPCODES

VOID = {"meta", "br", "img", "hr", "link", "input"}


class Page(HTMLParser):
    """Anchors, what refers to them, what refers to the outside, and whether tags match."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.local: list[str] = []
        self.outside: list[str] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.drawings = 0
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        self.drawings += (tag, "role", "img") in ((tag, *one) for one in attrs)
        self._read(attrs)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._read(attrs)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def _read(self, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("href", "src", "xlink:href"):
                kept = self.local if (value or "").startswith("#") else self.outside
                kept.append((value or "").removeprefix("#"))


@pytest.fixture(scope="module")
def text() -> str:
    return write_page(None, Setting(), Bench())


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


def test_every_anchor_is_there_once(page: Page) -> None:
    assert len(page.ids) == len(set(page.ids))
    assert set(page.local) <= set(page.ids)


def test_the_page_needs_nothing_else(text: str, page: Page) -> None:
    assert not page.outside
    assert "<script" not in text
    assert "@import" not in text


def test_every_opcode_has_its_place_and_is_in_the_index(page: Page) -> None:
    wanted = [f"op-{code:02X}" for code in range(256)]
    assert sorted(one for one in page.ids if one.startswith("op-")) == wanted
    assert set(wanted) <= set(page.local)


def test_every_published_t_state_is_on_the_page(text: str) -> None:
    for code, one in OPCODES.items():
        t = f"{one.t}/{one.t_not}" if one.conditional else str(one.t)
        cell = text[text.index(f'<a href="#op-{code:02X}"') :].partition("</td>")[0]
        assert cell.rpartition("<br>")[2] == t, str(one)


def test_interrupts_and_states_have_cards(page: Page) -> None:
    words = " ".join(page.words)
    for name in ("TRAP", "RST 7.5", "INTR RST 5", "INTR CALL", "HALT", "HOLD", "RESET"):
        assert name in words


def test_what_stands_for_several_is_an_example(text: str) -> None:
    assert "<p>Here CNZ addr: call if NZ; 3 bytes;" in text
    assert "<p>Here" not in text.split('id="op-76"')[1].split("</section>")[0]


def test_every_way_has_its_drawing_on_the_page(text: str, page: Page) -> None:
    """85 forms, of which five are conditional (R, J, C, RSTV and JNK/JK), and nine events."""
    assert page.drawings == 85 + 5 + 9
    assert text.count("<style>") == 2  # the page's and that of all drawings
    used = set(re.findall(r"url\(#(\w+)\)", text))
    assert used
    assert used <= set(page.ids)


def test_it_stays_small(text: str) -> None:
    assert len(text) < 1_000_000


def test_one_card_is_a_page_too() -> None:
    page = Page(write_page([subject_named("jnz 0150")], Setting(), Bench()))
    assert "op-C2" in page.ids
    assert "JNZ 0150H" in page.words
    assert any("not taken" in words for words in page.words)
