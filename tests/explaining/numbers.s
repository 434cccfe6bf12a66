| Shapes that compute with header fields.

        .include "shapes.inc"
        .text

| mask_bits: bits 3 and 2 of `features` must be 01; then bit 7 chooses.
| Decides: features, bits 7, 3 and 2.

        .globl  mask_bits
        .type   mask_bits, @function
mask_bits:
        lea     FEATURES,a0
        move.b  (a0),d0
        andi.b  #0x0C,d0
        cmpi.b  #0x04,d0
        bne.w   mode_refused
        btst    #7,(a0)
        bne.w   mode_combination
        bra.w   mode_patched
        .size   mask_bits, . - mask_bits

| hash_jump: the product code is hashed to 0-3, and a table of addresses has the
| way on.
| Decides: product, all 14 bytes; by a look-up and a jump, no compare.

        .globl  hash_jump
        .type   hash_jump, @function
hash_jump:
        bsr.s   hash_product
        add.w   d1,d1
        add.w   d1,d1
        lea     hash_table(pc),a1
        movea.l (a1,d1.w),a1
        jmp     (a1)
        .size   hash_jump, . - hash_jump

| hash_return: the same hash, and the way on is pushed and returned to.

        .globl  hash_return
        .type   hash_return, @function
hash_return:
        bsr.s   hash_product
        lsl.w   #2,d1
        move.l  hash_table(pc,d1.w),-(sp)
        rts
        .size   hash_return, . - hash_return

        .type   hash_table, @object
hash_table:
        .long   mode_combination        | 0
        .long   mode_patched            | 1
        .long   mode_noise              | 2
        .long   mode_refused            | 3
        .size   hash_table, . - hash_table

| The hash in d1: each byte is added, and the sum rotated. Changes d0, d2, a0.

        .type   hash_product, @function
hash_product:
        lea     PRODUCT,a0
        moveq   #PRODUCT_SIZE-1,d0
        moveq   #0,d1
        moveq   #0,d2
hash_byte:
        move.b  (a0)+,d2
        add.w   d2,d1
        rol.w   #3,d1
        dbra    d0,hash_byte
        andi.w  #3,d1
        rts
        .size   hash_product, . - hash_product

| sum_words: the sum of 128 words of the image must be the header's checksum.
| Decides: image 0x200-0x2FF and checksum.

        .globl  sum_words
        .type   sum_words, @function
sum_words:
        lea     SUMMED,a0
        move.w  #SUMMED_SIZE/2-1,d0
        moveq   #0,d1
sum_word:
        add.w   (a0)+,d1
        dbra    d0,sum_word
        cmp.w   CHECKSUM,d1
        bne.w   mode_refused
        bra.w   mode_combination
        .size   sum_words, . - sum_words

| follow_table: `table` is an offset into the image; the word that stands there
| must be `AW`. Nothing makes sure that the offset is even: an odd one crashes.
| Decides: table, and the two bytes that it leads to.

        .globl  follow_table
        .type   follow_table, @function
follow_table:
        lea     WINDOW,a0
        move.w  TABLE,d0
        andi.w  #0x7FFF,d0
        move.w  (a0,d0.w),d1
        cmpi.w  #0x4157,d1              | AW
        bne.w   mode_alone
        bra.w   mode_combination
        .size   follow_table, . - follow_table

| join_fields: revision and region are one number, revision * 16 + region.
| Decides: revision and region, by one compare. (ORed: a region over 15 can make
| up for the revision.)

        .globl  join_fields
        .type   join_fields, @function
join_fields:
        move.w  REVISION,d0
        lsl.w   #4,d0
        or.b    REGION,d0
        cmpi.w  #0x0012,d0
        bne.w   mode_alone
        bra.w   mode_combination
        .size   join_fields, . - join_fields

| compare_serial: the serial number of 64 bits against the last one of an old
| series, by SUB and SUBX. Below: the old series. Equal: the last one of it.
| Decides: serial-high and serial-low, all eight bytes; the low half through X
| into the high one, and through Z, which SUBX only clears.

        .globl  compare_serial
        .type   compare_serial, @function
compare_serial:
        lea     SERIAL,a0
        move.l  (a0)+,d2
        move.l  (a0)+,d3
        moveq   #1,d0                   | the last one: 0x00000001_00004000
        move.l  #0x4000,d1
        sub.l   d1,d3
        subx.l  d0,d2
        bcs.w   mode_patched
        beq.w   mode_noise
        bra.w   mode_combination
        .size   compare_serial, . - compare_serial

| keep_answer: `region` is compared first, and the answer kept as a byte on the
| stack while a subroutine uses every register; only then it is tested.
| Decides: region. (`voices` goes through the subroutine and decides nothing.)

        .globl  keep_answer
        .type   keep_answer, @function
keep_answer:
        cmpi.b  #2,REGION
        seq     d1
        move.b  VOICES,d2
        movem.l d1-d2/a0,-(sp)
        bsr.s   use_registers
        movem.l (sp)+,d1-d2/a0
        tst.b   d1
        beq.w   mode_alone
        bra.w   mode_combination

use_registers:
        move.b  d2,d1
        add.b   d1,d1
        suba.l  a0,a0
        rts
        .size   keep_answer, . - keep_answer

| keep_flags: the condition codes of a compare are kept on the stack, other work
| changes them, and they come back by RTR.
| Decides: revision[1]. (`voices` sets condition codes that nobody looks at.)

        .globl  keep_flags
        .type   keep_flags, @function
keep_flags:
        cmpi.b  #2,REVISION+1
        bsr.s   other_work
        bcs.w   mode_patched
        beq.w   mode_combination
        bra.w   mode_noise

other_work:
        move.w  sr,-(sp)
        tst.b   VOICES
        rtr
        .size   keep_flags, . - keep_flags

| keep_carry: X of an addition is left alone by MOVE, TST and CMP, and is shifted
| into a register by ROXL at last.
| Decides: region (bit 7 or 6 and more: over 0x0F). `voices` does not.

        .globl  keep_carry
        .type   keep_carry, @function
keep_carry:
        move.b  REGION,d0
        addi.b  #0xF0,d0                | X: 0x10 or more
        move.b  VOICES,d2
        tst.b   d2
        cmpi.b  #7,d2
        moveq   #0,d1
        roxl.b  #1,d1
        tst.b   d1
        bne.w   mode_refused
        bra.w   mode_combination
        .size   keep_carry, . - keep_carry

| tell_mode: the low bits of `region` become `mode`, and the exit is always the
| same: `mode` tells the branch.
| Decides: region, bits 1 and 0; there is no branch instruction at all.

        .globl  tell_mode
        .type   tell_mode, @function
tell_mode:
        moveq   #3,d0
        and.b   REGION,d0
        move.w  d0,mode
        bra.w   mode_told
        .size   tell_mode, . - tell_mode

| count_marks: counts the bytes with bit 7, one decision a byte, and compares the
| count with the header's.
| Decides: image 0x200-0x3FF, each byte by its own branch and through the count,
| which no data leads to; and marks.

        .globl  count_marks
        .type   count_marks, @function
count_marks:
        lea     MARKED,a0
        move.w  #MARKED_SIZE-1,d0
        moveq   #0,d1
count_byte:
        tst.b   (a0)+
        bpl.s   count_next
        addq.w  #1,d1
count_next:
        dbra    d0,count_byte
        cmp.w   MARKS,d1
        bne.w   mode_refused
        bra.w   mode_combination
        .size   count_marks, . - count_marks
