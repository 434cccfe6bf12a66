//! Made-up coverage: a decision map of sixty nodes, a header of 256 bytes, a listing of two thousand instructions.

use keyway::coverage::{
    Coverage, DecisionMap, Direction, Directions, FieldUse, HeaderByte, Instruction, MapEdge, MapNode, NeverTaken,
    NodeKind, Share, Stretch, TableEntry,
};

use super::sample::spot;

const INSTRUCTIONS: u32 = 2000;
const DECISIONS: usize = 54;

pub fn coverage(cases: u64) -> Coverage {
    let field = |name: &str, at, length, never_varied| FieldUse {
        name: name.to_owned(),
        at,
        length,
        read_by: cases,
        contents: if never_varied { 1 } else { 800 },
        never_varied,
    };
    Coverage {
        paths: 40,
        paths_followed: 40,
        harness: "Aria Workshop".to_owned(),
        file: "harness/aria.yaml".to_owned(),
        cases,
        instructions: Share { covered: 1900, total: u64::from(INSTRUCTIONS) },
        directions: Share { covered: 140, total: 156 },
        listing: (0..INSTRUCTIONS).map(|index| instruction(index, cases)).collect(),
        functions: Vec::new(),
        unreached: vec![Stretch {
            at: spot(0x2AE, "play_noise", 112),
            last: 0x2BE,
            source: Some("harness/detect.s:112-118".to_owned()),
            instructions: 7,
        }],
        outside: Vec::new(),
        never_taken: (0..16).map(never_taken).collect(),
        unresolved: vec![spot(0x3F0, "dispatch", 300)],
        never_matched: vec![TableEntry {
            whose: "0x000372 <our_products+48>".to_owned(),
            address: 0x372,
            source: Some("harness/detect.s:173".to_owned()),
            text: "AW-2100-02    ".to_owned(),
            cases,
        }],
        fields: vec![
            field("signature", 0x100, 16, true),
            field("product", 0x180, 14, false),
            field("checksum", 0x1A0, 2, false),
            field("a field with a rather long name", 0x1B0, 20, true),
        ],
        header: (0x100..0x200).map(|offset| header_byte(offset, cases)).collect(),
        map: map(cases),
    }
}

fn never_taken(index: u32) -> NeverTaken {
    NeverTaken {
        at: spot(0x230 + 2 * (17 * index + 5), "try_product", 50 + index),
        instruction: "bne.s 0x000262".to_owned(),
        taken: index.is_multiple_of(2),
        to: spot(0x262, "no_signature", 44),
        reached: !index.is_multiple_of(3),
        why: "no case reaches 0x0002AE-0x0002BE, harness/detect.s:112-118".to_owned(),
    }
}

fn instruction(index: u32, cases: u64) -> Instruction {
    let runs = if index % 40 > 37 { 0 } else { cases * u64::from(1 + index % 16) };
    let address = 0x230 + 2 * index;
    let direction = |to, runs| Direction { to: spot(to, "compare_signature", 40), runs, cases: runs.min(cases) };
    let symbol = if index.is_multiple_of(9) {
        format!("label_{index}")
    } else {
        format!("label_{}+{}", index / 9 * 9, index % 9 * 2)
    };
    Instruction {
        at: spot(address, &symbol, 40 + index),
        hex: "6608".to_owned(),
        text: if index % 17 == 5 {
            "bne.s 0x000262 <no_signature>".to_owned()
        } else {
            "move.w d3,0xE00010".to_owned()
        },
        runs,
        cases: runs.min(cases),
        targets: Vec::new(),
        directions: (index % 17 == 5).then(|| Directions {
            taken: direction(0x262, if index.is_multiple_of(2) { 0 } else { runs / 3 }),
            fell_through: direction(address + 2, runs - runs / 3),
        }),
    }
}

fn header_byte(offset: u32, cases: u64) -> HeaderByte {
    let read = matches!(offset, 0x100..0x110 | 0x180..0x18E | 0x1A0..0x1A2 | 0x1B0..0x1C4);
    HeaderByte {
        offset,
        read_by: if read { cases / u64::from(1 + offset % 16) } else { 0 },
        decisions: if read { cases * 3 / u64::from(1 + offset % 16) } else { 0 },
        values: match offset {
            0x180..0x18E => (0x30..0x3A).chain(0x41..0x47).collect(),
            0x1A0 => (0..=255).collect(),
            _ => vec![0x20, 0xFF],
        },
    }
}

/// A chain of decisions with early exits, loops, shortcuts and branches at the end.
fn map(cases: u64) -> DecisionMap {
    let node = |kind, name: String, index: u32| MapNode {
        kind,
        at: Some(spot(0x230 + 34 * index, &name, 40 + index)),
        instruction: (kind == NodeKind::Decision).then(|| format!("dbne d0,0x{:06X}", 0x230 + 34 * index)),
        name,
        cases: if index % 19 == 18 { 0 } else { cases / u64::from(1 + index / 4) },
    };
    let mut nodes = vec![node(NodeKind::Entry, "detect".to_owned(), 0)];
    for index in 1..=DECISIONS as u32 {
        let kind = if index == 40 { NodeKind::Jump } else { NodeKind::Decision };
        nodes.push(node(kind, format!("compare_{index}"), index));
    }
    let ends = ["combination", "patched", "noise", "refused", "alone"];
    nodes.extend(ends.map(|name| node(NodeKind::Branch, name.to_owned(), 60)));
    nodes.push(node(NodeKind::Other, "hang".to_owned(), 61));
    let edge = |from, to, taken, cases| MapEdge { from, to, taken: Some(taken), cases };
    let mut edges = vec![MapEdge { from: 0, to: 1, taken: None, cases }];
    for from in 1..=DECISIONS {
        let through = cases / (1 + from as u64 / 4);
        edges.push(edge(from, from + 1, false, through));
        let to = match from % 6 {
            0 => from,
            1 => DECISIONS + 1 + from % 5,
            2 => DECISIONS + 5,
            3 => (from + 4).min(DECISIONS + 6),
            4 => from - 1,
            _ => DECISIONS + 6,
        };
        edges.push(edge(from, to, true, if from.is_multiple_of(5) { 0 } else { through / 7 }));
    }
    DecisionMap { nodes, edges }
}
