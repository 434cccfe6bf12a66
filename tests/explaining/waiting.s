| Shapes that wait for something, or that RAM decides.

        .include "shapes.inc"
        .text

| poll_pedal: looks at the foot pedal 100 times.
| Decides: the port alone, bit 0. No byte of the cartridge is read.

        .globl  poll_pedal
        .type   poll_pedal, @function
poll_pedal:
        moveq   #100-1,d0
poll_again:
        move.b  PEDAL,d1
        andi.b  #1,d1
        bne.w   mode_noise
        dbra    d0,poll_again
        bra.w   mode_refused
        .size   poll_pedal, . - poll_pedal

| await_counter: waits until the counter is 5 further than at first; gives up
| after 20 looks.
| Decides: the port alone; the first read and each later one.

        .globl  await_counter
        .type   await_counter, @function
await_counter:
        moveq   #20-1,d0
        move.w  COUNTER,d1
await_look:
        move.w  COUNTER,d2
        sub.w   d1,d2
        cmpi.w  #5,d2
        dbcc    d0,await_look
        bcc.w   mode_combination
        bra.w   mode_refused
        .size   await_counter, . - await_counter

| await_blanks: waits for as many vertical blanks as the header asks for. An
| interrupt counts them. Gives up after 2000 looks.
| Decides: blanks (the field), and the interrupts' times.

        .globl  await_blanks
        .type   await_blanks, @function
await_blanks:
        moveq   #0,d1
        move.b  BLANKS,d1
        move.w  #0,blanks
        move.w  #2000-1,d0
        move.w  #SR_PICTURE,sr
await_more:
        cmp.w   blanks,d1
        bls.s   blanks_seen
        dbra    d0,await_more
        move.w  #SR_QUIET,sr
        bra.w   mode_refused
blanks_seen:
        move.w  #SR_QUIET,sr
        bra.w   mode_combination
        .size   await_blanks, . - await_blanks

        .globl  on_blank
        .type   on_blank, @function
on_blank:
        addq.w  #1,blanks
        rte
        .size   on_blank, . - on_blank

| warm_start: a word of RAM that nobody has written says whether this is a warm
| start, which skips the look at the signature.
| Decides: RAM at power-on; then signature[0].

        .globl  warm_start
        .type   warm_start, @function
warm_start:
        tst.w   warm
        bne.w   mode_noise
        cmpi.b  #'P',SIGNATURE
        bne.w   mode_alone
        bra.w   mode_combination
        .size   warm_start, . - warm_start

| shift_time: shifts something by as many places as `voices` says, which takes
| two cycles a place, and throws it away; then looks at the pedal once.
| Decides: the pedal. But when it is looked at hangs on voices, bits 5 to 0.

        .globl  shift_time
        .type   shift_time, @function
shift_time:
        move.b  VOICES,d1
        moveq   #1,d0
        lsl.l   d1,d0
        moveq   #0,d0
        btst    #0,PEDAL
        bne.w   mode_noise
        bra.w   mode_refused
        .size   shift_time, . - shift_time

| multiply_time: multiplies by `steps` 200 times and throws it away, which takes
| two cycles more for each bit that is 1; then a blank has come meanwhile or not.
| Decides: steps, by time alone, and the interrupt.

        .globl  multiply_time
        .type   multiply_time, @function
multiply_time:
        move.w  STEPS,d1
        move.w  #0,blanks
        move.w  #200-1,d0
        move.w  #SR_PICTURE,sr
multiply_again:
        moveq   #1,d2
        mulu.w  d1,d2
        dbra    d0,multiply_again
        move.w  #SR_QUIET,sr
        cmpi.w  #1,blanks
        bcs.w   mode_refused
        bra.w   mode_combination
        .size   multiply_time, . - multiply_time
