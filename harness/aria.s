| Aria Workshop, boot: the vector table, the cartridge's own header, and what
| runs from power-up until `detect` has looked at the pass-through socket.

        .include "aria.inc"

        .section .vectors,"ax"

        .long   STACK_TOP               |  0  initial stack pointer
        .long   reset                   |  1  initial program counter
        .rept   28                      |  2  bus error, to 29: none is expected
        .long   crash_handler
        .endr
        .long   vertical_blank          | 30  level 6
        .rept   33                      | 31  level 7, to 63: none is expected
        .long   crash_handler
        .endr

| The user vectors (64 to 255) are not used on this machine: the header stands
| in their place.

        .section .header,"a"

        .globl  own_signature, own_product
        .type   own_signature, @object
        .size   own_signature, SIGNATURE_SIZE
        .type   own_product, @object
        .size   own_product, PRODUCT_SIZE

own_signature:                          | 0x100
        .ascii  "PARLOR16 SYSTEM "
        .ascii  "ARIA WORKSHOP   "
        .org    PRODUCT_AT - SIGNATURE_AT
own_product:                            | 0x180
        .ascii  "AW-3100-00    "
        .org    0x100                   | the code begins at 0x200

        .text

        .globl  reset, crash_handler
        .type   reset, @function
        .type   crash_handler, @function

reset:
        move.w  #0x2700,sr
        lea     STACK_TOP,sp

        lea     ram_start,a0            | clear the variables
        move.w  #ram_longs-1,d0
        moveq   #0,d1
clear_ram:
        move.l  d1,(a0)+
        dbra    d0,clear_ram

        move.w  #800-1,d0               | 1 ms: let the socket's contacts settle
settle:
        dbra    d0,settle

        bsr.w   detect                  | commits to a mode: does not come back
        .size   reset, . - reset

crash_handler:
        move.w  #0x2700,sr
crashed:
        bra.s   crashed
        .size   crash_handler, . - crash_handler
