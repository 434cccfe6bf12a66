//! The processor against its manuals: vectors, odd addresses, cycles.
//!
//! Sources: M68000 Family Programmer's Reference Manual (PRM) and MC68000 User's Manual (UM, 9th edition), both quoted
//! from memory. The cycle counts are worked out by hand from the UM's tables; none was taken from the code under test.

use keyway::board::{Access, Observer, OpenBus, PortSize, Schedule};
use keyway::cpu::Exception;
use keyway::run::{End, Machine};

use super::support::{Bench, NOWHERE, RAM, STACK, byte_port};

const HANDLER: u32 = 0x800;

/// Notes the reads of the vector table.
#[derive(Clone, Default)]
struct Vectors(Vec<u32>);

impl Observer for Vectors {
    fn read(&mut self, access: &Access) {
        if access.address < 0x400 {
            assert_eq!(access.size, PortSize::Word);
            self.0.push(access.address);
        }
    }
}

/// PRM table B-1 (from memory): vector numbers; a vector's address is four times its number. Each exception is raised
/// for real, and its vector fetched: high word, low word.
#[test]
fn exceptions_fetch_the_vectors_of_the_manual() {
    let traps: Vec<Vec<u16>> = (0..16).map(|number| vec![0x4E40 + number]).collect();
    let mut cases: Vec<(u32, Exception, &[u16])> = vec![
        (2, Exception::BusError, &[0x4A39, 0x00A0, 0x0000] /* tst.b 0xA00000 */),
        (3, Exception::AddressError, &[0x4A79, 0x00E0, 0x0001] /* tst.w 0xE00001 */),
        (4, Exception::Illegal, &[0x4AFC] /* illegal */),
        (5, Exception::ZeroDivide, &[0x81FC, 0x0000] /* divs #0,d0 */),
        (6, Exception::Chk, &[0x70FF, 0x4181] /* moveq #-1,d0; chk d1,d0 */),
        (7, Exception::Trapv, &[0x003C, 0x0002, 0x4E76] /* ori #2,ccr; trapv */),
        (8, Exception::Privilege, &[0x027C, 0x0000, 0x46C0] /* andi #0,sr; move.w d0,sr */),
        (9, Exception::Trace, &[0x46FC, 0xA700, 0x4E71] /* move.w #0xA700,sr; nop */),
        (10, Exception::LineA, &[0xA000]),
        (11, Exception::LineF, &[0xF000]),
    ];
    for (number, code) in traps.iter().enumerate() {
        cases.push((32 + number as u32, Exception::Trap(number as u8), code));
    }
    for (vector, exception, code) in cases {
        let mut bench =
            Bench::new(code).open(OpenBus::BusError).put(HANDLER, &[0x4E72, 0x2700] /* stop #0x2700 */);
        bench = bench.handles(exception, HANDLER);
        let mut machine = Machine::watched(bench.rig(), Vectors::default());
        let end = machine.run(&bench.setup(), &bench.fills).end;
        assert_eq!(end, End::Stopped, "{exception:?}");
        assert_eq!(machine.observer().0, [4 * vector, 4 * vector + 2], "{exception:?}");
        assert_eq!(u32::from(exception.vector()), vector);
    }
}

/// PRM section 2 (from memory): words and longs lie at even addresses, bytes at any. Every opcode that can address
/// memory by (A0), with A0 odd: byte-sized ones run, the others are address errors.
#[test]
fn words_and_longs_at_odd_addresses_are_address_errors_and_bytes_are_not() {
    let sized: [(u16, &str); 12] = [
        (0x4A10, "tst"),
        (0x4410, "neg"),
        (0x4610, "not"),
        (0x4010, "negx"),
        (0xD110, "add to memory"),
        (0xD010, "add"),
        (0x9010, "sub"),
        (0xC010, "and"),
        (0x8010, "or"),
        (0xB010, "cmp"),
        (0xB110, "eor"),
        (0x5210, "addq"),
    ];
    for (byte, name) in sized {
        for size in 0..3 {
            let bench = Bench::new(&[byte | size << 6, 0x4E75]).set("a0", RAM + 0x101);
            match bench.run().end {
                End::Returned => assert_eq!(size, 0, "{name}"),
                End::Crashed(crash) => {
                    assert_eq!((crash.exception, size > 0), (Exception::AddressError, true), "{name} size {size}");
                }
                end => panic!("{name} size {size}: {end:?}"),
            }
        }
    }
}

/// Cycles of a sequence that ends with RTS (16).
fn cycles(code: &[u16]) -> u64 {
    let with_return = [code, &[0x4E75]].concat();
    let bench = Bench::new(&with_return).set("a0", RAM + 0x100).set("a1", RAM + 0x200).set("d1", 2).port(byte_port(
        "pedal",
        NOWHERE + 3,
        Some(Schedule::Constant(0)),
        None,
    ));
    bench.returns().cycles - 16
}

/// UM tables 8-2 to 8-12 (from memory): one instruction each.
#[test]
fn single_instructions_take_the_cycles_of_the_manual() {
    let cases: [(&[u16], u64, &str); 46] = [
        (&[0x4E71] /* nop */, 4, "8-13"),
        (&[0x7001] /* moveq #1,d0 */, 4, "8-7: 4"),
        (&[0x1200] /* move.b d0,d1 */, 4, "8-2"),
        (&[0x33C0, 0x00E0, 0x0010] /* move.w d0,0xE00010 */, 16, "8-2: to xxx.L"),
        (&[0x31C0, 0x0600] /* move.w d0,(0x0600).w */, 12, "8-2: to xxx.W"),
        (&[0x3018] /* move.w (a0)+,d0 */, 8, "8-2"),
        (&[0x3020] /* move.w -(a0),d0 */, 10, "8-2"),
        (&[0x3028, 0x0004] /* move.w 4(a0),d0 */, 12, "8-2"),
        (&[0x3030, 0x1004] /* move.w 4(a0,d1.w),d0 */, 14, "8-2"),
        (&[0x33F9, 0x00E0, 0x0010, 0x00E0, 0x0012] /* move.w 0xE00010,0xE00012 */, 28, "8-2"),
        (&[0x303C, 0x0001] /* move.w #1,d0 */, 8, "8-2"),
        (&[0x13FC, 0x0001, 0x00E0, 0x0011] /* move.b #1,0xE00011 */, 20, "8-2"),
        (&[0x22D8] /* move.l (a0)+,(a1)+ */, 20, "8-3"),
        (&[0x203C, 0x1234, 0x5678] /* move.l #0x12345678,d0 */, 12, "8-3"),
        (&[0x2100] /* move.l d0,-(a0) */, 12, "8-3"),
        (&[0x2449] /* movea.l a1,a2 */, 4, "8-3"),
        (&[0x45F9, 0x00E0, 0x0000] /* lea 0xE00000,a2 */, 12, "8-10: xxx.L"),
        (&[0x45E8, 0x0004] /* lea 4(a0),a2 */, 8, "8-10: d16"),
        (&[0x45F0, 0x1004] /* lea 4(a0,d1.w),a2 */, 12, "8-10: index"),
        (&[0xB308] /* cmpm.b (a0)+,(a1)+ */, 12, "8-11"),
        (&[0xB388] /* cmpm.l (a0)+,(a1)+ */, 20, "8-11"),
        (&[0x0C40, 0x0001] /* cmpi.w #1,d0 */, 8, "8-5"),
        (&[0x0C50, 0x0001] /* cmpi.w #1,(a0) */, 12, "8-5: 8 + EA 4"),
        (&[0xB018] /* cmp.b (a0)+,d0 */, 8, "8-4: 4 + EA 4"),
        (&[0xB280] /* cmp.l d0,d1 */, 6, "8-4"),
        (&[0x5240] /* addq.w #1,d0 */, 4, "8-5"),
        (&[0x5250] /* addq.w #1,(a0) */, 12, "8-5: 8 + EA 4"),
        (&[0xD240] /* add.w d0,d1 */, 4, "8-4"),
        (&[0xD290] /* add.l (a0),d1 */, 14, "8-4: 6 + EA 8"),
        (&[0xD4C0] /* adda.w d0,a2 */, 8, "8-4"),
        (&[0x0240, 0x0007] /* andi.w #7,d0 */, 8, "8-5"),
        (&[0xB501] /* eor.b d2,d1 */, 4, "8-4"),
        (&[0xE319] /* rol.b #1,d1 */, 8, "8-7: 6 + 2n"),
        (&[0xE988] /* lsl.l #4,d0 */, 16, "8-7: 8 + 2n"),
        (&[0x4840] /* swap d0 */, 4, "8-12"),
        (&[0x48C0] /* ext.l d0 */, 4, "8-12"),
        (&[0xC18A] /* exg d0,a2 */, 6, "8-12"),
        (&[0x4240] /* clr.w d0 */, 4, "8-6"),
        (&[0x4A40] /* tst.w d0 */, 4, "8-6"),
        (&[0x0839, 0x0000, 0x00A0, 0x0003] /* btst #0,0xA00003 */, 20, "8-8: 8 + EA 12"),
        (&[0x0800, 0x0000] /* btst #0,d0 */, 10, "8-8"),
        (&[0x08D0, 0x0000] /* bset #0,(a0) */, 16, "8-8: 12 + EA 4"),
        (
            &[
                0x48E7, 0xF000, // movem.l d0-d3,-(sp)
                0x4FEF, 0x0010, // lea 16(sp),sp
            ],
            8 + 8 * 4 + 8,
            "8-10: 8 + 8n",
        ),
        (&[0x4C98, 0x0007] /* movem.w (a0)+,d0-d2 */, 12 + 4 * 3, "8-10: 12 + 4n"),
        (&[0x4CD0, 0x00F0] /* movem.l (a0),d4-d7 */, 12 + 8 * 4, "8-10: 12 + 8n"),
        (&[0x4850, 0x588F] /* pea (a0); addq.l #4,sp */, 12 + 8, "8-10: PEA (An) 12; ADDQ.L #,An 8"),
    ];
    for (code, expected, table) in cases {
        assert_eq!(cycles(code), expected, "{code:04X?}, UM table {table}");
    }
}

/// UM table 8-9 (from memory): branches, taken and not.
#[test]
fn branches_take_the_cycles_of_the_manual() {
    let cases: [(&[u16], u64, &str); 12] = [
        (&[0x6002, 0x4E71, 0x4E71] /* bra.s 1f; nop; 1: nop */, 10 + 4, "BRA.B"),
        (&[0x6000, 0x0004, 0x4E71, 0x4E71] /* bra.w 1f; nop; 1: nop */, 10 + 4, "BRA.W"),
        (
            &[
                0x7000, // moveq #0,d0
                0x6702, // beq.s 1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 10 + 4,
            "Bcc.B taken",
        ),
        (
            &[
                0x7000, // moveq #0,d0
                0x6700, 0x0004, // beq.w 1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 10 + 4,
            "Bcc.W taken",
        ),
        (
            &[
                0x7001, // moveq #1,d0
                0x6702, // beq.s 1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 8 + 4 + 4,
            "Bcc.B not taken",
        ),
        (
            &[
                0x7001, // moveq #1,d0
                0x6700, 0x0004, // beq.w 1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 12 + 4 + 4,
            "Bcc.W not taken",
        ),
        (
            &[
                0x7401, // moveq #1,d2
                0x51CA, 0x0004, // dbra d2,1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 10 + 4,
            "DBcc taken",
        ),
        (
            &[
                0x7400, // moveq #0,d2
                0x51CA, 0x0004, // dbra d2,1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 14 + 4 + 4,
            "DBcc expired",
        ),
        (
            &[
                0x7400, // moveq #0,d2
                0x57CA, 0x0004, // dbeq d2,1f
                0x4E71, // nop
                0x4E71, // 1: nop
            ],
            4 + 12 + 4 + 4,
            "DBcc, condition true",
        ),
        (
            &[
                0x6102, // bsr.s 1f
                0x6002, // bra.s 2f
                0x4E75, // 1: rts
                0x4E71, // 2: nop
            ],
            18 + 16 + 10 + 4,
            "BSR, RTS",
        ),
        (
            &[
                0x4EBA, 0x0004, // jsr 1f(pc)
                0x6002, // bra.s 2f
                0x4E75, // 1: rts
                0x4E71, // 2: nop
            ],
            18 + 16 + 10 + 4,
            "JSR d16(PC), RTS",
        ),
        (&[0x45FA, 0x0004, 0x4ED2, 0x4E71] /* lea 1f(pc),a2; jmp (a2); 1: nop */, 8 + 8 + 4, "JMP (An)"),
    ];
    for (code, expected, what) in cases {
        assert_eq!(cycles(code), expected, "{what}");
    }
}

/// The loops of a detection, by hand: n rounds cost n of the taken kind and one of the other.
#[test]
fn loops_add_up() {
    // Compare 16 equal bytes: LEA xxx.L 12 twice, MOVEQ 4, 16 CMPM.B at 12, 15 DBNE back at 10 and one expired at 14.
    let compare = &[
        0x41F9, 0x00E0, 0x0100, // lea 0xE00100,a0
        0x43F9, 0x00E0, 0x0200, // lea 0xE00200,a1
        0x700F, // moveq #15,d0
        0xB308, // 1: cmpm.b (a0)+,(a1)+
        0x56C8, 0xFFFC, // dbne d0,1b
    ];
    assert_eq!(cycles(compare), 12 + 12 + 4 + 16 * 12 + 15 * 10 + 14);
    // The same with a difference in the third byte: DBNE leaves on its condition, 12.
    let differ = &[
        0x13FC, 0x0001, 0x00E0, 0x0102, // move.b #1,0xE00102
        0x41F9, 0x00E0, 0x0100, // lea 0xE00100,a0
        0x43F9, 0x00E0, 0x0200, // lea 0xE00200,a1
        0x700F, // moveq #15,d0
        0xB308, // 1: cmpm.b (a0)+,(a1)+
        0x56C8, 0xFFFC, // dbne d0,1b
    ];
    assert_eq!(cycles(differ), 20 + 12 + 12 + 4 + 3 * 12 + 2 * 10 + 12);
    // Copy 16 longs: MOVE.L (An)+,(An)+ 20.
    let copy = &[
        0x700F, // moveq #15,d0
        0x22D8, // 1: move.l (a0)+,(a1)+
        0x51C8, 0xFFFC, // dbra d0,1b
    ];
    assert_eq!(cycles(copy), 4 + 16 * 20 + 15 * 10 + 14);
    // Poll a port 100 times: BTST #,xxx.L 20, BNE.B not taken 8.
    let poll = &[
        0x7063, // moveq #99,d0
        0x0839, 0x0000, 0x00A0, 0x0003, // 1: btst #0,0xA00003
        0x6604, // bne.s 2f
        0x51C8, 0xFFF4, // dbra d0,1b
        0x4E71, // 2: nop
    ];
    assert_eq!(cycles(poll), 4 + 100 * (20 + 8) + 99 * 10 + 14 + 4);
    // Hash 14 bytes: ROL.B #1 8, MOVE.B (An)+,Dn 8, EOR.B 4.
    let hash = &[
        0x700D, // moveq #13,d0
        0x7200, // moveq #0,d1
        0xE319, // 1: rol.b #1,d1
        0x1418, // move.b (a0)+,d2
        0xB501, // eor.b d2,d1
        0x51C8, 0xFFF8, // dbra d0,1b
        0x0241, 0x0007, // andi.w #7,d1
    ];
    assert_eq!(cycles(hash), 4 + 4 + 14 * (8 + 8 + 4) + 13 * 10 + 14 + 8);
}

/// PRM and UM 6.1 (from memory): supervisor state out of reset and in handlers; the frame lies below the stack pointer.
#[test]
fn the_routine_starts_in_the_state_of_the_harness() {
    let bench = Bench::new(&[0x4E75]);
    let registers = bench.returns().registers;
    assert_eq!(u16::from(registers.sr), 0x2700);
    assert_eq!((registers.ssp.0, registers.usp.0), (STACK, 0));
}
