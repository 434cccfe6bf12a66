//! Case files: every way in which their values can be wrong.

use super::support::{Break, CASES, Project, broken, try_all};

/// The end of a cartridge.
const PRODUCT: &str = r#"product: "AW-3200-00""#;

/// What the second case attaches.
const ATTACH: &str = "    attach: choir\n";

/// What the second case expects.
const EXPECT: &str = "expect: {branch: combination, memory: {word mode: 1}}";

/// Unknown, missing and repeated keys, values of the wrong type.
#[rustfmt::skip]
const KEYS: &[Break] = &[
    broken("harness: h.yaml", "harnes: h.yaml", "1:1", "harnes", "did you mean `harness`?"),
    broken("harness: h.yaml\n", "", "1:1", "", "the key `harness` is missing"),
    broken("defaults: {empty: ones}", "defaults: {emty: ones}", "2:12", "defaults.emty", "did you mean `empty`?"),
    broken("defaults: {empty: ones}", "defaults: {attach: nothing}", "2:12", "defaults.attach", "unknown key `attach`"),
    broken("defaults: {empty: ones}", "defaults: {empty: onse}", "2:19", "defaults.empty", "did you mean `ones` or `noise`?"),
    broken("choir: {signature", "choir: {sinature", "5:11", "cartridges.choir.sinature", "did you mean `signature`?"),
    broken("  choir: {", "  drums: {", "5:3", "cartridges.drums", "`drums` is given twice"),
    broken("  choir: {", "  nothing: {", "5:3", "cartridges.nothing", "`nothing` is the empty socket; give another name"),
    broken(PRODUCT, "product:", "5:42", "cartridges.choir.product", "`product` has no value"),
    broken(PRODUCT, "product: 1.10", "5:51", "cartridges.choir.product", "expected a text or a number, not the number 1.1; put a text in quotes"),
    broken(PRODUCT, "product: true", "5:51", "cartridges.choir.product", "expected a text or a number, not the truth value true; put a text in quotes"),
    broken(PRODUCT, "product: [a]", "5:51", "cartridges.choir.product", "wrong type: a list, expected a text or a number"),
    broken(PRODUCT, "product: 3200", "5:51", "cartridges.choir.product", "the field `product` holds a text; put it in quotes"),
    broken(ATTACH, "    attach: []\n", "12:13", "cases[1].attach", "give `nothing`, the name of a cartridge, or a recipe"),
    broken(ATTACH, "    attach: {}\n", "12:13", "cases[1].attach", "the recipe is empty; for an erased cartridge say `fill: 0xFF`"),
    broken(ATTACH, "    attach: chior\n", "12:13", "cases[1].attach", "did you mean `choir`?"),
    broken(ATTACH, "", "11:5", "cases[1]", "the key `attach` is missing"),
    broken(ATTACH, "    attach: choir\n    attach: drums\n", "13:5", "cases[1].attach", "`attach` is given twice"),
    broken(ATTACH, "    attach: {with: nothing}\n", "12:20", "cases[1].attach.with", "a recipe cannot start from `nothing`"),
    broken(ATTACH, r#"    attach: {with: drums, rev: "00", rve: 1}
"#, "12:38", "cases[1].attach.rve", "did you mean `rev`?"),
    broken("name: two", "name: [a]", "11:11", "cases[1].name", "the name is a text; put it in quotes"),
    broken("name: two", "name: 1.50", "11:11", "cases[1].name", "the name is a text; put it in quotes"),
    broken("name: two", r#"name: """#, "11:11", "cases[1].name", "the name is empty"),
    broken("name: two", r#"name: "one, rev 01""#, "11:11", "cases[1].name", r#"the name "one, rev 01" is that of the case in line 7 too"#),
    broken("name: two", r#"name: "a\nb""#, "11:11", "cases[1].name", "a name is one line, without tabs"),
    broken("name: two", r#"name: "a\e[31mb""#, "11:11", "cases[1].name", "the text holds the control character U+001B"),
    broken("name: two", r#"name: "a\u202Eb""#, "11:11", "cases[1].name", "the text holds the control character U+202E"),
    broken(EXPECT, "expect: combination", "14:13", "cases[1].expect", r#"wrong type: text "combination", expected a mapping"#),
    broken(EXPECT, "expect: ", "14:5", "cases[1].expect", "`expect` has no value"),
    broken(EXPECT, "expect: {brnch: alone}", "14:14", "cases[1].expect.brnch", "did you mean `branch`?"),
    broken(EXPECT, "expect: {branch: alon}", "14:22", "cases[1].expect.branch", "did you mean `alone`?"),
    broken(EXPECT, "expect: {branch: [combination, alon]}", "14:36", "cases[1].expect.branch[1]", "did you mean `alone`?"),
    broken(EXPECT, "expect: {branch: [alone, alone]}", "14:30", "cases[1].expect.branch[1]", "`alone` is listed twice"),
    broken(EXPECT, "expect: {leaves: {latsh: 0}}", "14:23", "cases[1].expect.leaves.latsh", "did you mean `latch`?"),
    broken(EXPECT, "expect: {leaves: {pedal: 0}}", "14:23", "cases[1].expect.leaves.pedal", "the port `pedal` cannot be written"),
    broken(EXPECT, "expect: {leaves: {latch: 2}}", "14:30", "cases[1].expect.leaves.latch", "the `writes` of `latch` do not list 2, and it is not what the port holds at power-on"),
    broken(EXPECT, "expect: {leaves: {latch: 256}}", "14:30", "cases[1].expect.leaves.latch", "0x100 does not fit the port (at most 0xFF)"),
    broken(EXPECT, "expect: {leaves: {}}", "14:22", "cases[1].expect.leaves", "this expects nothing; leave the key out"),
    broken(EXPECT, "expect: {forbid: []}", "14:22", "cases[1].expect.forbid", "the list is empty"),
    broken(EXPECT, "expect: {forbid: writes-outside-the-map}", "14:22", "cases[1].expect.forbid", "did you mean `writes-outside-map`?"),
    broken(EXPECT, "expect: {forbid: [executes-outside-host]}", "14:22", "cases[1].expect.forbid", "where code may run is said for all cases: under `forbid` of the harness"),
    broken(EXPECT, "expect: {leaves: {latch: 0, latch: 1}}", "14:33", "cases[1].expect.leaves.latch", "`latch` is given twice"),
    broken(EXPECT, "expect: {leaves: {latch: [1, 0]}}", "14:30", "cases[1].expect.leaves.latch", "wrong type: a list, expected a whole number from 0 to 0xFFFFFFFF"),
    broken(EXPECT, "expect: {forbid: {}}", "14:22", "cases[1].expect.forbid", "expected one value or a list"),
    broken(EXPECT, "expect: {forbid: [reads-outside-map, executes-outside-host]}", "14:42", "cases[1].expect.forbid[1]", "under `forbid` of the harness"),
    broken(EXPECT, "expect: {branch: 5}", "14:22", "cases[1].expect.branch", "wrong type: number `5`, expected text"),
    broken(EXPECT, "expect: {kind: rejeced}", "14:20", "cases[1].expect.kind", "did you mean `rejected`?"),
    broken(EXPECT, "expect: {kind: rejected, branch: alone}", "14:14", "cases[1].expect.kind", "give either `branch` or `kind`"),
    broken(ATTACH, r#"    attach: choir
    known-bug: ""
"#, "13:16", "cases[1].known-bug", "say why the case is known to fail"),
    broken(ATTACH, "    attach: choir\n    power-on: [zero]\n", "13:16", "cases[1].power-on[0]", "did you mean `zeros`?"),
    broken("    ports: {pedal: 1}", "    ports: {pedl: 1}", "13:13", "cases[1].ports.pedl", "did you mean `pedal`?"),
    broken("    ports: {pedal: 1}", "    ports: {latch: 1}", "13:13", "cases[1].ports.latch", "the port `latch` cannot be read"),
    broken("    ports: {pedal: 1}", "    5: 1", "11:5", "cases[1]", "wrong type: number `5`, expected one of the known keys"),
];

/// Cartridges: what does not fit, lies beyond the image, or is given twice.
#[rustfmt::skip]
const RECIPES: &[Break] = &[
    broken(PRODUCT, r#"product: "AW-3200-00", size: 0"#, "5:71", "cartridges.choir.size", "an image has 1 byte to 16 MiB, not 0"),
    broken(PRODUCT, r#"product: "AW-3200-00", size: 17 MiB"#, "5:71", "cartridges.choir.size", "an image has 1 byte to 16 MiB, not 17825792"),
    broken(PRODUCT, r#"product: "AW-3200-00", size: 16777217"#, "5:71", "cartridges.choir.size", "an image has 1 byte to 16 MiB, not 16777217"),
    broken(PRODUCT, r#"product: "AW-3200-00", size: 0.3 KiB"#, "5:71", "cartridges.choir.size", r#"expected a size in bytes, or like 128 KiB or 1 MiB, not "0.3 KiB""#),
    broken(PRODUCT, r#"product: "AW-3200-00", size: -1"#, "5:71", "cartridges.choir.size", "expected a size in bytes, or like 128 KiB or 1 MiB, not -1"),
    broken(PRODUCT, r#"product: "AW-3200-00", size: 1e6"#, "5:71", "cartridges.choir.size", "expected a size in bytes, or like 128 KiB or 1 MiB, not the number 1000000"),
    broken(PRODUCT, r#"product: "AW-3200-00", size: 0x18D"#, "5:51", "cartridges.choir.product", "0x000180-0x00018D lies beyond the image of 397 bytes (0x18D bytes)"),
    broken(PRODUCT, r#"product: "AW-3200-00-TOO-LONG""#, "5:51", "cartridges.choir.product", r#""AW-3200-00-TOO-LONG" has 19 bytes, the field `product` holds 14"#),
    broken(PRODUCT, r#"product: "AW-3200-00", checksum: rigth"#, "5:75", "cartridges.choir.checksum", r#"the field `checksum` holds a checksum: right, wrong or a number, not "rigth""#),
    broken(PRODUCT, r#"product: "AW-3200-00", checksum: 0x10000"#, "5:75", "cartridges.choir.checksum", "0x10000 does not fit the 2 bytes of the field `checksum`"),
    broken(PRODUCT, r#"product: "AW-3200-00", fill: 256"#, "5:71", "cartridges.choir.fill", "expected a byte (0 to 0xFF) or noise, not 256"),
    broken(PRODUCT, r#"product: "AW-3200-00", header: "4A4""#, "5:73", "cartridges.choir.header", r#"expected bytes in hexadecimal, in quotes, like "4A 4B", not "4A4""#),
    broken(PRODUCT, r#"product: "AW-3200-00", header: {at: 0xFFFFF, hex: "41 42"}"#, "5:73", "cartridges.choir.header", "0x0FFFFF-0x100000 lies beyond the image of 1 MiB (0x100000 bytes)"),
    broken(PRODUCT, r#"product: "AW-3200-00", bytes: {x: "41"}"#, "5:73", "cartridges.choir.bytes.x", r#"expected an offset like 0x1F0 as the key, not "x""#),
    broken(PRODUCT, r#"product: "AW-3200-00", bytes: {0x1F0: "41", 496: "42"}"#, "5:86", "cartridges.choir.bytes.496", "`496` is given twice"),
    broken(PRODUCT, r#"product: "AW-3200-00", bytes: {0x1F0: "41 41", 0x1F1: "42"}"#, "5:72", "cartridges.choir.bytes", "the bytes at 0x1F1 overlap those at 0x1F0"),
    broken(PRODUCT, r#"product: "AW-3200-00", bytes: {0x1F0: 41}"#, "5:80", "cartridges.choir.bytes.0x1F0", r#"expected bytes in hexadecimal, in quotes, like "4A 4B", not 41"#),
    broken(PRODUCT, r#"product: "AW-3200-00", bytes: {0xFFFFFF: "41"}"#, "5:83", "cartridges.choir.bytes.0xFFFFFF", "0xFFFFFF-0xFFFFFF lies beyond the image of 1 MiB (0x100000 bytes)"),
    broken(PRODUCT, r#"product: "AW-3200-00", header-copy: 0x100000"#, "5:78", "cartridges.choir.header-copy", "a header copy at 0x100000 lies beyond the image of 1 MiB"),
    broken(PRODUCT, r#"product: "AW-3200-00", header-copy: [0x80000, 0xFFFF0]"#, "5:88", "cartridges.choir.header-copy[1]", "a header copy at 0x0FFFF0 lies beyond the image of 1 MiB"),
    broken(PRODUCT, r#"product: "AW-3200-00", header-copy: 0x100"#, "5:78", "cartridges.choir.header-copy", "a header copy at 0x000100 would lie over the header itself"),
    broken(PRODUCT, r#"product: "AW-3200-00", header-copy: [0x80000, 0x80010]"#, "5:88", "cartridges.choir.header-copy[1]", "a header copy at 0x080010 would lie over another one"),
    broken(ATTACH, "    attach: {size: 4 MiB, header-copy: 0x200000}\n", "12:40", "cases[1].attach.header-copy", "there is no header to copy: the recipe has no field, `header` or `file`"),
    broken(PRODUCT, r#"product: "AW-3200-00", contacts: [{data: 16, is: high}]"#, "5:76", "cartridges.choir.contacts[0]", "there is no data line 16; D0 to D15 are"),
    broken(PRODUCT, r#"product: "AW-3200-00", contacts: [{address: 0, is: high}]"#, "5:76", "cartridges.choir.contacts[0]", "there is no address line 0; A1 to A23 are"),
    broken(PRODUCT, r#"product: "AW-3200-00", contacts: [{address: 5, is: open}]"#, "5:76", "cartridges.choir.contacts[0]", "an address line cannot be `open`: say what the cartridge sees, high or low"),
    broken(PRODUCT, r#"product: "AW-3200-00", contacts: [{data: 3, is: high}, {data: 3, is: low}]"#, "5:97", "cartridges.choir.contacts[1]", "the data line 3 is given twice"),
    broken(PRODUCT, r#"product: "AW-3200-00", contacts: [{data: 3, is: hgih}]"#, "5:90", "cartridges.choir.contacts[0].is", "did you mean `high`?"),
    broken(PRODUCT, r#"product: "AW-3200-00", contacts: [{is: high}]"#, "5:76", "cartridges.choir.contacts[0]", "give either `data` or `address`, a line number"),
    broken(PRODUCT, r#"product: "AW-3200-00", with: choir"#, "5:71", "cartridges.choir.with", "the cartridge `choir` starts from itself in the end (choir -> choir)"),
    broken(PRODUCT, r#"product: "AW-3200-00", with: durms"#, "5:71", "cartridges.choir.with", "did you mean `drums`?"),
    broken(PRODUCT, r#"product: "AW-3200-00", byte-order: swaped"#, "5:77", "cartridges.choir.byte-order", "did you mean `swapped`?"),
    broken(PRODUCT, r#"product: "AW-3200-00", rev: 5"#, "5:65", "cartridges.choir.rev", "unknown key `rev`"),
    broken(r#"product: "AW-2100-{rev}""#, r#"product: "AW-2100-{rve}""#, "4:51", "cartridges.drums.product", r#"nothing gives `{rve}` a value (case "one, rev 00", line 7)"#),
    broken(ATTACH, "    attach: drums\n", "4:51", "cartridges.drums.product", r#"nothing gives `{rev}` a value (case "two", line 11)"#),
    broken(ATTACH, r#"    attach: {with: drums, rev: "TOO-LONG"}
"#, "4:51", "cartridges.drums.product", r#""AW-2100-TOO-LONG" has 16 bytes, the field `product` holds 14 (case "two", line 11)"#),
];

/// `for` lists.
#[rustfmt::skip]
const LISTS: &[Break] = &[
    broken(r#"["00", "01"]"#, "[]", "8:16", "cases[0].for.rev", "the list is empty, so the case would never run"),
    broken(r#"["00", "01"]"#, r#"["00", "00"]"#, "8:23", "cases[0].for.rev[1]", "00 is listed twice"),
    broken(r#"["00", "01"]"#, r#"[0, "0"]"#, "7:11", "cases[0].name", r#"two combinations of the `for` lists make the name "one, rev 0""#),
    broken(r#"["00", "01"]"#, "[1.5]", "8:17", "cases[0].for.rev[0]", "expected a text or a number, not the number 1.5; put a text in quotes"),
    broken(r#"["00", "01"]"#, "[true]", "8:17", "cases[0].for.rev[0]", "expected a text or a number, not the truth value true; put a text in quotes"),
    broken(r#"["00", "01"]"#, r#""00""#, "8:16", "cases[0].for.rev", r#"wrong type: text "00", expected a list"#),
    broken(r#"["00", "01"]}"#, r#"["00"], "a b": [x]}"#, "8:24", r#"cases[0].for."a b""#, "a variable is a letter, then letters, digits, `-` and `_`"),
    broken(r#"["00", "01"]}"#, r#"["00"], x: [a, b]}"#, "8:24", "cases[0].for.x", "nothing but the name uses `{x}`, so the same case would run again and again"),
];

/// Expectations that cannot be, or that would hold whatever the routine does.
#[rustfmt::skip]
const EXPECTATIONS: &[Break] = &[
    broken(EXPECT, "expect: {shows: {prest: 5}}", "14:22", "cases[1].expect.shows.prest", "did you mean `preset`?"),
    broken(EXPECT, "expect: {shows: {preset: 0x10000}}", "14:30", "cases[1].expect.shows.preset", "0x10000 does not fit a word"),
    broken(EXPECT, "expect: {branch: combination, shows: {preset: 1}}", "14:43", "cases[1].expect.shows.preset", "the branch `combination` shows no `preset`"),
    broken(EXPECT, "expect: {shows: {}}", "14:21", "cases[1].expect.shows", "this expects nothing; leave the key out"),
    broken(EXPECT, "expect: {writes: {lach: [1]}}", "14:23", "cases[1].expect.writes.lach", "did you mean `latch`?"),
    broken(EXPECT, "expect: {writes: {pedal: [1]}}", "14:23", "cases[1].expect.writes.pedal", "the port `pedal` cannot be written"),
    broken(EXPECT, "expect: {writes: {latch: [0, 256]}}", "14:34", "cases[1].expect.writes.latch[1]", "0x100 does not fit the port (at most 0xFF)"),
    broken(EXPECT, "expect: {writes: [{latch: 1}, {lach: 0}]}", "14:36", "cases[1].expect.writes[1].lach", "did you mean `latch`?"),
    broken(EXPECT, "expect: {writes: {}}", "14:22", "cases[1].expect.writes", "this expects nothing; leave the key out"),
    broken(EXPECT, "expect: {writes: []}", "14:22", "cases[1].expect.writes", "the list is empty"),
    broken(EXPECT, "expect: {memory: {word mod: 1}}", "14:23", r#"cases[1].expect.memory."word mod""#, "did you mean `mode` or `MODE_ALONE` or `MODE_NOISE`?"),
    broken(EXPECT, "expect: {memory: {d0: 1}}", "14:23", "cases[1].expect.memory.d0", "expected a cell like `word 0xE00010`"),
    broken(EXPECT, "expect: {memory: {word 0xE00001: 1}}", "14:23", r#"cases[1].expect.memory."word 0xE00001""#, "a word cannot lie at the odd address 0xE00001"),
    broken(EXPECT, "expect: {memory: {word mode: 0x10000}}", "14:34", r#"cases[1].expect.memory."word mode""#, "0x10000 does not fit a word"),
    broken(EXPECT, "expect: {memory: {word 0x500000: 1}}", "14:23", r#"cases[1].expect.memory."word 0x500000""#, "nothing answers at 0x500000"),
    broken(EXPECT, "expect: {memory: {word 0x100: 1}}", "14:23", r#"cases[1].expect.memory."word 0x100""#, "the host ROM stands, which no run changes, at 0x000100"),
    broken(EXPECT, "expect: {memory: {word 0x200180: 1}}", "14:23", r#"cases[1].expect.memory."word 0x200180""#, "the attached cartridge shows, which no run changes, at 0x200180"),
    broken(EXPECT, "expect: {memory: {}}", "14:22", "cases[1].expect.memory", "this expects nothing; leave the key out"),
    broken(EXPECT, "expect: {registers: {d9: 1}}", "14:26", "cases[1].expect.registers.d9", "expected a register like `d0` or `d0.w`"),
    broken(EXPECT, "expect: {registers: {d0.w: 0x10000}}", "14:32", r#"cases[1].expect.registers."d0.w""#, "0x10000 does not fit a word"),
    broken(EXPECT, "expect: {registers: {}}", "14:25", "cases[1].expect.registers", "this expects nothing; leave the key out"),
    broken(EXPECT, "expect: {within: {}}", "14:22", "cases[1].expect.within", "give `instructions`, `cycles` or `time`"),
    broken(EXPECT, "expect: {within: {cycles: 0}}", "14:31", "cases[1].expect.within.cycles", "expected a whole number of at least 1, not 0"),
    broken(EXPECT, "expect: {within: {time: 2}}", "14:29", "cases[1].expect.within.time", "expected a time like 2 ms or 500 us, not 2"),
    broken(EXPECT, "expect: {within: {instructions: 600000}}", "14:37", "cases[1].expect.within.instructions", "this can never fail: a run is given up after 500,000 instructions, before 600,000"),
    broken(EXPECT, "expect: {never: []}", "14:21", "cases[1].expect.never", "the list is empty"),
    broken(EXPECT, "expect: {never: combinaton}", "14:21", "cases[1].expect.never", "did you mean `combination`?"),
    broken(EXPECT, "expect: {branch: alone, never: alone}", "14:36", "cases[1].expect.never", "every branch that is wanted is ruled out here"),
    broken(EXPECT, "expect: {reads: []}", "14:21", "cases[1].expect.reads", "the list is empty"),
    broken(EXPECT, "expect: {reads: [signature, prodct]}", "14:33", "cases[1].expect.reads[1]", "did you mean `product`?"),
    broken(EXPECT, "expect: {reads: 0x200-0x100}", "14:21", "cases[1].expect.reads", "the range 0x200-0x100 ends before it begins"),
    broken(EXPECT, "expect: {reads: 0x0-0xFFFFFFFF}", "14:21", "cases[1].expect.reads", "the range 0x0-0xFFFFFFFF reaches beyond the largest image (16 MiB)"),
    broken(EXPECT, "expect: {reads: 0x0-0xFFFFF}", "14:21", "cases[1].expect.reads", "this allows every read: it covers the whole image"),
    broken("defaults: {empty: ones}", "defaults: {expect: {branch: alon}}", "2:29", "defaults.expect.branch", "did you mean `alone`?"),
    broken("defaults: {empty: ones}", "defaults: {expect: {leaves: {lach: 0}}}", "2:30", "defaults.expect.leaves.lach", "did you mean `latch`?"),
    broken("defaults: {empty: ones}", "defaults: {ports: {pedl: 1}}", "2:20", "defaults.ports.pedl", "did you mean `pedal`?"),
    broken("defaults: {empty: ones}", "defaults: {expect: {memory: {word mod: 1}}}", "2:30", r#"defaults.expect.memory."word mod""#, "did you mean `mode` or `MODE_ALONE` or `MODE_NOISE`?"),
    broken("defaults: {empty: ones}", "defaults: {ports: {pedal: [0, 256]}}", "2:31", "defaults.ports.pedal[1]", "0x100 does not fit the port (at most 0xFF)"),
];

#[test]
fn keys() {
    try_all("c.yaml", KEYS);
}

#[test]
fn recipes() {
    try_all("c.yaml", RECIPES);
}

#[test]
fn lists() {
    try_all("c.yaml", LISTS);
}

#[test]
fn expectations() {
    try_all("c.yaml", EXPECTATIONS);
}

#[test]
fn a_file_without_cases() {
    for (cases, at, path, message) in [
        ("cases: []\n", "c.yaml:6:8", "cases", "there is no case in this file"),
        ("cases:\n", "c.yaml:6:1", "cases", "`cases` has no value"),
        ("cases: {}\n", "c.yaml:6:8", "cases", "expected a list"),
        ("", "c.yaml:1:1", "", "there is no case in this file"),
    ] {
        let project = Project::new();
        let before = CASES.split("cases:\n").next().expect("the part before the cases");
        project.write("c.yaml", format!("{before}{cases}"));
        project.complains(cases, at, path, message);
    }
}

#[test]
fn lists_that_make_more_than_a_million_cases() {
    let project = Project::new();
    let list: Vec<String> = (0..1001).map(|number| format!("\"{number}\"")).collect();
    let lists = format!("{{rev: [{list}], b: [{list}]}}", list = list.join(","));
    project.replace("c.yaml", "{rev: [\"00\", \"01\"]}", &lists);
    project.complains("1001 x 1001", "c.yaml:8:10", "cases[0].for", "more than 1000000 cases");
}

#[test]
fn a_time_without_a_clock() {
    let project = Project::new();
    project.replace("h.yaml", "clock: 8 MHz\n", "");
    project.replace("c.yaml", "within: {cycles: 20000}", "within: {time: 2 ms}");
    project.complains("time", "c.yaml:10:65", "cases[0].expect.within.time", "gives no `clock`");
}

/// A cartridge from which others start need not make a cartridge by itself; any other must, attached or not.
#[test]
fn cartridges_that_no_case_attaches() {
    let project = Project::new();
    project.replace("c.yaml", "  choir: {", "  base: {header-copy: 0x200000}\n  choir: {with: base, size: 4 MiB, ");
    assert_eq!(project.run(&["list", "c.yaml"]).status.code(), Some(0));
    let project = Project::new();
    project.replace("c.yaml", "  choir: {", "  spare: {size: 17 MiB}\n  choir: {");
    project.complains("spare", "c.yaml:5:17", "cartridges.spare.size", "1 byte to 16 MiB");
}
