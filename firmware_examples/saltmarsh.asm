; saltmarsh.asm - a tide-gauge logger on a post in the mud
;
; Board: saltmarsh.  CPU clock 3.072 MHz; the memory has no wait states, the
; converter's ports have one (IN or OUT there takes 11 T-states, not 10).
;
; What it does:
;   RST 7.5   the tick, 8 a second: hours, minutes and seconds
;   RST 6.5   the converter is done: its result is the level of the tide
;   RST 5.5   the key on the lid: logging starts, and pauses, with it
;   SID, SOD  a dialogue at 1200 baud, every bit by counted T-states
;
; Interrupts are off while a character passes, since a bit must not wait.  A
; character takes 8.3 ms, ticks are 125 ms apart and RST 7.5 keeps one edge in
; its latch: no tick is ever lost.  The interrupt routine only counts it; the
; work is done later, between two looks at SID.

; --- ports
CONTROL EQU     10H             ; latch: bit 0 moves the sounder; can be read back
LAMPS   EQU     11H
STATION EQU     14H             ; switches: 0-6 station number, 7 keep the log
LEVELAD EQU     18H             ; write: start a conversion; read: its result
STATUS  EQU     19H             ; bit 7: converting

; --- lamps
LREADY  EQU     01H
LLOG    EQU     02H
LKEY    EQU     04H
LDEPTH  EQU     10H             ; the lowest of the bar of four

; --- what SIM takes
UNMASK  EQU     08H             ; set the masks: none
NOKEY   EQU     09H             ; set the masks: RST 5.5 out
MARK    EQU     0C0H            ; SOD to 1
CLRTICK EQU     10H             ; empty the latch of RST 7.5

; --- characters
CR      EQU     0DH
LF      EQU     0AH
BS      EQU     08H
DEL     EQU     7FH
DROP    EQU     15H             ; NAK, typed as control and U: drop the line

; --- sizes
TICKS8  EQU     8               ; ticks in a second
EVERY   EQU     4               ; seconds from one entry of the log to the next
ENTRIES EQU     64              ; in the log
MOST    EQU     32              ; characters in a line
SHOWN   EQU     8               ; entries that 'log' shows if not told how many
TONEFOR EQU     3               ; ticks that a beep lasts, the first one in part

; --- RAM, kept by the battery
        ORG     0A000H
SIGN:   DS      2               ; 5A A5 when the log is in order
HEAD:   DS      1               ; low byte of the address of the next entry
COUNT:  DS      1               ; entries in the log
CHECK:  DS      1               ; HEAD plus COUNT plus 3CH

DUE:    DS      1               ; ticks not yet worked on
SUBTICK:DS      1               ; ticks since the second, 0-7
HOUR:   DS      1               ; these three in this order, as in the log
MINUTE: DS      1
SECOND: DS      1
UNTIL:  DS      1               ; seconds until the next entry
LEVEL:  DS      1               ; of the tide
LOGGING:DS      1               ; 1 while logging
PRESSED:DS      1               ; the key: 1 not yet worked on, 2 seen and still down
ALARMAT:DS      1               ; alarm from this level on
ARMED:  DS      1               ; 1 when there is an alarm
RINGING:DS      1               ; 1 while the level is there
TONE:   DS      1               ; ticks of tone left
LINE:   DS      MOST+1          ; what is typed, a 0 after it

        ORG     0A100H          ; one page, so that INR L goes round in it
RING:   DS      4*ENTRIES       ; hour, minute, second, level

STACK   EQU     0C000H          ; one past it

; ---------------------------------------------------------------------------
; Vectors.  What should never happen begins again, and says so.

        ORG     0
        JMP     COLD

        IRPC    N,1234567
        ORG     N*8
        JMP     STRAY
        ENDM
        ORG     24H             ; TRAP: tied low on this board
        JMP     STRAY
        ORG     2CH             ; RST 5.5
        JMP     KEYED
        ORG     34H             ; RST 6.5
        JMP     DONE

        ORG     3CH             ; RST 7.5
TICK:   PUSH    PSW             ; 12
        LDA     DUE             ; 13
        INR     A               ;  4
        STA     DUE             ; 13
        POP     PSW             ; 10
        EI                      ;  4
        RET                     ; 10

DONE:   PUSH    PSW
        IN      LEVELAD         ; 11: one wait state; lets the line go low
        STA     LEVEL
        POP     PSW
        EI
        RET

; The key's input is a level: while it is down the interrupt would come again
; and again.  So it masks itself, and PACE lets it in again when the key is up.

KEYED:  PUSH    PSW
        MVI     A,NOKEY
        SIM
        MVI     A,1
        STA     PRESSED
        POP     PSW
        EI
        RET

; ---------------------------------------------------------------------------
; Delays, without a call.
;
;       MVI             7
;       DCR 4, JNZ 10   14 a pass, less 3 as the last JNZ does not jump
;
; so DELAY n lasts 7 + 14n - 3 = 14n + 4 T-states.  Register D is used up.

DELAY   MACRO   N
        LOCAL   PASS
        MVI     D,N             ;  7
PASS:   DCR     D               ;  4
        JNZ     PASS            ; 10, at last 7
        ENDM

; A bit at 1200 baud: 3 072 000 / 1200 = 2560 T-states, with nothing over.

; ---------------------------------------------------------------------------
; PUTC: sends A.  Keeps all registers but A and F.
;
; From one SIM to the next, for the start bit and the data bits:
;
;       DELAY 178    2496       14 x 178 + 4
;       NOP             4
;       NOP             4
;       NOP             4
;       MVI             7       19 in four, fills
;       STC             4
;       MOV             4
;       RAR             4
;       MOV             4
;       DCR             4
;       JNZ            10       jumps
;       MVI             7
;       RAR             4
;       SIM             4
;                    ----
;                    2560       not one T-state off
;
; From the last data bit to the stop bit the end of it is another, but as long:
;
;       JNZ 10, MVI 7, RAR 4, SIM 4         25      up to there
;       JNZ 7, MVI 7, MVI 7, SIM 4          25      at the stop bit
;
; Only half of the stop bit is spent at the end, and a half at the beginning
; of the next character.  So the line can be looked at before a quick answer
; comes, and yet every stop bit is a whole one.

PUTC:   PUSH    B
        PUSH    D
        MOV     C,A
        DI
        DELAY   91              ; 14 x 91 + 4 = 1278, half a bit
        MVI     B,9             ; start bit and eight data bits
        ORA     A               ; CY = 0: the start bit
PBIT:   MVI     A,80H           ;  7  SOD is to change...
        RAR                     ;  4  ...to CY: bit 6 = 1, bit 7 = CY
        SIM                     ;  4
        DELAY   178             ;  2496
        NOP                     ;  4
        NOP                     ;  4
        NOP                     ;  4
        MVI     D,0             ;  7
        STC                     ;  4  ones come after the data
        MOV     A,C             ;  4
        RAR                     ;  4  the next bit, the lowest first
        MOV     C,A             ;  4
        DCR     B               ;  4  leaves CY as it is
        JNZ     PBIT            ; 10, at last 7
        MVI     D,91            ;  7  as in DELAY 91
        MVI     A,MARK          ;  7
        SIM                     ;  4
PSTOP:  DCR     D               ;  4
        JNZ     PSTOP           ; 10
        EI
        POP     D
        POP     B
        RET

; The rest of a stop bit that we echo, before we say something ourselves.

HALFBIT:DELAY   91              ; 1278
        RET

; Send the text at HL, which ends with a 0.  HL comes back past it.

PUTS:   MOV     A,M
        INX     H
        ORA     A
        RZ
        CALL    PUTC
        JMP     PUTS

; ---------------------------------------------------------------------------
; GETC: waits for a character and returns it in A.  Keeps HL.
;
; While it waits it moves the sounder and works on ticks.  A round of LISTEN,
; from one OUT CONTROL to the next while the tone is on:
;
;       MVI             7
;       LOOK        1 447       RIM 4, ORA 4, JP 7, DCR 4, JNZ 10 = 29,
;                               50 times 29, less 3
;       LDA            13
;       ORA             4
;       JZ              7       not taken
;       IN             10
;       XRI             7
;       OUT            10
;       LDA            13
;       ORA             4
;       NOP             4       fills
;       JZ             10       taken
;                   -----
;                   1 536       half a period: 3 072 000 / 3072 = 1000 Hz

GETC:
LISTEN: MVI     B,50            ;  7
LOOK:   RIM                     ;  4  SID comes in bit 7
        ORA     A               ;  4
        JP      HEAR            ;  7  space: a start bit (10)
        DCR     B               ;  4
        JNZ     LOOK            ; 10, at last 7
        LDA     TONE            ; 13
        ORA     A               ;  4
        JZ      QUIET           ;  7  (10 when there is no tone)
        IN      CONTROL         ; 10
        XRI     01H             ;  7
        OUT     CONTROL         ; 10
QUIET:  LDA     DUE             ; 13
        ORA     A               ;  4
        NOP                     ;  4
        JZ      LISTEN          ; 10
        CALL    PACE
        JMP     LISTEN

; The start bit has begun, somewhere in the last pass of LOOK: on the average
; half a pass ago, 14 T-states, plus ORA 4, JP 10, DI 4.  788 later, at about
; 820 of its 2560, it should still be there.  That is before its middle, since
; the work of a tick may have kept us from looking: 1100 T-states when an hour
; is full and an entry is written.  Then it is at 1920, and all is well still.
;
; From there each bit is sampled once, and sent back at once: the echo runs
; a part of a bit behind.  From one RIM to the next, and from one SIM to the next:
;
;       RIM             4
;       RAL             4       CY = the bit
;       MOV             4
;       RAR             4       into bit 7 of C; the start bit falls out again
;       MOV             4       of C with the ninth
;       ANI             7
;       ORI             7
;       SIM             4
;       DELAY 178    2496
;       NOP             4
;       NOP             4
;       NOP             4
;       DCR             4
;       JNZ            10       jumps
;                    ----
;                    2560
;
; The stop bit is sampled 3 earlier, and its echo has the whole 2560 again:
;
;       JNZ 10, RIM to ORI 34, SIM 4                        48      up to there
;       JNZ 7, RIM 4, MOV 4, PUSH 12, POP 10, MVI 7, SIM 4  48      stop bit

HEAR:   DI                      ;  4
        DELAY   56              ;  788
        RIM                     ;  4
        ORA     A               ;  4
        JM      GLITCH          ;  7  too short for a start bit
        MVI     B,9             ;  7  start bit and eight data bits
HBIT:   RIM                     ;  4
        RAL                     ;  4
        MOV     A,C             ;  4
        RAR                     ;  4
        MOV     C,A             ;  4
        ANI     80H             ;  7
        ORI     40H             ;  7
        SIM                     ;  4
        DELAY   178             ;  2496
        NOP                     ;  4
        NOP                     ;  4
        NOP                     ;  4
        DCR     B               ;  4
        JNZ     HBIT            ; 10, at last 7
        RIM                     ;  4  the stop bit
        MOV     B,A             ;  4
        PUSH    H               ; 12  fills
        POP     H               ; 10  fills
        MVI     A,MARK          ;  7
        SIM                     ;  4  the echo's stop bit is always good
        EI
        MOV     A,B
        ORA     A
        MOV     A,C
        RM                      ; a good stop bit

NOMARK: LDA     DUE             ; else it was no character: wait until the
        ORA     A               ; line rests, and keep time meanwhile
        CNZ     PACE
        RIM
        ORA     A
        JP      NOMARK
GLITCH: EI
        JMP     LISTEN

; ---------------------------------------------------------------------------
; READLN: a line into LINE, small letters for capitals, 0 after it.
;
; Nothing is said while characters may follow at full speed: of a line that is
; too long the end is dropped and LINE+MOST remembers it until CR.

READLN: XRA     A
        STA     LINE+MOST
        LXI     H,LINE
RNEXT:  CALL    GETC
        CPI     CR
        JZ      RENTER
        CPI     BS
        JZ      RBACK
        CPI     DEL
        JZ      RRUB
        CPI     DROP
        JZ      RDROP
        CPI     ' '
        JC      RNEXT           ; other control characters, LF too: nothing
        CPI     DEL
        JNC     RNEXT           ; nor is 80H and up
        MOV     B,A
        MOV     A,L
        CPI     LOW (LINE+MOST)
        JZ      RLONG
        MOV     A,B
        CPI     'A'
        JC      RKEEP
        CPI     'Z'+1
        JNC     RKEEP
        ORI     20H
RKEEP:  MOV     M,A
        INX     H
        JMP     RNEXT
RLONG:  MOV     M,B
        JMP     RNEXT

RENTER: CALL    HALFBIT
        MVI     A,LF            ; the echo was CR
        CALL    PUTC
        LDA     LINE+MOST
        ORA     A
        JNZ     RWRONG
        MOV     M,A
        RET
RWRONG: LXI     H,XLONG
        CALL    PUTS
RASK:   LXI     H,PROMPT
        CALL    PUTS
        JMP     READLN

RDROP:  CALL    HALFBIT
        CALL    NEWLINE
        JMP     RASK

; The echo of BS has moved the far end's cursor already, that of DEL has not.

RRUB:   CALL    HALFBIT
        MOV     A,L
        CPI     LOW LINE
        JZ      RNEXT           ; nothing to take back
        MVI     A,BS
        CALL    PUTC
        JMP     RTAKE
RBACK:  CALL    HALFBIT
        MOV     A,L
        CPI     LOW LINE
        JZ      RHOME
RTAKE:  MVI     A,' '
        CALL    PUTC
        MVI     A,BS
        CALL    PUTC
        DCX     H
        JMP     RNEXT
RHOME:  MVI     A,' '           ; back over the blank of the prompt
        CALL    PUTC
        JMP     RNEXT

; ---------------------------------------------------------------------------
; PACE: the work of one tick.  Call it when DUE is not 0.  Keeps HL.

PACE:   PUSH    H
        LXI     H,DUE
        DCR     M               ; no tick can come between its cycles
        LDA     PRESSED
        ORA     A
        CNZ     KEYWORK
        LXI     H,TONE
        MOV     A,M
        ORA     A
        JZ      PLEVEL
        DCR     M
        JNZ     PLEVEL
        XRA     A
        OUT     CONTROL         ; no current in the sounder while it is quiet
PLEVEL: LXI     H,SUBTICK
        INR     M
        MOV     A,M
        ANI     3
        JNZ     PSEC            ; every fourth tick...
        OUT     LEVELAD         ; 11: ...start a conversion, RST 6.5 tells its end
PSEC:   MOV     A,M
        CPI     TICKS8
        JC      PEND
        MVI     M,0
        CALL    NEWSEC
PEND:   POP     H
        RET

; The key has been pressed (1), or is being held down (2).

KEYWORK:DCR     A
        JNZ     KHELD
        MVI     A,2
        STA     PRESSED
        MVI     A,1
        STA     UNTIL           ; the first entry with the next second
        LXI     H,LOGGING
        XRA     M
        MOV     M,A
        JMP     SHOW
KHELD:  RIM
        ANI     10H             ; I5.5: still down?
        RNZ
        STA     PRESSED         ; 0
        MVI     A,UNMASK
        SIM
        JMP     SHOW

NEWSEC: LXI     H,SECOND
        CALL    UPTO60
        JC      NALARM
        DCX     H
        CALL    UPTO60          ; minutes
        JC      NALARM
        DCX     H
        INR     M               ; hours
        MOV     A,M
        CPI     24
        JC      NALARM
        MVI     M,0

NALARM: LXI     H,ALARMAT
        LDA     LEVEL
        CMP     M               ; CY: below
        CMC
        SBB     A               ; FFH from there on, else 0
        INX     H               ; ARMED
        ANA     M               ; 1 or 0
        INX     H               ; RINGING
        MOV     M,A
        JZ      NLOG
        MVI     A,TONEFOR
        STA     TONE
NLOG:   LDA     LOGGING
        ORA     A
        JZ      SHOW
        LXI     H,UNTIL
        DCR     M
        JNZ     SHOW
        MVI     M,EVERY
        CALL    ENTER

; SHOW: the lamps.

SHOW:   LDA     LEVEL
        MVI     L,LREADY
        CPI     51              ; a fifth of 255 for each lamp of the bar
        JC      SLOG
        MVI     L,LREADY+LDEPTH
        CPI     102
        JC      SLOG
        MVI     L,LREADY+3*LDEPTH
        CPI     153
        JC      SLOG
        MVI     L,LREADY+7*LDEPTH
        CPI     204
        JC      SLOG
        MVI     L,LREADY+15*LDEPTH
SLOG:   LDA     LOGGING
        ADD     A               ; LLOG
        ORA     L
        MOV     L,A
        LDA     PRESSED
        ORA     A
        MOV     A,L
        JZ      SOUT
        ORI     LKEY
SOUT:   OUT     LAMPS
        RET

; One more, up to 59.  CY: it has not come round to 0.

UPTO60: INR     M
        MOV     A,M
        CPI     60
        RC
        MVI     M,0
        RET

; ENTER: an entry into the ring.

ENTER:  LDA     HEAD
        MOV     L,A
        MVI     H,HIGH RING
        LDA     HOUR
        MOV     M,A
        INR     L
        LDA     MINUTE
        MOV     M,A
        INR     L
        LDA     SECOND
        MOV     M,A
        INR     L
        LDA     LEVEL
        MOV     M,A
        INR     L               ; FFH goes to 00H: the ring
        MOV     A,L
        STA     HEAD
        LXI     H,COUNT
        MOV     A,M
        CPI     ENTRIES
        JZ      ESUM
        INR     M
ESUM:   CALL    SUM
        STA     CHECK
        RET

SUM:    LXI     H,HEAD
        MOV     A,M
        INX     H
        ADD     M
        ADI     3CH
        RET

; ---------------------------------------------------------------------------
; Power-on and reset.

STRAY:  LXI     SP,STACK
        CALL    REST
        LXI     H,XSTRAY
        CALL    PUTS
        DI

COLD:   LXI     SP,STACK
        CALL    REST
        LXI     H,DUE           ; RAM comes up with anything in it
        MVI     B,LINE+MOST+1-DUE
CLEAR:  MVI     M,0
        INX     H
        DCR     B
        JNZ     CLEAR
        CALL    OLDLOG
        OUT     LEVELAD         ; whatever A is: a first level
FIRST:  IN      STATUS
        RLC                     ; CY = converting
        JC      FIRST
        IN      LEVELAD
        STA     LEVEL
        MVI     A,UNMASK+CLRTICK
        SIM                     ; the clock starts here
        EI
        CALL    SHOW
        LXI     H,HELLO
        CALL    PUTS
        IN      STATION
        ANI     7FH
        CALL    PUTDEC
        LXI     H,HELLO2
        CALL    PUTS

MAIN:   LXI     H,PROMPT
        CALL    PUTS
        CALL    READLN
        CALL    CATCHUP
        CALL    WORDS
        JMP     MAIN

; REST: SOD at mark for 24 bits, so that the far end knows the line is at rest.
; 2560 passes of 24 T-states are 61 440, which is 24 times 2560.

REST:   MVI     A,MARK
        SIM
        LXI     D,2560          ; 10
RPASS:  DCX     D               ;  6
        MOV     A,D             ;  4
        ORA     E               ;  4
        JNZ     RPASS           ; 10
        RET

; OLDLOG: keep the log if switch 7 says so and it is in order.  With the switch
; at 0 its RAM is not even read.

OLDLOG: IN      STATION
        ORA     A
        JP      NEWLOG
        LHLD    SIGN
        MOV     A,H
        CPI     0A5H
        JNZ     NEWLOG
        MOV     A,L
        CPI     05AH
        JNZ     NEWLOG
        CALL    SUM
        INX     H
        CMP     M
        RZ
NEWLOG: LXI     H,0A55AH
        SHLD    SIGN
        LXI     H,0             ; HEAD = 0, COUNT = 0
        SHLD    HEAD
        CALL    SUM
        STA     CHECK
        RET

; CATCHUP: all ticks that are due, before a word that tells the time.

CATCHUP:LDA     DUE
        ORA     A
        RZ
        CALL    PACE
        JMP     CATCHUP

; ---------------------------------------------------------------------------
; WORDS: do what the line says.  A word's routine gets the rest of it at DE.

WORDS:  LXI     D,LINE
        CALL    ARG
        RZ                      ; nothing typed
        XCHG
        LXI     D,TABLE
WTRY:   LDAX    D
        ORA     A
        JZ      WNONE
        PUSH    H
WSAME:  LDAX    D
        ORA     A
        JZ      WEND
        CMP     M
        JNZ     WOTHER
        INX     D
        INX     H
        JMP     WSAME
WEND:   MOV     A,M             ; all of it, if the typed word ends too
        ORA     A
        JZ      WFOUND
        CPI     ' '
        JZ      WFOUND
WOTHER: POP     H
WSKIP:  LDAX    D
        INX     D
        ORA     A
        JNZ     WSKIP
        INX     D
        INX     D
        JMP     WTRY
WFOUND: POP     B               ; where the word began: not needed
        XCHG
        INX     H
        MOV     A,M
        INX     H
        MOV     H,M
        MOV     L,A
        PCHL

WNONE:  PUSH    H
        LXI     H,XWORD
        CALL    PUTS
        POP     H
WECHO:  MOV     A,M
        ORA     A
        JZ      WHELP
        CPI     ' '
        JZ      WHELP
        CALL    PUTC
        INX     H
        JMP     WECHO
WHELP:  LXI     H,XHELP
        JMP     PUTS

TABLE:  DB      'level',0
        DW      DLEVEL
        DB      'log',0
        DW      DLOG
        DB      'time',0
        DW      DTIME
        DB      'alarm',0
        DW      DALARM
        DB      'beep',0
        DW      DBEEP
        DB      'forget',0
        DW      DFORGET
        DB      'help',0
        DW      DHELP
        DB      0

; ARG: DE to the next thing on the line.  Z: there is none.

ARG:    LDAX    D
        ORA     A
        RZ
        CPI     ' '
        RNZ
        INX     D
        JMP     ARG

; BARE: goes on only if nothing follows the word; else it ends the word's
; routine with a message.

BARE:   CALL    ARG
        RZ
        POP     H
        LXI     H,XMORE
        JMP     PUTS

; NUMBER: the decimal number at DE into A.  CY: none, or more than 255.

NUMBER: CALL    ARG
        MVI     B,0
        CALL    DIGIT
        RC
NNEXT:  MOV     C,A
        MOV     A,B
        CPI     26
        CMC
        RC                      ; 26 tens are too many
        ADD     A
        ADD     A
        ADD     B
        ADD     A               ; ten times
        ADD     C
        RC
        MOV     B,A
        INX     D
        CALL    DIGIT
        JNC     NNEXT
        LDAX    D
        ORA     A
        JZ      NGOOD
        CPI     ' '
        STC
        RNZ
NGOOD:  MOV     A,B
        ORA     A               ; CY = 0
        RET

DIGIT:  LDAX    D
        SUI     '0'
        RC
        CPI     10
        CMC
        RET

; --- the words

DLEVEL: CALL    BARE
        LXI     H,TLEVEL
        CALL    PUTS
        LDA     LEVEL
        CALL    PUTDEC
        JMP     NEWLINE

DTIME:  CALL    ARG
        JNZ     DSETTM
        LXI     H,HOUR
        CALL    PUTTIME
        JMP     NEWLINE

DSETTM: CALL    NUMBER
        JC      DBADTM
        CPI     24
        JNC     DBADTM
        PUSH    PSW
        CALL    UNDER60
        JNC     DPOP1
        PUSH    PSW
        CALL    UNDER60
        JNC     DPOP2
        PUSH    PSW
        CALL    ARG
        JNZ     DPOP3
        POP     PSW
        STA     SECOND
        POP     PSW
        STA     MINUTE
        POP     PSW
        STA     HOUR
        XRA     A
        STA     SUBTICK
        LXI     H,HOUR
        CALL    PUTTIME
        JMP     NEWLINE
DPOP3:  POP     PSW
DPOP2:  POP     PSW
DPOP1:  POP     PSW
DBADTM: LXI     H,XTIME
        JMP     PUTS

UNDER60:CALL    NUMBER
        CMC
        RNC                     ; no number
        CPI     60              ; CY: below
        RET

DALARM: CALL    ARG
        JZ      DASAY
        CPI     'o'
        JZ      DAOFF
        CALL    NUMBER
        JC      DABAD
        STA     ALARMAT
        CALL    ARG
        JNZ     DABAD
        MVI     A,1
        STA     ARMED
        JMP     DASAY
DAOFF:  INX     D
        LXI     H,OFF           ; 'ff' and the end
        MVI     B,3
DACMP:  LDAX    D
        CMP     M
        JNZ     DABAD
        INX     D
        INX     H
        DCR     B
        JNZ     DACMP
        XRA     A
        STA     ARMED
        STA     RINGING
DASAY:  LDA     ARMED
        ORA     A
        LXI     H,TOFF
        JZ      PUTS
        LXI     H,TALARM
        CALL    PUTS
        LDA     ALARMAT
        CALL    PUTDEC
        LDA     RINGING
        ORA     A
        LXI     H,TRINGS
        JNZ     PUTS
        JMP     NEWLINE
DABAD:  LXI     H,XALARM
        JMP     PUTS

DBEEP:  CALL    BARE
        MVI     A,TONEFOR       ; GETC sounds it
        STA     TONE
        RET

DFORGET:CALL    BARE
        CALL    NEWLOG
        JMP     DLSAY

DLOG:   MVI     B,SHOWN
        CALL    ARG
        JZ      DLHOW
        CALL    NUMBER
        JC      DLBAD
        MOV     C,A
        CALL    ARG
        JNZ     DLBAD
        MOV     A,C
        MOV     B,C
        DCR     A
        CPI     ENTRIES
        JNC     DLBAD           ; 1 to 64
DLHOW:  CALL    DLSAY
        LDA     COUNT
        CMP     B
        JNC     DLFROM          ; so many there are
        MOV     B,A
DLFROM: MOV     A,B
        ORA     A
        RZ
        ADD     A
        ADD     A               ; 4 bytes each; 64 of them are 0 again, the page
        MOV     C,A
        LDA     HEAD
        SUB     C
        MOV     L,A
        MVI     H,HIGH RING
DLNEXT: CALL    PUTTIME
        MVI     A,' '
        CALL    PUTC
        MOV     A,M
        INR     L               ; round the page
        PUSH    H
        PUSH    B
        CALL    PUTDEC
        CALL    NEWLINE
        POP     B
        POP     H
        DCR     B
        JNZ     DLNEXT
        RET
DLBAD:  LXI     H,XLOG
        JMP     PUTS

DLSAY:  LDA     LOGGING
        ORA     A
        LXI     H,TLOGS
        JNZ     DLCOUNT
        LXI     H,TRESTS
DLCOUNT:CALL    PUTS
        LDA     COUNT
        PUSH    B
        CALL    PUTDEC
        POP     B
        JMP     NEWLINE

DHELP:  CALL    BARE
        LXI     H,THELP
        JMP     PUTS

; --- numbers out

; Hour, minute, second at HL, which comes back behind them.  Keeps BC.

PUTTIME:CALL    PUT2
        MVI     A,':'
        CALL    PUTC
        CALL    PUT2
        MVI     A,':'
        CALL    PUTC
PUT2:   MOV     A,M             ; two digits of the byte at HL
        INX     H
        MVI     D,'0'-1
P2TENS: INR     D
        SUI     10
        JNC     P2TENS
        ADI     10
        MOV     E,A
        MOV     A,D
        CALL    PUTC
        MOV     A,E
        ADI     '0'
        JMP     PUTC

; A, 0 to 255, without leading zeros.  Keeps HL.

PUTDEC: MVI     C,0             ; no digit sent yet
        MVI     B,100
        CALL    PDIGIT
        MVI     B,10
        CALL    PDIGIT
        ADI     '0'
        JMP     PUTC
PDIGIT: MVI     D,'0'-1
PDSUB:  INR     D
        SUB     B
        JNC     PDSUB
        ADD     B
        MOV     E,A
        MOV     A,D
        SUI     '0'
        ORA     C
        MOV     C,A             ; 0 while there are only zeros
        MOV     A,D
        CNZ     PUTC
        MOV     A,E
        RET

NEWLINE:LXI     H,CRLF
        JMP     PUTS

; ---------------------------------------------------------------------------
; Texts

HELLO:  DB      CR,LF,'saltmarsh tide gauge, station ',0
HELLO2: DB      CR,LF,'Press the key on the lid to start logging.'
CRLF:   DB      CR,LF,0
PROMPT: DB      'tide> ',0
OFF:    DB      'ff',0

TLEVEL: DB      'level ',0
TALARM: DB      'alarm from ',0
TRINGS: DB      ', sounding',CR,LF,0
TOFF:   DB      'alarm off',CR,LF,0
TLOGS:  DB      'logging, entries: ',0
TRESTS: DB      'paused, entries: ',0

THELP:  DB      'level           the tide now, 0 to 255',CR,LF
        DB      'log [n]         the last n entries, or 8',CR,LF
        DB      'time [h m s]    the clock; set it',CR,LF
        DB      'alarm [n | off] sound from level n on',CR,LF
        DB      'beep            try the sounder',CR,LF
        DB      'forget          empty the log',CR,LF,0

XWORD:  DB      '? no word ',0
XHELP:  DB      ', try help',CR,LF,0
XMORE:  DB      '? nothing may follow',CR,LF,0
XLONG:  DB      '? at most 32 characters',CR,LF,0
XTIME:  DB      '? time 12 30 00',CR,LF,0
XALARM: DB      '? alarm 0 to 255, or off',CR,LF,0
XLOG:   DB      '? log 1 to 64',CR,LF,0
XSTRAY: DB      CR,LF,'? stray restart, starting again',CR,LF,0

        END     COLD
