"""The other process: opens a path or a port, types bytes, reads what comes back.

    python other_end.py pty PATH COUNT SECONDS
    python other_end.py tcp PORT COUNT SECONDS

COUNT bytes are typed, and as many read; SECONDS is the pause between reads of 4096
bytes, for a slow reader.  Prints the number of the first byte that is wrong, or "same".
"""

from __future__ import annotations

import os
import random
import select
import socket
import sys
import time


def main(way: str, where: str, count: int, pause: float) -> str:
    data = random.Random(1953).randbytes(count)
    number = connect(int(where)) if way == "tcp" else os.open(where, os.O_RDWR | os.O_NOCTTY)
    os.set_blocking(number, False)
    sent, got = 0, bytearray()
    while len(got) < count:
        wants = [number] if sent < count else []
        readable, writable, _ = select.select([number], wants, [], 20)
        if writable:
            sent += os.write(number, data[sent : sent + 1024])
        if readable:
            got += os.read(number, 4096)
            time.sleep(pause)
        if not readable and not writable:
            return f"silence after {len(got)}"
    wrong = next((n for n in range(count) if got[n] != data[n]), None)
    return "same" if wrong is None else str(wrong)


def connect(port: int) -> int:
    made = socket.create_connection(("127.0.0.1", port))
    return made.detach()


if __name__ == "__main__":
    print(main(sys.argv[1], sys.argv[2], int(sys.argv[3]), float(sys.argv[4])))
