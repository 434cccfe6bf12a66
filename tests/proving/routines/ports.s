| The pedal, looked at for a while: 20, 2,000 and 20,000 times at most.

        .include "routines.inc"

        .text

| Only for a code of our own; another publisher's is noise without a look.

        .macro  poll count:req
        routine poll_\count
        lea     PRODUCT,a0
        lea     own_product,a1
        moveq   #PREFIX_SIZE-1,d0
1:      cmpm.b  (a0)+,(a1)+
        dbne    d0,1b
        bne.w   mode_alone

        move.w  #\count-1,d0
2:      btst    #0,PEDAL
        bne.w   mode_noise
        dbra    d0,2b
        bra.w   mode_refused
        done    poll_\count
        .endm

        poll    20
        poll    2000
        poll    20000
