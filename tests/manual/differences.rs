//! Where the manual's times are not what is expected: both values, the choice, and the reason.
//!
//! [`DIFFERENCES`] is complete by test: each table's checker expects the other value for a cell that is listed, the
//! manual's for any other, and fails for an entry that nothing needed.

/// A cell that is not followed.
pub struct Difference {
    pub table: &'static str,
    pub instruction: &'static str,
    /// The column, where the instruction has one for each addressing mode.
    pub mode: &'static str,
    pub manual: &'static str,
    pub chosen: &'static str,
    /// Why; this is for those who read the list, and for the message of a failure.
    pub reason: &'static str,
}

/// "The vectors" are the published single steps of an open data set (SingleStepTests/m68000, v1), made with a model of
/// the chip's microcode. Where they speak they are chosen: a table was printed, the microcode was run.
pub const DIFFERENCES: &[Difference] = &[
    Difference {
        table: "8-5",
        instruction: "ADDQ.W #,An",
        mode: "",
        manual: "4(1/0)",
        chosen: "8(1/0)",
        reason: "the vectors; the manual itself has 8 for SUBQ, and both add to all 32 bits",
    },
    Difference {
        table: "8-5",
        instruction: "ANDI.L #,Dn",
        mode: "",
        manual: "14(3/0)",
        chosen: "16(3/0)",
        reason: "the vectors; earlier editions have 16, as this one has for ORI and EORI",
    },
    Difference {
        table: "8-6",
        instruction: "TAS <M>",
        mode: "",
        manual: "14(2/1)+",
        chosen: "10(1/1)+",
        reason: "the vectors; earlier editions have 10(1/1)+, and the read is in the effective address's time already",
    },
    Difference {
        table: "8-8",
        instruction: "BTST Dn,#",
        mode: "",
        manual: "4(1/0)+",
        chosen: "6(1/0)+",
        reason: "the vectors; the table has no column for this form, only `<M>`",
    },
    Difference {
        table: "8-10",
        instruction: "JMP",
        mode: "d8(An,Xn)",
        manual: "14(3/0)",
        chosen: "14(2/0)",
        reason: "the vectors; JSR's 22(2/2) fits two reads",
    },
    Difference {
        table: "8-10",
        instruction: "JMP",
        mode: "d8(PC,Xn)",
        manual: "14(3/0)",
        chosen: "14(2/0)",
        reason: "the vectors; JSR's 22(2/2) fits two reads",
    },
    Difference {
        table: "8-14",
        instruction: "Address error",
        mode: "",
        manual: "50(4/7)",
        chosen: "58(4/7)",
        reason: "the vectors, from the start of the access that fails, which does not reach the bus",
    },
    Difference {
        table: "8-14",
        instruction: "CHK, above the bound",
        mode: "",
        manual: "40(4/3)+",
        chosen: "38(4/3)+",
        reason: "the vectors: this bound is found first",
    },
];
