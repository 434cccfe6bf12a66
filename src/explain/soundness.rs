//! Random programs, run twice with one byte of the attached image changed: whatever the marks say is untouched must be.
//!
//! The oracle is the machine itself. If the changed byte is not among what the way of the run hung on, both runs must go
//! the same way; and then a register, flag or byte of RAM that differs must have the byte among its sources.

use std::sync::Arc;

use m68000::isa::Isa;
use pretty_assertions::assert_eq;

use super::sources::{Source, Stretch, Taint};
use super::tracer::Tracer;
use crate::board::{
    BUS_MASK, Inputs, Map, MapParts, OpenBus, Place, Port, PortSize, RamArea, RamFill, Schedule, extension_words,
};
use crate::cartridge::{Attached, Fill, Image};
use crate::cpu::Exception;
use crate::noise::Noise;
use crate::rom::HostRom;
use crate::run::{Branch, BranchKind, Entry, Exit, Limits, Machine, Rig, Routine, Setup};

const CODE: u32 = 0x400;
const WINDOW: u32 = 0x20_0000;
const RAM: u32 = 0xE0_0000;
const HANDLER: u32 = 0x300;
/// Bytes of the image that the programs start with in their registers, and some around them.
const HEADER: u32 = 64;
const PROGRAMS: u32 = 8_000;

/// Loads all data registers from the image, copies more of it to RAM, and points the address registers at all kinds of
/// places. GNU `as`: movem.l 0x200000,d0-d7; movem.l d0-d3,0xE00100; lea ...
const START: &[u16] = &[
    0x4CF9, 0x00FF, 0x0020, 0x0000, 0x48F9, 0x000F, 0x00E0, 0x0100, 0x7C07, 0x207C, 0x00E0, 0x0104, 0x227C, 0x00E0,
    0x0208, 0x247C, 0x0020, 0x0010, 0x267C, 0x0000, 0x0600, 0x287C, 0x00E0, 0x0180, 0x2A7C, 0x00B0, 0x0000, 0x2C7C,
    0x00E0, 0x0110,
];

/// Instructions that leave the straight way for anywhere, or stop for ever.
fn unwanted(isa: Isa) -> bool {
    matches!(
        isa,
        Isa::Unknown
            | Isa::Bra
            | Isa::Bsr
            | Isa::Jmp
            | Isa::Jsr
            | Isa::Rts
            | Isa::Rtr
            | Isa::Rte
            | Isa::Stop
            | Isa::Trap
            | Isa::Illegal
            | Isa::Movesr
            | Isa::Andisr
            | Isa::Eorisr
            | Isa::Orisr
            | Isa::Dbcc
    )
}

/// A random program of some instructions.
fn program(noise: &mut Noise) -> Vec<u16> {
    let mut words = START.to_vec();
    let end = words.len() + 12;
    while words.len() < end {
        let mut opcode = noise.word();
        let isa = Isa::from(opcode);
        if unwanted(isa) {
            continue;
        }
        if isa == Isa::Bcc {
            // Over nothing, or over one word.
            opcode = opcode & 0xFF00 | 2;
        }
        words.push(opcode);
        for _ in 0..extension_words(opcode) {
            // Absolute addresses and displacements near to what the registers point at.
            let word =
                [noise.word(), noise.word() & 0x0F, 0x00E0, 0x0020, noise.word() & 0x7F][noise.word() as usize % 5];
            words.push(word);
        }
    }
    // Room for a branch over the last word: NOPs.
    words.extend([0x4E71; 6]);
    words
}

fn rig(words: &[u16], noise: &mut Noise) -> Rig {
    let mut rom: Vec<u8> = (0..0x800).map(|_| noise.word() as u8).collect();
    for (index, word) in words.iter().enumerate() {
        let at = CODE as usize + 2 * index;
        rom.splice(at..at + 2, word.to_be_bytes());
    }
    for vector in 2..16usize {
        rom.splice(4 * vector..4 * vector + 4, HANDLER.to_be_bytes());
    }
    // RTE; a handler of an address error would have to clear the stack first, and is not asked for.
    rom.splice(HANDLER as usize..HANDLER as usize + 2, [0x4E, 0x73]);
    let port = Port {
        name: "port".to_owned(),
        at: 0xB0_0001,
        size: PortSize::Byte,
        reads: Some(Schedule::Constant(0x5A)),
        writes: Some((0..256).collect()),
        power_on: 0,
    };
    let parts = MapParts {
        host: Arc::new(HostRom::from_bytes(rom, 0).expect("a ROM")),
        host_range: 0..=0x1F_FFFF,
        window: WINDOW..=0x3F_FFFF,
        unmapped: OpenBus::Floating,
        memory: vec![RamArea { name: "ram".to_owned(), range: RAM..=RAM + 0xFFFF, size: 0x1_0000 }],
        ports: vec![port],
        overlays: Vec::new(),
        waits: Vec::new(),
    };
    let exit = Exit::At(CODE + 2 * words.len() as u32 - 4);
    let branch = Branch {
        name: "end".to_owned(),
        kind: BranchKind::Rejected,
        exit,
        when: None,
        shows: Vec::new(),
        leaves: Vec::new(),
    };
    let routine = Routine {
        entry: Entry::At(CODE),
        stack: 0xE0_FE00,
        status: 0x2700,
        registers: Vec::new(),
        limits: Limits { instructions: 200, cycles: u64::MAX },
        handles: vec![Exception::ZeroDivide],
        executes_anywhere: false,
    };
    Rig { map: Arc::new(Map::new(parts).expect("a map")), routine, interrupts: Vec::new(), branches: vec![branch] }
}

fn image(noise: &mut Noise) -> Image {
    // Small, so that part of the window is open.
    let mut image = Image::new(HEADER + 32, Fill::Byte(0xFF));
    let bytes: Vec<u8> = (0..HEADER).map(|_| noise.word() as u8).collect();
    image.put(0, bytes);
    image
}

fn within(offset: u32, stretches: &[Stretch]) -> bool {
    stretches.iter().any(|stretch| match (stretch.first, stretch.last) {
        (Source::Image(first), Source::Image(last)) => (first..=last).contains(&offset),
        _ => false,
    })
}

/// Where the two runs may differ only with the byte among the sources: a name, both values, the taint.
type Place1 = (String, u32, u32, Taint);

/// Registers, flags and RAM of two runs that went the same way.
fn compared(traced: &mut Machine<Tracer>, plain: &Machine) -> Vec<Place1> {
    let mut places = Vec::new();
    let after = plain.outcome().registers;
    let bytes: Vec<(u32, u8)> = (0..0x400).map(|at| (RAM + at, plain.bus().peek(RAM + at).0)).collect();
    let (tracer, outcome, bus) = traced.watched_run();
    let before = outcome.registers;
    for (address, byte) in bytes {
        let taint = tracer.mark_peeked(Place::Ram(0), address & BUS_MASK).taint;
        places.push((format!("0x{address:06X}"), bus.peek(address).0.into(), byte.into(), taint));
    }
    tracer.follow.registers.follow(&before);
    for number in 0..8u8 {
        for index in 0..4 {
            let byte = |value: u32| value >> (8 * index) & 0xFF;
            let taint = tracer.follow.registers.data(number)[index].taint;
            let (one, two) = (before.d[usize::from(number)].0, after.d[usize::from(number)].0);
            places.push((format!("d{number}.{index}"), byte(one), byte(two), taint));
            let taint = tracer.follow.registers.address(number)[index].taint;
            places.push((format!("a{number}.{index}"), byte(before.a(number)), byte(after.a(number)), taint));
        }
    }
    let (one, two) = (u16::from(before.sr), u16::from(after.sr));
    let flags = [("z", 4, tracer.follow.zero), ("nvc", 0xB, tracer.follow.flags), ("x", 0x10, tracer.follow.extend)];
    for (name, mask, taint) in flags {
        places.push((name.to_owned(), (one & mask).into(), (two & mask).into(), taint));
    }
    places
}

#[test]
fn what_the_marks_call_untouched_is_untouched() {
    let mut noise = Noise::new(41);
    let (mut same_way, mut influential, mut differed, mut branches) = (0, 0, 0, 0);
    for _ in 0..PROGRAMS {
        let words = program(&mut noise);
        let rig = Arc::new(rig(&words, &mut noise));
        let image = image(&mut noise);
        let inputs = Inputs { attached: Attached::image(image.clone()), empty: OpenBus::Floating, ..Inputs::default() };
        let setup = Setup { inputs, ..Setup::default() };
        let mut traced = Machine::watched(Arc::clone(&rig), Tracer::new(Arc::clone(&rig)));
        traced.observer().start(&setup);
        traced.run(&setup, &[RamFill::Zeros]);
        let crash = traced.outcome().clone();
        let (tracer, ..) = traced.watched_run();
        tracer.end(&crash);
        let influence = tracer.follow.sources.stretches(tracer.influence);
        branches += u32::from(traced.outcome().branch().is_some());
        let mut plain = Machine::new(Arc::clone(&rig));
        for _ in 0..3 {
            let offset = u32::from(noise.word()) % HEADER;
            let flip = (noise.word() as u8).max(1);
            let mut other = image.clone();
            other.change(offset, image.byte(offset).unwrap_or(0) ^ flip);
            let mut setup = setup.clone();
            setup.inputs.attached = Attached::image(other);
            plain.run(&setup, &[RamFill::Zeros]);
            if within(offset, &influence) {
                influential += 1;
                continue;
            }
            same_way += 1;
            let (one, two) = (traced.outcome(), plain.outcome());
            let way = |outcome: &crate::run::Outcome| (outcome.end, outcome.last, outcome.instructions);
            assert_eq!(way(one), way(two), "byte {offset} in {words:04X?}");
            if one.branch().is_none() {
                continue;
            }
            for (name, one, two, taint) in compared(&mut traced, &plain) {
                let known = within(offset, &traced.observer().follow.sources.stretches(taint));
                differed += u32::from(one != two);
                assert!(one == two || known, "{name} differs by byte {offset}: {one:02X}, {two:02X} in {words:04X?}");
            }
        }
    }
    // The comparison must have had something to say in each way.
    assert!(
        same_way > 20_000 && influential > 500 && differed > 4_000 && branches > 2_000,
        "{same_way} went the same way, {influential} had influence, {differed} values differed, {branches} came to the end"
    );
}
