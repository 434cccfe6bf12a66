| Texts that are compared in other ways than byte by byte with early exit, and
| sums and hashes of them.

        .include "routines.inc"

        .text

| Counts the bytes of the signature that differ, and looks at all of them.

        routine count_mismatches
        lea     SIGNATURE,a0
        lea     own_signature,a1
        moveq   #SIGNATURE_SIZE-1,d0
        moveq   #0,d1
1:      cmpm.b  (a0)+,(a1)+
        beq.s   2f
        addq.w  #1,d1
2:      dbra    d0,1b
        bra.s   judge_mismatches
        done    count_mismatches

| The same without a branch a byte.

        routine add_mismatches
        lea     SIGNATURE,a0
        lea     own_signature,a1
        moveq   #SIGNATURE_SIZE-1,d0
        moveq   #0,d1
1:      cmpm.b  (a0)+,(a1)+
        sne     d2
        sub.b   d2,d1
        dbra    d0,1b
        done    add_mismatches

judge_mismatches:
        tst.b   d1
        beq.w   mode_combination
        cmpi.b  #2,d1
        bls.w   mode_patched
        bra.w   mode_refused

| The product, a to z taken as A to Z. With early exit.

        routine fold_product
        lea     PRODUCT,a0
        lea     folded_product,a1
        moveq   #PRODUCT_SIZE-1,d0
1:      move.b  (a0)+,d1
        cmpi.b  #'a',d1
        blo.s   2f
        cmpi.b  #'z',d1
        bhi.s   2f
        subi.b  #'a'-'A',d1
2:      cmp.b   (a1)+,d1
        dbne    d0,1b
        beq.w   mode_patched
        bra.w   mode_refused
        done    fold_product

        table   folded_product
        code    "AW-2100-0B"
        done    folded_product

| A hash of the product chooses one of eight places to go to: for each byte,
| rotate left by one and exclusive-or; then the low three bits.

        routine hash_product
        lea     PRODUCT,a0
        moveq   #PRODUCT_SIZE-1,d0
        moveq   #0,d1
1:      rol.b   #1,d1
        move.b  (a0)+,d2
        eor.b   d2,d1
        dbra    d0,1b
        andi.w  #7,d1
        add.w   d1,d1
        move.w  2f(pc,d1.w),d2
        jmp     2f(pc,d2.w)
2:      .irp    target, 0, 1, 2, 3, 4, 5, 6, 7
        .word   to_\target - 2b
        .endr
        .irp    target, 0, 1, 2, 3, 4, 5, 6, 7
to_\target:
        bra.w   preset_\target
        .endr
        done    hash_product

| The sum of 32 words against a word of the header.

        routine sum_block
        lea     BLOCK,a0
        moveq   #BLOCK_SIZE/2-1,d0
        moveq   #0,d1
1:      add.w   (a0)+,d1
        dbra    d0,1b
        cmp.w   SUM,d1
        beq.w   mode_combination
        bra.w   mode_refused
        done    sum_block
