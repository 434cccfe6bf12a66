//! ELF executables: what is loaded and what is refused.

use pretty_assertions::assert_eq;

use super::elf_builder::Elf;
use super::support::Bench;

fn code() -> Elf {
    Elf::executable(0x200, b"\x4E\x71\x4E\x75")
}

fn refusal(change: impl FnOnce(&mut Elf)) -> String {
    let mut elf = code();
    change(&mut elf);
    Bench::image(elf.build()).refusal()
}

#[test]
fn segments_are_loaded_at_their_physical_address() {
    let mut elf = code();
    elf.segments.push((0x206, vec![7, 8]));
    elf.segments.push((0x204, vec![5, 6]));
    elf.segments.push((0xE0_0000, vec![])); // no bytes in the file, as of .bss: nothing to load
    elf.segments.push((0x20C, vec![9]));
    let rom = Bench::image(elf.build()).load();
    assert_eq!((rom.origin(), rom.end()), (0x200, 0x20D));
    assert_eq!(rom.bytes(), [0x4E, 0x71, 0x4E, 0x75, 5, 6, 7, 8, 0xFF, 0xFF, 0xFF, 0xFF, 9]);
    assert_eq!(rom.extents(), [0x200..0x208, 0x20C..0x20D]);
    assert_eq!(rom.crc32(), crc32fast::hash(rom.bytes()));
}

#[test]
fn only_loadable_segments_are_loaded() {
    let mut bytes = code().build();
    bytes[52 + 3] = 4; // p_type: PT_NOTE
    let wanted = "image: Nothing in the file is to be loaded, so there is no image.";
    assert_eq!(Bench::image(bytes).refusal(), wanted);
    assert_eq!(refusal(|elf| elf.segments.clear()), wanted);
}

#[test]
fn files_for_other_machines_are_named_for_what_they_are() {
    let wanted = "image: This is a 64-bit ELF file (class 2), but the 68000 needs 32-bit ELF (class 1).";
    assert_eq!(refusal(|elf| elf.class = 2), wanted);
    let wanted = "image: This is an ELF file of the unknown class 7, but the 68000 needs 32-bit ELF (class 1).";
    assert_eq!(refusal(|elf| elf.class = 7), wanted);
    let wanted =
        "image: This is a little-endian ELF file (data encoding 1), but the 68000 is big-endian (data encoding 2).";
    assert_eq!(refusal(|elf| elf.encoding = 1), wanted);
    let wanted = "image: This ELF file is for machine 2 (EM_SPARC), but the 68000 is machine 4 (EM_68K).";
    assert_eq!(refusal(|elf| elf.machine = 2), wanted);
    let wanted = "image: This ELF file is for machine 999, but the 68000 is machine 4 (EM_68K).";
    assert_eq!(refusal(|elf| elf.machine = 999), wanted);
}

#[test]
fn files_that_are_not_linked_are_refused() {
    let wanted = "image: This ELF file is not linked: it is an object file (type ET_REL); a linked executable (type \
                  ET_EXEC) is needed.";
    assert_eq!(refusal(|elf| elf.kind = 1), wanted);
    let wanted = "image: This ELF file is a shared or position-independent object (type ET_DYN); a linked executable \
                  (type ET_EXEC) is needed.";
    assert_eq!(refusal(|elf| elf.kind = 3), wanted);
    assert!(refusal(|elf| elf.kind = 4).contains("a memory dump (type ET_CORE)"));
    assert!(refusal(|elf| elf.kind = 0).contains("of no type (ET_NONE)"));
    assert!(refusal(|elf| elf.kind = 0xFE00).contains("of the unknown type 65024"));
}

#[test]
fn a_truncated_file_is_refused() {
    let whole = code().build();
    let wanted = "image: The ELF file ends inside its header: it has 51 bytes, and the header alone has 52.";
    assert_eq!(Bench::image(&whole[..51]).refusal(), wanted);
    assert!(Bench::image(&whole[..4]).refusal().contains("it has 4 bytes"));
    let wanted = "image: The ELF file is truncated: program header 0 takes 4 bytes at file offset 84, but the file \
                  has only 87.";
    assert_eq!(Bench::image(&whole[..87]).refusal(), wanted);
    assert!(Bench::image(&whole[..60]).refusal().starts_with("image: The ELF file is damaged: "));
    let with_sections = code().allocated(".text", 0x200, 4).build();
    let cut = &with_sections[..with_sections.len() - 1];
    assert!(Bench::image(cut).refusal().starts_with("image: The ELF file is damaged: "));
}

#[test]
fn overlapping_segments_are_refused() {
    let wanted = "image: Both program header 0 and program header 1 load the byte at 0x000200.";
    assert_eq!(refusal(|elf| elf.segments.push((0x1FF, vec![1, 2]))), wanted);
}

#[test]
fn a_segment_outside_the_host_is_refused_with_the_usual_cause() {
    let wanted = "image: The bytes of program header 1 would stand at 0xE00000-0xE00001, but the host answers only \
                  for 0x000000-0x1FFFFF. Data that the program keeps in RAM must have a load address (LMA) in ROM.";
    assert_eq!(refusal(|elf| elf.segments.push((0xE0_0000, vec![1, 2]))), wanted);
    let straddling = refusal(|elf| elf.segments.push((0x1F_FFFF, vec![1, 2])));
    assert!(straddling.contains("0x1FFFFF-0x200000"), "{straddling}");
    let wrapping = refusal(|elf| elf.segments.push((0xFFFF_FFFF, vec![1, 2])));
    assert!(wrapping.contains("0xFFFFFFFF-0x100000000"), "{wrapping}");
}

/// A linker that is not told otherwise maps the file's headers into the first segment.
#[test]
fn the_files_own_headers_are_not_loaded() {
    let map_headers = |mut file: Vec<u8>| {
        let length = 84 + 4;
        file[52 + 4..52 + 8].fill(0); // p_offset
        file[52 + 12..52 + 16].copy_from_slice(&0x1AC_u32.to_be_bytes()); // p_paddr: 84 bytes lower
        file[52 + 16..52 + 20].copy_from_slice(&u32::to_be_bytes(length)); // p_filesz
        file
    };
    let without_sections = Bench::image(map_headers(code().build())).load();
    assert_eq!((without_sections.origin(), without_sections.end()), (0x200, 0x204));
    assert_eq!(without_sections.bytes(), b"\x4E\x71\x4E\x75");
    // With sections, the padding between the headers and the first section goes too.
    let mut file = map_headers(code().allocated(".text", 0x202, 2).build());
    let table = u32::from_be_bytes(file[32..36].try_into().unwrap()) as usize;
    file[table + 40 + 16..table + 40 + 20].copy_from_slice(&86_u32.to_be_bytes()); // sh_offset
    let rom = Bench::image(file).load();
    assert_eq!((rom.origin(), rom.bytes()), (0x202, &b"\x4E\x75"[..]));
}
