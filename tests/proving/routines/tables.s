| Tables of product codes, searched with early exit: of 5 to 80 entries, and one
| with an entry that an earlier one shadows.

        .include "routines.inc"

        .text

| The demo's way: the signature, then the product against each entry. The word
| behind the code that fits is the mode. Needs `COUNT` entries at `entries`.

        .macro  search name:req, entries:req, count:req
        routine \name
        lea     SIGNATURE,a0
        lea     own_signature,a1
        moveq   #SIGNATURE_SIZE-1,d0
1:      cmpm.b  (a0)+,(a1)+
        dbne    d0,1b
        bne.w   mode_alone

        lea     \entries,a2
        moveq   #\count-1,d2
2:      lea     PRODUCT,a0
        movea.l a2,a1
        moveq   #PRODUCT_SIZE-1,d0
3:      cmpm.b  (a0)+,(a1)+
        dbne    d0,3b
        beq.s   4f
        lea     PRODUCT_SIZE+2(a2),a2
        dbra    d2,2b
        bra.w   mode_refused

4:      move.w  PRODUCT_SIZE(a2),d3
        cmpi.w  #MODE_PATCHED,d3
        beq.w   mode_patched
        bra.w   mode_combination
        done    \name
        .endm

| Entry i (from 0) is AW-21ii-00, i in two decimal digits. Each fifth, from
| entry 0 on, is a combination; the others are patched.

        .macro  entries name:req, count:req
        table   \name
        .set    i, 0
        .rept   \count
        .ascii  "AW-21"
        .byte   '0' + i / 10, '0' + i % 10
        .ascii  "-00    "
        .if     i % 5
        .word   MODE_PATCHED
        .else
        .word   MODE_COMBINATION
        .endif
        .set    i, i + 1
        .endr
        done    \name
        .endm

        .macro  sized count:req
        search  table_\count, entries_\count, \count
        entries entries_\count, \count
        .endm

        sized   5
        sized   10
        sized   20
        sized   40
        sized   80

| The fourth entry has the code of the second: it is never reached, and its mode
| neither. The mode itself is, by way of the first entry.

        search  table_shadowed, entries_shadowed, 5

        table   entries_shadowed
        code    "AW-3200-00"
        .word   MODE_COMBINATION
        code    "AW-2100-00"
        .word   MODE_PATCHED
        code    "AW-2100-01"
        .word   MODE_PATCHED
        .globl  shadowed_entry
shadowed_entry:
        code    "AW-2100-00"
        .word   MODE_COMBINATION
        code    "AW-2100-02"
        .word   MODE_PATCHED
        done    entries_shadowed
