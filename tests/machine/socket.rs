//! Socket decoding. Common practice of the trade, no published source: the attached cartridge sees the whole address
//! bus, so what shows at an address is the image's byte at that address modulo the size rounded up to a power of two.

use keyway::board::{Bus, OpenBus, shown_offset};
use keyway::cartridge::{Field, Fill, Holds, Image, Layout, Pad, Recipe, Value};
use keyway::rom::ByteOrder;

use super::support::{Bench, Dice, WINDOW, d, pattern, patterned};

const MIB: u32 = 1 << 20;
const SIGNATURE: &str = "PARLOR16 SYSTEM ";
const PRODUCT: &str = "AW-2100-00";

fn layout() -> Layout {
    let field = |name: &str, at, length| Field { name: name.into(), at, length, holds: Holds::Text(Pad::Space) };
    Layout::new(vec![field("signature", 0x100, 16), field("product", 0x180, 14)])
}

/// A cartridge with signature and product code where a header has them.
fn licensed(size: u32, copies: &[u32]) -> Image {
    let text = |name: &str, text: &str| (name.to_owned(), Value::Text(text.to_owned()));
    let fields = vec![text("signature", SIGNATURE), text("product", PRODUCT)];
    let recipe = Recipe { size, fields, copies: copies.to_vec(), ..Recipe::default() };
    recipe.build(&layout()).unwrap_or_else(|error| panic!("{error}"))
}

fn read(bus: &mut Bus, at: u32, length: u32) -> Vec<u8> {
    (at..at + length).map(|address| bus.read_byte(address).expect("an answer")).collect()
}

/// The rule once more, on its own: smallest power of two that holds the image, remainder, hole beyond the size.
fn model(address: u32, size: u32) -> Option<u32> {
    let mut span = 1u64;
    while span < u64::from(size) {
        span *= 2;
    }
    let offset = (u64::from(address) % span) as u32;
    (offset < size).then_some(offset)
}

/// Common practice, no published source: the header signature stands 256 bytes in, the product code at 0x180, and a
/// 2 MB host leaves the window 0x200000-0x3FFFFF, so they show at 0x200100 and 0x200180.
#[test]
fn signature_and_product_show_at_the_bottom_of_the_window() {
    for size in [MIB / 8, MIB / 2, MIB, 2 * MIB] {
        let mut bus = Bench::bare().attach(licensed(size, &[])).bus();
        assert_eq!(*bus.map().window(), 0x20_0000..=0x3F_FFFF);
        assert_eq!(read(&mut bus, 0x20_0100, 16), SIGNATURE.as_bytes(), "size {size:#X}");
        assert_eq!(read(&mut bus, 0x20_0180, 14), b"AW-2100-00    ", "size {size:#X}");
    }
}

/// Common practice, no published source: 4 MB is what a plain cartridge can be addressed with; behind a 2 MB host only
/// its upper half shows.
#[test]
fn of_four_megabytes_only_the_upper_half_shows() {
    let mut bus = Bench::bare().attach(patterned(4 * MIB)).bus();
    for offset in [0, 1, 0x100, 0x180, 0xF_FFFF, 0x10_0000, 0x1F_FFFF] {
        assert_eq!(bus.read_byte(WINDOW + offset), Some(pattern(2 * MIB + offset)), "offset {offset:#X}");
    }
}

#[test]
fn over_two_megabytes_no_signature_is_found() {
    for size in [2 * MIB + 1, 2 * MIB + 0x1000, 5 * MIB / 2, 3 * MIB, 4 * MIB] {
        let mut bus = Bench::bare().open(OpenBus::Ones).attach(licensed(size, &[])).bus();
        let shown = read(&mut bus, 0x20_0100, 16);
        assert_ne!(shown, SIGNATURE.as_bytes(), "size {size:#X}");
        assert_eq!(shown, [0xFF; 16], "size {size:#X}: erased or open");
        let window = read(&mut bus, WINDOW, 0x20_0000);
        assert!(!window.windows(16).any(|part| part == SIGNATURE.as_bytes()), "size {size:#X}");
    }
}

#[test]
fn four_megabytes_with_a_header_copy_at_their_own_0x200100_are_recognised() {
    let image = licensed(4 * MIB, &[0x20_0000]);
    assert_eq!(image.byte(0x20_0100), Some(b'P'));
    let mut bus = Bench::bare().attach(image).bus();
    assert_eq!(read(&mut bus, 0x20_0100, 16), SIGNATURE.as_bytes());
    assert_eq!(read(&mut bus, 0x20_0180, 10), PRODUCT.as_bytes());
}

#[test]
fn of_three_megabytes_the_third_shows_and_the_rest_is_open() {
    let mut bus = Bench::bare().open(OpenBus::Ones).attach(patterned(3 * MIB)).bus();
    for offset in [0, 2, 0x100, 0x8_0000, MIB - 2] {
        let bytes = [pattern(2 * MIB + offset), pattern(2 * MIB + offset + 1)];
        assert_eq!(bus.read_word(WINDOW + offset), Some(u16::from_be_bytes(bytes)), "offset {offset:#X}");
        assert_eq!(bus.read_word(WINDOW + MIB + offset), Some(0xFFFF), "offset {offset:#X} above");
    }
    let mut bus = Bench::bare().open(OpenBus::Zeros).attach(patterned(3 * MIB)).bus();
    assert_eq!(bus.read_byte(WINDOW + MIB - 1), Some(pattern(3 * MIB - 1)));
    assert_eq!(bus.read_byte(WINDOW + MIB), Some(0));
}

/// A format patch ROM of 256 KiB: 262,144 bytes.
#[test]
fn the_patch_rom_of_the_demo_has_262144_bytes() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("harness");
    let bytes = std::fs::read(folder.join("patch.bin")).expect("harness/patch.bin");
    assert_eq!(bytes.len(), 262_144);
    let harness = keyway::suite::Harness::load(folder.join("aria.yaml")).expect("the demo harness");
    let overlay = &harness.rig.map.overlays()[0];
    assert_eq!(overlay.bytes.len(), 256 << 10);
    assert_eq!(overlay.range.end() - overlay.range.start() + 1, 256 << 10);
}

#[test]
fn smaller_images_repeat_through_the_window() {
    for size in [2, 0x200, 0x8000, MIB / 4, MIB] {
        let mut bus = Bench::bare().attach(patterned(size)).bus();
        for mirror in [0, 1, 2, (2 * MIB / size) / 2, 2 * MIB / size - 1] {
            for offset in [0, 1, size / 2, size - 1] {
                let address = WINDOW + (mirror * size + offset) % (2 * MIB);
                assert_eq!(bus.read_byte(address), Some(pattern(offset % size)), "size {size:#X} at {address:#X}");
            }
        }
    }
}

/// Sizes that are no power of two repeat with the next larger one, and the rest of each repeat is open.
#[test]
fn odd_sizes_leave_holes() {
    for size in [1u32, 3, 5, 0x101, 0x1FF, 0x201, 0x18_0001, 0x1F_FFFF] {
        let mut bus = Bench::bare().open(OpenBus::Ones).attach(patterned(size)).bus();
        let span = size.next_power_of_two();
        for offset in [0, size / 2, size - 1, size, size + 1, span - 1, span] {
            let address = WINDOW + offset % (2 * MIB);
            let expected = model(address, size).map_or(0xFF, pattern);
            assert_eq!(bus.read_byte(address), Some(expected), "size {size:#X} offset {offset:#X}");
        }
    }
}

/// Every size and address against the one-line model, by byte and by word, in an order that jumps about.
#[test]
fn any_address_of_any_size_agrees_with_the_model() {
    assert_eq!(shown_offset(0x20_0100, 0), None);
    let mut dice = Dice::new(1);
    for _ in 0..120 {
        let exact = 1u32 << dice.below(24);
        let bits = 1 + dice.below(23);
        let size = match dice.below(4) {
            0 => exact,
            1 => exact + 1,
            2 => 1 + dice.below(1 << bits),
            _ => 1 + dice.below(16 * MIB),
        };
        let mut image = Image::new(size, Fill::Noise(u64::from(size)));
        image.put(size / 3, patterned_bytes(size.min(97)));
        let mut bus = Bench::bare().open(OpenBus::Zeros).attach(image.clone()).bus();
        let mut address = WINDOW;
        for _ in 0..400 {
            address = match dice.below(3) {
                0 => WINDOW + dice.below(2 * MIB),
                1 => WINDOW + (size / 3 + dice.below(128)) % (2 * MIB),
                _ => WINDOW + (address - WINDOW + dice.below(4)) % (2 * MIB),
            };
            assert_eq!(shown_offset(address, size), model(address, size), "size {size:#X} at {address:#X}");
            let byte = |at| model(at, size).and_then(|offset| image.byte(offset)).unwrap_or(0);
            assert_eq!(bus.read_byte(address), Some(byte(address)), "size {size:#X} at {address:#X}");
            let even = address & !1;
            let word = u16::from_be_bytes([byte(even), byte(even | 1)]);
            assert_eq!(bus.read_word(even), Some(word), "size {size:#X} at {even:#X}");
            let known = model(address, size).is_some();
            assert_eq!(bus.peek(address), (if known { byte(address) } else { 0xFF }, known), "{address:#X}");
        }
    }
}

fn patterned_bytes(length: u32) -> Vec<u8> {
    (0..length).map(|offset| pattern(offset) ^ 0x5A).collect()
}

/// A dump with the wrong byte order shows each pair exchanged, in bytes and in words.
#[test]
fn swapped_images_show_each_pair_exchanged() {
    let mut image = patterned(0x1000);
    image.set_order(ByteOrder::Swapped);
    let mut bus = Bench::bare().attach(image).bus();
    for offset in (0..0x1000).step_by(0x1F2) {
        let (even, odd) = (pattern(offset), pattern(offset + 1));
        assert_eq!(bus.read_byte(WINDOW + offset), Some(odd));
        assert_eq!(bus.read_byte(WINDOW + offset + 1), Some(even));
        assert_eq!(bus.read_word(WINDOW + offset), Some(u16::from_be_bytes([odd, even])));
    }
}

/// The same through the processor: bytes, words and longs, and the 24-bit bus under 32-bit addresses.
#[test]
fn code_reads_what_the_socket_shows() {
    let code = &[
        0x1039, 0x003F, 0xFFFF, // move.b 0x3FFFFF,d0
        0x3239, 0x0020, 0x0000, // move.w 0x200000,d1
        0x2439, 0x002F, 0xFFFE, // move.l 0x2FFFFE,d2
        0x3639, 0xFF20, 0x0100, // move.w 0xFF200100,d3
        0x4E75, // rts
    ];
    let outcome = Bench::new(code).attach(patterned(4 * MIB)).returns();
    let word = |at: u32| u32::from(pattern(at)) << 8 | u32::from(pattern(at + 1));
    assert_eq!(d(&outcome, 0), u32::from(pattern(0x3F_FFFF)));
    assert_eq!(d(&outcome, 1), word(0x20_0000));
    assert_eq!(d(&outcome, 2), word(0x2F_FFFE) << 16 | word(0x30_0000));
    assert_eq!(d(&outcome, 3), word(0x20_0100));
}
