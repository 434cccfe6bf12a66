| The format patch ROM, 256 KiB: its name, the table that Aria Workshop copies,
| and an erased rest. It shows at 0x280000 while the latch is on.

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

        .fill   0x40000 - (. - patch_start), 1, 0xFF
