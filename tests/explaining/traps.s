| Shapes that go through exceptions, and one that runs the cartridge's code.

        .include "shapes.inc"
        .text

| divide_by_steps: 4800 by `steps`; a handler notes that it was zero.
| Decides: steps: first whether it is zero, by the exception alone; then the
| quotient, which must be 16 or more.

        .globl  divide_by_steps
        .type   divide_by_steps, @function
divide_by_steps:
        moveq   #0,d6
        move.l  #4800,d0
        divu.w  STEPS,d0
        tst.b   d6
        bne.w   mode_alone
        cmpi.w  #16,d0
        bcs.w   mode_refused
        bra.w   mode_combination
        .size   divide_by_steps, . - divide_by_steps

| check_voices: `voices` must be 0 to 32, or CHK traps.
| Decides: voices, by the exception alone: the handler's note is a constant.

        .globl  check_voices
        .type   check_voices, @function
check_voices:
        moveq   #0,d6
        moveq   #0,d0
        move.b  VOICES,d0
        chk.w   #32,d0
        tst.b   d6
        bne.w   mode_refused
        bra.w   mode_combination
        .size   check_voices, . - check_voices

| add_steps: `steps` is added to 0x7F00, and TRAPV traps if that overflows.
| Decides: steps[0] and steps[1] (the carry), by the exception alone.

        .globl  add_steps
        .type   add_steps, @function
add_steps:
        moveq   #0,d6
        move.w  #0x7F00,d0
        add.w   STEPS,d0
        trapv
        tst.b   d6
        bne.w   mode_refused
        bra.w   mode_combination
        .size   add_steps, . - add_steps

| The handlers note that they ran.

        .globl  on_zero_divide, on_bounds, on_overflow
        .type   on_zero_divide, @function
        .type   on_bounds, @function
        .type   on_overflow, @function
on_zero_divide:
        moveq   #1,d6
        rte
on_bounds:
        moveq   #2,d6
        rte
on_overflow:
        moveq   #3,d6
        rte
        .size   on_overflow, . - on_overflow

| call_cartridge: calls code of the cartridge, at image 0x200, which answers in
| d0.
| Decides: the bytes of the code that runs, and nothing that it does not reach.

        .globl  call_cartridge
        .type   call_cartridge, @function
call_cartridge:
        moveq   #0,d0
        jsr     CODE
        cmpi.b  #MODE_COMBINATION,d0
        beq.w   mode_combination
        bra.w   mode_alone
        .size   call_cartridge, . - call_cartridge
