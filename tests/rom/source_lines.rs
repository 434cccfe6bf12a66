//! Source lines from DWARF, and the promise that damaged debugging data never fail a load.

use keyway::rom::HostRom;
use pretty_assertions::assert_eq;

use super::dwarf_builder::{ADVANCE_LINE, ADVANCE_PC, COPY, END_SEQUENCE, SET_FILE, Unit, set_address};
use super::elf_builder::{Elf, SHF_COMPRESSED};
use super::support::Bench;

/// Lines 10 and 12 of the first file, then line 3 of the second: 0x100-0x103, 0x104-0x105,
/// 0x106-0x10F.
fn program() -> Vec<u8> {
    let mut program = set_address(0x100);
    program.extend([ADVANCE_LINE, 9, COPY, ADVANCE_PC, 2, ADVANCE_LINE, 2, COPY]);
    program.extend([ADVANCE_PC, 1, ADVANCE_LINE, 0x77, SET_FILE, 2, COPY, ADVANCE_PC, 5]); // 0x77: -9
    program.extend(END_SEQUENCE);
    program
}

/// An executable at 0x100-0x11F with this line program.
pub fn elf(version: u16, directory: &'static str, program: Vec<u8>) -> Elf {
    let unit = Unit { version, directory, program };
    Elf::executable(0x100, &[0x4E; 0x20])
        .allocated(".text", 0x100, 0x20)
        .extra(".debug_abbrev", 0, unit.abbreviations())
        .extra(".debug_info", 0, unit.info())
        .extra(".debug_line", 0, unit.line())
}

pub fn example(version: u16) -> Elf {
    elf(version, "/src", program())
}

fn at(rom: &HostRom, address: u32) -> Option<(&str, u32)> {
    rom.lines().at(address).map(|source| (source.file, source.line))
}

#[test]
fn every_version_gives_the_same_lines() {
    for version in 2..=5 {
        let rom = Bench::image(example(version).build()).load();
        assert_eq!(rom.lines().warning(), None, "version {version}");
        assert_eq!(at(&rom, 0xFF), None);
        assert_eq!(at(&rom, 0x100), Some(("/src/detect.s", 10)));
        assert_eq!(at(&rom, 0x103), Some(("/src/detect.s", 10)));
        assert_eq!(at(&rom, 0x104), Some(("/src/detect.s", 12)));
        assert_eq!(at(&rom, 0x106), Some(("/src/sub/tables.s", 3)));
        assert_eq!(at(&rom, 0x10F), Some(("/src/sub/tables.s", 3)));
        assert_eq!(at(&rom, 0x110), None);
        let all: Vec<_> = rom.lines().iter().map(|(range, source)| (range, source.line)).collect();
        assert_eq!(all, [(0x100..0x104, 10), (0x104..0x106, 12), (0x106..0x110, 3)]);
    }
}

#[test]
fn a_leading_dot_of_a_path_says_nothing() {
    for (directory, prefix) in [(".", ""), ("./demo", "demo/"), ("", ""), ("C:\\demo", "C:\\demo/")] {
        for version in 2..=5 {
            let rom = Bench::image(elf(version, directory, program()).build()).load();
            assert_eq!(rom.lines().at(0x100).unwrap().file, format!("{prefix}detect.s"));
            assert_eq!(rom.lines().at(0x106).unwrap().file, format!("{prefix}sub/tables.s"));
        }
    }
}

#[test]
fn a_file_without_debugging_data_has_no_lines_and_no_warning() {
    let rom = Bench::image(Elf::executable(0, &[0x4E; 4]).build()).load();
    assert!(rom.lines().is_empty());
    assert_eq!((rom.lines().at(0), rom.lines().warning()), (None, None));
}

/// One function at 0x100-0x10F, line 1, and what the linker left of others.
fn with_remains(remains: &[u8]) -> HostRom {
    let real = [&set_address(0x100)[..], &[COPY, ADVANCE_PC, 8], &END_SEQUENCE].concat();
    Bench::image(elf(4, "/src", [remains, &real].concat()).build()).load()
}

#[test]
fn remains_of_dropped_functions_do_not_hide_real_code() {
    let outside = [&set_address(0)[..], &[ADVANCE_LINE, 9, COPY, ADVANCE_PC, 8], &END_SEQUENCE].concat();
    let straddling = [&set_address(0x11E)[..], &[COPY, ADVANCE_PC, 8], &END_SEQUENCE].concat();
    let far_away = [&set_address(0xFFFF_FFF0)[..], &[COPY, ADVANCE_PC, 4], &END_SEQUENCE].concat();
    let rom = with_remains(&[outside, straddling, far_away].concat());
    let all: Vec<_> = rom.lines().iter().map(|(range, source)| (range, source.line)).collect();
    assert_eq!(all, [(0x100..0x110, 1)]);
}

#[test]
fn of_overlapping_sequences_the_later_start_wins() {
    let wide = [&set_address(0x100)[..], &[COPY, ADVANCE_PC, 16], &END_SEQUENCE].concat();
    let inner = [&set_address(0x108)[..], &[ADVANCE_LINE, 6, COPY, ADVANCE_PC, 2], &END_SEQUENCE].concat();
    for program in [[&wide[..], &inner].concat(), [inner, wide].concat()] {
        let rom = Bench::image(elf(5, "/src", program).build()).load();
        let all: Vec<_> = rom.lines().iter().map(|(range, source)| (range, source.line)).collect();
        assert_eq!(all, [(0x100..0x108, 1), (0x108..0x10C, 7), (0x10C..0x120, 1)]);
    }
}

#[test]
fn code_of_no_line_has_none() {
    // Line 0 from 0x104 on; 0x7F is -1.
    let program = [&set_address(0x100)[..], &[COPY, ADVANCE_PC, 2, ADVANCE_LINE, 0x7F, COPY, ADVANCE_PC, 2]];
    let rom = Bench::image(elf(3, "/src", [&program.concat()[..], &END_SEQUENCE].concat()).build()).load();
    assert_eq!(at(&rom, 0x102), Some(("/src/detect.s", 1)));
    assert_eq!(at(&rom, 0x104), None);
}

fn warning(elf: &Elf) -> String {
    let rom = Bench::image(elf.build()).load();
    assert_eq!(rom.bytes().len(), 0x20, "the image itself is loaded");
    assert!(rom.lines().is_empty());
    rom.lines().warning().expect("a warning").to_owned()
}

#[test]
fn damaged_debugging_data_give_a_warning_and_no_lines() {
    for version in 2..=5 {
        let mut cut = example(version);
        cut.sections[3].bytes.truncate(20);
        let said = warning(&cut);
        assert!(said.starts_with("Source lines are not shown: the DWARF data are damaged ("), "{said}");
        let mut odd_version = example(version);
        odd_version.sections[2].bytes[5] = 99;
        warning(&odd_version);
    }
}

#[test]
fn a_line_program_with_an_unlisted_file_is_damaged() {
    let program = [&set_address(0x100)[..], &[SET_FILE, 9, COPY, ADVANCE_PC, 2], &END_SEQUENCE];
    let wanted = "Source lines are not shown: the line table names a source file that it does not list.";
    assert_eq!(warning(&elf(5, "/src", program.concat())), wanted);
}

/// The smallest 64-bit number has no negative.
#[test]
fn a_line_program_that_advances_by_the_smallest_number_is_damaged() {
    let smallest = [ADVANCE_LINE, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x7F];
    let program = [&set_address(0x100)[..], &smallest, &[COPY, ADVANCE_PC, 2], &END_SEQUENCE];
    warning(&elf(4, "/src", program.concat()));
}

#[test]
fn compressed_debugging_data_are_named() {
    let mut elf = example(5);
    elf.sections[3].flags = SHF_COMPRESSED;
    let wanted = "Source lines are not shown: the section .debug_line is compressed; link with \
                  --compress-debug-sections=none.";
    assert_eq!(warning(&elf), wanted);
}
