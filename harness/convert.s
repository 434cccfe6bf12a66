| Aria Workshop: the drum library again, by the patch ROM's own code. It copies
| the table and then lets go of the latch itself, so it comes back although
| nothing of it shows any more: its RTS was fetched before the latch was written.

        .include "aria.inc"

        .text

        .globl  convert_drums
        .type   convert_drums, @function

convert_drums:
        move.b  #LATCH_ON,LATCH
        lea     format_table,a1
        jsr     PATCH_CONVERT
        move.w  #MODE_PATCHED,mode
        rts
        .size   convert_drums, . - convert_drums
