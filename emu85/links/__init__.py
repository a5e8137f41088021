"""Serial ends of a board joined to the world outside.

A *link* stands between one serial end of a board (the line on SID and SOD, or the
terminal of a USART) and something of the host: a pseudo-terminal, a TCP port, a
pair of files.  The rule of the whole package is that the machine never waits for
anybody outside:

* Every transfer is non-blocking and happens in :meth:`Link.pump`, which whoever
  runs the machine calls between slices.  Nothing else touches the machine, so a
  run is the same to the last bit for the same bytes at the same slices.
* Towards the board a link takes no more than the end's queue has room for; the
  rest stays in the kernel's buffers, so that a writer that is too fast is slowed
  down and loses nothing.
* Towards the outside, what the reader has not taken stays here in a backlog: a slow
  reader loses nothing and gets all in order.  If it has not taken ``MOST_WAITING``
  bytes (a megabyte, a quarter of an hour at 9600 baud), it is not reading, and older
  ones are dropped and counted.  While nobody is there, the newest ``KEPT`` bytes are
  kept for whoever comes next.

    links = Links(machine.board)
    print(links.join("usart", "tcp 4000"))
    while machine.run(t_states=60_000).reason is Reason.LIMIT:
        links.pump()
"""

from emu85.links.joins import WAYS, Links, join
from emu85.links.link import KEPT, MOST_QUEUED, MOST_WAITING, Link, SerialEnd

__all__ = ["KEPT", "MOST_QUEUED", "MOST_WAITING", "WAYS", "Link", "Links", "SerialEnd", "join"]
