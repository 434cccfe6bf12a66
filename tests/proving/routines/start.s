| Detection routines of many shapes, each small, about each of which it is known
| what can be proved. This file has what they share: the vectors, the host's own
| header, the handlers, the exits, and the variables.

        .include "routines.inc"

        .section .vectors,"ax"

        .long   0xE0FE00                |  0  initial stack pointer
        .long   reset                   |  1  initial program counter
        .rept   3                       |  2  bus error, to 4: none is expected
        .long   crash_handler
        .endr
        .long   on_zero_divide          |  5
        .long   on_bounds               |  6  CHK
        .long   on_overflow             |  7  TRAPV
        .rept   25                      |  8  to 32
        .long   crash_handler
        .endr
        .long   on_trap                 | 33  TRAP #1
        .rept   30                      | 34  to 63
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

        routine reset
        lea     0xE0FE00,sp
        bsr.w   table_5
crash_handler:
        bra.s   crash_handler

| The handlers say in d7 that they ran, and go on behind the instruction.

        routine on_zero_divide
        moveq   #5,d7
        rte
        routine on_bounds
        moveq   #6,d7
        rte
        routine on_overflow
        moveq   #7,d7
        rte
        routine on_trap
        addq.w  #1,d7
        rte

| The ways to go on. Runs end here; the instructions do not run.

        .macro  exit name:req
        routine \name
        bra.s   \name
        .endm

        exit    mode_combination
        exit    mode_patched
        exit    mode_noise
        exit    mode_refused
        exit    mode_alone
        .irp    number, 0, 1, 2, 3, 4, 5, 6, 7
        exit    preset_\number
        .endr

        .section .ram,"aw",@nobits

        .globl  buffer, number
        .type   buffer, @object
        .size   buffer, 256
buffer: .skip   256
        .type   number, @object
        .size   number, 2
number: .skip   2
