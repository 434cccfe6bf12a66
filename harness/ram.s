| Aria Workshop: its variables in work RAM. aria.ld puts this section at
| 0xE00000 and asserts the addresses that the outside relies on.

        .include "aria.inc"

        .section .ram,"aw",@nobits

        .globl  ram_start, ram_longs
        .globl  ticks, voices, mode, preset, all_presets, filter, notice, blanks
        .globl  format_table

        .macro  variable name:req, bytes:req
        .type   \name, @object
        .size   \name, \bytes
\name:  .skip   \bytes
        .endm

ram_start:
        variable ticks, 4
        variable voices, 2

        .org    0x10
        variable mode, 2                | MODE_...
        variable preset, 2              | 0 to 7
        variable all_presets, 2         | 1: the eight presets in turn
        variable filter, 2              | FILTER_..., 0 when there is no noise
        variable notice, 2              | 1: the unknown-product notice is up
        variable blanks, 2              | vertical blanks, counted

        .org    0x40
        variable format_table, PATCH_SIZE
ram_end:
        .equ    ram_longs, (ram_end - ram_start) / 4
