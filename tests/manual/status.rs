//! The whole status register, and the many instructions that leave the condition codes alone.
//!
//! Sources, from memory: PRM section 4 (each instruction's condition codes) and section 1.3.2 (T in bit 15, S in bit
//! 13, the mask in bits 10 to 8; the others are not there and read as zero).

use keyway::cpu::Step;
use keyway::noise::Noise;

use super::support::{Bench, DATA, HANDLER, STACK, SUPERVISOR};

/// The bits that a 68000 has.
const THERE: u16 = 0xA71F;

type Rule = fn(u16, u16) -> u16;

/// Instructions that change all of it, in supervisor state, from the word that follows or from D1.
const TO_STATUS: [(&str, u16, Rule); 5] = [
    ("MOVE d1,SR", 0x46C1, |_, source| source),
    ("MOVE #,SR", 0x46FC, |_, source| source),
    ("ANDI #,SR", 0x027C, |old, source| old & source),
    ("ORI #,SR", 0x007C, |old, source| old | source),
    ("EORI #,SR", 0x0A7C, |old, source| old ^ source),
];

#[test]
fn the_status_register_is_written_as_a_whole() {
    let mut noise = Noise::new(0x5A);
    let mut bench = Bench::new();
    for (name, opcode, rule) in TO_STATUS {
        for _ in 0..2000 {
            let (old, source) = (noise.word() & 0x071F | 0x2000, noise.word());
            bench.fresh().code(&[opcode, source]).status(old).d(1, u32::from(source)).runs();
            assert_eq!(bench.cpu.status(), rule(old, source) & THERE, "{name} with {old:04X} and {source:04X}");
        }
    }
}

/// STOP loads it and stops. RTE takes it from the stack with the program counter; RTR only the condition codes.
#[test]
fn stop_and_the_returns_load_it() {
    let mut noise = Noise::new(0x57);
    let mut bench = Bench::new();
    for _ in 0..2000 {
        let (old, source) = (noise.word() & 0x071F | 0x2000, noise.word());
        bench.memory.put(STACK, &[source, 0x0000, HANDLER as u16]);
        // S stays set: whether STOP may clear it is not what is asked here.
        bench.fresh().code(&[0x4E72, source | 0x2000]).status(old).run();
        assert_eq!(bench.cpu.status(), (source | 0x2000) & THERE, "STOP #{source:04X}");
        assert!(bench.cpu.stopped());
        bench.fresh().code(&[0x4E73]).status(old).runs();
        assert_eq!((bench.cpu.status(), bench.cpu.pc()), (source & THERE, HANDLER), "RTE");
        assert_eq!(bench.cpu.registers().ssp.0, STACK + 6);
        bench.fresh().code(&[0x4E77]).status(old).runs();
        assert_eq!((bench.cpu.status(), bench.cpu.pc()), (old & 0xFF00 | source & 0x1F, HANDLER), "RTR");
    }
}

#[test]
fn move_from_status_shows_what_is_there() {
    let mut bench = Bench::new();
    for status in (0..=0xFFFF).filter(|status| status & THERE == *status && status & 0x2000 != 0) {
        bench.fresh().code(&[0x40C0]).status(status).d(0, 0xABCD_EF01).run();
        assert_eq!(bench.d_now(0), 0xABCD_0000 | u32::from(status));
        bench.fresh().code(&[0x40D0]).status(status).run();
        assert_eq!(bench.memory.peek(DATA, 16), u32::from(status));
    }
}

/// PRM table 3-18 ends with those that affect nothing. All that is run here is even and inside the memory.
const UNAFFECTED: [(&str, &[u16]); 62] = [
    ("MOVEA.W d1,a0", &[0x3041]),
    ("MOVEA.L (a1),a0", &[0x2051]),
    ("ADDA.W d1,a0", &[0xD0C1]),
    ("ADDA.L (a1),a0", &[0xD1D1]),
    ("SUBA.W d1,a0", &[0x90C1]),
    ("SUBA.L (a1),a0", &[0x91D1]),
    ("ADDQ.W #1,a0", &[0x5248]),
    ("ADDQ.L #8,a0", &[0x5088]),
    ("SUBQ.W #1,a0", &[0x5348]),
    ("SUBQ.L #8,a0", &[0x5188]),
    ("LEA (a1),a0", &[0x41D1]),
    ("LEA 4(a1,d1.w),a0", &[0x41F1, 0x1004]),
    ("PEA (a1)", &[0x4851]),
    ("PEA 0x4000", &[0x4879, 0x0000, 0x4000]),
    ("JMP (a1)", &[0x4ED1]),
    ("JSR 2(a1)", &[0x4EA9, 0x0002]),
    ("BRA.B", &[0x6004]),
    ("BRA.W", &[0x6000, 0x0010]),
    ("BSR.B", &[0x6104]),
    ("BSR.W", &[0x6100, 0x0010]),
    ("BHI", &[0x6204]),
    ("BLS", &[0x6304]),
    ("BCC", &[0x6404]),
    ("BCS", &[0x6500, 0x0010]),
    ("BNE", &[0x6604]),
    ("BEQ", &[0x6704]),
    ("BVC", &[0x6804]),
    ("BVS", &[0x6900, 0x0010]),
    ("BPL", &[0x6A04]),
    ("BMI", &[0x6B04]),
    ("BGE", &[0x6C04]),
    ("BLT", &[0x6D00, 0x0010]),
    ("BGT", &[0x6E04]),
    ("BLE", &[0x6F04]),
    ("DBT", &[0x50C9, 0x0010]),
    ("DBF", &[0x51C9, 0x0010]),
    ("DBNE", &[0x56C9, 0x0010]),
    ("DBLE", &[0x5FCA, 0x0010]),
    ("ST d0", &[0x50C0]),
    ("SF (a1)", &[0x51D1]),
    ("SHI d0", &[0x52C0]),
    ("SLE (a1)", &[0x5FD1]),
    ("EXG d0,d1", &[0xC141]),
    ("EXG a0,a1", &[0xC149]),
    ("EXG d0,a1", &[0xC189]),
    ("LINK a0,#-4", &[0x4E50, 0xFFFC]),
    ("UNLK a0", &[0x4E58]),
    ("MOVE a0,USP", &[0x4E60]),
    ("MOVE USP,a0", &[0x4E68]),
    ("MOVE SR,d0", &[0x40C0]),
    ("MOVE SR,(a1)", &[0x40D1]),
    ("MOVEM.W d0-a6,-(a7)", &[0x48A7, 0xFFFE]),
    ("MOVEM.L d0-a6,(a1)", &[0x48D1, 0x7FFF]),
    ("MOVEM.W (a1),d0-d7", &[0x4C91, 0x00FF]),
    ("MOVEM.L (a7)+,d0-a6", &[0x4CDF, 0x7FFF]),
    ("MOVEP.W d0,1(a1)", &[0x0189, 0x0001]),
    ("MOVEP.L 1(a1),d0", &[0x0149, 0x0001]),
    ("NOP", &[0x4E71]),
    ("RESET", &[0x4E70]),
    ("RTS", &[0x4E75]),
    ("MOVEA.W #-1,a0", &[0x307C, 0xFFFF]),
    ("SUBA.L a0,a0", &[0x91C8]),
];

#[test]
fn many_instructions_leave_the_codes_alone() {
    for (name, code) in UNAFFECTED {
        let mut bench = Bench::new();
        for codes in 0..0x20 {
            bench.fresh().code(code).status(SUPERVISOR | codes).runs();
            assert_eq!(bench.cpu.status(), SUPERVISOR | codes, "{name}");
        }
    }
}

/// So do exceptions: the frame has the status as it was, the handler runs in supervisor state without trace.
#[test]
fn exceptions_keep_the_codes() {
    let raising = [
        ("TRAP #3", 0x4E43, SUPERVISOR),
        ("TRAP #3 in user state", 0x4E43, 0),
        ("TRAPV", 0x4E76, SUPERVISOR | 2),
        ("ILLEGAL", 0x4AFC, SUPERVISOR),
        ("line A", 0xA123, SUPERVISOR),
        ("line F", 0xF123, 0x0300),
        ("RESET in user state", 0x4E70, 0),
        ("RTE in user state", 0x4E73, 0x0700),
    ];
    let mut bench = Bench::new();
    for (name, opcode, status) in raising {
        for codes in 0..0x20 {
            let before = status | codes;
            bench.fresh().code(&[opcode]).status(before);
            bench.raises();
            assert_eq!(bench.memory.peek(STACK - 6, 16), u32::from(before), "{name}: the frame");
            assert_eq!(bench.cpu.status(), before | 0x2000, "{name}: the handler");
        }
    }
}

/// TRAPV looks at V alone.
#[test]
fn trapv_traps_on_overflow_only() {
    let mut bench = Bench::new();
    for codes in 0..0x20 {
        let step = bench.fresh().code(&[0x4E76]).status(SUPERVISOR | codes).run();
        assert_eq!(step == Step::Ran, codes & 2 == 0, "{codes:02X}");
    }
}
