//! No input may make the loader panic: valid files of every format are damaged thousands of ways.

use keyway::rom::{ByteOrder, HostRom};

use super::elf_builder::{GLOBAL, NOTYPE};
use super::source_lines;
use super::srecord::{S_RECORDS, record};
use crate::support::Random;

use super::support::Bench;

/// How often each input is damaged.
const ROUNDS: usize = 4000;

/// How files are damaged.
trait Damage {
    fn byte(&mut self) -> u8;
    fn damage(&mut self, bytes: &mut Vec<u8>);
}

impl Damage for Random {
    /// A byte of the kind that finds faults: extremes, ASCII digits, or anything.
    fn byte(&mut self) -> u8 {
        const TELLING: &[u8] = b"\x00\x01\x02\x7F\x80\xFE\xFF\n :S0159AFf";
        match self.below(3) {
            0 => self.next() as u8,
            _ => TELLING[self.below(TELLING.len())],
        }
    }

    /// Damages the bytes once.
    fn damage(&mut self, bytes: &mut Vec<u8>) {
        let at = self.below(bytes.len());
        let length = self.below(9).min(bytes.len() - at);
        match self.below(8) {
            0 => bytes.truncate(at),
            1 => drop(bytes.drain(at..at + length)),
            2 => bytes.insert(at, self.byte()),
            3 => {
                let piece = bytes[at..at + length].to_vec();
                let to = self.below(bytes.len());
                bytes.splice(to..to, piece);
            }
            4 if !bytes.is_empty() => bytes[at] ^= 1 << self.below(8),
            5 => bytes[at..at + length].fill(self.byte()),
            _ if !bytes.is_empty() => bytes[at] = self.byte(),
            _ => {}
        }
    }
}

/// Damages `input`, writes it where `name` says, loads, and asks a loaded image everything.
fn survive(bench: &Bench, name: &str, input: &[u8], seed: u64) {
    let mut random = Random(seed);
    let mut loaded = 0;
    for _ in 0..ROUNDS {
        let mut bytes = input.to_vec();
        for _ in 0..=random.below(4) {
            random.damage(&mut bytes);
        }
        bench.write(name, &bytes);
        match bench.try_load() {
            Ok(rom) => {
                loaded += 1;
                interrogate(&rom, &mut random);
            }
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
    assert!(loaded > 0, "some damage must be harmless, or nothing past the first check was tried");
    assert!(loaded < ROUNDS || name == "image", "some damage must be noticed");
}

fn interrogate(rom: &HostRom, random: &mut Random) {
    assert_eq!(rom.end() as usize - rom.origin() as usize, rom.bytes().len());
    let inside = |extent: &std::ops::Range<u32>| rom.origin() <= extent.start && extent.end <= rom.end();
    assert!(rom.extents().iter().all(inside));
    for _ in 0..8 {
        let anywhere = random.next() as u32;
        for address in [anywhere, anywhere % 0x200, rom.origin(), rom.end()] {
            let _ = (rom.word(address), rom.long(address), rom.lines().at(address));
            let _ = rom.symbols().at(address);
        }
    }
    assert!(rom.symbols().near("detect").len() <= 3);
    let lines: Vec<_> = rom.lines().iter().collect();
    assert!(lines.windows(2).all(|pair| pair[0].0.end <= pair[1].0.start));
    assert!(lines.iter().all(|(range, source)| range.start < range.end && source.line > 0));
}

#[test]
fn damaged_elf_files_with_debugging_data() {
    for version in 2..=5 {
        let elf = source_lines::example(version)
            .symbol("detect", 0x100, 0, GLOBAL, 1)
            .symbol("mode_alone", 0x108, 4, NOTYPE, 1)
            .build();
        survive(&Bench::image(""), "image", &elf, 0x9E37_79B9_7F4A_7C15 + u64::from(version));
    }
}

#[test]
fn damaged_debugging_data_alone() {
    for version in 2..=5 {
        let elf = source_lines::example(version);
        let mut random = Random(0xD1B5_4A32_D192_ED03 + u64::from(version));
        let bench = Bench::image("");
        let mut usable = 0;
        for _ in 0..ROUNDS {
            let mut damaged = source_lines::example(version);
            let section = 1 + random.below(3);
            for _ in 0..=random.below(3) {
                random.damage(&mut damaged.sections[section].bytes);
            }
            bench.write("image", damaged.build());
            let rom = bench.load();
            assert_eq!(rom.bytes(), elf.segments[0].1);
            usable += usize::from(!rom.lines().is_empty());
            interrogate(&rom, &mut random);
        }
        assert!(usable > 0 && usable < ROUNDS, "{usable} of {ROUNDS} usable");
    }
}

#[test]
fn damaged_s_records() {
    let data: String = (0..8).map(|at| record(2, &[0, 0, at * 4], &[at; 4])).collect();
    let text = format!("{data}{}{S_RECORDS}", record(5, &[0, 8], &[]));
    survive(&Bench::image(""), "image", text.as_bytes(), 0x2545_F491_4F6C_DD1D);
}

#[test]
fn damaged_raw_images_and_halves() {
    survive(&Bench::image(""), "image", &[0x4E; 64], 0x1234_5678_9ABC_DEF1);
    let mut swapped = Bench::image("");
    swapped.source.byte_order = ByteOrder::Swapped;
    survive(&swapped, "image", &[0x4E; 64], 0xFEDC_BA98_7654_3211);
    survive(&Bench::halves([1; 32], [2; 32]), "odd", &[2; 32], 0x0F1E_2D3C_4B5A_6978);
}

#[test]
fn damaged_symbol_files() {
    let text = "aria.elf:\ndetect T 4 8\nLATCH A b00001\nnone U\nlib.a[a.o]: mode_alone t c\n";
    survive(&Bench::image([0; 64]).symbols(""), "symbols", text.as_bytes(), 0x0123_4567_89AB_CDEF);
}
