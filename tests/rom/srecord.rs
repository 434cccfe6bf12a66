//! S-records: the published example, every type, and every way in which a line can be wrong.

use pretty_assertions::assert_eq;

use super::support::Bench;
use crate::support::Project;

/// The data record is the worked example that public descriptions of the S-record format give for
/// the checksum: 13 + 7A + F0 + 0A + 0A + 0D and zeros add up to 19E, whose low byte's ones'
/// complement is 61. Quoted from memory; the terminator is the format's usual empty one.
pub const S_RECORDS: &str = "S1137AF00A0A0D0000000000000000000000000061\nS9030000FC\n";

/// A record with the right count and checksum.
pub fn record(kind: u8, address: &[u8], data: &[u8]) -> String {
    let count = (address.len() + data.len() + 1) as u8;
    let body: Vec<u8> = [&[count], address, data].concat();
    let sum = body.iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
    let hex: String = body.iter().map(|byte| format!("{byte:02X}")).collect();
    format!("S{kind}{hex}{:02X}\n", !sum)
}

fn refusal(text: impl AsRef<[u8]>) -> String {
    Bench::image(text).format(keyway::rom::Format::SRecord).refusal()
}

#[test]
fn the_published_example_is_read() {
    let rom = Bench::image(S_RECORDS).load();
    assert_eq!(rom.origin(), 0x7AF0);
    assert_eq!(rom.bytes(), [0x0A, 0x0A, 0x0D, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]);
    let wanted = "image, line 1: The checksum is 0x62, but the bytes of the record give 0x61.";
    assert_eq!(refusal(S_RECORDS.replace("0061\n", "0062\n")), wanted);
}

#[test]
fn every_type_is_read_and_gaps_are_erased() {
    let text = [
        record(0, &[0, 0], b"aria"),
        record(2, &[0x00, 0x00, 0x08], &[9, 10]),
        record(1, &[0x00, 0x00], &[1, 2, 3]),
        record(3, &[0x00, 0x00, 0x00, 0x03], &[4]),
        record(1, &[0x00, 0x07], &[]),
        record(5, &[0, 4], &[]),
        record(6, &[0, 0, 4], &[]),
        record(7, &[0, 0, 0, 0], &[]),
    ];
    let rom = Bench::image(text.concat()).load();
    assert_eq!(rom.bytes(), [1, 2, 3, 4, 0xFF, 0xFF, 0xFF, 0xFF, 9, 10]);
    assert_eq!(rom.extents(), [0..4, 8..10]);
    for terminator in [record(8, &[0, 0, 0], &[]), record(9, &[0, 0], &[])] {
        assert_eq!(Bench::image(record(1, &[0, 0], &[7, 7]) + &terminator).load().bytes(), [7, 7]);
    }
}

#[test]
fn case_line_ends_and_blank_lines_do_not_matter() {
    let lower = S_RECORDS.to_lowercase().replace('s', "S").replace('\n', "  \r\n") + "\r\n\n  \n";
    assert_eq!(Bench::image(lower).load().bytes(), Bench::image(S_RECORDS).load().bytes());
    let no_last_line_end = S_RECORDS.trim_end();
    assert_eq!(Bench::image(no_last_line_end).load().origin(), 0x7AF0);
}

#[test]
fn a_line_must_be_a_record_of_a_known_type() {
    let none = "image, line 2: A record begins with S and a digit, but this line does not.";
    let data = record(1, &[0, 0], &[1, 2]);
    for line in ["garbage", "SX", "S", "s9030000FC", ":00000001FF"] {
        assert_eq!(refusal(format!("{data}{line}\n")), none);
    }
    let wanted = "image, line 2: Record type S4 is reserved and has no meaning.";
    assert_eq!(refusal(data + &record(4, &[0, 0], &[])), wanted);
}

#[test]
fn a_line_must_be_whole_bytes_of_hexadecimal() {
    let wanted = "image, line 1: Character 6 of the line is not a hexadecimal digit.";
    assert_eq!(refusal("S1030G00FC"), wanted);
    let wanted = "image, line 1: Character 13 of the line is not a hexadecimal digit.";
    assert_eq!(refusal("  S9030000FC; the end"), wanted);
    let wanted = "image, line 1: The line ends in the middle of a byte: it has an odd number of hexadecimal digits.";
    assert_eq!(refusal("S9030000F"), wanted);
}

#[test]
fn the_byte_count_must_agree_with_the_line_and_the_type() {
    let wanted = "image, line 1: The byte count says that 19 bytes follow it, but the line has 18.";
    assert_eq!(refusal(S_RECORDS.replacen("00000061", "000061", 1)), wanted);
    let wanted = "image, line 1: The byte count says that 3 bytes follow it, but the line has 4.";
    assert_eq!(refusal("S903000000FC"), wanted);
    assert_eq!(refusal("S1"), "image, line 1: An S1 record has at least 3 bytes after its count, but this one has 0.");
    let wanted = "image, line 1: An S3 record has at least 5 bytes after its count, but this one has 3.";
    assert_eq!(refusal("S3030000FC"), wanted);
    let wanted = "image, line 1: An S9 record carries no data, but this one has 2 bytes of it.";
    assert_eq!(refusal(record(9, &[0, 0], &[1, 2])), wanted);
}

#[test]
fn the_record_count_must_be_right() {
    let data = record(1, &[0, 0], &[1, 2]);
    let wanted = "image, line 2: The record count is 2, but 1 data records stand above it.";
    assert_eq!(refusal(data.clone() + &record(5, &[0, 2], &[])), wanted);
    assert_eq!(refusal(data + &record(6, &[0, 0, 2], &[])), wanted);
}

#[test]
fn a_file_without_its_terminator_is_truncated() {
    let wanted = "image, line 3: The file ends here without an S7, S8 or S9 record, so it is probably truncated.";
    let data = record(1, &[0, 0], &[1, 2]) + "\n" + &record(1, &[0, 2], &[3, 4]) + "\n\n";
    assert_eq!(refusal(data), wanted);
}

#[test]
fn nothing_may_follow_the_terminator() {
    let wanted = "image, line 4: Nothing may follow the terminating record of line 2.";
    assert_eq!(refusal(format!("{S_RECORDS}\n{}", record(1, &[0, 0], &[1]))), wanted);
    assert_eq!(refusal(format!("{S_RECORDS}\n\x1A")), wanted);
}

#[test]
fn overlapping_records_are_refused_with_both_lines() {
    let end = record(9, &[0, 0], &[]);
    let (low, high) = (record(1, &[0, 0], &[1, 2, 3, 4]), record(1, &[0, 2], &[5, 6]));
    let wanted = "image: Both line 1 and line 2 load the byte at 0x000002.";
    assert_eq!(refusal(low.clone() + &high + &end), wanted);
    assert_eq!(refusal(high + &low + &end), wanted);
    let wanted = "image: Both line 1 and line 2 load the byte at 0x000000.";
    assert_eq!(refusal(low.clone() + &low + &end), wanted);
}

#[test]
fn records_outside_the_host_are_refused_with_their_line() {
    let end = record(7, &[0, 0, 0, 0], &[]);
    let wanted = "image: The bytes of line 1 would stand at 0x1FFFFF-0x200000, but the host answers only for \
                  0x000000-0x1FFFFF.";
    assert_eq!(refusal(record(2, &[0x1F, 0xFF, 0xFF], &[1, 2]) + &end), wanted);
    let wanted = "image: The bytes of line 1 would stand at 0xFFFFFFFF-0x100000000, but the host answers only for \
                  0x000000-0x1FFFFF.";
    assert_eq!(refusal(record(3, &[0xFF; 4], &[1, 2]) + &end), wanted);
}

#[test]
fn records_that_load_nothing_are_no_image() {
    let wanted = "image: Nothing in the file is to be loaded, so there is no image.";
    assert_eq!(refusal("S9030000FC\n"), wanted);
    assert_eq!(refusal(record(1, &[0, 0], &[]) + "S9030000FC\n"), wanted);
}

/// Regression: an image of five bytes made the map take six of them, and the tool gave up.
#[test]
fn an_image_of_odd_length_runs() {
    let project = Project::new();
    // nop; nop; and one byte more.
    project.write("odd.s19", record(1, &[0, 0], &[0x4E, 0x71, 0x4E, 0x71, 0xFF]) + "S9030000FC\n");
    project.write(
        "odd.yaml",
        "host: {image: odd.s19}\nsocket: {window: 0x200000-0x3FFFFF, empty: ones}\n\
         memory: [{name: ram, range: 0xE00000-0xE0FFFF}]\nroutine: {entry: 0x0, stack: 0xE0FE00}\n\
         branches: {end: {kind: rejected, at: 0x2}}\n",
    );
    project
        .write("cases/it.yaml", "harness: ../odd.yaml\ncases: [{name: it, attach: nothing, expect: {branch: end}}]\n");
    let ran = project.run(&["check"]);
    assert_eq!((ran.code, &*ran.err), (0, ""), "{}", ran.out);
}
