| Three and ten texts that have nothing to do with each other. Each is compared
| with early exit and gives one bit of a word, and the word chooses the branch.

        .include "routines.inc"

        .text

        .macro  fields name:req, count:req
        routine \name
        lea     FIELDS,a2
        lea     wanted_fields,a3
        moveq   #\count-1,d2
        moveq   #0,d3
1:      movea.l a2,a0
        movea.l a3,a1
        moveq   #PRODUCT_SIZE-1,d0
2:      cmpm.b  (a0)+,(a1)+
        dbne    d0,2b
        bne.s   3f
        addq.w  #1,d3
3:      add.w   d3,d3                   | the first field's bit ends up highest
        lea     16(a2),a2
        lea     PRODUCT_SIZE(a3),a3
        dbra    d2,1b

        cmpi.w  #(1<<(\count+1))-2,d3
        beq.w   mode_combination        | all
        tst.w   d3
        bne.w   mode_patched            | some
        bra.w   mode_refused            | none
        done    \name
        .endm

        fields  fields_3, 3
        fields  fields_10, 10

| Field i wants AW-4i00-00.

        table   wanted_fields
        .irp    number, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9
        code    "AW-4\number\()00-00"
        .endr
        done    wanted_fields
