; quay-gantry.asm - the monitor ROM quay, for the board gantry

GANTRY  EQU     1
SALTM   EQU     0
        INCLUDE 'quay.inc'
        END     COLD
