; slate.asm - counting T-states on three chips and a crystal
;
; Board: slate.  The crystal is 4 MHz and the CPU clock half of it, so that a
; T-state lasts exactly 0.5 us.  Nothing on this board inserts wait states:
; what the instructions take is what passes.
;
; Two lessons in turn, for ever:
;   WALK    lights the eight lamps one after another, 250 ms each to the
;           T-state, by a delay loop.  Count it before you time it.
;   CYCLES  does nothing of use, in every kind of machine cycle that this
;           board can show.  Step through it and say what the bus does next.
;
; In the comments a number is T-states, and the letters are machine cycles:
;   OF opcode fetch    MR memory read     MW memory write
;   IOW I/O write      BI bus idle
; A cycle takes 3 T-states, but an opcode fetch takes 4, or 6 (written OF6)
; where the CPU has more to do inside before it can go on.

LAMPS   EQU     40H             ; the lamps' port, bit 0 is the right lamp
WORK    EQU     8000H           ; two bytes of RAM to work on
STACK   EQU     8800H           ; one past the stack, which is 8780-87FF

PASSES  EQU     20829           ; of the loop in DELAY

        ORG     0
        JMP     START

; No interrupt input is wired.  But a CPU that has lost its way and fetches
; FFH, which an empty bus reads as, executes RST 7.  So every restart address
; begins again, and TRAP's does too.

        IRPC    N,1234567
        ORG     N*8
        JMP     START
        ENDM
        ORG     24H             ; TRAP
        JMP     START

        ORG     40H
START:  LXI     SP,STACK        ; 10  OF MR MR
ROUND:  CALL    WALK            ; 18  OF6 MR MR MW MW
        CALL    CYCLES          ; 18  OF6 MR MR MW MW
        JMP     ROUND           ; 10  OF MR MR

; ---------------------------------------------------------------------------
; WALK: eight lamps, one after another, from the right.
;
; 250 ms are 250 000 us / 0.5 us = 500 000 T-states, from one OUT to the next:
;
;       OUT             10
;       RLC              4
;       MOV C,A          4
;       CALL            18
;       DELAY      499 913      see there
;       MOV A,C          4
;       DCR              4
;       JNZ             10      10 when it jumps, 7 when it does not
;                  -------
;                  499 967      33 are missing
;
; and the four instructions marked "fills" take 10 + 10 + 7 + 6 = 33.  One
; more pass of the loop would have been 24, and then 9 missing; but of the
; instructions that change nothing of ours none takes 9 or 5.

WALK:   MVI     B,8             ;  7  OF MR          lamps to go
        MVI     A,01H           ;  7  OF MR          the right one
WSTEP:  OUT     LAMPS           ; 10  OF MR IOW
        RLC                     ;  4  OF             the one to its left
        MOV     C,A             ;  4  OF             DELAY needs A
        CALL    DELAY           ; 18  OF6 MR MR MW MW
        LXI     D,0             ; 10  OF MR MR       fills
        LXI     D,0             ; 10  OF MR MR       fills
        MVI     E,0             ;  7  OF MR          fills
        INX     D               ;  6  OF6            fills
        MOV     A,C             ;  4  OF
        DCR     B               ;  4  OF
        JNZ     WSTEP           ; 10  OF MR MR       (last time 7, OF MR)
        RET                     ; 10  OF MR MR

; DELAY: 499 913 T-states, the RET included, the CALL not.
;
;       LXI                 10
;       DCX 6, MOV 4, ORA 4, JNZ 10 = 24, and 20 829 passes of it:
;                      499 896
;       less 3, as the last JNZ does not jump (7, not 10)
;       RET                 10
;                      -------
;       10 + 499 896 - 3 + 10 = 499 913
;
; DCX sets no flags, hence MOV and ORA to see whether both halves are zero.

DELAY:  LXI     D,PASSES        ; 10  OF MR MR
DPASS:  DCX     D               ;  6  OF6
        MOV     A,D             ;  4  OF
        ORA     E               ;  4  OF
        JNZ     DPASS           ; 10  OF MR MR       (last time 7, OF MR)
        RET                     ; 10  OF MR MR

; ---------------------------------------------------------------------------
; CYCLES: the machine cycles themselves.  Guess, step, compare.

CYCLES: LXI     H,WORK          ; 10  OF MR MR       the operand is read like data
        MVI     M,3FH           ; 10  OF MR MW
        MOV     A,M             ;  7  OF MR          to fetch M costs a cycle,
        MOV     D,A             ;  4  OF             register to register none
        INR     M               ; 10  OF MR MW       read, add, write back
        ADD     M               ;  7  OF MR          3FH + 40H = 7FH
        INX     H               ;  6  OF6            16 bits: two more T-states
        MOV     M,A             ;  7  OF MW
        DCX     H               ;  6  OF6
        LHLD    WORK            ; 16  OF MR MR MR MR the low byte comes first:
                                ;                    L = 40H, H = 7FH
        DAD     H               ; 10  OF BI BI       the bus rests twice: HL = FE80H
        SHLD    WORK            ; 16  OF MR MR MW MW
        LDA     WORK            ; 13  OF MR MR MR    A = 80H
        STA     WORK+1          ; 13  OF MR MR MW
        PUSH    H               ; 12  OF6 MW MW      the high byte goes first
        XTHL                    ; 16  OF MR MR MW MW
        POP     D               ; 10  OF MR MR       and comes back last: DE = FE80H
        XCHG                    ;  4  OF             only names change places
        XRA     A               ;  4  OF             A = 0, Z = 1
        JNZ     START           ;  7  OF MR          not taken: the third cycle
                                ;                    is left out
        CNZ     START           ;  9  OF6 MR         not taken
        RNZ                     ;  6  OF6            not taken
        CALL    LEAF            ; 18  OF6 MR MR MW MW
        RET                     ; 10  OF MR MR

LEAF:   RZ                      ; 12  OF6 MR MR      taken: 12, while RET takes 10

; All of CYCLES, the RET included, the CALL not:
;
;   10+10+7+4+10+7+6+7+6+16     =  83   to LHLD
;   10+16+13+13+12+16+10+4+4    =  98   DAD to XRA
;   7+9+6+18+12+10              =  62   JNZ to RET, LEAF's RZ among them
;                                 ---
;                                 243
;
; So the left lamp, the last of a walk, is lit a little longer than the others:
;
;       500 000 - 3     the last JNZ does not jump
;       10              RET from WALK
;       18 + 243        CALL CYCLES
;       10 + 18         JMP ROUND, CALL WALK
;       7 + 7           the two MVI
;       = 500 310 T-states, which are 250.155 ms

        END     START
