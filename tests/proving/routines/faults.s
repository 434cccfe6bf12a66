| Addresses that come from the header, and a branch that nothing reaches.

        .include "routines.inc"

        .text

| A byte is written to RAM plus a word of the header, taken as signed: below RAM
| when its highest bit is set.

        routine stray_write
        movea.w PLACE,a0
        adda.l  #RAM,a0
        move.b  #0x55,(a0)
        bra.w   mode_noise
        done    stray_write

| The same with three bits of the word left: eight addresses, four of them below RAM.

        routine stray_write_few
        move.w  PLACE,d0
        andi.w  #0x8006,d0
        movea.w d0,a0
        adda.l  #RAM,a0
        move.b  #0x55,(a0)
        bra.w   mode_noise
        done    stray_write_few

| The word is looked at first: nothing goes astray.

        routine bounded_write
        moveq   #0,d0
        move.w  PLACE,d0
        cmpi.w  #buffer_size,d0
        bhs.w   mode_refused
        lea     buffer,a0
        move.b  #0x55,(a0,d0.w)
        bra.w   mode_noise
        .equ    buffer_size, 32
        done    bounded_write

| The limit is one too high: for 32 the byte behind the area is written to. That is
| RAM too, so nothing that is forbidden happens, but `number` is no longer 0.

        routine bounded_by_one_too_many
        moveq   #0,d0
        move.w  PLACE,d0
        cmpi.w  #buffer_size,d0
        bhi.w   mode_refused
        lea     number-buffer_size,a0
        move.w  #0,number
        move.b  #0x55,(a0,d0.w)
        tst.w   number
        bne.w   mode_patched
        bra.w   mode_noise
        done    bounded_by_one_too_many

| If the first byte of the pair is 1, a word is read at the second one's low three
| bits behind SUM: an address error for the odd ones.

        routine odd_word
        cmpi.b  #1,PAIR
        bne.w   mode_refused
        moveq   #7,d0
        and.b   PAIR+1,d0
        lea     SUM,a0
        tst.w   (a0,d0.w)
        bra.w   mode_noise
        done    odd_word

| mode_patched is not to be reached: a byte that is 0x41 is not 0x42, twice a
| number is not odd, and a number of less than 4 is not above 8.

        routine contradictions
        cmpi.b  #0x41,PAIR
        bne.w   mode_refused
        cmpi.b  #0x42,PAIR
        beq.w   mode_patched
        move.b  PAIR+1,d1
        move.b  d1,d2
        add.b   d1,d1
        btst    #0,d1
        bne.w   mode_patched
        andi.b  #3,d2
        cmpi.b  #8,d2
        bhi.w   mode_patched
        bra.w   mode_combination
        done    contradictions
