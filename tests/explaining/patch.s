| A patch ROM of 64 bytes: its name, and the codes that it converts, 16 bytes
| each. It shows at 0x280000 while the latch is 1.

        .text
        .ascii  "FORMAT PATCH    "
        .ascii  "AW-2100-00      "
        .ascii  "AW-2100-0B      "
        .fill   16, 1, 0xFF
