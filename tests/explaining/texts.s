| Shapes that compare texts.

        .include "shapes.inc"
        .text

| compare_text: the signature, byte by byte, with the host's own.
| Decides: signature. The window is read first, then the host.

        .globl  compare_text
        .type   compare_text, @function
compare_text:
        lea     SIGNATURE,a0
        lea     own_signature,a1
        moveq   #SIGNATURE_SIZE-1,d0
compare_byte:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,compare_byte
        bne.w   mode_alone
        bra.w   mode_combination
        .size   compare_text, . - compare_text

| scan_table: the product code, by words, against each entry of `known`; the
| word behind the entry that agrees is the mode.
| Decides: product, as far as each entry agrees and one word more.

        .globl  scan_table
        .type   scan_table, @function
scan_table:
        lea     known,a2
        moveq   #4-1,d2
scan_entry:
        lea     PRODUCT,a0
        movea.l a2,a1
        moveq   #PRODUCT_SIZE/2-1,d0
scan_word:
        cmpm.w  (a0)+,(a1)+
        dbne    d0,scan_word
        beq.s   scan_found
        lea     PRODUCT_SIZE+2(a2),a2
        dbra    d2,scan_entry
        bra.w   mode_refused
scan_found:
        move.w  PRODUCT_SIZE(a2),d3
        cmpi.w  #MODE_COMBINATION,d3
        beq.w   mode_combination
        cmpi.w  #MODE_PATCHED,d3
        beq.w   mode_patched
        bra.w   mode_noise
        .size   scan_table, . - scan_table

| ask_patch: the patch ROM is switched in and asked whether its list has the
| product code; then it is switched out, whatever came of it.
| Decides: product. It is compared with bytes of the patch ROM, not of the host.

        .globl  ask_patch
        .type   ask_patch, @function
ask_patch:
        move.b  #1,LATCH
        lea     PATCH_LIST,a2
        moveq   #2-1,d2
ask_entry:
        lea     PRODUCT,a0
        movea.l a2,a1
        moveq   #PRODUCT_SIZE-1,d0
ask_byte:
        move.b  (a0)+,d1
        cmp.b   (a1)+,d1
        dbne    d0,ask_byte
        beq.s   ask_found
        lea     16(a2),a2
        dbra    d2,ask_entry
        move.b  #0,LATCH
        bra.w   mode_alone
ask_found:
        move.b  #0,LATCH
        bra.w   mode_patched
        .size   ask_patch, . - ask_patch

| compare_copy: the whole header is copied to RAM first and read only there:
| the signature by bytes, then the publisher's `AW-`.
| Decides: signature, then product[0..2]. The rest is copied and never tested.

        .globl  compare_copy
        .type   compare_copy, @function
compare_copy:
        lea     SIGNATURE,a0
        lea     header_copy,a1
        moveq   #HEADER_SIZE/4-1,d0
copy_long:
        move.l  (a0)+,(a1)+
        dbra    d0,copy_long

        lea     header_copy,a0
        lea     own_signature,a1
        moveq   #SIGNATURE_SIZE-1,d0
copied_byte:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,copied_byte
        bne.w   mode_alone

        lea     header_copy+0x80,a0
        lea     own_product,a1
        moveq   #3-1,d0
copied_prefix:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,copied_prefix
        bne.w   mode_noise
        bra.w   mode_combination
        .size   compare_copy, . - compare_copy

| compare_mirrors: does the header show again 512 KiB further up? Then the
| image is small and repeats through the window.
| Decides: image 0x100-0x10F against image 0x80100-0x8010F. Both sides are the
| cartridge's; of an image of 512 KiB or less they are the same bytes.

        .globl  compare_mirrors
        .type   compare_mirrors, @function
compare_mirrors:
        lea     SIGNATURE,a0
        lea     SIGNATURE+0x80000,a1
        moveq   #SIGNATURE_SIZE-1,d0
mirror_byte:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,mirror_byte
        beq.w   mode_patched
        bra.w   mode_combination
        .size   compare_mirrors, . - compare_mirrors

| compare_longs: the signature as four long words, unrolled.
| Decides: signature. What is wanted stands in the instructions.

        .globl  compare_longs
        .type   compare_longs, @function
compare_longs:
        lea     SIGNATURE,a0
        cmpi.l  #0x5041524C,(a0)+       | PARL
        bne.w   mode_alone
        cmpi.l  #0x4F523136,(a0)+       | OR16
        bne.w   mode_alone
        cmpi.l  #0x20535953,(a0)+       |  SYS
        bne.w   mode_alone
        move.l  (a0)+,d0
        cmp.l   #0x54454D20,d0          | TEM
        bne.w   mode_alone
        bra.w   mode_combination
        .size   compare_longs, . - compare_longs
