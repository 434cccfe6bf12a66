| Routines that hang on two bytes of the header only, a and b, so that all 65,536
| pairs can be run. model.py says the same in Python and counts.

        .include "routines.inc"

        .text

        .macro  pair                    | a to d0, b to d1, as bytes of longs
        moveq   #0,d0
        moveq   #0,d1
        move.b  PAIR,d0
        move.b  PAIR+1,d1
        .endm

| The low two bits of d2 choose one of four.
        .macro  choose
        andi.w  #3,d2
        beq.w   mode_combination
        subq.w  #2,d2
        bcs.w   mode_patched
        beq.w   mode_noise
        bra.w   mode_refused
        .endm

| Compares, signed and unsigned.

        routine pair_ranges
        pair
        cmpi.b  #0xC0,d0
        bhi.s   1f
        cmpi.b  #0x20,d0
        blo.w   mode_refused
        cmp.b   d1,d0                   | a - b
        bgt.w   mode_noise
        bls.w   mode_patched
        bra.w   mode_combination
1:      tst.b   d1
        bge.w   mode_combination
        cmpi.b  #-16,d1
        blt.w   mode_patched
        cmp.b   d0,d1                   | b - a
        bvs.w   mode_alone              | both are negative: never
        bmi.w   mode_noise
        bra.w   mode_refused
        done    pair_ranges

| Products, of numbers without sign and with.

        routine pair_multiply
        pair
        move.w  d0,d2
        mulu    d1,d2
        cmpi.l  #0xC000,d2
        bhs.w   mode_combination
        ext.w   d0
        ext.w   d1
        muls    d1,d0
        bmi.s   1f
        andi.w  #3,d0
        beq.w   mode_noise
        bra.w   mode_refused
1:      cmpi.l  #-1000,d0
        blt.w   mode_patched
        bra.w   mode_refused
        done    pair_multiply

| 16 a + 7 by b, but not by 0.

        routine pair_divide_guarded
        pair
        tst.b   d1
        beq.w   mode_refused
        lsl.w   #4,d0
        addq.w  #7,d0
        divu    d1,d0
        move.w  d0,d2                   | quotient
        swap    d0                      | remainder
        tst.w   d0
        beq.w   mode_combination
        cmpi.w  #15,d2
        bhi.w   mode_patched
        btst    #0,d2
        bne.w   mode_noise
        bra.w   mode_refused
        done    pair_divide_guarded

| The same, and by 0 too: nothing handles that.

        routine pair_divide_unguarded
        pair
        lsl.w   #4,d0
        addq.w  #7,d0
        divu    d1,d0
        swap    d0
        tst.w   d0
        beq.w   mode_combination
        bra.w   mode_refused
        done    pair_divide_unguarded

| a by b with sign. The handler of the division by 0 sets d7.

        routine pair_divide_handled
        pair
        ext.w   d0
        ext.l   d0
        ext.w   d1
        moveq   #0,d7
        divs    d1,d0
        tst.w   d7
        bne.w   mode_alone
        tst.w   d0
        beq.w   mode_patched
        bmi.s   1f
        bra.w   mode_combination
1:      swap    d0
        tst.w   d0                      | the remainder has the sign of a
        blt.w   mode_noise
        bra.w   mode_refused
        done    pair_divide_handled

| 65536 a + 1 by b: no quotient of 16 bits if a is not less than b.

        routine pair_divide_overflow
        pair
        tst.b   d1
        beq.w   mode_alone
        swap    d0
        addq.w  #1,d0
        divu    d1,d0
        bvs.w   mode_refused
        tst.w   d0
        bpl.w   mode_patched
        swap    d0
        cmp.b   #1,d0
        beq.w   mode_combination
        bra.w   mode_noise
        done    pair_divide_overflow

| Shifts by counts that come from b, above 15 and above 31 too.

        routine pair_shift
        pair
        move.w  d0,d3
        lsl.w   #8,d3
        or.w    d0,d3                   | a twice
        moveq   #0,d2

        move.w  d3,d4
        asl.w   d1,d4
        bvc.s   1f
        addq.w  #1,d2                   | the sign changed on the way
1:      move.w  d3,d4
        lsr.w   d1,d4
        bcc.s   2f
        addq.w  #2,d2
2:      move.w  d3,d4
        rol.w   d1,d4
        eor.w   d4,d2
        move.w  d3,d4
        asr.w   d1,d4
        eor.w   d4,d2
        move.w  d3,d4
        move.w  #0x10,ccr               | X
        roxl.w  d1,d4
        eor.w   d4,d2
        move.b  d3,d4
        move.w  #0,ccr
        roxr.b  d1,d4
        bcc.s   3f
        addq.w  #1,d2
3:      move.b  d3,d4
        lsl.b   d1,d4
        bne.s   4f
        addq.w  #1,d2
4:      move.w  d2,d3
        lsr.w   #4,d3
        eor.w   d3,d2
        choose
        done    pair_shift

| Packed decimals. Only digits get through.

        routine pair_decimal
        pair
        moveq   #0,d3
        .irp    register, d0, d1
        move.b  \register,d2
        andi.b  #0x0F,d2
        cmpi.b  #9,d2
        bhi.w   mode_refused
        cmpi.b  #0x99,\register
        bhi.w   mode_refused
        .endr
        move.b  d1,d4
        move.w  #0,ccr
        abcd    d0,d4                   | a + b
        bcs.w   mode_combination
        cmpi.b  #0x50,d4
        bhs.w   mode_patched
        move.b  d1,d4
        move.w  #0x10,ccr
        sbcd    d0,d4                   | b - a - 1
        bcs.w   mode_noise
        cmpi.b  #0x10,d4
        blo.w   mode_alone
        bra.w   mode_refused
        done    pair_decimal

| Longs that are made of both, added and taken away with carry in halves.

        routine pair_extended
        pair
        move.w  d0,d2
        lsl.w   #8,d2
        move.b  d1,d2                   | ab
        move.w  d2,d3
        swap    d3
        move.w  d2,d3
        not.w   d3                      | ab, not ab
        move.w  d1,d4
        ext.w   d4
        ext.l   d4                      | b with sign
        move.w  d4,d5
        swap    d4                      | its upper half
        add.w   d3,d5                   | the lower halves
        swap    d3
        addx.w  d3,d4                   | the upper halves, and the carry
        bcs.s   1f
        neg.b   d0
        negx.b  d1
        subx.b  d0,d1
        beq.w   mode_combination        | all three results are 0
        bcs.w   mode_patched
        bra.w   mode_noise
1:      exg     d4,d5
        eor.b   d4,d5
        btst    #3,d5
        bne.w   mode_refused
        bra.w   mode_alone
        done    pair_extended

| The low three bits of a choose a place to go to, from a table of longs. One of
| the eight is odd: an address error.

        routine pair_jump
        pair
        andi.w  #7,d0
        lsl.w   #2,d0
        lea     pair_places,a0
        movea.l (a0,d0.w),a0
        jmp     (a0)
        done    pair_jump

        table   pair_places
        .long   mode_combination, mode_patched, mode_noise, mode_combination
        .long   mode_refused, mode_noise+1, mode_combination, pair_places_more
        done    pair_places

pair_places_more:
        tst.b   d1
        bmi.w   mode_patched
        bra.w   mode_refused

| a is looked up, and joined with b. The table: i * i + 7 * i + 3.

        routine pair_lookup
        pair
        lea     pair_values,a0
        move.b  (a0,d0.w),d2
        eor.b   d1,d2
        cmpi.b  #0xA5,d2
        beq.w   mode_alone
        choose
        done    pair_lookup

        table   pair_values
        .set    i, 0
        .rept   256
        .byte   (i * i + 7 * i + 3) & 0xFF
        .set    i, i + 1
        .endr
        done    pair_values

| The stack: saved registers, a frame with two variables, a call through a
| register, and a loop that adds b as often as the low four bits of a say, and
| once more.

        routine pair_stack
        pair
        movem.l d0-d1/a2,-(sp)
        lea     pair_repeat,a2
        move.w  d1,-(sp)
        move.w  d0,-(sp)
        jsr     (a2)
        addq.l  #4,sp
        move.w  d0,d3
        movem.l (sp)+,d0-d1/a2
        cmp.b   d1,d0                   | they are a and b again
        beq.w   mode_alone
        move.w  d3,d2
        lsr.w   #6,d2
        choose
        done    pair_stack

        routine pair_repeat
        link    a6,#-4
        move.l  d4,-(sp)
        move.w  8(a6),d0
        andi.w  #15,d0
        move.w  d0,-2(a6)
        move.w  10(a6),-4(a6)
        moveq   #0,d4
        move.w  -2(a6),d0
1:      add.w   -4(a6),d4
        cmpi.w  #0x0400,d4
        dbcc    d0,1b                   | until it is 0x400 or more, or all are added
        move.w  d4,d0
        move.l  (sp)+,d4
        unlk    a6
        rts
        done    pair_repeat

| A loop that never ends if a is 0x5A.

        routine pair_hang
        pair
1:      cmpi.b  #0x5A,d0
        beq.s   1b
        cmp.b   d0,d1
        bhs.w   mode_patched
        bra.w   mode_refused
        done    pair_hang

| The same with a counter: the state is the same again after 65,536 times round.

        routine pair_hang_counted
        pair
        moveq   #0,d2
1:      addq.w  #1,d2
        cmpi.b  #0x5A,d0
        beq.s   1b
        cmp.b   d0,d1
        bhs.w   mode_patched
        bra.w   mode_refused
        done    pair_hang_counted

| Counts a down by two until it is 0. An odd one never is.

        routine pair_hang_odd
        pair
1:      subq.b  #2,d0
        bne.s   1b
        bra.w   mode_patched
        done    pair_hang_odd

| Single bits, of registers and in RAM.

        routine pair_bits
        pair
        move.b  d0,buffer
        bset    d1,buffer               | the low three bits of b
        sne     d2                      | it was set
        bclr    #7,buffer
        beq.s   1f
        bchg    #6,d2
1:      move.l  d0,d3
        bchg    d1,d3                   | the low five bits of b
        btst    #8,d3
        seq     d4
        tas     buffer
        spl     d5                      | always, bit 7 was cleared
        and.b   d5,d2
        eor.b   d4,d2
        btst    #0,buffer
        bne.s   2f
        lsr.b   #5,d2
2:      choose
        done    pair_bits

| All sixteen conditions: a is the CCR, the low four bits of b say which one.

        routine pair_conditions
        pair
        andi.w  #0x0F,d1
        lsl.w   #2,d1                   | each is four bytes
        lea     pair_condition_codes,a0
        lea     (a0,d1.w),a0
        move.w  d0,ccr
        jmp     (a0)
pair_condition_codes:
        .irp    condition, t, f, hi, ls, cc, cs, ne, eq, vc, vs, pl, mi, ge, lt, gt, le
        s\condition d2
        bra.s   pair_condition_met
        .endr
        illegal                         | nothing comes here
pair_condition_met:
        tst.b   d2
        bne.w   mode_noise
        bra.w   mode_refused
        done    pair_conditions

| CHK of a against b, both with sign. The handler sets d7 and goes on.

        routine pair_check
        pair
        moveq   #0,d7
        ext.w   d0
        ext.w   d1
        chk     d1,d0
        tst.w   d7
        bne.w   mode_refused
        cmp.w   d0,d1
        beq.w   mode_combination
        bra.w   mode_patched
        done    pair_check

| TRAP #1 adds to d7, TRAPV sets it if a and b as signed bytes overflow.

        routine pair_traps
        pair
        moveq   #0,d7
        btst    #0,d0
        beq.s   1f
        trap    #1
1:      add.b   d1,d0
        trapv
        cmpi.w  #1,d7
        blo.w   mode_combination        | 0
        beq.w   mode_patched            | 1
        bra.w   mode_noise              | 7
        done    pair_traps

| An area in RAM, written at an index that is a and read at one that is b.

        routine pair_memory
        pair
        lea     buffer,a0
        moveq   #15,d3
1:      move.b  d3,(a0,d3.w)
        dbra    d3,1b
        andi.w  #15,d0
        move.b  d1,(a0,d0.w)
        move.w  d1,d2
        lsr.w   #4,d2
        move.b  (a0,d2.w),d2            | b at a, else the index itself
        choose
        done    pair_memory

| Of sixteen bytes in RAM the even ones are written. The one that a says is read.

        routine pair_unwritten
        pair
        lea     buffer,a0
        moveq   #14,d3
1:      move.b  d1,(a0,d3.w)
        subq.w  #2,d3
        bpl.s   1b
        andi.w  #15,d0
        move.b  (a0,d0.w),d2
        cmp.b   d1,d2
        beq.w   mode_patched
        bra.w   mode_noise
        done    pair_unwritten

| Calls what stands in the window if a is 0xC0.

        routine pair_call
        pair
        cmpi.b  #0xC0,d0
        bne.w   mode_refused
        jsr     WINDOW+0x200
        bra.w   mode_noise
        done    pair_call

| The latch is set to 1 for an odd a, and set back but for b = 0.

        routine pair_latch
        pair
        btst    #0,d0
        beq.w   mode_refused
        move.b  #1,LATCH
        move.w  PATCH_TABLE,d2
        tst.b   d1
        beq.w   mode_patched
        move.b  #0,LATCH
        bra.w   mode_patched
        done    pair_latch
