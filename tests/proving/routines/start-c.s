| What detect.c needs around it: the vectors, the host's own header, and the
| variables, at the same places in every build.

        .section .vectors,"ax"

        .long   0xE0FE00                |  0  initial stack pointer
        .long   reset                   |  1  initial program counter
        .rept   62                      |  2  to 63: none is expected
        .long   crash_handler
        .endr

        .section .header,"a"

        .globl  own_signature, own_product
        .type   own_signature, @object
        .size   own_signature, 16
        .type   own_product, @object
        .size   own_product, 14

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
        jsr     detect
crash_handler:
        bra.s   crash_handler

        .section .ram,"aw",@nobits

        .globl  voices, mode, preset, all_presets, notice, format_table
        .macro  variable name:req, bytes:req
        .type   \name, @object
        .size   \name, \bytes
\name:  .skip   \bytes
        .endm

        variable voices, 2
        .org    0x10
        variable mode, 2
        variable preset, 2
        variable all_presets, 2
        variable notice, 2
        .org    0x40
        variable format_table, 64
