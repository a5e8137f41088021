"""A TCP port with room for one client at a time.

The listener is on the loopback address unless another one is given.  A client
that has ended its sending side (as programs fed by a pipe do) still receives;
when another client comes it gives way.  A client that comes while one is there
is turned away.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket

from emu85.errors import UserError
from emu85.links.link import Link, SerialEnd

LOOPBACK = "127.0.0.1"


class TcpLink(Link):
    """A serial end joined to a TCP port.

    Attributes:
        address, port: where it listens; a port asked for as 0 is a free one.
        turned_away: clients that came while one was there.
    """

    def __init__(self, end: SerialEnd, port: int, address: str = LOOPBACK) -> None:
        """Raise :class:`UserError` where the port cannot be had."""
        self._listener = _listen(address, port)
        self.address, self.port = self._listener.getsockname()[:2]
        self.turned_away = 0
        self._client: socket.socket | None = None
        self._has_ended = False
        super().__init__(end)

    @property
    def about(self) -> str:
        alone = ipaddress.ip_address(self.address).is_loopback
        reach = "" if alone else ", open to other computers, with nothing to guard it"
        return f"TCP port {self.port} at {self.address}{reach}"

    @property
    def is_open(self) -> bool:
        return self._client is not None

    def pump(self, *, takes: bool = True) -> None:
        self._admit()
        super().pump(takes=takes)

    def _admit(self) -> None:
        try:
            comer, _ = self._listener.accept()
        except OSError:  # nobody, or gone again already
            return
        if self._client is not None:
            # It may have gone since; only a look tells.
            self._serve()
        if self._client is not None and not self._has_ended:
            self.turned_away += 1
            comer.close()
            return
        self._drop()
        comer.setblocking(False)
        with contextlib.suppress(OSError):
            comer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client, self._has_ended = comer, False

    def _serve(self) -> None:
        """Move bytes to and from the client that is there."""
        super().pump()

    def _read(self, most: int) -> bytes:
        if self._client is None or self._has_ended:
            return b""
        try:
            data = self._client.recv(most)
        except (BlockingIOError, InterruptedError):
            return b""
        except OSError:
            self._drop()
            return b""
        self._has_ended = not data
        return data

    def _write(self, data: bytes) -> int:
        if self._client is None:
            return 0
        try:
            return self._client.send(data)
        except (BlockingIOError, InterruptedError):
            return 0
        except OSError:
            self._drop()
            return 0

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None

    def _shut(self) -> None:
        self._drop()
        self._listener.close()


def _listen(address: str, port: int) -> socket.socket:
    listener: socket.socket | None = None
    try:
        family = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0][0]
        listener = socket.socket(family, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((address, port))
        listener.listen(1)
        listener.setblocking(False)
    except OSError as error:
        if listener is not None:
            listener.close()
        raise UserError(
            f"port {port} at {address} cannot be had: {error.strerror or error}",
            expected="a port that is free; 0 takes any",
        ) from None
    return listener
