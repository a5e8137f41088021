; gantry.asm - self-test and demonstration of the backplane
;
; Board: gantry.  CPU clock 3.072 MHz, no wait states.
;
; After reset it tries every card and chip by what can be read back, prints a line
; for each over the 8251A at 9600 baud, and then answers a few words.  Meanwhile
;   IR0       the tick of counter 2, 100 a second: uptime, on the scanned digits as well
;   IR1       characters from the 8251A go into a ring
;   IR3       keys of the panel are shown on the four digits
;   IR7       the slave: its IR0, the key "knock", counts on the lamps
;   RST 6.5   the sentry card: hits are counted
; SID and SOD are a second line at 4800 baud, bit by bit by counted T-states.

; --- ports
USART   EQU     00H             ; data; control and status at the next
USTAT   EQU     01H
COUNT0  EQU     04H
COUNT1  EQU     05H
COUNT2  EQU     06H
COUNTS  EQU     07H             ; control
PIC     EQU     08H
PICMASK EQU     09H
SLAVE   EQU     0AH
SLMASK  EQU     0BH
PORTA   EQU     0CH
PORTB   EQU     0DH
PORTC   EQU     0EH
PPI     EQU     0FH             ; control
COMBO   EQU     10H             ; command and status; ports A and B follow
COMBOA  EQU     11H
COMBOB  EQU     12H
COMBOC  EQU     13H
COMBOTL EQU     14H             ; timer
COMBOTH EQU     15H
DMA     EQU     20H             ; address and count of channel 0, then of channel 1
DMAMODE EQU     28H
UART    EQU     30H
PANEL   EQU     38H             ; data
PANELC  EQU     39H
SENTRY  EQU     3CH             ; index
SENTRYV EQU     3DH             ; value
PAIRA   EQU     40H
PAIRB   EQU     41H
PAIRDA  EQU     42H
PAIRDB  EQU     43H
SIGN    EQU     44H             ; instructions; bit 7 busy
SIGND   EQU     45H
KILN    EQU     46H             ; as INPUT
KILNBSY EQU     47H
INPUT   EQU     48H             ; write: start; read: result
INBUSY  EQU     49H
OUTPUT  EQU     4AH
LAMPS   EQU     4CH
BANK    EQU     4DH
CONTROL EQU     4EH
DIGITS  EQU     50H

; --- command and control words
TXRDY   EQU     01H
RXRDY   EQU     02H
TXEMPTY EQU     04H
EOI     EQU     20H             ; to the 8259A: the highest level in service ends
IRMASK  EQU     74H             ; let IR0, IR1, IR3 and IR7 through
SLIRS   EQU     0FEH            ; of the slave let IR0 through
READIRR EQU     0AH             ; OCW3
NO65    EQU     0FH             ; SIM: RST 5.5, 6.5 and 7.5 masked
ONLY65  EQU     0DH             ; SIM: RST 6.5 let through
CLR75   EQU     10H             ; SIM: empty the latch of RST 7.5
MARK    EQU     0C0H            ; SIM: SOD to 1
ALT2    EQU     0DH             ; 8155: A and C are outputs
DARK    EQU     0FH             ; no scanned digit is lit

; --- characters and sizes
CR      EQU     0DH
LF      EQU     0AH
BS      EQU     08H
DEL     EQU     7FH
MOST    EQU     40              ; characters in a line
WAVELEN EQU     32              ; bytes that the DMA controller plays
COLDEST EQU     04H             ; in the file of "kiln"
HOTTEST EQU     0EDH

; --- places
COMBORM EQU     6000H           ; RAM of the 8155
KEEP    EQU     7000H           ; battery RAM; only its last byte is used
KEEPEND EQU     77FFH
TRIED   EQU     90H             ; RAM is tried from page 90 to FC

        ORG     8000H
SUBTICK:DS      1               ; ticks since the last whole second
SECONDS:DS      2               ; since the tick was started
TICKS:  DS      1               ; goes round
HITS:   DS      1               ; of the sentry card
GOOD:   DS      1               ; tests passed
BAD:    DS      1
HEAD:   DS      1               ; of the ring of characters: where the next one goes
TAIL:   DS      1               ; where the next one is taken
SHOWN:  DS      4               ; patterns on the digits
CAUGHT: DS      1               ; the byte that DMA brought from the A/D converter
BEATS:  DS      1               ; of the tick card, goes round
KNOCKS: DS      1               ; goes round
FIRED:  DS      1               ; how often "kiln" was done
HEAT:   DS      1               ; its result
SCANAT: DS      1               ; which scanned digit is lit
        DS      1               ; takes the carry of the first figure
UPTIME: DS      4               ; seconds again, a figure in each, the highest first
SCANSEL:DS      1               ; the bit of the lit digit is low
LINE:   DS      MOST+1          ; what is typed, a 0 after it
        ORG     8100H
RING:   DS      256             ; one page

; ---------------------------------------------------------------------------
; Vectors.  What should never come begins again.

        ORG     0
        JMP     COLD

        IRPC    N,1234567
        ORG     N*8
        JMP     COLD
        ENDM
        ORG     24H             ; TRAP: the key "abort"
        JMP     COLD
        ORG     2CH             ; RST 5.5: masked
        JMP     COLD
        ORG     34H             ; RST 6.5: the sentry card
        JMP     HIT
        ORG     3CH             ; RST 7.5: masked
        JMP     COLD

; The CALLs of the 8259A, eight apart.

        ORG     100H
        JMP     TICK
        ORG     108H
        JMP     TYPED
        ORG     110H            ; IR2: masked
        JMP     DONE
        ORG     118H
        JMP     KEYED
        ORG     120H            ; IR4: masked
        JMP     DONE
        ORG     128H
        JMP     BEAT
        IRPC    N,67            ; IR6 is masked, for IR7 the slave gives its own
        ORG     100H+N*8
        JMP     DONE
        ENDM

; The CALLs of the slave.

        ORG     140H
        JMP     KNOCK
        ORG     148H
        JMP     READY
        IRPC    N,234567        ; masked; IR7 also if a request did not wait
        ORG     140H+N*8
        JMP     SLDONE
        ENDM

        ORG     180H
TICK:   PUSH    PSW
        PUSH    H
        LXI     H,TICKS
        INR     M
        LXI     H,SUBTICK
        INR     M
        MOV     A,M
        CPI     100
        JC      NEXTDIG
        MVI     M,0
        LHLD    SECONDS
        INX     H
        SHLD    SECONDS
        LXI     H,UPTIME+3
CARRY:  INR     M
        MOV     A,M
        CPI     10
        JC      NEXTDIG
        MVI     M,0
        DCX     H
        JMP     CARRY           ; 9999 goes to 0000

; The next of the scanned digits, all dark while the segments change.

NEXTDIG:MVI     A,DARK
        OUT     COMBOC
        LXI     H,SCANAT
        MOV     A,M
        INR     A
        ANI     3
        MOV     M,A
        LXI     H,UPTIME        ; all in one page
        ADD     L
        MOV     L,A
        MOV     A,M
        LXI     H,FIGURES       ; likewise
        ADD     L
        MOV     L,A
        MOV     A,M
        OUT     COMBOA
        LDA     SCANSEL
        RLC
        STA     SCANSEL
        OUT     COMBOC
TICKED: POP     H
        POP     PSW
DONE:   PUSH    PSW
        MVI     A,EOI
        OUT     PIC
        POP     PSW
        EI
        RET

TYPED:  PUSH    PSW
        PUSH    H
        IN      USART
        LHLD    HEAD            ; L = HEAD
        MVI     H,HIGH RING
        MOV     M,A
        MOV     A,L
        INR     A
        STA     HEAD
        JMP     TICKED

BEAT:   PUSH    PSW
        LDA     BEATS
        INR     A
        STA     BEATS
        POP     PSW
        JMP     DONE

KNOCK:  PUSH    PSW
        LDA     KNOCKS
        INR     A
        STA     KNOCKS
        OUT     LAMPS
        POP     PSW
        JMP     SLDONE

READY:  PUSH    PSW
        IN      KILN
        STA     HEAT
        LDA     FIRED
        INR     A
        STA     FIRED
        POP     PSW
SLDONE: PUSH    PSW
        MVI     A,EOI
        OUT     SLAVE
        POP     PSW
        JMP     DONE

KEYED:  PUSH    PSW
        PUSH    H
        IN      PANEL
        CPI     16
        JNC     TICKED          ; the third row has no figures
        LXI     H,FIGURES
        CALL    INDEX
        MOV     A,M
        LXI     H,SHOWN         ; the others move to the left
        PUSH    D
        MVI     E,3
MOVED:  INX     H
        MOV     D,M
        DCX     H
        MOV     M,D
        INX     H
        DCR     E
        JNZ     MOVED
        MOV     M,A
        POP     D
        CALL    FRESH
        JMP     TICKED

HIT:    PUSH    PSW
        LDA     HITS
        INR     A
        STA     HITS
        CALL    CLRHIT
        POP     PSW
        EI
        RET

; Put the four patterns on the digits.  Changes A, HL.

FRESH:  LXI     H,SHOWN
        MOV     A,M
        OUT     DIGITS
        INX     H
        MOV     A,M
        OUT     DIGITS+1
        INX     H
        MOV     A,M
        OUT     DIGITS+2
        INX     H
        MOV     A,M
        OUT     DIGITS+3
        RET

; HL = HL + A

INDEX:  ADD     L
        MOV     L,A
        RNC
        INR     H
        RET

; ---------------------------------------------------------------------------
; Start: the timer makes the baud clock, then there is a line to report on.

COLD:   DI
        LXI     SP,0            ; the first byte pushed is at FFFF
        MVI     A,NO65+CLR75+MARK
        SIM
        XRA     A
        OUT     CONTROL
        OUT     LAMPS
        LXI     H,SUBTICK
        MVI     B,SCANSEL-SUBTICK
ZERO:   MVI     M,0
        INX     H
        DCR     B
        JNZ     ZERO
        MVI     M,0EEH          ; digit 0
        CALL    FRESH

        MVI     A,36H           ; counter 0: square wave
        OUT     COUNTS
        MVI     A,10            ; 1.536 MHz / 10 = 16 times 9600
        OUT     COUNT0
        XRA     A
        OUT     COUNT0
        MVI     A,74H           ; counter 1: divider
        OUT     COUNTS
        XRA     A               ; 1.536 MHz / 1536 = 1 kHz
        OUT     COUNT1
        MVI     A,HIGH 1536
        OUT     COUNT1
        MVI     A,0B6H          ; counter 2: square wave
        OUT     COUNTS
        MVI     A,10            ; 1 kHz / 10
        OUT     COUNT2
        XRA     A
        OUT     COUNT2

        XRA     A               ; the 8251A, from whatever state it is in
        OUT     USTAT
        OUT     USTAT
        OUT     USTAT
        MVI     A,40H
        OUT     USTAT
        MVI     A,4EH           ; 16 clocks a bit, 8 bits, no parity, 1 stop bit
        OUT     USTAT
        MVI     A,37H           ; RTS, errors reset, receive, DTR, transmit
        OUT     USTAT

        LXI     D,6400          ; 50 ms, for the display's own reset
        CALL    PAUSE
        MVI     A,10H           ; the 8259A: edges, a slave, CALLs eight apart
        OUT     PIC
        MVI     A,HIGH 100H
        OUT     PICMASK
        MVI     A,80H           ; which is at IR7
        OUT     PICMASK
        MVI     A,0FFH
        OUT     PICMASK
        MVI     A,10H+LOW 140H  ; the slave: likewise
        OUT     SLAVE
        MVI     A,HIGH 140H
        OUT     SLMASK
        MVI     A,7             ; at IR7
        OUT     SLMASK
        MVI     A,0FFH
        OUT     SLMASK
        CALL    LCDINIT
        CALL    TEST
        CALL    GOON

; ---------------------------------------------------------------------------
; Words

LOOP:   LXI     H,PROMPT
        CALL    PUTS
        CALL    GETLINE
        LDA     LINE
        ORA     A
        JZ      LOOP
        LXI     H,WORDS
NEXTW:  MOV     E,M             ; DE = the word's text
        INX     H
        MOV     D,M
        INX     H
        MOV     A,D
        ORA     E
        JZ      NOWORD
        PUSH    H
        LXI     H,LINE
        CALL    SAME            ; HL = what comes after the word
        JZ      FOUND
        POP     H
        INX     H
        INX     H
        JMP     NEXTW
FOUND:  XTHL                    ; the word's operand on the stack
        MOV     E,M
        INX     H
        MOV     D,M
        POP     H
        LXI     B,LOOP
        PUSH    B
        PUSH    D
        RET                     ; to the word; HL = its operand
NOWORD: LXI     H,WHAT
        CALL    PUTS
        JMP     LOOP

; Z if the line at HL begins with the word at DE, and the word ends there; then HL is
; at the operand.

SAME:   LDAX    D
        ORA     A
        JZ      SAMEEND
        CMP     M
        RNZ
        INX     D
        INX     H
        JMP     SAME
SAMEEND:MOV     A,M
        ORA     A
        RZ
        CPI     ' '
        RNZ
        INX     H
        RET

WORDS:  DW      NHELP,DOHELP,NTEST,DOTEST,NUP,DOUP,NLEVEL,DOLEVEL
        DW      NSHOW,DOSHOW,NLAMPS,DOLAMPS,NBANK,DOBANK,NWAVE,DOWAVE
        DW      NWATCH,DOWATCH,NREST,DOREST,NSIGN,DOSIGN,NKILN,DOKILN
        DW      NSEND,DOSEND,NHEAR,DOHEAR,0

DOHELP: LXI     H,HELP
        JMP     PUTS

DOTEST: DI
        MVI     A,NO65
        SIM
        MVI     A,0FFH
        OUT     PICMASK
        CALL    TEST

; Let the interrupts through that come from day to day.

GOON:   MVI     A,ONLY65
        SIM
        MVI     A,SLIRS
        OUT     SLMASK
        MVI     A,IRMASK
        OUT     PICMASK
        EI
        RET

DOUP:   DI
        LHLD    SECONDS
        EI
        CALL    PUTDEC
        LXI     H,SECTXT
        JMP     PUTS

DOLEVEL:CALL    CONVERT
        CALL    PUTHEX
        JMP     NEWLINE

DOSHOW: MVI     A,0C0H          ; the second row
        CALL    LCDCMD
        MVI     B,16
SHOWN1: CALL    PADDED
        CALL    LCDPUT
        DCR     B
        JNZ     SHOWN1
        RET

DOSIGN: MVI     A,0C0H
        CALL    SIGNCMD
        MVI     B,20
SIGNED1:CALL    PADDED
        CALL    SIGNPUT
        DCR     B
        JNZ     SIGNED1
        RET

; A = the next character of the text at HL, a blank when it has ended.

PADDED: MOV     A,M
        INX     H
        ORA     A
        RNZ
        DCX     H
        MVI     A,' '
        RET

DOKILN: CALL    FIRE
        CALL    PUTHEX
        JMP     NEWLINE

; Send the operand and CR, LF on SOD.

DOSEND: MOV     A,M
        ORA     A
        JZ      SENDEND
        CALL    SODC
        INX     H
        JMP     DOSEND
SENDEND:LXI     H,CRLF

; Send the text at HL up to its 0 on SOD; A bit 7 = 1 if one did not come back at PB7.

SODS:   MVI     E,0
SODS1:  MOV     A,M
        ORA     A
        MOV     A,E
        RZ
        MOV     A,M
        CALL    SODC
        INX     H
        JMP     SODS1

; A line from SID into LINE, and from there to the console; a typed key ends it too.

DOHEAR: LXI     H,LINE
HEAR1:  CALL    SIDC
        JC      HEARD
        CPI     CR
        JZ      HEARD
        CPI     ' '
        JC      HEAR1
        MOV     M,A
        INX     H
        MOV     A,L
        CPI     LOW (LINE+MOST)
        JNZ     HEAR1
HEARD:  MVI     M,0
        LXI     H,LINE
        CALL    PUTS
        JMP     NEWLINE

DOLAMPS:CALL    GETHEX
        JC      NOWORD1
        MOV     A,E
        OUT     LAMPS
        RET

DOBANK: IN      BANK
        CALL    PUTHEX
        JMP     NEWLINE

DOWAVE: CALL    PLAY
        JC      NOPLAY
        LXI     H,WAVETXT
        CALL    PUTS
        IN      OUTPUT
        CALL    PUTHEX
        JMP     NEWLINE
NOPLAY: LXI     H,BADTXT
        JMP     PUTS

; Slot 0 of the sentry card watches writes to the lamps.

DOWATCH:XRA     A
        STA     HITS
        MVI     A,0CH           ; raise the line, and sound
        CALL    WATCH
        RET

DOREST: MVI     A,81H
        OUT     SENTRY
        XRA     A
        OUT     SENTRYV         ; no slot is armed
        LDA     HITS
        CALL    PUTHEX
        LXI     H,HITTXT
        JMP     PUTS

NOWORD1:LXI     H,WHAT
        JMP     PUTS

; ---------------------------------------------------------------------------
; The self-test: for each entry of the table its name, then "ok" or "bad".

TEST:   LXI     H,0
        SHLD    GOOD            ; and BAD
        LXI     H,BANNER
        CALL    PUTS
        LXI     H,TESTS
EACH:   MOV     E,M             ; DE = name
        INX     H
        MOV     D,M
        INX     H
        MOV     A,D
        ORA     E
        JZ      SUM
        MOV     C,M             ; BC = routine
        INX     H
        MOV     B,M
        INX     H
        PUSH    H
        XCHG
        CALL    PUTS
        LXI     H,JUDGE
        PUSH    H
        PUSH    B
        RET                     ; to the routine, which returns with CY if it is bad
JUDGE:  LXI     H,BAD
        LXI     D,BADTXT
        JC      JUDGED
        LXI     H,GOOD
        LXI     D,OKTXT
JUDGED: INR     M
        XCHG
        CALL    PUTS
        POP     H
        JMP     EACH
SUM:    LHLD    GOOD
        MVI     H,0
        CALL    PUTDEC
        LXI     H,GOODTXT
        CALL    PUTS
        LHLD    BAD
        MVI     H,0
        CALL    PUTDEC
        LXI     H,BADTXT
        JMP     PUTS

TESTS:  DW      TRAM,RAM,TKEEP,BATTERY,TUSART,LINE96,TTIMER,TIMER,TPIC,PICS
        DW      TPPI,PPIS,TLCD,LCD,TCOMBO,COMBOS,TPAIR,PAIRS,TUART,UARTS
        DW      TPANEL,PANELS,TINPUT,INPUTS,TOUT,OUTPUTS,TDMA,DMAS
        DW      TLATCH,LATCHES,TSENTRY,SENTRYS,TSLAVE,SLAVES,TTICK,BEATING
        DW      TSIGN,SIGNS,TSCAN,SCANS,TKILN,KILNS,TSERIAL,SERIALS,0

FAIL:   STC
        RET

; RAM: each page's number into it, read back when all are written; then one page with
; each address's own low byte, and its complement.

RAM:    MVI     H,TRIED
        MVI     L,55H
RAM1:   MOV     M,H
        INR     H
        MOV     A,H
        CPI     0FDH
        JNZ     RAM1
        MVI     H,TRIED
RAM2:   MOV     A,M
        CMP     H
        JNZ     FAIL
        INR     H
        MOV     A,H
        CPI     0FDH
        JNZ     RAM2
        LXI     H,9000H
        MVI     B,0
        CALL    PAGE
        RC
        MVI     B,0FFH

; Fill the page at HL with its low addresses XOR B, and read it back; CY if bad.

PAGE:   MOV     A,L
        XRA     B
        MOV     M,A
        INR     L
        JNZ     PAGE
PAGE1:  MOV     A,L
        XRA     B
        CMP     M
        JNZ     FAIL
        INR     L
        JNZ     PAGE1
        ORA     A
        RET

BATTERY:LXI     H,KEEPEND
        MVI     M,5AH
        MOV     A,M
        CPI     5AH
        JNZ     FAIL
        MVI     M,0A5H
        MOV     A,M
        CPI     0A5H
        JNZ     FAIL
        RET

; The 8251A: a character takes ten bits of 320 T-states.  The loop takes 33, so that it
; goes round 97 times, a few less for what comes before it.

LINE96: IN      USTAT
        ANI     TXEMPTY
        JZ      LINE96
        MVI     A,' '
        OUT     USART
        LXI     D,0
SENT:   INX     D               ;  6
        IN      USTAT           ; 10
        ANI     TXEMPTY         ;  7
        JZ      SENT            ; 10
        MOV     A,D
        ORA     A
        JNZ     FAIL
        MOV     A,E
        CPI     95
        RC
        CPI     101
        CMC
        RET

; The 8253: counter 1 counts, and never shows more than its count.

TIMER:  CALL    LATCH1
        PUSH    H
        CALL    LATCH1
        POP     D
        MOV     A,L
        CMP     E
        JZ      FAIL
        LXI     D,-1537
        DAD     D
        RET                     ; CY if it was over 1536

LATCH1: MVI     A,40H           ; latch counter 1
        OUT     COUNTS
        IN      COUNT1
        MOV     L,A
        IN      COUNT1
        MOV     H,A
        RET

; The 8259A: the mask can be read; in 50 ms the tick comes five times.

PICS:   MVI     A,0A5H
        OUT     PICMASK
        IN      PICMASK
        CPI     0A5H
        JNZ     FAIL
        LXI     H,TICKS
        MVI     A,0FEH
        OUT     PICMASK
        EI
PICS1:  MOV     A,M             ; from one tick on
        MVI     B,250
PICS2:  CMP     M
        JNZ     PICS3
        LXI     D,8
        CALL    PAUSE
        DCR     B
        JNZ     PICS2
        JMP     PICBAD
PICS3:  MOV     B,M
        LXI     D,6400          ; 24 T-states each: 50 ms
        CALL    PAUSE
        MOV     A,M
        SUB     B
        SUI     4               ; the fifth may come either side of the end
        CPI     2
        CMC
        JMP     PICEND
PICBAD: STC
PICEND: DI
        MVI     A,0FFH
        OUT     PICMASK
        RET

; The 8255A: port A as latched, and port C by bits.  The display sees no E.

PPIS:   MVI     A,82H           ; A and C are outputs, B is an input
        OUT     PPI
        MVI     A,69H
        OUT     PORTA
        IN      PORTA
        CPI     69H
        JNZ     FAIL
        MVI     A,0DH           ; set bit 6
        OUT     PPI
        IN      PORTC
        CPI     40H
        JNZ     FAIL
        MVI     A,0CH           ; reset it
        OUT     PPI
        IN      PORTC
        ORA     A
        JNZ     FAIL
        IN      PORTB           ; no key is down: the columns are high
        CMA
        ANI     0FH
        RZ
        STC
        RET

; The display: two characters written, and read back.

LCD:    MVI     A,80H
        CALL    LCDCMD
        LXI     H,TITLE
LCD1:   MOV     A,M
        ORA     A
        JZ      LCD2
        CALL    LCDPUT
        INX     H
        JMP     LCD1
LCD2:   MVI     A,82H           ; the third place
        CALL    LCDCMD
        CALL    LCDGET
        CPI     'n'
        JNZ     FAIL
        CALL    LCDGET
        CPI     't'
        JNZ     FAIL
        RET

; The 8155: RAM, the test plug, and the timer, which ends in a pulse to RST 7.5.

COMBOS: LXI     H,COMBORM
        MVI     B,0
        CALL    PAGE
        RC
        MVI     A,ALT2
        OUT     COMBO
        MVI     A,96H
        OUT     COMBOA
        IN      COMBOB
        CPI     96H
        JNZ     FAIL
        MVI     A,NO65+CLR75
        SIM
        XRA     A               ; 1536 clocks of 1.536 MHz: 1 ms; one pulse
        OUT     COMBOTL
        MVI     A,80H+HIGH 1536
        OUT     COMBOTH
        MVI     A,0C0H+ALT2     ; start
        OUT     COMBO
        IN      COMBO           ; also clears the bit of an earlier count
        ANI     40H
        JNZ     FAIL
        LXI     D,160           ; 1.25 ms
        CALL    PAUSE
        IN      COMBO
        ANI     40H
        JZ      FAIL
        RIM
        ANI     40H
        JZ      FAIL
        MVI     A,NO65+CLR75
        SIM
        ORA     A
        RET

; The 8755A: the test plug, and a pin turned round.

PAIRS:  MVI     A,0FFH
        OUT     PAIRDA
        XRA     A
        OUT     PAIRDB
        MVI     A,0C3H
        OUT     PAIRA
        IN      PAIRB
        CPI     0C3H
        JNZ     FAIL
        MVI     A,7FH           ; A7 lets go and is pulled up
        OUT     PAIRDA
        XRA     A
        OUT     PAIRA
        IN      PAIRB
        CPI     80H
        JNZ     FAIL
        RET

; The 16550: through its loop, a FIFO of three.

UARTS:  MVI     A,83H
        OUT     UART+3
        MVI     A,6             ; 1.8432 MHz / 16 / 6 = 19200
        OUT     UART
        XRA     A
        OUT     UART+1
        MVI     A,03H           ; 8 bits, no parity, 1 stop bit
        OUT     UART+3
        MVI     A,07H           ; FIFOs on and empty
        OUT     UART+2
        MVI     A,10H           ; loop
        OUT     UART+4
        MVI     A,'u'
        OUT     UART
        MVI     A,0AAH
        OUT     UART
        MVI     A,55H
        OUT     UART
        LXI     D,640           ; 5 ms; three characters take 1.6
        CALL    PAUSE
        IN      UART+5
        ANI     1FH             ; a character, and no error
        CPI     01H
        JNZ     UARTBAD
        IN      UART
        CPI     'u'
        JNZ     UARTBAD
        IN      UART
        CPI     0AAH
        JNZ     UARTBAD
        IN      UART
        CPI     55H
        JNZ     UARTBAD
        MVI     A,03H
        OUT     UART+4
        ORA     A
        RET
UARTBAD:MVI     A,03H
        OUT     UART+4
        STC
        RET

; The 8279: display RAM.  It then shows 8085.

PANELS: MVI     A,3FH           ; 3.072 MHz / 31
        OUT     PANELC
        XRA     A               ; eight digits, left entry; encoded scan, lockout
        OUT     PANELC
        MVI     A,0D1H          ; clear all
        OUT     PANELC
CLEARS: IN      PANELC
        ANI     80H
        JNZ     CLEARS
        MVI     A,90H           ; write from digit 0 on
        OUT     PANELC
        LXI     H,DIGS
        MVI     B,8
PANEL1: MOV     A,M
        OUT     PANEL
        INX     H
        DCR     B
        JNZ     PANEL1
        MVI     A,70H           ; read from digit 0 on
        OUT     PANELC
        LXI     H,DIGS
        MVI     B,8
PANEL2: IN      PANEL
        CMP     M
        JNZ     FAIL
        INX     H
        DCR     B
        JNZ     PANEL2
        MVI     A,40H           ; reads are of the keyboard again
        OUT     PANELC
        IN      PANELC
        ANI     3FH             ; no key waits, no error
        RZ
        STC
        RET

; The A/D converter is busy for a while, then has a result within its wave.

INPUTS: CALL    CONVERT
        JC      FAIL
        CPI     10H
        RC
        CPI     0F1H
        CMC
        RET

; A = a new result of the input; CY if it was never or always busy.

CONVERT:OUT     INPUT
        IN      INBUSY
        ORA     A
        JP      FAIL
        MVI     B,0
CONV1:  IN      INBUSY
        ORA     A
        JP      CONV2
        DCR     B
        JNZ     CONV1
        JMP     FAIL
CONV2:  IN      INPUT
        ORA     A
        RET

OUTPUTS:MVI     A,0AAH
        OUT     OUTPUT
        IN      OUTPUT
        CPI     0AAH
        JNZ     FAIL
        MVI     A,55H
        OUT     OUTPUT
        IN      OUTPUT
        CPI     55H
        JNZ     FAIL
        RET

; The 8257: a wave to the D/A converter, and a result from the A/D converter, which is
; the one that can still be read there.

DMAS:   CALL    PLAY
        RC
        IN      OUTPUT
        CPI     WLAST
        JNZ     FAIL
        MVI     A,LOW CAUGHT
        OUT     DMA+2
        MVI     A,HIGH CAUGHT
        OUT     DMA+2
        XRA     A               ; one cycle
        OUT     DMA+3
        MVI     A,40H           ; into memory
        OUT     DMA+3
        IN      INPUT           ; an earlier request goes
        MVI     A,42H           ; channel 1, stop at the end
        OUT     DMAMODE
        OUT     INPUT
        LXI     D,20            ; 150 us; the conversion takes 100
        CALL    PAUSE
        IN      DMAMODE
        ANI     02H             ; the terminal count was reached
        JZ      FAIL
        LXI     H,CAUGHT
        IN      INPUT
        CMP     M
        JNZ     FAIL
        RET

; Play the wave once by DMA: the request comes from the control latch.  CY if the
; terminal count was not reached.

PLAY:   MVI     A,LOW WAVE
        OUT     DMA
        MVI     A,HIGH WAVE
        OUT     DMA
        MVI     A,WAVELEN-1
        OUT     DMA+1
        MVI     A,80H           ; from memory
        OUT     DMA+1
        MVI     A,41H           ; channel 0, stop at the end
        OUT     DMAMODE
        MVI     A,01H
        OUT     CONTROL
        NOP                     ; the cycles come here, one after another
        NOP
        XRA     A
        OUT     CONTROL
        IN      DMAMODE
        ANI     01H
        JZ      FAIL
        RET

LATCHES:MVI     A,0A4H          ; bit 0 would ask for DMA
        OUT     CONTROL
        IN      CONTROL
        CPI     0A4H
        JNZ     FAIL
        XRA     A
        OUT     CONTROL
        IN      CONTROL
        ORA     A
        JNZ     FAIL
        RET

; The sentry card: its identification; a slot sees a write to the lamps and raises
; RST 6.5; the line falls when the hit is cleared.

SENTRYS:MVI     A,8FH
        OUT     SENTRY
        IN      SENTRYV
        CPI     5CH
        JNZ     FAIL
        MVI     A,04H           ; raise the line
        CALL    WATCH
        XRA     A
        OUT     LAMPS
        MVI     A,80H
        OUT     SENTRY
        IN      SENTRYV
        CPI     01H
        JNZ     FAIL
        RIM
        ANI     20H
        JZ      FAIL
        MVI     A,81H
        OUT     SENTRY
        XRA     A
        OUT     SENTRYV
        CALL    CLRHIT
        RIM
        ANI     20H
        JNZ     FAIL
        RET

; The slave: its mask can be read; "kiln", at its IR1, is done once and the CALL comes from
; the slave; at its IR2 TxRDY is high when the 8251A can take a character, and only then.

SLAVES: MVI     A,0A5H
        OUT     SLMASK
        IN      SLMASK
        CPI     0A5H
        JNZ     FAIL
        IN      KILN            ; an earlier request goes
        XRA     A
        STA     FIRED
        MVI     A,0FDH
        OUT     SLMASK
        MVI     A,7FH
        OUT     PICMASK
        EI
        OUT     KILN
        LXI     D,20            ; 150 us; the conversion takes 100
        CALL    PAUSE
        DI
        MVI     A,0FFH
        OUT     PICMASK
        OUT     SLMASK
        LDA     FIRED
        CPI     1
        JNZ     FAIL
        IN      KILN            ; the same again
        LXI     H,HEAT
        CMP     M
        JNZ     FAIL
        MVI     A,READIRR
        OUT     SLAVE
SLIDLE: IN      USTAT
        ANI     TXEMPTY
        JZ      SLIDLE
        MVI     A,' '
        OUT     USART           ; begins at once: TxRDY falls and rises
        NOP
        NOP
        IN      SLAVE
        ANI     04H
        JZ      FAIL
        MVI     A,' '
        OUT     USART           ; waits: TxRDY falls
        IN      SLAVE
        ANI     04H
        RZ
        STC
        RET

; The tick card: from one beat to the next there are 307200 T-states, 7314 rounds of AWAIT
; or 1C92H; the high byte is right from 2 % less to 1.5 % more.

BEATING:MVI     A,0DFH
        OUT     PICMASK
        EI
        CALL    AWAIT
        CNC     AWAIT
        DI
        MVI     A,0FFH
        OUT     PICMASK
        RC
        MOV     A,D
        CPI     1CH
        RZ
        STC
        RET

; Wait for a beat; DE = rounds of 42 T-states.  CY if none came.

AWAIT:  LXI     H,BEATS
        MOV     B,M
        LXI     D,0
AWAIT1: INX     D               ;  6
        MOV     A,D             ;  4
        ORA     A               ;  4
        JM      FAIL            ;  7
        MOV     A,M             ;  7
        CMP     B               ;  4
        JZ      AWAIT1          ; 10
        ORA     A
        RET

; The display on the bus: busy while it clears, then a text is written and read back.

SIGNS:  MVI     A,38H           ; 8 bits, two rows
        CALL    SIGNCMD
        MVI     A,0CH           ; on, no cursor
        CALL    SIGNCMD
        MVI     A,06H           ; to the right
        CALL    SIGNCMD
        MVI     A,01H           ; clear
        CALL    SIGNCMD
        IN      SIGN
        ORA     A
        JP      FAIL
        LXI     H,NAME
SIGNS1: MOV     A,M
        ORA     A
        JZ      SIGNS2
        CALL    SIGNPUT
        INX     H
        JMP     SIGNS1
SIGNS2: MVI     A,80H           ; from the first place on
        CALL    SIGNCMD
        LXI     H,NAME
SIGNS3: MOV     A,M
        ORA     A
        RZ
        CALL    SIGNRDY
        RC
        IN      SIGND
        CMP     M
        JNZ     FAIL
        INX     H
        JMP     SIGNS3

; An instruction, or a character, in A to the display on the bus; CY if it stays busy.
; Changes A, C.

SIGNCMD:MOV     C,A
        CALL    SIGNRDY
        RC
        MOV     A,C
        OUT     SIGN
        RET
SIGNPUT:MOV     C,A
        CALL    SIGNRDY
        RC
        MOV     A,C
        OUT     SIGND
        RET

; Wait until it is not busy, at most 256 looks of 35 T-states, 2.9 ms; clear takes 1.52.
; Changes A.

SIGNRDY:PUSH    B
        MVI     B,0
SIGNR1: IN      SIGN            ; 10
        RAL                     ;  4
        JNC     SIGNR2          ;  7
        DCR     B               ;  4  leaves CY at 1
        JNZ     SIGNR1          ; 10
SIGNR2: POP     B
        RET

; The scanned digits: what is on the segments of each shows at the test plug, and which one
; is lit on port C.  They show 8085 for a moment.

SCANS:  LXI     H,DIGS
        MVI     B,0EEH
SCANS1: MVI     A,DARK
        OUT     COMBOC
        MOV     A,M
        CMA                     ; the other way round too, in the dark
        OUT     COMBOA
        IN      COMBOB
        CMA
        CMP     M
        JNZ     FAIL
        MOV     A,M
        OUT     COMBOA
        MOV     A,B
        OUT     COMBOC
        IN      COMBOB
        CMP     M
        JNZ     FAIL
        IN      COMBOC
        XRA     B
        ANI     0FH
        JNZ     FAIL
        LXI     D,128           ; 1 ms
        CALL    PAUSE
        INX     H
        MOV     A,B
        RLC
        MOV     B,A
        CPI     0EEH
        JNZ     SCANS1
        RET

; The other A/D converter: busy, then a result within its file.

KILNS:  CALL    FIRE
        RC
        CPI     COLDEST
        RC
        CPI     HOTTEST+1
        CMC
        RET

; A = a new result of "kiln"; CY if it was never or always busy.

FIRE:   OUT     KILN
        IN      KILNBSY
        ORA     A
        JP      FAIL
        MVI     B,0
FIRE1:  IN      KILNBSY
        ORA     A
        JP      FIRE2
        DCR     B
        JNZ     FIRE1
        JMP     FAIL
FIRE2:  IN      KILN
        ORA     A
        RET

; SID is at mark (256 looks, since somebody may be typing there); a line goes out on SOD, and
; each bit of it comes back at PB7 of the 8255A.

SERIALS:MVI     B,0
SERIAL1:RIM
        ORA     A
        JM      SERIAL2
        DCR     B
        JNZ     SERIAL1
        JMP     FAIL
SERIAL2:LXI     H,HELLO
        CALL    SODS
        RAL                     ; CY = a difference
        RET

; Arm slot 0 for I/O writes to the lamps, with the action in A.

WATCH:  MOV     B,A
        XRA     A
        OUT     SENTRY
        MVI     A,10H           ; I/O writes
        OUT     SENTRYV
        XRA     A
        OUT     SENTRYV
        MVI     A,LAMPS
        OUT     SENTRYV
        XRA     A
        OUT     SENTRYV
        MVI     A,0FFH
        OUT     SENTRYV
        OUT     SENTRYV
        XRA     A               ; any data, no lines, every pass
        MVI     C,7
WATCH1: OUT     SENTRYV
        DCR     C
        JNZ     WATCH1
        MOV     A,B
        OUT     SENTRYV
        MVI     A,01H           ; armed
        OUT     SENTRYV
        RET

; Clear what has hit, the index of the card being kept.  Changes A.

CLRHIT: IN      SENTRY
        PUSH    PSW
        MVI     A,80H
        OUT     SENTRY
        MVI     A,0FFH
        OUT     SENTRYV
        POP     PSW
        OUT     SENTRY
        RET

; ---------------------------------------------------------------------------
; The character display on the 8255A.  Port C: bit 0 RS, 1 R/W, 2 E.

LCDINIT:MVI     A,82H
        OUT     PPI
        MVI     A,38H           ; 8 bits, two rows
        CALL    LCDCMD
        MVI     A,0CH           ; on, no cursor
        CALL    LCDCMD
        MVI     A,01H           ; clear
        CALL    LCDCMD
        MVI     A,06H           ; to the right
                                ; on to LCDCMD

; An instruction in A.  Changes A, C, D.

LCDCMD: MVI     C,0
        JMP     LCDOUT

; A character in A.  Changes A, C, D.

LCDPUT: MVI     C,1
LCDOUT: MOV     D,A
        CALL    LCDWAIT
        MOV     A,D
        OUT     PORTA
        MOV     A,C
        OUT     PORTC
        ORI     04H
        OUT     PORTC           ; E rises
        MOV     A,C
        OUT     PORTC           ; and falls
        RET

; The character at the cursor into A, which moves on.  Changes C, D, E.

LCDGET: CALL    LCDWAIT
        MVI     C,3
        JMP     LCDIN

; Wait for the display.  Changes A, E.

LCDWAIT:PUSH    B
        MVI     C,2
LCDBUSY:CALL    LCDIN
        ORA     A
        JM      LCDBUSY
        POP     B
        RET

; Read with RS and R/W as in C: port A is an input meanwhile.

LCDIN:  MVI     A,92H
        OUT     PPI
        MOV     A,C
        OUT     PORTC
        ORI     04H
        OUT     PORTC
        IN      PORTA
        MOV     E,A
        MOV     A,C
        OUT     PORTC
        MVI     A,82H           ; a mode word clears port C too
        OUT     PPI
        MOV     A,E
        RET

; ---------------------------------------------------------------------------
; The line

; Send A.

PUTC:   PUSH    PSW
PUTC1:  IN      USTAT
        ANI     TXRDY
        JZ      PUTC1
        POP     PSW
        OUT     USART
        RET

; Send the text at HL up to its 0.

PUTS:   MOV     A,M
        ORA     A
        RZ
        CALL    PUTC
        INX     H
        JMP     PUTS

NEWLINE:LXI     H,CRLF
        JMP     PUTS

; ---------------------------------------------------------------------------
; SID and SOD: 4800 baud, a bit lasts 640 T-states.  Interrupts are off during a character,
; and RXLOOK takes what the 8251A receives meanwhile: its next one is 3200 T-states away.
;
; From one SIM to the next, for the start bit and the data bits:
;
;       MOV to MOV     26       what came back
;       CALL RXLOOK   135
;       DELAY 30      424       14 x 30 + 4
;       JMP            10       fills
;       STC             4
;       MOV, RAR, MOV  12       the next bit
;       DCR             4
;       JNZ            10       jumps
;       MVI             7
;       RAR             4
;       SIM             4
;                    ----
;                     640
;
; From the last data bit to the stop bit the end of it is another, but as long:
;
;       JNZ 10, MVI 7, RAR 4, SIM 4         25      up to there
;       JNZ 7, MVI 7, MVI 7, SIM 4          25      at the stop bit

DELAY   MACRO   N               ; 7 + 14 N - 3; register D is used up
        LOCAL   AGAIN
        MVI     D,N             ;  7
AGAIN:  DCR     D               ;  4
        JNZ     AGAIN           ; 10, at last 7
        ENDM

; Send A.  Bit 7 of E becomes 1 if a bit does not come back at PB7.  Keeps B, C, HL.

SODC:   PUSH    B
        DI
        MOV     C,A
        MVI     B,9             ; start bit and eight data bits
        ORA     A               ; CY = 0: the start bit
SODBIT: MVI     A,80H           ;  7  SOD is to change...
        RAR                     ;  4  ...to CY: bit 6 = 1, bit 7 = CY
        SIM                     ;  4
        MOV     D,A             ;  4
        IN      PORTB           ; 10
        XRA     D               ;  4
        ORA     E               ;  4
        MOV     E,A             ;  4
        CALL    RXLOOK          ; 135
        DELAY   30              ; 424
        JMP     SODFILL         ; 10
SODFILL:STC                     ;  4  ones come after the data
        MOV     A,C             ;  4
        RAR                     ;  4  the next bit, the lowest first
        MOV     C,A             ;  4
        DCR     B               ;  4  leaves CY as it is
        JNZ     SODBIT          ; 10, at last 7
        MVI     D,45            ;  7
        MVI     A,MARK          ;  7
        SIM                     ;  4
SODSTOP:DCR     D               ;  4  45 x 14 = 630
        JNZ     SODSTOP         ; 10
        IN      PORTB
        CMA                     ; 1 should come back
        ORA     E
        MOV     E,A
        EI
        POP     B
        RET

; A = the next character from SID; CY instead if one has been typed at the 8251A.  Keeps HL.
;
; The start bit is seen within a pass of SIDLOOK, 59 T-states, and the work of a tick: 341, with
; a new second 430, and 57 more for each carry.  Each bit is then looked at so much after its
; beginning and 29 more, within its 640 but for a third carry, every 1000 s, at that very moment.
; From one RIM to the next:
;
;       RIM to MOV     20
;       CALL RXLOOK   135
;       DELAY 32      452
;       NOP            12       three fill
;       MVI             7       fills
;       DCR             4
;       JNZ            10       jumps
;                    ----
;                     640

SIDC:
SIDLOOK:RIM                     ;  4  SID comes in bit 7
        ORA     A               ;  4
        JP      SIDBEG          ;  7  space: a start bit (10)
        LDA     HEAD            ; 13
        MOV     B,A             ;  4
        LDA     TAIL            ; 13
        CMP     B               ;  4
        JZ      SIDLOOK         ; 10
        STC
        RET
SIDBEG: DI                      ;  4
        MVI     B,9             ;  7  start bit and eight data bits
        NOP                     ;  4
        NOP                     ;  4
SIDBIT: RIM                     ;  4
        RAL                     ;  4  CY = the bit
        MOV     A,C             ;  4
        RAR                     ;  4  into bit 7; the start bit falls out again
        MOV     C,A             ;  4
        CALL    RXLOOK          ; 135
        DELAY   32              ; 452
        NOP                     ;  4
        NOP                     ;  4
        NOP                     ;  4
        MVI     D,0             ;  7
        DCR     B               ;  4
        JNZ     SIDBIT          ; 10, at last 7
        RIM                     ; the stop bit
        EI
        ORA     A               ; CY = 0
        MOV     A,C
        RM
SIDBAD: LDA     HEAD            ; it was no character: wait until the line rests
        MOV     B,A
        LDA     TAIL
        CMP     B
        STC
        RNZ
        RIM
        ORA     A
        JP      SIDBAD
        JMP     SIDLOOK

; What the 8251A has received goes into the ring.  Changes A; 135 T-states from CALL to RET,
; whether there was a character or not.

RXLOOK: IN      USTAT           ; 10  (CALL 18)
        ANI     RXRDY           ;  7
        JZ      RXNONE          ;  7  (10 when there is none)
        PUSH    H               ; 12
        IN      USART           ; 10
        LHLD    HEAD            ; 16
        MVI     H,HIGH RING     ;  7
        MOV     M,A             ;  7
        MOV     A,L             ;  4
        INR     A               ;  4
        STA     HEAD            ; 13
        POP     H               ; 10
        RET                     ; 10
RXNONE: MVI     A,4             ;  7  80 in all
RXNONE1:DCR     A               ;  4
        JNZ     RXNONE1         ; 10, at last 7
        NOP                     ;  4
        NOP                     ;  4
        NOP                     ;  4
        NOP                     ;  4
        NOP                     ;  4
        RET                     ; 10

; ---------------------------------------------------------------------------
; More of the line

; Send A as two figures.

PUTHEX: PUSH    PSW
        RRC
        RRC
        RRC
        RRC
        CALL    PUTNIB
        POP     PSW
PUTNIB: ANI     0FH
        ADI     90H             ; DAA makes the character of it
        DAA
        ACI     40H
        DAA
        JMP     PUTC

; Send HL as a decimal number.

PUTDEC: LXI     D,10
        MVI     B,0             ; remainders pushed
PUTD1:  CALL    DIVIDE          ; HL = HL / 10, A = remainder
        PUSH    PSW
        INR     B
        MOV     A,H
        ORA     L
        JNZ     PUTD1
PUTD2:  POP     PSW
        ADI     '0'
        CALL    PUTC
        DCR     B
        JNZ     PUTD2
        RET

DIVIDE: PUSH    B
        LXI     B,-1            ; quotient
DIV1:   INX     B
        MOV     A,L
        SUB     E
        MOV     L,A
        MOV     A,H
        SBB     D
        MOV     H,A
        JNC     DIV1
        DAD     D
        MOV     A,L
        MOV     H,B
        MOV     L,C
        POP     B
        RET

; E = the two figures at HL; CY if they are none.

GETHEX: CALL    GETNIB
        RC
        MOV     E,A
        CALL    GETNIB
        RC
        MOV     D,A
        MOV     A,E
        RLC
        RLC
        RLC
        RLC
        ORA     D
        MOV     E,A
        RET
GETNIB: MOV     A,M
        INX     H
        SUI     '0'
        RC
        CPI     10
        CMC
        RNC
        ANI     0DFH            ; capitals
        SUI     'A'-'0'
        RC
        ADI     10
        CPI     16
        CMC
        RET

; A = the next character, waiting for it in HALT.

GETC:   PUSH    H
GETC1:  DI
        LHLD    HEAD            ; L = HEAD, H = TAIL
        MOV     A,L
        CMP     H
        JNZ     GETC2
        EI                      ; what comes between waits for the HLT
        HLT
        JMP     GETC1
GETC2:  EI
        MOV     L,H
        MVI     H,HIGH RING
        MOV     A,L
        INR     A
        STA     TAIL
        MOV     A,M
        POP     H
        RET

; A line into LINE, with its echo.

GETLINE:LXI     H,LINE
        MVI     B,0
GETL1:  CALL    GETC
        CPI     CR
        JZ      GETEND
        CPI     BS
        JZ      ERASE
        CPI     DEL
        JZ      ERASE
        CPI     ' '
        JC      GETL1
        MOV     C,A
        MOV     A,B
        CPI     MOST
        JNC     GETL1
        MOV     A,C
        MOV     M,A
        INX     H
        INR     B
        CALL    PUTC
        JMP     GETL1
ERASE:  MOV     A,B
        ORA     A
        JZ      GETL1
        DCR     B
        DCX     H
        PUSH    H
        LXI     H,RUBOUT
        CALL    PUTS
        POP     H
        JMP     GETL1
GETEND: MVI     M,0
        JMP     NEWLINE

; 24 T-states for each of DE.

PAUSE:  DCX     D               ;  6
        MOV     A,D             ;  4
        ORA     E               ;  4
        JNZ     PAUSE           ; 10
        RET

; ---------------------------------------------------------------------------
; Texts and tables

BANNER: DB      CR,LF,'gantry self-test',CR,LF,0
TRAM:   DB      'ram      ',0
TKEEP:  DB      'battery  ',0
TUSART: DB      'usart   ',0              ; LINE96 sends one blank more
TTIMER: DB      'timer    ',0
TPIC:   DB      'pic      ',0
TPPI:   DB      'ppi      ',0
TLCD:   DB      'display  ',0
TCOMBO: DB      'combo    ',0
TPAIR:  DB      'pair     ',0
TUART:  DB      'uart     ',0
TPANEL: DB      'panel    ',0
TINPUT: DB      'input    ',0
TOUT:   DB      'output   ',0
TDMA:   DB      'dma      ',0
TLATCH: DB      'control  ',0
TSENTRY:DB      'sentry   ',0
TSLAVE: DB      'slave  ',0               ; SLAVES sends two blanks more
TTICK:  DB      'tick     ',0
TSIGN:  DB      'sign     ',0
TSCAN:  DB      'scan     ',0
TKILN:  DB      'kiln     ',0
TSERIAL:DB      'serial   ',0
OKTXT:  DB      'ok',CR,LF,0
GOODTXT:DB      ' ok, ',0
BADTXT: DB      ' bad'
CRLF:   DB      CR,LF,0
PROMPT: DB      'gantry> ',0
WHAT:   DB      'what? try help',CR,LF,0
SECTXT: DB      ' s',CR,LF,0
WAVETXT:DB      '32 bytes by DMA, the last ',0
HITTXT: DB      ' hits',CR,LF,0
RUBOUT: DB      BS,' ',BS,0
NHELP:  DB      'help',0
NTEST:  DB      'test',0
NUP:    DB      'up',0
NLEVEL: DB      'level',0
NSHOW:  DB      'show',0
NLAMPS: DB      'lamps',0
NBANK:  DB      'switches',0
NWAVE:  DB      'wave',0
NWATCH: DB      'watch',0
NREST:  DB      'rest',0
NSIGN:  DB      'sign',0
NKILN:  DB      'kiln',0
NSEND:  DB      'send',0
NHEAR:  DB      'hear',0
HELP:   DB      'test         the self-test again',CR,LF
        DB      'up           seconds since the start',CR,LF
        DB      'level        convert the input',CR,LF
        DB      'show TEXT    on the display',CR,LF
        DB      'lamps HH     light lamps',CR,LF
        DB      'switches     how they stand',CR,LF
        DB      'wave         play a wave by DMA',CR,LF
        DB      'watch        count writes to the lamps, by the sentry card',CR,LF
        DB      'rest         no longer; how many there were',CR,LF
        DB      'sign TEXT    on the display on the bus',CR,LF
        DB      'kiln         convert the heat of the kiln',CR,LF
        DB      'send TEXT    a line on SOD',CR,LF
        DB      'hear         a line from SID, until a key is typed',CR,LF,0
TITLE:  DB      'gantry ready',0
NAME:   DB      'on the bus',0
HELLO:  DB      'gantry on SOD',CR,LF,0

        ORG     ($+0FH) AND 0FFF0H
FIGURES:DB      3FH,06H,5BH,4FH,66H,6DH,7DH,07H,7FH,6FH,77H,7CH,39H,5EH,79H,71H
DIGS:   DB      7FH,3FH,7FH,6DH,0,0,0,0                 ; 8085

WAVE:   DB      80H,98H,0B0H,0C6H,0DAH,0EAH,0F5H,0FDH
        DB      0FFH,0FDH,0F5H,0EAH,0DAH,0C6H,0B0H,98H
        DB      80H,67H,4FH,39H,25H,15H,0AH,02H
        DB      00H,02H,0AH,15H,25H,39H,4FH,67H
WLAST   EQU     67H

        END
