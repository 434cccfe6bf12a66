| Aria Workshop: the picture. At each vertical blank the video side requests an
| interrupt of level 6, and `vertical_blank` counts it.

        .include "aria.inc"

        .text

        .globl  await_blanks, no_picture, picture_stands
        .globl  idle, woken, vertical_blank
        .type   await_blanks, @function
        .type   idle, @function
        .type   vertical_blank, @function

| Waits until the picture stands still: for two blanks. Without a picture it
| gives up after 50 ms, nearly the time of three. Changes d0.

await_blanks:
        move.w  #0,blanks
        move.w  #BLANK_POLLS-1,d0
        move.w  #SR_PICTURE,sr
poll_blanks:
        cmpi.w  #BLANKS_WANTED,blanks
        bcc.s   picture_stands
        dbra    d0,poll_blanks

no_picture:
        move.w  #SR_QUIET,sr
        rts

picture_stands:
        move.w  #SR_QUIET,sr
        rts
        .size   await_blanks, . - await_blanks

| Stops the processor until the next blank. Nothing else gets it out.

idle:
        stop    #SR_PICTURE
woken:
        move.w  #SR_QUIET,sr
        rts
        .size   idle, . - idle

vertical_blank:
        addq.w  #1,blanks
        rte
        .size   vertical_blank, . - vertical_blank
