| Detection routines of many shapes, each small, to be explained. This file has
| what they share: the vectors, the host's own header, its tables, the exits,
| and the variables. The routines stand in texts.s, numbers.s, waiting.s,
| traps.s and shape.c.

        .include "shapes.inc"

        .section .vectors,"ax"

        .long   0xE0FE00                |  0  initial stack pointer
        .long   reset                   |  1  initial program counter
        .rept   3                       |  2  bus error, to 4: none is expected
        .long   crash_handler
        .endr
        .long   on_zero_divide          |  5
        .long   on_bounds               |  6  CHK
        .long   on_overflow             |  7  TRAPV
        .rept   22                      |  8  to 29
        .long   crash_handler
        .endr
        .long   on_blank                | 30  level 6
        .rept   33                      | 31  to 63
        .long   crash_handler
        .endr

        .section .header,"a"

        .globl  own_signature, own_product
        .type   own_signature, @object
        .size   own_signature, SIGNATURE_SIZE
        .type   own_product, @object
        .size   own_product, PRODUCT_SIZE

own_signature:                          | 0x100
        .ascii  "PARLOR16 SYSTEM "
        .org    0x80
own_product:                            | 0x180
        .ascii  "AW-3100-00    "
        .org    0x100

        .text

        .globl  reset
        .type   reset, @function
reset:
        lea     0xE0FE00,sp
        bsr.w   compare_text
crash_handler:
        bra.s   crash_handler

| The ways to go on. Runs end here; the instructions do not run.

        .globl  mode_combination, mode_patched, mode_noise, mode_refused, mode_alone, mode_told
mode_combination:
        bra.s   mode_combination
mode_patched:
        bra.s   mode_patched
mode_noise:
        bra.s   mode_noise
mode_refused:
        bra.s   mode_refused
mode_alone:
        bra.s   mode_alone
mode_told:
        bra.s   mode_told

| The products that are known: a code of 14 bytes and a mode.

        .macro  product code:req, mode:req
product_\@:
        .ascii  "\code"
        .fill   PRODUCT_SIZE - (. - product_\@), 1, 0x20
        .word   \mode
        .endm

        .balign 2
        .globl  known
        .type   known, @object
known:
        product "AW-3200-00", MODE_COMBINATION
        product "AW-2100-00", MODE_PATCHED
        product "AW-2100-0B", MODE_PATCHED
        product "AW-2300-00", MODE_NOISE
        .size   known, . - known

        .section .ram,"aw",@nobits

        .globl  mode, kept, warm, blanks, trapped, header_copy
        .macro  variable name:req, bytes:req
        .type   \name, @object
        .size   \name, \bytes
\name:  .skip   \bytes
        .endm

        variable mode, 2
        variable kept, 2
        variable warm, 2
        variable blanks, 2
        variable trapped, 2
        .balign 16
        variable header_copy, 256
