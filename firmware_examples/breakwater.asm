; breakwater.asm: the light at the end of a harbour wall, for the board breakwater.
;
; The clock (RST 7.5, 2 kHz) takes the light one step on; the switches say how many of the
; lamps wink.  The fog horn asks by INTR (700 Hz) and is counted in memory.  Between two
; interrupts the CPU is halted.

LAMPS   EQU     20H             ; output: the light
WINK    EQU     21H             ; input: which lamps wink
STACK   EQU     8800H
STEPS   EQU     8000H           ; word: steps of the light
HORNS   EQU     8002H           ; byte: requests of the horn

        ORG     0000H
        JMP     START

        ORG     0028H           ; RST 5, jammed by the horn's gate
        JMP     HORN

        ORG     003CH           ; RST 7.5, the clock
        JMP     STEP

        ORG     0040H
START:  LXI     SP,STACK
        LXI     H,0
        SHLD    STEPS
        XRA     A
        STA     HORNS
        MVI     A,1BH           ; RST 7.5 alone, its latch cleared
        SIM
REST:   EI
        HLT                     ; until one of the two
        JMP     REST

; One step of the light: lamps that wink are lit at every second step.
STEP:   PUSH    PSW
        PUSH    H
        PUSH    D
        LHLD    STEPS
        LXI     D,1
        DAD     D
        SHLD    STEPS
        IN      WINK
        MOV     D,A
        MOV     A,L
        ANI     1
        MVI     A,0
        JZ      SHOW
        MOV     A,D
SHOW:   OUT     LAMPS
        POP     D
        POP     H
        POP     PSW
        EI
        RET

; A request of the horn: counted.
HORN:   PUSH    PSW
        PUSH    H
        LXI     H,HORNS
        INR     M
        POP     H
        POP     PSW
        EI
        RET

        END
