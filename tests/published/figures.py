"""The timing figures of the 8085, half a T-state at a time, typed by hand.

Sources (each a value from memory):

* 8085AH data sheet, "Waveforms": read operation, write operation, read operation with
  wait cycle, hold operation, interrupt and hold timing.
* MCS-80/85 Family User's Manual, October 1979: the basic system timing, opcode fetch,
  memory and I/O machine cycles, DAD, HALT, HOLD, INTR with RST and with CALL, TRAP and
  RST 7.5 figures of the 8085A; and the "machine state chart", which has A8-A15
  unspecified in T4 to T6, AD0-AD7 in the high-impedance state there, IO/M high in T4 to T6
  of an interrupt acknowledge, and in THALT, THOLD and TRESET the levels below.

A figure is a row a pin and two columns a T-state, CLK being low in the first and high in
the second, as the figures begin a T-state at CLK's fall::

    0 1    levels                 z      high impedance
    x      driven, unspecified    .      the figure does not say
    hh ll  the halves of the address, dd the byte
"""

OPCODE_FETCH_4 = """
           T1    T2    T3    T4
CLK        0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh x  x
AD0-AD7    ll ll z  .  dd .  z  z
IO/M       0  0  0  0  0  0  0  0
S1         1  1  1  1  1  1  1  1
S0         1  1  1  1  1  1  1  1
RD         1  1  0  0  0  1  1  1
WR         1  1  1  1  1  1  1  1
INTA       1  1  1  1  1  1  1  1
READY      .  .  1  1  .  .  .  .
HLDA       0  0  0  0  0  0  0  0
"""

OPCODE_FETCH_6 = """
           T1    T2    T3    T4    T5    T6
CLK        0  1  0  1  0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh x  x  x  x  x  x
AD0-AD7    ll ll z  .  dd .  z  z  z  z  z  z
IO/M       0  0  0  0  0  0  0  0  0  0  0  0
S1         1  1  1  1  1  1  1  1  1  1  1  1
S0         1  1  1  1  1  1  1  1  1  1  1  1
RD         1  1  0  0  0  1  1  1  1  1  1  1
WR         1  1  1  1  1  1  1  1  1  1  1  1
INTA       1  1  1  1  1  1  1  1  1  1  1  1
"""

MEMORY_READ = """
           T1    T2    T3
CLK        0  1  0  1  0  1
ALE        1  0  0  0  0  0
A8-A15     hh hh hh hh hh hh
AD0-AD7    ll ll z  .  dd .
IO/M       0  0  0  0  0  0
S1         1  1  1  1  1  1
S0         0  0  0  0  0  0
RD         1  1  0  0  0  1
WR         1  1  1  1  1  1
INTA       1  1  1  1  1  1
READY      .  .  1  1  .  .
"""

MEMORY_WRITE = """
           T1    T2    T3
CLK        0  1  0  1  0  1
ALE        1  0  0  0  0  0
A8-A15     hh hh hh hh hh hh
AD0-AD7    ll ll dd dd dd dd
IO/M       0  0  0  0  0  0
S1         0  0  0  0  0  0
S0         1  1  1  1  1  1
RD         1  1  1  1  1  1
WR         1  1  0  0  0  1
INTA       1  1  1  1  1  1
READY      .  .  1  1  .  .
"""

IO_READ = """
           T1    T2    T3
CLK        0  1  0  1  0  1
ALE        1  0  0  0  0  0
A8-A15     hh hh hh hh hh hh
AD0-AD7    ll ll z  .  dd .
IO/M       1  1  1  1  1  1
S1         1  1  1  1  1  1
S0         0  0  0  0  0  0
RD         1  1  0  0  0  1
WR         1  1  1  1  1  1
INTA       1  1  1  1  1  1
"""

IO_WRITE = """
           T1    T2    T3
CLK        0  1  0  1  0  1
ALE        1  0  0  0  0  0
A8-A15     hh hh hh hh hh hh
AD0-AD7    ll ll dd dd dd dd
IO/M       1  1  1  1  1  1
S1         0  0  0  0  0  0
S0         1  1  1  1  1  1
RD         1  1  1  1  1  1
WR         1  1  0  0  0  1
INTA       1  1  1  1  1  1
"""

READ_WITH_A_WAIT_STATE = """
           T1    T2    TW    T3
CLK        0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh hh hh
AD0-AD7    ll ll z  .  .  .  dd .
IO/M       0  0  0  0  0  0  0  0
S1         1  1  1  1  1  1  1  1
S0         0  0  0  0  0  0  0  0
RD         1  1  0  0  0  0  0  1
WR         1  1  1  1  1  1  1  1
READY      .  .  0  0  1  1  .  .
"""

WRITE_WITH_TWO_WAIT_STATES = """
           T1    T2    TW    TW    T3
CLK        0  1  0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh hh hh hh hh
AD0-AD7    ll ll dd dd dd dd dd dd dd dd
IO/M       0  0  0  0  0  0  0  0  0  0
S1         0  0  0  0  0  0  0  0  0  0
S0         1  1  1  1  1  1  1  1  1  1
RD         1  1  1  1  1  1  1  1  1  1
WR         1  1  0  0  0  0  0  0  0  1
READY      .  .  0  0  0  0  1  1  .  .
"""

INTA_6 = """
           T1    T2    T3    T4    T5    T6
CLK        0  1  0  1  0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh x  x  x  x  x  x
AD0-AD7    ll ll z  .  dd .  z  z  z  z  z  z
IO/M       1  1  1  1  1  1  1  1  1  1  1  1
S1         1  1  1  1  1  1  1  1  1  1  1  1
S0         1  1  1  1  1  1  1  1  1  1  1  1
RD         1  1  1  1  1  1  1  1  1  1  1  1
WR         1  1  1  1  1  1  1  1  1  1  1  1
INTA       1  1  0  0  0  1  1  1  1  1  1  1
"""

INTA_3 = """
           T1    T2    T3
CLK        0  1  0  1  0  1
ALE        1  0  0  0  0  0
A8-A15     hh hh hh hh hh hh
AD0-AD7    ll ll z  .  dd .
IO/M       1  1  1  1  1  1
S1         1  1  1  1  1  1
S0         1  1  1  1  1  1
RD         1  1  1  1  1  1
WR         1  1  1  1  1  1
INTA       1  1  0  0  0  1
"""

BUS_IDLE_OF_DAD = """
           T1    T2    T3
CLK        0  1  0  1  0  1
ALE        0  0  0  0  0  0
A8-A15     x  x  x  x  x  x
IO/M       0  0  0  0  0  0
S1         1  1  1  1  1  1
S0         0  0  0  0  0  0
RD         1  1  1  1  1  1
WR         1  1  1  1  1  1
INTA       1  1  1  1  1  1
"""

BUS_IDLE_OF_AN_ACKNOWLEDGE = """
           T1    T2    T3    T4    T5    T6
CLK        0  1  0  1  0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh x  x  x  x  x  x
AD0-AD7    ll ll .  .  .  .  z  z  z  z  z  z
IO/M       1  1  1  1  1  1  1  1  1  1  1  1
S1         1  1  1  1  1  1  1  1  1  1  1  1
S0         1  1  1  1  1  1  1  1  1  1  1  1
RD         1  1  1  1  1  1  1  1  1  1  1  1
WR         1  1  1  1  1  1  1  1  1  1  1  1
INTA       1  1  1  1  1  1  1  1  1  1  1  1
"""

HALT = """
           THALT THALT THALT
CLK        0  1  0  1  0  1
ALE        0  0  0  0  0  0
A8-A15     z  z  z  z  z  z
AD0-AD7    z  z  z  z  z  z
IO/M       z  z  z  z  z  z
S1         0  0  0  0  0  0
S0         0  0  0  0  0  0
RD         z  z  z  z  z  z
WR         z  z  z  z  z  z
INTA       1  1  1  1  1  1
"""

# HOLD is sampled in T2; HLDA rises in the middle of the last T-state, and half a T-state
# later the bus floats.  It comes back half a T-state after HLDA has fallen.
INTO_HOLD = """
           T1    T2    T3    T4    THOLD THOLD
CLK        0  1  0  1  0  1  0  1  0  1  0  1
ALE        1  0  0  0  0  0  0  0  0  0  0  0
A8-A15     hh hh hh hh hh hh x  x  z  z  z  z
AD0-AD7    ll ll z  .  dd .  z  z  z  z  z  z
IO/M       0  0  0  0  0  0  0  0  z  z  z  z
S1         1  1  1  1  1  1  1  1  x  x  x  x
S0         1  1  1  1  1  1  1  1  x  x  x  x
RD         1  1  0  0  0  1  1  1  z  z  z  z
WR         1  1  1  1  1  1  1  1  z  z  z  z
INTA       1  1  1  1  1  1  1  1  1  1  1  1
HOLD       .  .  1  1  1  1  1  1  1  1  1  1
HLDA       0  0  0  0  0  0  0  1  1  1  1  1
"""

OUT_OF_HOLD = """
           THOLD THOLD T1
CLK        0  1  0  1  0  1
ALE        0  0  0  0  1  0
A8-A15     z  z  z  z  hh hh
AD0-AD7    z  z  z  z  ll ll
IO/M       z  z  z  z  0  0
RD         z  z  z  z  1  1
WR         z  z  z  z  1  1
INTA       1  1  1  1  1  1
HOLD       1  0  0  0  0  0
HLDA       1  1  1  0  0  0
"""
"""HOLD falls tHDS before CLK does for the last T-state of the hold."""

RESET = """
           TRESET TRESET TRESET
CLK        0  1  0  1  0  1
ALE        0  0  0  0  0  0
A8-A15     z  z  z  z  z  z
AD0-AD7    z  z  z  z  z  z
IO/M       z  z  z  z  z  z
S1         x  x  x  x  x  x
S0         x  x  x  x  x  x
RD         z  z  z  z  z  z
WR         z  z  z  z  z  z
INTA       1  1  1  1  1  1
HLDA       0  0  0  0  0  0
RESET OUT  1  1  1  1  1  1
"""
