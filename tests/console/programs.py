"""Small programs for console tests."""

COUNTER = """
        ORG 0
START:  LXI SP,8800H
LOOP:   INR A
        STA 8004H
        OUT 40H
        CALL DELAY
        JMP LOOP
DELAY:  MVI B,3
MORE:   DCR B
        JNZ MORE
        RET
        END START
"""
"""For slate: counts in A, stores it at 8004 and shows it at port 40."""

ECHO = """
; Sends back each level of SID, so what arrives goes out again.
        ORG 0
AGAIN:  RIM                 ; bit 7 is SID
        ANI 80H
        ORI 40H
        SIM                 ; bit 7 is SOD
        JMP AGAIN
        END
"""
"""For saltmarsh: SOD follows SID."""

TALKER = """
; Sends HI and a new line at 1200 baud with a CPU clock of 3.072 MHz, for ever.
        ORG 0
START:  LXI SP,0C000H
        MVI A,0C0H          ; SOD high: mark
        SIM
        LXI D,4000
        CALL PAUSE
AGAIN:  LXI H,TEXT
NEXT:   MOV A,M
        ORA A
        JZ AGAIN
        MOV C,A
        CALL SEND
        INX H
        JMP NEXT
SEND:   MVI B,11            ; start, eight data bits, two stop bits
        ORA A               ; CY = 0: the start bit
BIT:    MVI A,80H
        RAR                 ; bit 7 is CY, bit 6 lets SIM set SOD
        SIM
        LXI D,104
        CALL PAUSE
        STC
        MOV A,C
        RAR
        MOV C,A
        DCR B
        JNZ BIT
        RET
PAUSE:  DCX D
        MOV A,D
        ORA E
        JNZ PAUSE
        RET
TEXT:   DB 'HI',13,10,0
        END START
"""
"""For saltmarsh: a serial message in a loop."""
