//! Contact faults: lines stuck, open or flickering between the socket and the attached cartridge, and nowhere else.

use keyway::board::{Bus, OpenBus};
use keyway::cartridge::{AddressFault, Contacts, DataFault, Fill, Flaw, Image};

use super::support::{Bench, Dice, NOWHERE, RAM, WINDOW, byte_port, pattern, patterned};

const SIZE: u32 = 0x10_0000;

fn data(line: u8, is: Flaw) -> Contacts {
    Contacts { data: vec![DataFault { line, is }], address: Vec::new() }
}

fn address(line: u8, is: Flaw) -> Contacts {
    Contacts { data: Vec::new(), address: vec![AddressFault { line, is }] }
}

fn good(address: u32) -> u16 {
    let offset = (address - WINDOW) % SIZE;
    u16::from_be_bytes([pattern(offset), pattern(offset + 1)])
}

fn bus(contacts: Contacts, rule: OpenBus) -> Bus {
    Bench::bare().open(rule).attach(patterned(SIZE)).contacts(contacts).bus()
}

/// Checks words and bytes at a few places against what the word ought to be.
fn check(bus: &mut Bus, what: &str, expected: impl Fn(u32) -> u16) {
    for offset in [0u32, 2, 0x100, 0x180, 0x5A5A, 0xF_FFFE, 0x1F_FFFE] {
        let at = WINDOW + offset;
        let word = expected(at);
        assert_eq!(bus.read_word(at), Some(word), "{what}: word at {at:#X}");
        let [high, low] = word.to_be_bytes();
        assert_eq!(bus.read_byte(at), Some(high), "{what}: even byte at {at:#X}");
        assert_eq!(bus.read_byte(at + 1), Some(low), "{what}: odd byte at {at:#X}");
    }
}

/// D15-D8 carry the even byte and D7-D0 the odd one (UM section 5, from memory).
#[test]
fn stuck_data_lines_force_their_bit() {
    for line in 0..16 {
        let bit = 1u16 << line;
        check(&mut bus(data(line, Flaw::High), OpenBus::Ones), &format!("D{line} high"), |at| good(at) | bit);
        check(&mut bus(data(line, Flaw::Low), OpenBus::Ones), &format!("D{line} low"), |at| good(at) & !bit);
    }
}

#[test]
fn open_data_lines_follow_the_rule_of_the_socket() {
    for line in 0..16 {
        let bit = 1u16 << line;
        check(&mut bus(data(line, Flaw::Open), OpenBus::Ones), &format!("D{line} open, ones"), |at| good(at) | bit);
        check(&mut bus(data(line, Flaw::Open), OpenBus::Zeros), &format!("D{line} open, zeros"), |at| good(at) & !bit);
        for (last, level) in [(0xFFFFu16, bit), (0, 0)] {
            let mut bus = bus(data(line, Flaw::Open), OpenBus::Floating);
            bus.write_word(RAM, last).expect("RAM");
            assert_eq!(bus.read_word(WINDOW + 0x100), Some(good(WINDOW + 0x100) & !bit | level), "D{line} floats");
        }
    }
}

/// A flickering data line is wrong about half of the time, and only that line; the seed repeats it.
#[test]
fn a_flickering_data_line_comes_and_goes() {
    for line in [0u8, 7, 8, 15] {
        let listen = |seed: u64| {
            let mut bench = Bench::bare().attach(patterned(SIZE)).contacts(data(line, Flaw::Flickering));
            bench.inputs.seed = seed;
            let mut bus = bench.bus();
            (0..400).map(|_| bus.read_word(WINDOW + 0x100).expect("an answer")).collect::<Vec<u16>>()
        };
        let words = listen(1);
        let right = good(WINDOW + 0x100);
        assert!(words.iter().all(|word| word & !(1 << line) == right & !(1 << line)));
        let wrong = words.iter().filter(|word| **word != right).count();
        assert!((120..280).contains(&wrong), "D{line}: {wrong} of 400");
        assert_eq!(words, listen(1));
        assert_ne!(words, listen(2));
    }
}

/// The cartridge sees another address; the bus still sees the right one.
#[test]
fn stuck_address_lines_show_another_place() {
    for line in 1..24 {
        let bit = 1u32 << line;
        let of = |seen: u32| {
            let offset = seen % SIZE;
            u16::from_be_bytes([pattern(offset), pattern(offset + 1)])
        };
        check(&mut bus(address(line, Flaw::High), OpenBus::Ones), &format!("A{line} high"), |at| of(at | bit));
        check(&mut bus(address(line, Flaw::Low), OpenBus::Ones), &format!("A{line} low"), |at| of(at & !bit));
    }
}

/// A21 stuck low on a 4 MB cartridge shows its lower half; A20 stuck high on one of 3 MiB leads into the hole.
#[test]
fn stuck_upper_lines_move_the_half_that_shows() {
    let bench = Bench::bare().open(OpenBus::Ones).attach(patterned(4 << 20)).contacts(address(21, Flaw::Low));
    assert_eq!(bench.bus().read_byte(WINDOW + 0x101), Some(pattern(0x101)));
    let bench = Bench::bare().open(OpenBus::Ones).attach(patterned(3 << 20)).contacts(address(20, Flaw::High));
    assert_eq!(bench.bus().read_byte(WINDOW + 0x101), Some(0xFF));
}

#[test]
fn a_flickering_address_line_shows_two_places() {
    let mut bus = bus(address(8, Flaw::Flickering), OpenBus::Ones);
    let (right, wrong) = (good(WINDOW + 0x102), good(WINDOW + 0x2));
    assert_ne!(right, wrong);
    let words: Vec<u16> = (0..400).filter_map(|_| bus.read_word(WINDOW + 0x102)).collect();
    assert!(words.iter().all(|word| *word == right || *word == wrong));
    let astray = words.iter().filter(|word| **word == wrong).count();
    assert!((120..280).contains(&astray), "{astray} of 400");
}

/// Several faults at once act together; of two on one line the later one wins.
#[test]
fn faults_add_up() {
    let contacts = Contacts {
        data: vec![
            DataFault { line: 15, is: Flaw::High },
            DataFault { line: 0, is: Flaw::Low },
            DataFault { line: 3, is: Flaw::Low },
            DataFault { line: 3, is: Flaw::High },
        ],
        address: vec![AddressFault { line: 1, is: Flaw::Low }, AddressFault { line: 4, is: Flaw::High }],
    };
    check(&mut bus(contacts, OpenBus::Ones), "several", |at| {
        let seen = at & !2 | 16;
        u16::from_be_bytes([pattern(seen % SIZE), pattern(seen % SIZE + 1)]) & !1 | 0x8008
    });
}

/// Host ROM, overlays, RAM, ports and the empty socket have lines of their own.
#[test]
fn only_the_cartridge_is_affected() {
    let contacts = Contacts {
        data: (0..16).map(|line| DataFault { line, is: Flaw::High }).collect(),
        address: (1..24).map(|line| AddressFault { line, is: Flaw::High }).collect(),
    };
    let bench = Bench::bare()
        .open(OpenBus::Zeros)
        .put(0x600, &[0x1234])
        .port(byte_port("latch", NOWHERE + 1, Some(keyway::board::Schedule::Constant(0x21)), Some(&[0])))
        .overlay(WINDOW + 0x8000, WINDOW + 0x8FFF, 0, &[0x13, 0x57])
        .contacts(contacts);
    let mut bad = bench.clone().attach(Image::new(SIZE, Fill::Byte(0))).bus();
    assert_eq!(bad.read_word(WINDOW), Some(0xFFFF));
    bad.write_word(RAM + 2, 0x0102).expect("RAM");
    assert_eq!(bad.read_word(RAM + 2), Some(0x0102));
    assert_eq!(bad.read_word(0x600), Some(0x1234));
    assert_eq!(bad.read_word(WINDOW + 0x8000), Some(0x1357));
    assert_eq!(bad.read_byte(WINDOW + 0x8001), Some(0x57));
    assert_eq!(bad.read_byte(NOWHERE + 1), Some(0x21));
    assert_eq!(bad.read_word(NOWHERE + 2), Some(0));
    assert_eq!(bench.bus().read_word(WINDOW), Some(0), "nothing attached: nothing to spoil");
}

/// Beyond the end of an image its lines are open, stuck or not: the flaw sits in the cartridge's contacts, and nothing
/// behind them drives.
#[test]
fn a_stuck_line_needs_something_that_drives() {
    let bench = Bench::bare().open(OpenBus::Zeros).attach(patterned(3 << 20)).contacts(data(3, Flaw::High));
    let mut bus = bench.bus();
    assert_eq!(bus.read_word(WINDOW + 0x10_0000), Some(0));
    assert_eq!(bus.read_word(WINDOW).map(|word| word & 8), Some(8));
}

/// Random faults against a model of their own, over bytes and words.
#[test]
fn random_faults_agree_with_a_model() {
    let mut dice = Dice::new(5);
    for _ in 0..60 {
        let bits = 4 + dice.below(18);
        let size = 1 + dice.below(1 << bits);
        let mut contacts = Contacts::default();
        let (mut set, mut clear, mut address_set, mut address_clear) = (0u16, 0u16, 0u32, 0u32);
        for line in 0..16 {
            match dice.below(8) {
                0 => (set |= 1 << line, contacts.data.push(DataFault { line, is: Flaw::High })).1,
                1 => (clear |= 1 << line, contacts.data.push(DataFault { line, is: Flaw::Low })).1,
                _ => (),
            }
        }
        for line in 1..24 {
            match dice.below(12) {
                0 => (address_set |= 1 << line, contacts.address.push(AddressFault { line, is: Flaw::High })).1,
                1 => (address_clear |= 1 << line, contacts.address.push(AddressFault { line, is: Flaw::Low })).1,
                _ => (),
            }
        }
        let mut bus = Bench::bare().open(OpenBus::Zeros).attach(patterned(size)).contacts(contacts).bus();
        for _ in 0..100 {
            let at = WINDOW + dice.below(0x10_0000) * 2;
            let seen = (at | address_set) & !address_clear;
            let shown = |lane: u32, shift: u32| {
                let offset = (seen | lane) % size.next_power_of_two();
                let spoilt = |byte: u8| (byte | (set >> shift) as u8) & !((clear >> shift) as u8);
                if offset < size { spoilt(pattern(offset)) } else { 0 }
            };
            let bytes = [shown(0, 8), shown(1, 0)];
            assert_eq!(bus.read_word(at), Some(u16::from_be_bytes(bytes)), "{at:#X} of {size:#X}");
            assert_eq!([bus.read_byte(at), bus.read_byte(at + 1)], bytes.map(Some), "{at:#X} of {size:#X}");
        }
    }
}
