//! Files that cannot be had, settings that do not go together, and telling the format from the
//! content.

use keyway::rom::{Format, HostRom, HostSource, ImageFiles, LARGEST_FILE, RomError};
use pretty_assertions::assert_eq;

use super::elf_builder::Elf;
use super::srecord::S_RECORDS;
use super::support::Bench;

const RAW: [u8; 4] = [0x00, 0xE0, 0xFE, 0x00];

#[test]
fn a_missing_file_is_named() {
    let mut bench = Bench::image(RAW);
    bench.source.image = ImageFiles::One(bench.path("nowhere"));
    assert_eq!(bench.refusal(), "nowhere: There is no such file.");
    assert_eq!(bench.error().path(), Some(&*bench.path("nowhere")));
}

#[test]
fn a_directory_is_no_image() {
    let mut bench = Bench::image(RAW);
    std::fs::create_dir(bench.path("folder")).unwrap();
    bench.source.image = ImageFiles::One(bench.path("folder"));
    assert_eq!(bench.refusal(), "folder: This is a directory, but a file is needed.");
}

#[cfg(unix)]
#[test]
fn a_device_is_not_read() {
    let mut bench = Bench::image(RAW);
    bench.source.image = ImageFiles::One("/dev/zero".into());
    let wanted = "/dev/zero: This is a device, pipe or socket, but a regular file is needed.";
    assert_eq!(bench.refusal(), wanted);
}

#[cfg(unix)]
#[test]
fn a_file_that_the_system_refuses_is_told_with_its_reason() {
    let mut bench = Bench::image(RAW);
    bench.source.image = ImageFiles::One(bench.path("image").join("below a file"));
    let refusal = bench.refusal();
    assert!(refusal.contains(": The file cannot be read: "), "{refusal}");
}

#[test]
fn an_empty_file_is_no_image_in_any_format() {
    for format in [Format::Elf, Format::Raw, Format::SRecord] {
        assert_eq!(Bench::image("").format(format).refusal(), "image: The file is empty.");
    }
    assert_eq!(Bench::image("").refusal(), "image: The file is empty.");
    assert_eq!(Bench::halves("ab", "").refusal(), "odd: The file is empty.");
    assert_eq!(Bench::image(RAW).symbols("").refusal(), "symbols: The file is empty.");
}

#[test]
fn a_file_larger_than_the_bus_is_refused_before_it_is_read() {
    let bench = Bench::image(RAW);
    let file = std::fs::File::create(bench.path("image")).unwrap();
    file.set_len(LARGEST_FILE + 1).unwrap(); // sparse: takes no room on the disk
    let wanted = "image: The file is larger than 16 MiB, which is all that a 24-bit bus can address.";
    assert_eq!(bench.refusal(), wanted);
}

#[test]
fn the_hosts_range_must_be_one_of_the_bus() {
    for range in [0..=0x0100_0000, std::ops::RangeInclusive::new(2, 0)] {
        let mut bench = Bench::image(RAW);
        bench.source.range = range;
        assert!(matches!(bench.error(), RomError::Range { .. }));
        assert_eq!(bench.error().path(), None);
    }
}

#[test]
fn the_format_is_told_from_the_content() {
    let elf = Bench::image(Elf::executable(0x100, b"\x4E\x71").build()).load();
    assert_eq!((elf.origin(), elf.bytes()), (0x100, &b"\x4E\x71"[..]));
    let records = Bench::image(format!("\r\n \n{S_RECORDS}")).load();
    assert_eq!(records.origin(), 0x7AF0);
    let raw = Bench::image(RAW).load();
    assert_eq!((raw.origin(), raw.bytes()), (0, &RAW[..]));
    // An S and a digit alone do not make a record.
    assert_eq!(Bench::image("S1 records?!").load().bytes(), b"S1 records?!");
}

#[test]
fn a_declared_format_is_followed() {
    let records_as_bytes = Bench::image(format!("{S_RECORDS}\n\n")).format(Format::Raw).load();
    assert_eq!(records_as_bytes.bytes()[..2], *b"S1");
    let wanted = "image, line 1: A record begins with S and a digit, but this line does not.";
    assert_eq!(Bench::image(RAW).format(Format::SRecord).refusal(), wanted);
}

#[test]
fn a_declared_format_cannot_make_code_of_an_elf_header_or_the_reverse() {
    let elf = Elf::executable(0, b"\x4E\x71").build();
    let wanted = "image: The image is declared as raw, but its content is ELF. Correct the format, or leave it out \
                  to have it told from the content; an ELF header is never code.";
    assert_eq!(Bench::image(&elf).format(Format::Raw).refusal(), wanted);
    let wanted = "image: The image is declared as S-record, but its content is ELF. Correct the format, or leave it \
                  out to have it told from the content; an ELF header is never code.";
    assert_eq!(Bench::image(&elf).format(Format::SRecord).refusal(), wanted);
    let wanted = "image: The image is declared as ELF, but its content is raw. Correct the format, or leave it out \
                  to have it told from the content.";
    assert_eq!(Bench::image(RAW).format(Format::Elf).refusal(), wanted);
}

#[test]
fn settings_of_raw_images_are_refused_where_they_would_be_passed_over() {
    let elf = Elf::executable(0, b"\x4E\x71").build();
    for (content, format) in [(elf, "ELF"), (S_RECORDS.as_bytes().to_vec(), "S-record")] {
        let swapped = Bench::image(&content).swapped().refusal();
        let wanted = format!(
            "image: Swapped byte order is for raw images and halves; the byte order of {format} files is fixed by \
             the format, so exchanging it would only damage the file."
        );
        assert_eq!(swapped, wanted);
        let origin = Bench::image(&content).origin(0).refusal();
        let wanted =
            format!("image: An origin is for raw images and halves; {format} files carry their own addresses.");
        assert_eq!(origin, wanted);
    }
}

/// Check value of CRC-32/ISO-HDLC for the nine digits, from the published catalogues of CRC
/// algorithms.
#[test]
fn the_crc_has_the_published_check_value() {
    // Nine bytes are no raw image of words, but S-records may load any number.
    let record = "S10C0000313233343536373839";
    let sum = (1..record.len() / 2)
        .map(|at| u8::from_str_radix(&record[2 * at..2 * at + 2], 16).unwrap())
        .fold(0u8, u8::wrapping_add);
    let rom = Bench::image(format!("{record}{:02X}\nS9030000FC\n", !sum)).load();
    assert_eq!(rom.bytes(), b"123456789");
    assert_eq!(rom.crc32(), 0xCBF4_3926);
}

#[test]
fn the_files_are_remembered() {
    let bench = Bench::image(RAW).symbols("detect T 0\n");
    assert_eq!(bench.load().files(), [bench.path("image"), bench.path("symbols")]);
    let bench = Bench::halves("ab", "cd");
    assert_eq!(bench.load().files(), [bench.path("even"), bench.path("odd")]);
}

#[test]
fn a_loaded_image_can_be_shared_between_threads() {
    fn shared<T: Send + Sync + Clone>() {}
    shared::<HostRom>();
    shared::<HostSource>();
}
