| Aria Workshop: what is in the pass-through socket?
|
| `detect` reads the header that shows at the bottom of the window and commits
| to one mode. It ends at one of five labels, all in modes.s:
|
|   mode_alone        no signature: nothing there, or nothing that we know
|   mode_combination  the choir library plays together with us
|   mode_patched      the drum library, its format table copied to RAM
|   mode_noise        another publisher's cartridge, or the pedal asked for it
|   mode_refused      a code of our own that we do not know, and no pedal
|
| It uses d0-d3, d7, a0-a2. It writes every variable before it reads it, and
| with MOVE only: CLR on the 68000 reads memory first.

        .include "aria.inc"

        .text

        .globl  detect
        .type   detect, @function

detect:
        moveq   #MODE_ALONE,d7          | 0, for the other variables as well
        move.w  d7,mode
        move.w  d7,preset
        move.w  d7,all_presets
        move.w  d7,filter
        move.w  d7,notice

| Is it a licensed cartridge? Its signature must be the one in our own header.
| The window is the source operand, so it is read first. The other way round,
| our own byte would be the last word on the bus when the window is read, and
| an empty socket on a floating bus would hand it back: always equal.

check_signature:
        lea     WINDOW+SIGNATURE_AT,a0
        lea     own_signature(pc),a1
        moveq   #SIGNATURE_SIZE-1,d0
compare_signature:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,compare_signature
        beq.s   find_product

no_signature:                           | `mode` is MODE_ALONE already
        bra.w   mode_alone

| Is it one of ours? All bytes of the code count, its padding too.

find_product:
        lea     our_products(pc),a2
        moveq   #OUR_COUNT-1,d2
try_product:
        lea     WINDOW+PRODUCT_AT,a0
        movea.l a2,a1
        moveq   #PRODUCT_SIZE-1,d0
compare_product:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,compare_product
        beq.s   product_found
        lea     OUR_STRIDE(a2),a2
        dbra    d2,try_product

| Not in the table. Does the code begin like our own?

check_prefix:
        lea     WINDOW+PRODUCT_AT,a0
        lea     own_product(pc),a1
        moveq   #PREFIX_SIZE-1,d0
compare_prefix:
        cmpm.b  (a0)+,(a1)+
        dbne    d0,compare_prefix
        bne.s   other_publisher

| One of ours that was pressed after this ROM: say so, and give the player the
| time to ask for noise with the pedal.

unknown_own:
        move.w  #1,notice
        move.w  #PEDAL_POLLS-1,d0
poll_pedal:
        btst    #PEDAL_BIT,PEDAL
        bne.s   pedal_pressed
        dbra    d0,poll_pedal

pedal_timeout:
        move.w  #MODE_REFUSED,mode
        bra.w   mode_refused

pedal_pressed:
        move.w  #1,all_presets
        bra.w   play_noise

| One of ours, and in the table: the word behind the code is its mode.

product_found:
        move.w  PRODUCT_SIZE(a2),d3
        cmpi.w  #MODE_PATCHED,d3
        beq.s   patch_drums

join_choir:
        move.w  d3,mode
        bra.w   mode_combination

| The drum library keeps its sounds in an older format. The patch ROM shows in
| the window while the latch is on; it must be off again before the library is
| read, for the two share addresses.

patch_drums:
        move.b  #LATCH_ON,LATCH
        lea     PATCH_TABLE,a0
        lea     format_table,a1
        moveq   #PATCH_SIZE/4-1,d0
copy_table:
        move.l  (a0)+,(a1)+
        dbra    d0,copy_table
        move.b  #LATCH_OFF,LATCH
        move.w  d3,mode
        bra.w   mode_patched

| Another publisher: the code chooses one of eight presets. Each preset plays
| through one of four filters, and all of them are noise.

other_publisher:
        bsr.s   hash_product
        move.w  d1,preset
        add.w   d1,d1
        move.w  preset_table(pc,d1.w),d2
        jmp     preset_table(pc,d2.w)

preset_table:
        .word   preset_hiss    - preset_table   | 0
        .word   preset_rumble  - preset_table   | 1
        .word   preset_crackle - preset_table   | 2
        .word   preset_hiss    - preset_table   | 3
        .word   preset_sweep   - preset_table   | 4
        .word   preset_rumble  - preset_table   | 5
        .word   preset_sweep   - preset_table   | 6
        .word   preset_crackle - preset_table   | 7

preset_hiss:
        move.w  #FILTER_HISS,filter
        bra.s   play_noise
preset_rumble:
        move.w  #FILTER_RUMBLE,filter
        bra.s   play_noise
preset_crackle:
        move.w  #FILTER_CRACKLE,filter
        bra.s   play_noise
preset_sweep:
        move.w  #FILTER_SWEEP,filter

play_noise:
        move.w  #MODE_NOISE,mode
        bra.w   mode_noise
        .size   detect, . - detect

| Returns the preset in d1: every byte of the product code is rotated in, and
| the low three bits remain. Changes d0, d2, a0.

        .type   hash_product, @function
hash_product:
        lea     WINDOW+PRODUCT_AT,a0
        moveq   #PRODUCT_SIZE-1,d0
        moveq   #0,d1
hash_byte:
        rol.b   #1,d1
        move.b  (a0)+,d2
        eor.b   d2,d1
        dbra    d0,hash_byte
        andi.w  #7,d1
        rts
        .size   hash_product, . - hash_product

| The products that we know: a code, padded with spaces, and a mode.

        .equ    OUR_STRIDE, PRODUCT_SIZE+2

        .macro  product code:req, mode:req
our_product_\@:
        .ascii  "\code"
        .fill   PRODUCT_SIZE - (. - our_product_\@), 1, 0x20
        .word   \mode
        .endm

        .balign 2
        .type   our_products, @object
our_products:
        product "AW-3200-00", MODE_COMBINATION  | choir library
        product "AW-2100-00", MODE_PATCHED      | drum library, first pressing
        product "AW-2100-01", MODE_PATCHED
        product "AW-2100-02", MODE_PATCHED
        product "AW-2100-0B", MODE_PATCHED      | the one bundled with the pedal
        .size   our_products, . - our_products

        .equ    OUR_COUNT, (. - our_products) / OUR_STRIDE
