//! Harness files: every way in which their values can be wrong.

use super::support::{Break, broken, try_all};

/// A field of the header.
const SIGNATURE: &str = "{at: 0x100, length: 16, pad: space}";

/// The condition of the first acceptance rule.
const UNLESS: &str = r#"unless: {signature: "PARLOR16 SYSTEM "}"#;

/// Unknown, missing and repeated keys, values of the wrong type.
#[rustfmt::skip]
const KEYS: &[Break] = &[
    broken("clock: 8", "clok: 8", "3:1", "clok", "did you mean `clock`?"),
    broken("limit: {instructions: 500000}", "limit: {instruction: 5}", "15:11", "routine.limit.instruction", "did you mean `instructions`?"),
    broken("branch: alone}", "brnch: alone}", "27:47", "acceptance[0].brnch", "did you mean `branch`?"),
    broken("host: {image: aria.elf}\n", "", "1:1", "", "the key `host` is missing"),
    broken("  entry: detect\n", "", "13:3", "routine", "the key `entry` is missing"),
    broken("name: work ram, ", "", "6:5", "memory[0]", "the key `name` is missing"),
    broken("kind: alternate, ", "", "22:16", "branches.patched", "the key `kind` is missing"),
    broken("clock: 8 MHz", "clock: [8]", "3:8", "clock", "wrong type: a list, expected a clock like 8 MHz or 7.6 MHz"),
    broken("host: {image: aria.elf}", "host: aria.elf", "2:7", "host", r#"wrong type: text "aria.elf", expected a mapping"#),
    broken("limit: {instructions: 500000}", "limit: 5", "15:10", "routine.limit", "wrong type: number `5`, expected a mapping"),
    broken("  - {branch: noise}", "  - noise", "32:5", "acceptance[5]", r#"wrong type: text "noise", expected a mapping"#),
    broken("name: Aria", "clock: 9 MHz\nname: Aria", "4:1", "clock", "`clock` is given twice"),
    broken(SIGNATURE, "{at: 0x100, at: 0x110, length: 16}", "17:26", "header.signature.at", "`at` is given twice"),
    broken("  patched:     {", "  combination: {", "22:3", "branches.combination", "`combination` is given twice"),
    broken("clock: 8 MHz", "clock:", "3:1", "clock", "`clock` has no value"),
    broken("power-on: [zeros, ones]", "power-on: ", "6:48", "memory[0].power-on", "`power-on` has no value"),
    broken(UNLESS, "unless: {}", "27:14", "acceptance[0].unless", "there is no condition; leave the key out instead"),
];

/// Values out of range, and ranges that overlap.
#[rustfmt::skip]
const RANGES: &[Break] = &[
    broken("clock: 8 MHz", "clock: 8 GHz", "3:8", "clock", r#"expected a clock like 8 MHz or 7.6 MHz, not "8 GHz""#),
    broken("clock: 8 MHz", "clock: -1", "3:8", "clock", "expected a clock like 8 MHz or 7.6 MHz, not -1"),
    broken("instructions: 500000", "instructions: 0", "15:25", "routine.limit.instructions", "expected a whole number of at least 1, not 0"),
    broken("instructions: 500000", "instructions: 99999999999999999999999", "15:25", "routine.limit.instructions", "the number 99999999999999999999999 is too large"),
    broken("limit: {instructions: 500000}", "limit: {}", "15:10", "routine.limit", "give `instructions` or `cycles`"),
    broken("window: 0x200000-0x3FFFFF", "window: 0x200000", "4:18", "socket.window", "expected an inclusive range like 0x200000-0x3FFFFF, not 2097152"),
    broken("window: 0x200000-0x3FFFFF", "window: 0x200000-0x1FFFFF", "4:18", "socket.window", "the range 0x200000-0x1FFFFF ends before it begins"),
    broken("window: 0x200000-0x3FFFFF", "window: 0x200000-0x13FFFFFF", "4:18", "socket.window", "0x200000-0x13FFFFFF lies beyond the 24-bit bus of the 68000 (0xFFFFFF)"),
    broken("window: 0x200000-0x3FFFFF", "window: 0x200001-0x3FFFFF", "4:18", "socket.window", "the window does not begin at an even address"),
    broken("range: 0xE00000-0xE0FFFF", "range: 0x3F0000-0x40FFFF", "6:29", "memory[0].range", "memory `work ram` 0x3F0000-0x40FFFF overlaps the socket's window 0x200000-0x3FFFFF"),
    broken("memory:\n", "memory:\n  - {name: other, range: 0xE08000-0xE0FFFF}\n", "7:29", "memory[1].range", "memory `work ram` 0xE00000-0xE0FFFF overlaps memory `other` 0xE08000-0xE0FFFF"),
    broken("range: 0xE00000-0xE0FFFF", "range: 0xE00000-0xE0FFFF, size: 0", "6:54", "memory[0].size", "0 bytes of RAM do not fit 0xE00000-0xE0FFFF (65536 bytes)"),
    broken("range: 0xE00000-0xE0FFFF", "range: 0xE00000-0xE0FFFF, size: 12 KiB", "6:54", "memory[0].size", "RAM of 12288 bytes cannot repeat: only a power of two can"),
    broken("range: 0xE00000-0xE0FFFF", "range: 0xE00000-0xE0FFFF, size: 1 GiB", "6:54", "memory[0].size", r#"expected a size in bytes, or like 128 KiB or 1 MiB, not "1 GiB""#),
    broken("at: 0xB00003", "at: 0xB00001", "9:23", "ports[1].at", "port `pedal` and port `latch` share the address 0xB00001"),
    broken("at: 0xB00003", "at: 0x1B00001", "9:23", "ports[1].at", "port `pedal` lies beyond the 24-bit bus of the 68000 (0xFFFFFF)"),
    broken("at: 0xB00003", "at: 1.5", "9:23", "ports[1].at", "expected a whole number from 0 to 0xFFFFFFFF, not the number 1.5"),
    broken("at: 0xB00003", "at: 0xB00003, size: word", "9:23", "ports[1].at", "port `pedal` is a word wide and must stand at an even address"),
    broken("reads: 0x00", "reads: 0x100", "9:40", "ports[1].reads", "0x100 does not fit the port (at most 0xFF)"),
    broken("reads: 0x00", "reads: [1, 2, 0x100]", "9:47", "ports[1].reads[2]", "0x100 does not fit the port (at most 0xFF)"),
    broken("reads: 0x00", "reads: {first: 1, then: 256, after-reads: 1}", "9:57", "ports[1].reads.then", "0x100 does not fit the port (at most 0xFF)"),
    broken("reads: 0x00", "reads: {first: 1, then: 2}", "9:40", "ports[1].reads", "give either `after-reads` or `after-cycles`"),
    broken("reads: 0x00", "reads: []", "9:40", "ports[1].reads", "the list is empty"),
    broken("writes: [0, 1]", "writes: [0, 256]", "8:45", "ports[0].writes[1]", "0x100 does not fit the port (at most 0xFF)"),
    broken("is: 1}}\nroutine", "is: 256}}\nroutine", "11:95", "overlays[0].while.is", "0x100 does not fit the port (at most 0xFF)"),
    broken("range: 0x280000-0x2BFFFF", "range: 0x280000-0x28FFFF", "11:51", "overlays[0].range", "the image has 262144 bytes, more than the 65536 of its range 0x280000-0x28FFFF"),
    broken("overlays:\n", "overlays:\n  - {name: other, image: patch.bin, range: 0x2A0000-0x2DFFFF, while: {port: latch, is: 1}}\n", "12:51", "overlays[1].range", "the overlay `other` shows there for the same value of the port"),
    broken("stack: 0xE0FE00", "stack: 0xE0FE01", "14:10", "routine.stack", "the stack 0xE0FE01 is odd; the routine's return address is pushed there"),
    broken("stack: 0xE0FE00", "stack: 0x100", "14:10", "routine.stack", "the stack 0x000100 has no RAM below it; the routine's return address is pushed there"),
    broken("stack: 0xE0FE00", "stack: 0xE0FE00\n  status: 0x12700", "15:11", "routine.status", "the status register has 16 bits"),
    broken("entry: detect", "entry: detect+1", "13:10", "routine.entry", "the entry 0x000231 is odd; code lies at even addresses"),
    broken("entry: detect", "entry: 0x400000", "13:10", "routine.entry", "the entry 0x400000 lies outside the host image"),
    broken(SIGNATURE, "{at: 0x100, length: 0}", "17:34", "header.signature.length", "a text field needs a `length` of at least 1 byte"),
    broken(SIGNATURE, "{at: 0xFFFFFF, length: 16}", "17:14", "header.signature", "the field lies beyond the largest image (16 MiB)"),
    broken(SIGNATURE, "{at: 0x100, length: 3, holds: number}", "17:34", "header.signature.length", "a number has a `length` of 1, 2 or 4 bytes"),
    broken("sum16: 0x200-end", "sum16: 0x201-end", "19:33", "header.checksum.sum16", "a checksum sums whole words: from an even offset to an odd one, both included"),
    broken("sum16: 0x200-end", "sum16: 0x200-0x3000", "19:33", "header.checksum.sum16", "a checksum sums whole words: from an even offset to an odd one, both included"),
    broken("sum16: 0x200-end", "sum16: 0x200-0x3FFFFFF", "19:33", "header.checksum.sum16", "the sum reaches beyond the largest image (16 MiB)"),
    broken("sum16: 0x200-end", "sum16: 0x100-end", "19:33", "header.checksum.sum16", "the sum would include the checksum itself"),
    broken("word preset", "word 0x1000000", "23:65", "branches.noise.shows.preset", "0x1000000 lies beyond the 24-bit bus"),
    broken("word preset", "word 0xE00001", "23:65", "branches.noise.shows.preset", "a word cannot lie at the odd address 0xE00001"),
    broken("word preset", "long 0xFFFFFE", "23:65", "branches.noise.shows.preset", "0xFFFFFE lies beyond the 24-bit bus"),
];

/// Names: repeated, empty, taken, unknown, of another kind.
#[rustfmt::skip]
const NAMES: &[Break] = &[
    broken("{name: latch", "{name: pedal", "9:12", "ports[1].name", "the name `pedal` is given twice"),
    broken("memory:\n", "memory:\n  - {name: work ram, range: 0xF00000-0xF0FFFF}\n", "7:12", "memory[1].name", "the name `work ram` is given twice"),
    broken("name: work ram", r#"name: """#, "6:12", "memory[0].name", "the name is empty"),
    broken("name: Aria Workshop", r#"name: " ""#, "1:7", "name", "the name is empty"),
    broken("  product:   {", "  size:      {", "18:3", "header.size", "no field can be called `size`: recipes use that key"),
    broken("  product:   {", "  ports:     {", "18:3", "header.ports", "no field can be called `ports`: recipes use that key"),
    broken("  product:   {", r#"  "":        {"#, "18:3", "header", "a key is empty"),
    broken("empty: floating", "empty: floatin", "4:44", "socket.empty", "did you mean `floating`?"),
    broken("kind: alternate", "kind: alternat", "22:23", "branches.patched.kind", "did you mean `alternate`?"),
    broken("name: Aria", "forbid: [writes-outside-mpa]\nname: Aria", "1:10", "forbid[0]", "did you mean `writes-outside-map`?"),
    broken("entry: detect", "entry: detct", "13:10", "routine.entry", "did you mean `detect`?"),
    broken("at: mode_patched", "at: mode_pached", "22:38", "branches.patched.at", "did you mean `mode_patched` or `MODE_PATCHED` or `mode`?"),
    broken("at: mode_patched", "at: xyzzy", "22:38", "branches.patched.at", "the host image has no symbol `xyzzy`"),
    broken("word preset", "word prest", "23:65", "branches.noise.shows.preset", "did you mean `preset`?"),
    broken("stack: 0xE0FE00", "stack: nope", "14:10", "routine.stack", "the host image has no symbol `nope`"),
    broken("stack: 0xE0FE00", "stack: 0xE0FE00\n  registers: {d8: 1}", "15:15", "routine.registers.d8", "there is no register `d8`; known are d0-d7, a0-a6"),
    broken("stack: 0xE0FE00", "stack: 0xE0FE00\n  registers: {d0: 1, D0: 2}", "15:22", "routine.registers.D0", "the register d0 is given twice"),
    broken("stack: 0xE0FE00", "stack: 0xE0FE00\n  registers: {a7: 1}", "15:15", "routine.registers.a7", "the stack pointer is set with `stack`"),
    broken("port: latch", "port: lach", "11:84", "overlays[0].while.port", "did you mean `latch`?"),
    broken("port: latch", "port: pedal", "11:84", "overlays[0].while.port", "the port `pedal` cannot be written"),
    broken("branch: alone}", "branch: alon}", "27:55", "acceptance[0].branch", "did you mean `alone`?"),
    broken(UNLESS, r#"unless: {sinature: "x"}"#, "27:15", "acceptance[0].unless.sinature", "did you mean `signature`?"),
    broken(UNLESS, "unless: {ports: {pedl: 0}}", "27:23", "acceptance[0].unless.ports.pedl", "did you mean `pedal`?"),
    broken(UNLESS, "unless: {ports: {latch: 0}}", "27:23", "acceptance[0].unless.ports.latch", "the port `latch` cannot be read"),
    broken("word preset", "d9", "23:65", "branches.noise.shows.preset", r#"expected a cell like word 0xE00012, byte some_symbol, or a register like d0 or d0.w, not "d9""#),
    broken("kind: rejected, at: mode_alone", "kind: rejected, when: {register: word 0xE00000, is: 1}", "25:50", "branches.alone.when.register", "expected a register like `d0` or `d0.w`"),
];

/// What could never happen, or would hold whatever the routine does.
#[rustfmt::skip]
const SENSE: &[Break] = &[
    broken("at: mode_patched", "at: mode_combination", "22:3", "branches.patched", "`patched` can never be told: `combination` before it leaves at the same place"),
    broken("at: mode_patched", "at: detect", "22:38", "branches.patched.at", "the routine starts there, so every run would be over before it begins"),
    broken("at: mode_patched", "at: mode_patched, leaves: {latsh: 0}", "22:61", "branches.patched.leaves.latsh", "did you mean `latch`?"),
    broken("at: mode_patched", "at: mode_patched, leaves: {}", "22:60", "branches.patched.leaves", "this expects nothing; leave the key out"),
    broken("at: mode_patched", "at: mode_patched, leaves: {pedal: 0}", "22:61", "branches.patched.leaves.pedal", "the port `pedal` cannot be written"),
    broken("at: mode_patched", "at: mode_patched, leaves: {latch: 0x100}", "22:68", "branches.patched.leaves.latch", "0x100 does not fit the port (at most 0xFF)"),
    broken("at: mode_patched", "at: mode_patched, leaves: {latch: 7}", "22:68", "branches.patched.leaves.latch", "the `writes` of `latch` do not list 7, and it is not what the port holds at power-on"),
    broken("port: latch, is: 1", "port: latch, is: 2", "11:95", "overlays[0].while.is", "the overlay would never show: the `writes` of `latch` do not list 2"),
    broken("  - {branch: noise}", "  - {branch: noise}\n  - {branch: alone}", "33:5", "acceptance[6]", "no cartridge comes to this rule: rule 6 takes all that fit it"),
    broken("{product: AW-3200-00}", "{product: {starts: AW-}}", "29:5", "acceptance[2]", "no cartridge comes to this rule: rule 2 takes all that fit it"),
    broken("[AW-2100-00, AW-2100-01]", "[AW-2100-00, AW-3200-00]", "29:5", "acceptance[2]", r#"no cartridge with product "AW-3200-00" comes to this rule: rule 2 takes it"#),
    broken("[AW-2100-00, AW-2100-01]", "[AW-2100-00, AW-2100-00]", "29:35", "acceptance[2].when.product[1]", "this is listed twice"),
    broken(UNLESS, r#"unless: {signature: {starts: ""}}"#, "27:26", "acceptance[0].unless.signature", r#""" is no part of a field of 16 bytes"#),
    broken(UNLESS, r#"unless: {signature: "PARLOR16 SYSTEM TOO LONG"}"#, "27:26", "acceptance[0].unless.signature", r#""PARLOR16 SYSTEM TOO LONG" has 24 bytes, the field `signature` holds 16"#),
    broken(UNLESS, "unless: {signature: 5}", "27:26", "acceptance[0].unless.signature", "the field `signature` holds a text; put 5 in quotes"),
    broken(UNLESS, "unless: {signature: 5.50}", "27:26", "acceptance[0].unless.signature", "expected a text or a number, not the number 5.5; put a text in quotes"),
    broken(UNLESS, "unless: {signature: true}", "27:26", "acceptance[0].unless.signature", "expected a text or a number, not the truth value true; put a text in quotes"),
    broken("{mask: 0x01, is: 0x01}", "{mask: 0, is: 0}", "30:59", "acceptance[3].when.ports.pedal.mask", "a mask of 0 looks at no bit"),
    broken("{mask: 0x01, is: 0x01}", "{mask: 1, is: 2}", "30:52", "acceptance[3].when.ports.pedal", "no value fits: `is` has bits that `mask` leaves out"),
    broken("kind: rejected, at: mode_alone", "kind: rejected, at: mode_alone, when: {word: mode, is: 0x10000}", "25:72", "branches.alone.when.is", "0x10000 does not fit a word"),
    broken("kind: rejected, at: mode_alone", "kind: rejected, at: mode_alone, when: {is: 1}", "25:55", "branches.alone.when", "give one of `byte`, `word`, `long` and `register`"),
];

#[test]
fn keys() {
    try_all("h.yaml", KEYS);
}

#[test]
fn ranges() {
    try_all("h.yaml", RANGES);
}

#[test]
fn names() {
    try_all("h.yaml", NAMES);
}

#[test]
fn senseless_rules() {
    try_all("h.yaml", SENSE);
}
