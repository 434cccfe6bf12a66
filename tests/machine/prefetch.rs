//! The prefetch queue in a run: two words are fetched ahead, whatever becomes of memory under them.
//!
//! Before an instruction runs, its opcode and the word behind it are in the processor; each word that it takes out of
//! the queue is replaced by the next one (MC68000UM on the prefetch, from memory). The order of bus cycles, and with it
//! which fetches come before a write and which after it, is that of the published vectors (`tests/vectors.rs`): each test
//! names the files it was read from.

use keyway::board::{Access, AccessKind, Bus, Cycle, Observer, OpenBus, PortSize, RamFill, Remap, Schedule};
use keyway::cpu::{Exception, FunctionCode};
use keyway::run::{Crash, End, Exit, Machine, Wrong};
use m68000::Registers;

use super::support::{Bench, CODE, NOWHERE, RAM, ROM_SIZE, STACK, byte_port, d, word_port};

/// Where code runs in RAM.
const START: u32 = RAM + 0x100;
const LATCH: u32 = NOWHERE + 1;
const HANDLER: u32 = 0x800;
const RTS: u16 = 0x4E75;

/// Code that writes these words into RAM, from [`START`] on, and jumps there; a `None` is left as it was at power-on.
fn in_ram(words: &[Option<u16>]) -> Bench {
    in_ram_at(START, words)
}

fn in_ram_at(start: u32, words: &[Option<u16>]) -> Bench {
    let mut code = Vec::new();
    for (at, word) in (start..).step_by(2).zip(words) {
        if let Some(word) = word {
            code.extend([0x33FC, *word, (at >> 16) as u16, at as u16]); // move.w #word,at
        }
    }
    code.extend([0x4EF9, (start >> 16) as u16, start as u16]); // jmp start
    let mut bench = Bench::new(&code);
    bench.routine.executes_anywhere = true;
    bench
}

fn all(words: &[u16]) -> Vec<Option<u16>> {
    words.iter().copied().map(Some).collect()
}

/// Which words behind an instruction a write of it comes too late for: those that it has fetched already.
///
/// Each instruction here makes `moveq #2` of one of the three `moveq #1` behind it. How many of these are in the queue
/// by then follows from the vectors MOVE.w, MOVEM.w and EOR.w: MOVE to (An) writes before its last fetch, and so does
/// MOVEM; MOVE to -(An) and EOR after it. MOVE from a register to an absolute long address writes when both words of the
/// address are replaced, MOVE from memory when only one is.
#[test]
fn code_that_overwrites_what_follows_it_runs_the_words_already_fetched() {
    let cases: [(&[u16], usize, &str); 6] = [
        (&[0x3481], 1, "move.w d1,(a2)"),
        (&[0x3501], 2, "move.w d1,-(a2)"),
        (&[0xB352], 2, "eor.w d1,(a2)"),
        (&[0x4892, 0x0002], 1, "movem.w d1,(a2)"),
        (&[0x33C1, 0x00E0, 0x0000], 1, "move.w d1,xxx.l"),
        (&[0x33D3, 0x00E0, 0x0000], 0, "move.w (a3),xxx.l"),
    ];
    for (writer, fetched, name) in cases {
        for late in 0..3 {
            let target = START + 2 * (writer.len() + late) as u32;
            let mut words = writer.to_vec();
            if words.len() == 3 {
                words[2] = target as u16;
            }
            words.extend([0x7401, 0x7601, 0x7801, RTS]); // moveq #1,d2; moveq #1,d3; moveq #1,d4; rts
            let new = [0x7402, 0x7602, 0x7802][late];
            let mut bench = in_ram(&all(&words)).put(0x700, &[new]).set("a3", 0x700);
            bench = bench.set("a2", if writer[0] == 0x3501 { target + 2 } else { target });
            // EOR turns 1 into 2.
            let outcome = bench.set("d1", if writer[0] == 0xB352 { 3 } else { new.into() }).returns();
            let mut expected = [1; 3];
            expected[late] = if late < fetched { 1 } else { 2 };
            assert_eq!([2, 3, 4].map(|number| d(&outcome, number)), expected, "{name}, {late} words behind it");
        }
    }
}

/// A jump fetches both words anew, be it to the next word: what was in the queue is forgotten.
#[test]
fn after_a_jump_the_new_words_run() {
    let words = [
        0x3501, // move.w d1,-(a2)
        0x4ED4, // jmp (a4)
        0x7401, // moveq #1,d2: fetched before it is overwritten, and once more by the jump
        RTS,
    ];
    let outcome = in_ram(&all(&words)).set("a2", START + 6).set("a4", START + 4).set("d1", 0x7402).returns();
    assert_eq!(d(&outcome, 2), 2);
    let again = [
        0x5243, // 1: addq.w #1,d3
        0x3481, // move.w d1,(a2)
        0x7401, // moveq #1,d2: makes way for moveq #2,d2
        0xD842, // add.w d2,d4
        0x51C8, 0xFFF6, // dbra d0,1b
        RTS,
    ];
    let outcome = in_ram(&all(&again)).set("a2", START + 4).set("d1", 0x7402).set("d0", 2).returns();
    assert_eq!((d(&outcome, 3), d(&outcome, 4)), (3, 1 + 2 + 2));
}

/// A bench with host code at [`CODE`] and other code that shows there while the latch holds 1; A2 points at the latch
/// and behind it, D1 is 1.
fn two_layers(host: &[u16], other: &[u16]) -> Bench {
    let bytes: Vec<u8> = other.iter().flat_map(|word| word.to_be_bytes()).collect();
    let bench = Bench::new(host).port(byte_port("latch", LATCH, None, Some(&[0, 1])));
    let end = CODE + bytes.len() as u32 - 1;
    bench.overlay(CODE, end, 1, &bytes).set("a2", LATCH).set("a3", LATCH + 1).set("d1", 1)
}

/// A latch that remaps the code which writes it: what is in the queue still comes from the old layer, what is fetched
/// from then on from the new one. MOVE.b in the vectors: to (An) the write comes before the last fetch, to -(An) after.
#[test]
fn a_latch_that_remaps_the_running_code_leaves_the_queue_alone() {
    let (host, other) = (&[0, 0x7401, 0x7601, 0x7801, RTS], &[0, 0x7402, 0x7602, 0x7802, RTS]);
    for (writer, expected) in [(0x1481 /* move.b d1,(a2) */, [1, 2, 2]), (0x1701 /* move.b d1,-(a3) */, [1, 1, 2])] {
        let (mut host, mut other) = (*host, *other);
        (host[0], other[0]) = (writer, 0x4AFC);
        let outcome = two_layers(&host, &other).returns();
        assert_eq!([2, 3, 4].map(|number| d(&outcome, number)), expected, "{writer:04X}");
        assert_eq!(outcome.troubles.remap, Some(Remap { overlay: 0, pc: CODE, came: true }));
        assert_eq!(outcome.troubles.early_read_count, 0);
    }
}

/// The usual trick: the jump behind the write is in the queue already, and goes to the new layer.
#[test]
fn a_jump_behind_the_latch_write_goes_to_the_new_layer() {
    let host = [
        0x1481, // move.b d1,(a2)
        0x4ED4, // jmp (a4)
        0x7401, // moveq #1,d2
        RTS,
    ];
    // Nothing here makes sense but what the jump goes to.
    let outcome = two_layers(&host, &[0x4AFC, 0x4AFC, 0x7402, RTS]).set("a4", CODE + 4).returns();
    assert_eq!(d(&outcome, 2), 2);
    // Code that stands elsewhere is not remapped, and not noted.
    let elsewhere = two_layers(&[0x4ED5] /* jmp (a5) */, &[0x7402, RTS]).put(0x600, &host[..2]);
    let outcome = elsewhere.set("a4", CODE).set("a5", 0x600).returns();
    assert_eq!((d(&outcome, 2), outcome.troubles.remap), (2, None));
}

/// What is only fetched ahead, or read and dropped, beyond the end of a memory is no read that the program made.
#[test]
fn words_beyond_the_end_are_no_stray_reads() {
    let last = ROM_SIZE as u32 - 2;
    let return_at_the_end = Bench::new(&[0x4EF8, last as u16] /* jmp (last).w */).put(last, &[RTS]);
    let movem_at_the_end = Bench::new(&[
        0x23C0, 0x00E0, 0xFFFC, // move.l d0,0xE0FFFC
        0x4CB9, 0x0006, 0x00E0, 0xFFFC, // movem.w 0xE0FFFC,d1-d2
        RTS,
    ]);
    for bench in [return_at_the_end, movem_at_the_end] {
        assert_eq!(bench.returns().troubles.stray_counts, [0; 3]);
    }
    let asked_for = Bench::new(&[0x3039, 0x00E1, 0x0000, RTS] /* move.w 0xE10000,d0; rts */);
    assert_eq!(asked_for.returns().troubles.stray_counts, [0, 1, 0]);
}

/// Words of RAM that are fetched and never run are nobody's fault: a return and a branch leave them behind.
#[test]
fn a_word_that_is_only_fetched_is_not_read_before_written() {
    let returns = in_ram(&[Some(0x7401), Some(RTS)]);
    let branches =
        in_ram(&[Some(0x7401), Some(0x6002) /* bra.s 1f */, None, Some(0x4E71) /* 1: nop */, Some(RTS)]);
    for bench in [returns, branches] {
        for fill in [RamFill::Zeros, RamFill::Ones, RamFill::Noise] {
            let mut bench = bench.clone();
            bench.fills = vec![fill];
            let outcome = bench.returns();
            assert_eq!((outcome.troubles.early_reads, outcome.troubles.early_read_count), (vec![], 0));
            // What was in the queue came from the fill, and a run with another one is another run.
            assert!(outcome.fill_matters);
        }
    }
    assert!(!Bench::new(&[0x7401, RTS]).returns().fill_matters, "code in ROM");
    let whole = in_ram(&all(&[0x7401, RTS, 0x4E71]));
    assert!(!whole.returns().fill_matters, "the word behind the return is written too");
}

/// Words that do run are, each byte with the address of its instruction: zeros are `ori.b #0,d0`, two words long.
#[test]
fn a_word_that_runs_is_read_before_written() {
    let mut bench = in_ram(&[Some(0x7401), None, None, Some(RTS)]);
    let at = START + 2;
    let outcome = bench.returns();
    let reads: Vec<(u32, u32)> = outcome.troubles.early_reads.iter().map(|read| (read.address, read.pc)).collect();
    assert_eq!(reads, [(at, at), (at + 1, at), (at + 2, at), (at + 3, at)]);
    assert!(outcome.fill_matters);
    // Ones are a line F opcode, one word long.
    bench.fills = vec![RamFill::Ones];
    let outcome = bench.run();
    assert!(matches!(outcome.end, End::Crashed(Crash { exception: Exception::LineF, .. })), "{:?}", outcome.end);
    assert_eq!((outcome.last, outcome.troubles.early_read_count), (at, 2));
    // The same if it is the operand of a word that was written: moveq #1,d2; ori.b #x,d0.
    let outcome = in_ram(&[Some(0x7401), Some(0x0000), None, Some(RTS)]).returns();
    let reads: Vec<(u32, u32)> = outcome.troubles.early_reads.iter().map(|read| (read.address, read.pc)).collect();
    assert_eq!(reads, [(at + 2, at), (at + 3, at)]);
    // An exit that is reached does not run.
    let outcome = in_ram(&[Some(0x7401)]).branch("exit", Exit::At(at), None).run();
    assert_eq!((outcome.end, outcome.troubles.early_read_count), (End::Branch(0), 0));
}

/// Reads that the processor drops are reads for a port (vectors CLR.*, Scc, MOVEfromSR, MOVEM.*): the next one finds the
/// second value of the list.
#[test]
fn a_port_counts_reads_that_the_processor_drops() {
    let values = Schedule::Sequence([0x11, 0x22, 0x33].as_slice().into());
    let cases: [(&[u16], u32, u32); 8] = [
        (&[0x4E71] /* nop */, NOWHERE, 0x11),
        (&[0x4A10] /* tst.b (a0) */, NOWHERE, 0x22),
        (&[0x4210] /* clr.b (a0) */, NOWHERE, 0x22),
        (&[0x50D0] /* st (a0) */, NOWHERE, 0x22),
        (&[0x40D0] /* move.w sr,(a0) */, NOWHERE, 0x22),
        (&[0x4290] /* clr.l (a0) */, NOWHERE, 0x22),
        // One word more than the list says.
        (&[0x4C90, 0x0006] /* movem.w (a0),d1-d2 */, NOWHERE - 4, 0x22),
        (&[0x4CD8, 0x0006] /* movem.l (a0)+,d1-d2 */, NOWHERE - 8, 0x22),
    ];
    for (code, a0, expected) in cases {
        for word in [false, true] {
            let plan = if word { word_port } else { byte_port };
            let port = plan("pedal", NOWHERE, Some(values.clone()), Some(&[0, 0xFF, 0xFF11, 0x2700, 0x27]));
            let read = if word { [0x3011, RTS] } else { [0x1011, RTS] }; // move.w (a1),d0 or move.b
            let bench = Bench::new(&[code, &read].concat()).port(port).set("a0", a0).set("a1", NOWHERE);
            assert_eq!(d(&bench.returns(), 0), expected, "{code:04X?}, word {word}");
        }
    }
}

/// In RAM such a read is none before a write: nobody ever sees what it found.
#[test]
fn a_dropped_read_of_ram_is_not_read_before_written() {
    let cases: [&[u16]; 7] = [
        &[0x4210],                         // clr.b (a0)
        &[0x4250],                         // clr.w (a0)
        &[0x4290],                         // clr.l (a0)
        &[0x50D0],                         // st (a0)
        &[0x40D0],                         // move.w sr,(a0)
        &[0x30BC, 0x0001, 0x4C90, 0x0002], // move.w #1,(a0); movem.w (a0),d1
        &[0x20BC, 0, 1, 0x4CD8, 0x0002],   // move.l #1,(a0); movem.l (a0)+,d1
    ];
    for code in cases {
        let outcome = Bench::new(&[code, &[RTS]].concat()).set("a0", START).returns();
        assert_eq!((outcome.troubles.early_read_count, outcome.fill_matters), (0, false), "{code:04X?}");
    }
    // MOVEM relative to the program counter: the word behind the one it loads was never written.
    let words = [Some(0x4CBA), Some(0x0002), Some(0x0004), Some(RTS), Some(1), None]; // movem.w 1f(pc),d1; rts; 1:
    let outcome = in_ram(&words).returns();
    assert_eq!((d(&outcome, 1), outcome.troubles.early_read_count), (1, 0));
    // What is used counts.
    let outcome = Bench::new(&[0x4C90, 0x0002, RTS] /* movem.w (a0),d1 */).set("a0", START).returns();
    assert_eq!(outcome.troubles.early_read_count, 2);
}

/// Where bus errors rule, the last instruction before a hole fails although it would have run; see `bus_errors` too.
#[test]
fn a_fetch_from_a_hole_is_a_bus_error_of_the_instruction_before_it() {
    let start = RAM + 0xFFFC;
    let code = [0x7407, RTS]; // moveq #7,d2; rts
    let outcome = in_ram_at(start, &all(&code)).returns();
    assert_eq!((d(&outcome, 2), outcome.fill_matters), (7, false), "the hole floats");
    let mut bench = in_ram_at(start, &all(&code)).open(OpenBus::BusError);
    let outcome = bench.run();
    let access = Some((RAM + 0x1_0000, AccessKind::Fetch));
    let crash = Crash { exception: Exception::BusError, access, handler: Wrong::NotHandled };
    assert_eq!((outcome.end, outcome.last), (End::Crashed(crash), start));
    // A handler that throws the frame away and goes on with the return, which fetches nothing behind itself.
    let handler = [0x4FEF, 0x000E, 0x4EF9, (start >> 16) as u16, start as u16]; // lea 14(sp),sp; jmp start
    bench = bench.put(HANDLER, &handler).handles(Exception::BusError, HANDLER);
    bench.routine.limits.instructions = 500;
    assert!(matches!(bench.run().end, End::Limit(_)), "it fails again each time");
    let handler = [0x4FEF, 0x000E, RTS]; // lea 14(sp),sp; rts
    assert_eq!(bench.put(HANDLER, &handler).run().end, End::Returned);
}

/// A bus cycle: what for, where, how wide, with which value, and whether the function code is that of program space.
type Pins = (Cycle, u32, PortSize, u16, bool);

/// Notes the bus cycles of the instruction at one address.
#[derive(Clone, Default)]
struct Probe {
    at: u32,
    user: bool,
    attached: bool,
    seen: Vec<Pins>,
}

impl Observer for Probe {
    const WATCHES_PASSING: bool = true;

    fn fetch(&mut self, at: u32, _: &Registers, _: &Bus) {
        self.attached = at == self.at;
    }

    fn passing(&mut self, access: &Access) {
        let Access { cycle, address, size, value, code, .. } = *access;
        let [data, program] = match self.user {
            true => [FunctionCode::UserData, FunctionCode::UserProgram],
            false => [FunctionCode::SupervisorData, FunctionCode::SupervisorProgram],
        };
        if self.attached {
            assert!(code == data || code == program, "{code:?}");
            self.seen.push((cycle, address, size, value, code == program));
        }
    }

    fn read(&mut self, access: &Access) {
        self.passing(access);
    }

    fn write(&mut self, access: &Access) {
        self.passing(access);
    }
}

/// Where the instruction under the probe stands, and a RAM long at each of two addresses.
const AT: u32 = CODE + 12;
const ONE: u32 = START;
const OTHER: u32 = START + 0x10;

/// Runs an instruction in both states, with 0x11223344 at [`ONE`] and 0x55667788 at [`OTHER`], and compares its cycles.
fn check_pins(name: &str, words: &[u16], (a0, a1): (u32, u32), expected: &[Pins]) {
    let ready = [0x28BC, 0x1122, 0x3344, 0x2ABC, 0x5566, 0x7788]; // move.l #0x11223344,(a4); move.l #0x55667788,(a5)
    for status in [0x2700, 0x0000] {
        let mut bench = Bench::new(&[&ready, words, &[RTS, 0x4E71]].concat()).put(0x600, &[RTS, 0x4E71]);
        bench = bench.set("a4", ONE).set("a5", OTHER).set("a0", a0).set("a1", a1).set("d1", 0xAABB_CCDD);
        bench.routine.status = status;
        let probe = Probe { at: AT, user: status == 0, ..Probe::default() };
        let mut machine = Machine::watched(bench.rig(), probe);
        assert_eq!(machine.run(&bench.setup(), &bench.fills).end, End::Returned, "{name}");
        assert_eq!(machine.observer().seen, expected, "{name}, status {status:04X}");
    }
}

fn fetched(address: u32, value: u16) -> Pins {
    (Cycle::Fetch, address, PortSize::Word, value, true)
}

fn word(cycle: Cycle, address: u32, value: u16) -> Pins {
    (cycle, address, PortSize::Word, value, false)
}

/// The bus cycles in the order of the chip, read from the vectors named; with what the registers and RAM hold here.
#[test]
fn bus_cycles_come_in_the_order_of_the_chip() {
    use Cycle::{Dropped, Read, Write};
    let next = fetched(AT + 4, 0x4E71);
    // MOVE.l: the prefetch, then the low word before the high one.
    let cycles = [next, word(Write, OTHER + 2, 0xCCDD), word(Write, OTHER, 0xAABB)];
    check_pins("move.l d1,-(a0)", &[0x2101], (OTHER + 4, 0), &cycles);
    // CLR.l: what is read is dropped.
    let cycles = [
        word(Dropped, ONE, 0x1122),
        word(Dropped, ONE + 2, 0x3344),
        next,
        word(Write, ONE + 2, 0),
        word(Write, ONE, 0),
    ];
    check_pins("clr.l (a0)", &[0x4290], (ONE, 0), &cycles);
    // ADDX.l: low words first, and the prefetch between the writes.
    let cycles = [
        word(Read, ONE + 2, 0x3344),
        word(Read, ONE, 0x1122),
        word(Read, OTHER + 2, 0x7788),
        word(Read, OTHER, 0x5566),
        word(Write, OTHER + 2, 0xAACC),
        next,
        word(Write, OTHER, 0x6688),
    ];
    check_pins("addx.l -(a0),-(a1)", &[0xD388], (ONE + 4, OTHER + 4), &cycles);
    // JSR: the first word of the target, the return address, the second word.
    let (stack, back) = (STACK - 8, AT as u16 + 2);
    let cycles = [fetched(0x600, RTS), word(Write, stack, 0), word(Write, stack + 2, back), fetched(0x602, 0x4E71)];
    check_pins("jsr (a0)", &[0x4E90], (0x600, 0), &cycles);
    // TAS: one locked cycle on the chip, a read and a write in the vectors and here; the prefetch is last.
    let byte = |cycle, value| (cycle, ONE + 1, PortSize::Byte, value, false);
    check_pins("tas (a0)", &[0x4AD0], (ONE + 1, 0), &[byte(Read, 0x22), byte(Write, 0xA2), next]);
}

/// MOVEM.w and MOVEM.l: the list is replaced in the queue, then one word more than the list needs is read; relative to
/// the program counter all of it is program space.
#[test]
fn a_movem_load_reads_one_word_too_many() {
    use Cycle::{Dropped, Read};
    let cycles = [
        fetched(AT + 4, RTS),
        word(Read, ONE, 0x1122),
        word(Read, ONE + 2, 0x3344),
        word(Dropped, ONE + 4, 0),
        fetched(AT + 6, 0x4E71),
    ];
    check_pins("movem.w (a0),d1-d2", &[0x4C90, 0x0006], (ONE, 0), &cycles);
    check_pins("movem.l (a0)+,d1", &[0x4CD8, 0x0002], (ONE, 0), &cycles);
    let program = |cycle, address, value| (cycle, address, PortSize::Word, value, true);
    let cycles = [
        fetched(AT + 4, 0xFFF8),
        fetched(AT + 6, RTS),
        program(Read, AT - 4, 0x5566),
        program(Dropped, AT - 2, 0x7788),
        fetched(AT + 8, 0x4E71),
    ];
    check_pins("movem.w .-8(pc),d1", &[0x4CBA, 0x0002, 0xFFF8], (0, 0), &cycles);
}
