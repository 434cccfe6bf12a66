//! Raw images, even and odd halves, byte order, and reading the image.

use keyway::rom::{Format, HostRom, ImageFault, RomError};
use pretty_assertions::assert_eq;

use super::elf_builder::Elf;
use super::srecord::S_RECORDS;
use super::support::Bench;

#[test]
fn a_raw_image_stands_at_the_start_of_the_hosts_range_or_at_its_origin() {
    let mut bench = Bench::image([1, 2, 3, 4]);
    bench.source.range = 0x10_0000..=0x1F_FFFF;
    assert_eq!(bench.load().origin(), 0x10_0000);
    let rom = bench.origin(0x12_0000).load();
    assert_eq!((rom.origin(), rom.end()), (0x12_0000, 0x12_0004));
    assert_eq!((rom.extents().len(), &rom.extents()[0]), (1, &(0x12_0000..0x12_0004)));
    assert!(rom.symbols().is_empty() && rom.lines().is_empty());
}

#[test]
fn words_and_longs_are_big_endian_and_end_with_the_image() {
    let rom = HostRom::from_bytes([0x12, 0x34, 0x56, 0x78], 0x100).unwrap();
    assert_eq!(rom.byte(0x103), Some(0x78));
    assert_eq!((rom.word(0x100), rom.word(0x102), rom.word(0x103)), (Some(0x1234), Some(0x5678), None));
    assert_eq!((rom.long(0x100), rom.long(0x101)), (Some(0x1234_5678), None));
    assert_eq!((rom.word(0xFF), rom.word(0xFE), rom.word(u32::MAX)), (None, None, None));
}

#[test]
fn bytes_in_memory_follow_the_same_rules() {
    let fault = |bytes: &[u8], origin| match HostRom::from_bytes(bytes, origin) {
        Err(RomError::Memory { fault }) => fault,
        other => panic!("{other:?}"),
    };
    assert_eq!(fault(&[], 0), ImageFault::Nothing);
    assert_eq!(fault(&[1, 2], 1), ImageFault::OddOrigin { origin: 1 });
    assert_eq!(fault(&[1, 2, 3], 0), ImageFault::OddLength { length: 3 });
    assert!(matches!(fault(&[1, 2, 3, 4], 0xFF_FFFE), ImageFault::Outside { .. }));
    assert!(matches!(fault(&[1, 2], 0xFFFF_FFFE), ImageFault::Outside { .. }));
    assert_eq!(HostRom::from_bytes([1, 2], 0xFF_FFFE).unwrap().end(), 0x0100_0000);
}

#[test]
fn half_a_word_at_the_end_is_refused() {
    let wanted = "image: The image has an odd length (3 bytes), so its last 16-bit word is cut off.";
    assert_eq!(Bench::image([1, 2, 3]).refusal(), wanted);
    assert_eq!(Bench::image([1, 2, 3]).swapped().refusal(), wanted);
}

#[test]
fn an_image_must_fit_where_the_host_answers() {
    let mut bench = Bench::image([0; 18]);
    bench.source.range = 0x00_0000..=0x00_000F;
    let wanted = "image: The bytes of the image would stand at 0x000000-0x000011, but the host answers only for \
                  0x000000-0x00000F.";
    assert_eq!(bench.refusal(), wanted);
    bench.source.range = 0x00_0000..=0x00_0011;
    assert_eq!(bench.load().bytes().len(), 18);
    bench.source.range = 0x00_0010..=0x00_0FFF;
    assert!(matches!(bench.origin(0).error(), RomError::Image { fault: ImageFault::Outside { .. }, .. }));
}

#[test]
fn an_odd_origin_is_refused() {
    let wanted = "image: The origin 0x000101 is odd, but a 16-bit ROM begins at an even address.";
    assert_eq!(Bench::image([1, 2]).origin(0x101).refusal(), wanted);
}

#[test]
fn swapped_exchanges_every_pair_of_bytes() {
    assert_eq!(Bench::image([2, 1, 4, 3]).swapped().load().bytes(), [1, 2, 3, 4]);
}

#[test]
fn halves_alternate_from_the_even_one() {
    let rom = Bench::halves([1, 3, 5], [2, 4, 6]).load();
    assert_eq!(rom.bytes(), [1, 2, 3, 4, 5, 6]);
    let rom = Bench::halves([1, 3], [2, 4]).format(Format::Raw).origin(0x1000).load();
    assert_eq!((rom.origin(), rom.end()), (0x1000, 0x1004));
}

#[test]
fn swapped_halves_are_exchanged_file_by_file() {
    assert_eq!(Bench::halves([3, 1], [4, 2]).swapped().load().bytes(), [1, 2, 3, 4]);
    let wanted = "even: The image has an odd length (1 bytes), so its last 16-bit word is cut off.";
    assert_eq!(Bench::halves([1], [2]).swapped().refusal(), wanted);
}

#[test]
fn halves_of_different_length_are_refused() {
    let wanted = "even: The even half has 3 bytes and the odd half 2; both must be of the same length.";
    assert_eq!(Bench::halves([1, 3, 5], [2, 4]).refusal(), wanted);
}

#[test]
fn halves_are_raw() {
    let elf = Elf::executable(0, b"\x4E\x71").build();
    let wanted = "even: Even and odd halves are read as raw bytes, but this one is ELF. Convert it to raw bytes first.";
    assert_eq!(Bench::halves(&elf, &elf).refusal(), wanted);
    assert_eq!(Bench::halves(&elf, &elf).format(Format::Raw).refusal(), wanted);
    let wanted =
        "odd: Even and odd halves are read as raw bytes, but this one is S-record. Convert it to raw bytes first.";
    assert_eq!(Bench::halves([0; 60], S_RECORDS).refusal(), wanted);
    let wanted = "even: Even and odd halves are read as raw bytes, so the format cannot be S-record.";
    assert_eq!(Bench::halves([1], [2]).format(Format::SRecord).refusal(), wanted);
}
