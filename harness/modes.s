| Aria Workshop: the five ways to go on after `detect`. Each sets the number of
| voices that the player has, and plays.

        .include "aria.inc"

        .text

        .globl  mode_alone, mode_combination, mode_patched, mode_noise, mode_refused

mode_alone:
        move.w  #16,voices              | our own library
        bra.s   play

mode_combination:
        move.w  #32,voices              | ours and the choir
        bra.s   play

mode_patched:
        move.w  #24,voices              | ours and the drums
        bra.s   play

mode_noise:
        move.w  #17,voices              | ours and the noise
        bra.s   play

mode_refused:
        bsr.w   await_blanks            | the notice needs a picture that stands still
        move.w  #0,voices               | silence, under the notice
                                        | falls through

play:
        bsr.w   idle                    | once a blank
        addq.l  #1,ticks
        bra.s   play
