; quay-saltmarsh.asm - the monitor ROM quay, for the board saltmarsh

GANTRY  EQU     0
SALTM   EQU     1
        INCLUDE 'quay.inc'
        END     COLD
