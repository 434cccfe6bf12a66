| The format patch ROM, 256 KiB: its name, the table that Aria Workshop copies,
| code that does the same, and an erased rest. It shows at 0x280000 while the
| latch is on.

        .include "aria.inc"

        .text

patch_start:
        .ascii  "FORMAT PATCH    "
        .fill   0x100 - (. - patch_start), 1, 0xFF

| Old 5-bit levels to linear 16-bit ones, on a square law: 32 words.

        .set    level, 0
        .rept   PATCH_SIZE/2
        .word   level * level * 64
        .set    level, level + 1
        .endr

        .fill   0x200 - (. - patch_start), 1, 0xFF

| The table to (a1), then the latch off. From the write on, the cartridge shows
| here; but the next word, the RTS, is in the prefetch queue by then.

convert:                                | PATCH_CONVERT
        lea     PATCH_TABLE,a0
        moveq   #PATCH_SIZE/4-1,d0
convert_long:
        move.l  (a0)+,(a1)+
        dbra    d0,convert_long
        move.b  #LATCH_OFF,LATCH
        rts

        .fill   0x40000 - (. - patch_start), 1, 0xFF
