"""Each kind of link by itself, in this process."""

from __future__ import annotations

import os
import select
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from emu85.errors import UserError
from emu85.links import KEPT, MOST_QUEUED, MOST_WAITING, Link, Links, join
from emu85.links.files import FilesLink
from emu85.links.link import SerialEnd
from emu85.links.pty import PtyLink
from emu85.links.tcp import LOOPBACK, TcpLink
from emu85.machine import Machine
from tests.links.echo_board import ECHO, TALK, machine, serve, talked


class End:
    """A serial end that keeps what it is sent; ``taken`` of it have begun."""

    def __init__(self) -> None:
        self.sent = bytearray()
        self.taken = 0
        self.listeners: list = []  # type: ignore[type-arg]

    @property
    def pending(self) -> int:
        return len(self.sent) - self.taken

    def send(self, data: bytes) -> None:
        self.sent += data

    def hears(self, data: bytes) -> None:
        for byte in data:
            for listener in list(self.listeners):
                listener(byte)


def is_end(end: End) -> SerialEnd:
    return end


@pytest.fixture
def end() -> End:
    return End()


@pytest.fixture
def pty(end: End) -> Iterator[PtyLink]:
    link = PtyLink(is_end(end))
    yield link
    link.close()


@pytest.fixture
def tcp(end: End) -> Iterator[TcpLink]:
    link = TcpLink(is_end(end), 0)
    yield link
    link.close()


def client_of(link: TcpLink) -> socket.socket:
    made = socket.create_connection((LOOPBACK, link.port))
    made.settimeout(5)
    while not link.is_open:
        link.pump()
    return made


def come(link: Link, number: int | socket.socket) -> None:
    """Pump until something can be read by the other side."""
    link.pump()
    assert select.select([number], [], [], 5)[0]


# --- pseudo-terminal ---------------------------------------------------------------------


def test_a_pty_carries_every_byte_as_it_is(end: End, pty: PtyLink) -> None:
    everything = bytes(range(256))
    other = os.open(pty.path, os.O_RDWR | os.O_NOCTTY)
    os.write(other, everything)
    pty.pump()
    assert end.sent == everything
    end.hears(everything)
    come(pty, other)
    assert os.read(other, 1000) == everything
    os.close(other)


def test_a_pty_knows_whether_somebody_is_there(end: End, pty: PtyLink) -> None:
    assert not pty.is_open
    other = os.open(pty.path, os.O_RDWR | os.O_NOCTTY)
    assert pty.is_open
    os.close(other)
    assert not pty.is_open
    again = os.open(pty.path, os.O_RDWR | os.O_NOCTTY)
    os.write(again, b"still raw\r\n")
    pty.pump()
    assert end.sent == b"still raw\r\n"
    os.close(again)


def test_bytes_written_before_the_other_side_closed_arrive(end: End, pty: PtyLink) -> None:
    other = os.open(pty.path, os.O_WRONLY | os.O_NOCTTY)
    os.write(other, b"go 0150\r")
    os.close(other)
    pty.pump()
    assert end.sent == b"go 0150\r"


# --- TCP -----------------------------------------------------------------------------------


def test_tcp_listens_on_loopback_alone(tcp: TcpLink) -> None:
    assert tcp.address == "127.0.0.1"
    assert "127.0.0.1" in str(tcp)


def test_tcp_carries_bytes_and_takes_a_new_client(end: End, tcp: TcpLink) -> None:
    for text in (b"first", b"second"):
        client = client_of(tcp)
        end.hears(text)
        come(tcp, client)
        assert client.recv(100) == text
        client.sendall(text)
        while not end.sent.endswith(text):
            tcp.pump()
        client.close()
        while tcp.is_open:
            end.hears(b"?")
            tcp.pump()
        tcp._backlog.clear()
    assert end.sent == b"firstsecond"


def test_a_second_client_is_turned_away(end: End, tcp: TcpLink) -> None:
    first = client_of(tcp)
    second = socket.create_connection((LOOPBACK, tcp.port))
    second.settimeout(5)
    while not tcp.turned_away:
        tcp.pump()
    assert second.recv(10) == b""
    end.hears(b"still yours")
    come(tcp, first)
    assert first.recv(100) == b"still yours"
    for each in (first, second):
        each.close()


def test_a_client_that_has_ended_sending_still_receives_and_gives_way(
    end: End, tcp: TcpLink
) -> None:
    first = client_of(tcp)
    first.sendall(b"all\r")
    first.shutdown(socket.SHUT_WR)
    while end.sent != b"all\r":
        tcp.pump()
    tcp.pump()
    end.hears(b"answer")
    come(tcp, first)
    assert first.recv(100) == b"answer"
    second = socket.create_connection((LOOPBACK, tcp.port))
    second.settimeout(5)
    while select.select([first], [], [], 0)[0] == []:
        tcp.pump()
    end.hears(b"for you")
    come(tcp, second)
    assert second.recv(100) == b"for you"
    for each in (first, second):
        each.close()


def test_a_client_that_resets_is_no_mistake(end: End, tcp: TcpLink) -> None:
    client = client_of(tcp)
    client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
    client.close()
    while tcp.is_open:
        end.hears(b"x")
        tcp.pump()
    assert not tcp.trouble


def test_a_port_that_is_taken(end: End, tcp: TcpLink) -> None:
    with pytest.raises(UserError, match=f"port {tcp.port} at 127.0.0.1 cannot be had"):
        TcpLink(is_end(End()), tcp.port)


# --- files ------------------------------------------------------------------------------------


def test_files_in_and_out(tmp_path: Path) -> None:
    text = bytes(range(256)) * 8
    (tmp_path / "in.bin").write_bytes(text)
    (tmp_path / "out.bin").write_bytes(b"before ")
    made = machine(ECHO)
    links = Links(made.board)
    link = links.join("usart", f"files '{tmp_path / 'in.bin'}' '{tmp_path / 'out.bin'}'")
    serve(made, links, lambda: link.given == len(text))
    assert (tmp_path / "out.bin").read_bytes() == b"before " + text
    with (tmp_path / "in.bin").open("ab") as more:
        more.write(b"more")
    serve(made, links, lambda: link.given == len(text) + 4)
    assert (tmp_path / "out.bin").read_bytes() == b"before " + text + b"more"
    links.close()


def test_a_full_disk_costs_nothing(end: End, tmp_path: Path) -> None:
    (tmp_path / "in").write_bytes(b"")
    link = FilesLink(is_end(end), tmp_path / "in", Path("/dev/full"))
    end.hears(b"kept")
    link.pump()
    assert link.waiting == 4 and link.trouble
    link.close()


def test_one_file_cannot_be_both(end: End, tmp_path: Path) -> None:
    (tmp_path / "one").write_bytes(b"")
    with pytest.raises(UserError, match="cannot be input and output"):
        FilesLink(is_end(end), tmp_path / "one", tmp_path / "one")
    with pytest.raises(UserError, match="none cannot be opened: No such file"):
        FilesLink(is_end(end), tmp_path / "none", tmp_path / "out")
    assert end.listeners == []


# --- what all have ---------------------------------------------------------------------------


def test_no_more_is_taken_than_the_queue_has_room_for(end: End, tmp_path: Path) -> None:
    data = os.urandom(3 * MOST_QUEUED)
    (tmp_path / "in").write_bytes(data)
    link = FilesLink(is_end(end), tmp_path / "in", tmp_path / "out")
    for taken in (0, 0, 100, 100, 5000, 5000, len(data)):
        end.taken = min(taken, len(end.sent))
        link.pump()
        assert end.pending <= MOST_QUEUED
    for _ in range(3):
        end.taken = len(end.sent)
        link.pump()
    assert end.sent == data
    link.close()


def test_while_nobody_is_there_the_newest_bytes_are_kept(end: End, tcp: TcpLink) -> None:
    data = os.urandom(KEPT + 1000)
    end.hears(data[:500])
    tcp.pump()
    end.hears(data[500:])
    tcp.pump()
    assert tcp.waiting == KEPT and tcp.dropped == 1000
    client = client_of(tcp)
    got = b""
    while len(got) < KEPT:
        tcp.pump()
        if select.select([client], [], [], 0)[0]:
            got += client.recv(KEPT)
    assert got == data[1000:]
    client.close()


def test_a_reader_that_takes_nothing_makes_the_backlog_grow(end: End, pty: PtyLink) -> None:
    other = os.open(pty.path, os.O_RDWR | os.O_NOCTTY)
    data = os.urandom(4 * KEPT)
    end.hears(data)
    pty.pump()
    assert pty.dropped == 0 and pty.waiting + pty.given == len(data)
    got = b""
    while len(got) < len(data):
        pty.pump()
        got += os.read(other, 0x10000)
    assert got == data
    os.close(other)


@pytest.mark.parametrize("way", ["pty", "tcp"])
def test_a_reader_that_never_reads_costs_no_more_than_a_limit(
    end: End, request: pytest.FixtureRequest, way: str
) -> None:
    """The newest bytes wait for it, and older ones are counted."""
    link = request.getfixturevalue(way)
    sock = client_of(link) if way == "tcp" else None
    other = sock.fileno() if sock else os.open(link.path, os.O_RDWR | os.O_NOCTTY)
    os.set_blocking(other, False)
    if isinstance(link, TcpLink) and link._client:  # the kernel would hold all of it
        link._client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 0x8000)
    data = os.urandom(3 * MOST_WAITING)
    for begin in range(0, len(data), KEPT):
        end.hears(data[begin : begin + KEPT])
        link.pump()
        assert link.waiting <= MOST_WAITING
    assert link.dropped and link.given + link.dropped + link.waiting == len(data)
    begun, last = link.given, link.waiting  # what the kernel holds, and what we do
    got = bytearray()
    while len(got) < begun + last:
        link.pump()
        if select.select([other], [], [], 0)[0]:
            got += os.read(other, 0x10000)
    assert got[:1000] == data[:1000] and got[-last:] == data[-last:]
    end.hears(b"and on")
    come(link, other)
    assert os.read(other, 100) == b"and on"
    if not sock:
        os.close(other)
    else:
        sock.close()


def test_the_limit_holds_while_nobody_pumps(end: End, tcp: TcpLink) -> None:
    client = client_of(tcp)
    data = os.urandom(MOST_WAITING + 5)
    end.hears(data)
    assert (tcp.waiting, tcp.dropped) == (MOST_WAITING, 5)
    client.close()


def test_the_same_bytes_at_the_same_slices_give_the_same_run(tmp_path: Path) -> None:
    (tmp_path / "in").write_bytes(os.urandom(500))
    traces = []
    for out in ("a", "b"):
        made = machine(ECHO)
        links = Links(made.board)
        links.join("usart", f"files {tmp_path / 'in'} {tmp_path / out}")
        for _ in range(20):
            made.run(t_states=50_000)
            links.pump()
        traces.append(made.trace.all().tobytes())
        links.close()
    assert traces[0] == traces[1]
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes() != b""


def test_a_parted_link_hears_no_more(tmp_path: Path) -> None:
    (tmp_path / "in").write_bytes(b"")
    made = machine(TALK)
    links = Links(made.board)
    link = links.join("usart", f"files {tmp_path / 'in'} {tmp_path / 'out'}")
    serve(made, links, lambda: link.given > 100)
    links.part("usart")
    length = (tmp_path / "out").stat().st_size
    made.run(t_states=1_000_000)
    links.pump()
    assert (tmp_path / "out").read_bytes() == talked(length)
    assert made.board.serial_ends["usart"].listeners == []


@pytest.mark.parametrize(
    ("end_name", "text", "message"),
    [
        ("usrt", "pty", "no serial end 'usrt'; expected usart, serial; did you mean 'usart'"),
        ("usart", "", "nothing to join to is named; expected"),
        ("usart", "tpc 40", "there is no 'tpc' to join to.*did you mean 'tcp'"),
        ("usart", "tcp", "expected tcp PORT"),
        ("usart", "tcp 70000", "'70000' is no TCP port"),
        ("usart", "tcp x", "'x' is no TCP port"),
        ("usart", "files a", "expected files IN OUT"),
        ("usart", "files 'a b", "a quote is left open"),
        ("usart", "pty now", "expected pty"),
    ],
)
def test_what_cannot_be_joined(end_name: str, text: str, message: str) -> None:
    made = machine(ECHO)
    with pytest.raises(UserError, match=message):
        join(made.board, end_name, text)


def test_an_end_is_joined_once() -> None:
    links = Links(machine(ECHO).board)
    links.join("usart", "tcp 0")
    with pytest.raises(UserError, match="usart is joined to TCP port"):
        links.join("usart", "pty")
    with pytest.raises(UserError, match="serial is not joined"):
        links.part("serial")
    links.close()


def test_a_port_beyond_the_loopback_address_says_so() -> None:
    end = Machine.from_board("gantry").board.serial_ends["usart"]
    for address, told in (
        ("0.0.0.0", "at 0.0.0.0, open to other computers, with nothing to guard it"),
        (LOOPBACK, "at 127.0.0.1"),
    ):
        link = TcpLink(end, 0, address)
        assert str(link).endswith(told)
        link.close()
