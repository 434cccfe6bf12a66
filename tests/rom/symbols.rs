//! Names of addresses: from ELF, from `nm -P` text, and what may have been meant.

use keyway::rom::{HostRom, Symbols};
use pretty_assertions::assert_eq;

use super::elf_builder::{
    Elf, FILE, FUNC, GLOBAL, NOTYPE, OBJECT, SECTION, SHF_ALLOC, SHN_ABS, SHT_NOBITS, Section, WEAK,
};
use super::support::Bench;

/// A ROM of 0x40 bytes: vectors, code, data that is copied to RAM; and variables.
fn host() -> HostRom {
    let bss = Section { name: ".bss", kind: SHT_NOBITS, flags: SHF_ALLOC, address: 0xE0_0010, bytes: vec![0; 8] };
    let mut elf = Elf::executable(0, &[0x4E; 0x40])
        .allocated(".vectors", 0x00, 0x08)
        .allocated(".text", 0x10, 0x20)
        .allocated(".data", 0xE0_0000, 0x10);
    elf.sections.push(bss);
    let elf = elf
        .symbol("aria.s", 0, 0, FILE, SHN_ABS)
        .symbol("", 0x10, 0, SECTION, 2)
        .symbol("text_section", 0x10, 0, SECTION, 2)
        .symbol("later", 0x28, 0, NOTYPE, 2)
        .symbol("later", 0x20, 0, GLOBAL, 2)
        .symbol("a_label", 0x10, 0, GLOBAL, 2)
        .symbol("a_table", 0x10, 0, GLOBAL | OBJECT, 2)
        .symbol("detect", 0x10, 0, GLOBAL | FUNC, 2)
        .symbol("weak_twin", 0x10, 0, WEAK | FUNC, 2)
        .symbol("text_end", 0x30, 0, GLOBAL, 2)
        .symbol("defined_elsewhere", 0, 0, GLOBAL, 0)
        .symbol("common_block", 4, 4, GLOBAL | OBJECT, 0xFFF2)
        .symbol("COUNT", 0x0C, 0, NOTYPE, SHN_ABS)
        .symbol("LATCH", 0xB0_0001, 0, GLOBAL, SHN_ABS)
        .symbol("table", 0xE0_0000, 0, GLOBAL, 3)
        .symbol("mode", 0xE0_0010, 2, GLOBAL | OBJECT, 4);
    Bench::image(elf.build()).load()
}

#[test]
fn a_name_has_its_address() {
    let host = host();
    let find = |name| host.symbols().find(name);
    assert_eq!(find("detect"), Some(0x10));
    assert_eq!(find("later"), Some(0x20), "the global one of two");
    assert_eq!(host.symbols().all("later").collect::<Vec<_>>(), [0x28, 0x20]);
    assert_eq!(find("LATCH"), Some(0xB0_0001));
    for absent in ["aria.s", "text_section", "", "defined_elsewhere", "common_block", "Detect"] {
        assert_eq!(find(absent), None, "{absent}");
    }
    assert_eq!(host.symbols().len(), 11);
}

#[test]
fn an_address_has_the_nearest_name_of_its_section() {
    let host = host();
    let at = |address| host.symbols().at(address);
    assert_eq!(at(0x10), Some(("detect", 0)), "a function before labels, weak ones and data");
    assert_eq!(at(0x1F), Some(("detect", 0xF)));
    assert_eq!(at(0x2F), Some(("later", 7)));
    assert_eq!(at(0x04), None, "no symbol in the section of the vectors");
    assert_eq!(at(0x0C), None, "a count is no address");
    assert_eq!(at(0x38), None, "data at their load address belong to no section");
    assert_eq!(at(0x40), None, "past the image");
    assert_eq!(at(0x1F_FFFF), None, "past the image");
    assert_eq!(at(0xE0_000F), Some(("table", 0xF)), "RAM has names as well");
    assert_eq!(at(0xE0_0017), Some(("mode", 7)));
    assert_eq!(at(0xE0_0018), None);
    assert_eq!(at(0xB0_0001), Some(("LATCH", 0)));
    assert_eq!(at(0xB0_0002), None);
    assert_eq!(at(0xFF00_0010), Some(("detect", 0)), "the bus has 24 address lines");
}

#[test]
fn without_sections_a_name_reaches_to_the_end_of_its_extent() {
    let mut rom = HostRom::from_bytes([0; 16], 0x100).unwrap();
    rom.symbols_mut().insert("low", 0x80);
    rom.symbols_mut().insert("detect", 0x104);
    rom.symbols_mut().insert("mode", 0xE0_0000);
    let at = |address| rom.symbols().at(address);
    assert_eq!(at(0x103), None);
    assert_eq!(at(0x10F), Some(("detect", 0xB)));
    assert_eq!(at(0x110), None);
    assert_eq!(at(0xE0_0000), Some(("mode", 0)));
    assert_eq!(at(0xE0_0001), None);
    let all: Vec<_> = rom.symbols().iter().collect();
    assert_eq!(all, [("low", 0x80), ("detect", 0x104), ("mode", 0xE0_0000)]);
}

fn names(names: &[&'static str]) -> Symbols {
    let mut symbols = Symbols::default();
    names.iter().for_each(|name| symbols.insert(name, 0));
    symbols
}

#[test]
fn near_matches_are_few_and_likely() {
    let known = names(&["detect", "mode_alone", "mode_combination", "mode_noise", "mode_patched", "mode_refused"]);
    assert_eq!(known.near("dtect"), ["detect"]);
    assert_eq!(known.near("detcet"), ["detect"]);
    assert_eq!(known.near("DETECT"), ["detect"]);
    assert_eq!(known.near("_detect"), ["detect"]);
    assert_eq!(known.near("noise"), ["mode_noise"]);
    assert_eq!(known.near("mode").len(), 3, "of five that contain it");
    assert_eq!(known.near("mode_nose")[0], "mode_noise");
    assert_eq!(known.near("zzz"), [""; 0]);
    assert_eq!(known.near(""), [""; 0]);
    assert_eq!(known.near("a"), [""; 0], "one letter is no misspelling of another");
    assert_eq!(names(&["Detect", "detekt"]).near("detect"), ["Detect", "detekt"]);
}

/// The form is the one that POSIX.1-2017 gives for `nm -P`: `"%s%s %s %x %x\n"`, where the size may
/// be missing.
#[test]
fn symbols_are_read_from_portable_nm_text() {
    let text = "aria.elf:\n\
                detect T 104 8\n\
                _start t 100\n\
                table R 10C 4\r\n\
                printf U         \n\
                maybe w\n\
                LATCH A b00001 \n\
                MODE B 00E00010 2\n\
                \n\
                lib.a[detect.o]:\n\
                lib.a[patch.o]: patch W 108\n";
    let rom = Bench::image([0; 16]).origin(0x100).symbols(text).load();
    let find = |name| rom.symbols().find(name);
    assert_eq!((find("detect"), find("_start"), find("table")), (Some(0x104), Some(0x100), Some(0x10C)));
    assert_eq!((find("LATCH"), find("MODE")), (Some(0xB0_0001), Some(0xE0_0010)));
    assert_eq!((find("patch"), find("printf"), find("maybe")), (Some(0x108), None, None));
    assert_eq!(rom.symbols().at(0x106), Some(("detect", 2)));
    assert_eq!(rom.symbols().at(0xE0_0011), Some(("MODE", 1)), "as far as its size");
    assert_eq!(rom.symbols().at(0xE0_0012), None);
}

#[test]
fn a_symbol_file_adds_to_an_elf_file_and_is_found_first() {
    let elf = Elf::executable(0, &[0; 16]).allocated(".text", 0, 16).symbol("detect", 4, 0, GLOBAL, 1);
    let rom = Bench::image(elf.build()).symbols("detect T 8\nextra T 2\n").load();
    assert_eq!((rom.symbols().find("detect"), rom.symbols().find("extra")), (Some(8), Some(2)));
}

#[test]
fn wrong_lines_of_nm_text_are_refused_with_their_number() {
    let refusal = |line: &str| Bench::image([0; 16]).symbols(format!("detect T 104 8\n\n{line}\n")).refusal();
    for (line, wanted) in [
        ("detect", "A line is `name type value [size]`, but this one has 1 fields."),
        ("detect T", "A line is `name type value [size]`, but this one has 2 fields."),
        ("detect T 1 2 3", "A line is `name type value [size]`, but this one has 5 fields."),
        ("detect Text 104", "The symbol type `Text` is not a single letter."),
        ("detect 1 104", "The symbol type `1` is not a single letter."),
        ("detect T 0x104", "The value `0x104` is not a hexadecimal number of at most 32 bits."),
        ("detect T +104", "The value `+104` is not a hexadecimal number of at most 32 bits."),
        ("detect T 104 8z", "The size `8z` is not a hexadecimal number of at most 32 bits."),
        ("detect T 100000000", "The value `100000000` is not a hexadecimal number of at most 32 bits."),
        (
            "00000104 T detect",
            "The line begins with a number, as in the output of `nm` without `-P`; write the file with `nm -P`.",
        ),
    ] {
        assert_eq!(refusal(line), format!("symbols, line 3: {wanted}"));
    }
    let wanted = "symbols: no symbol is defined in it. The file must be the output of `nm -P` for the linked image.";
    assert_eq!(Bench::image([0; 16]).symbols("printf U\n").refusal(), wanted);
}
