//! A made-up result of many cases with every kind of step, for what the demo suite is too small to show: size, and texts
//! that try to become markup.

use keyway::Harness;
use keyway::check::{CaseResult, Reached, Summary};
use keyway::explain::{
    Change, ExceptionStep, Explanation, Influence, Jump, Lookup, Nearby, Omitted, Origin, PortStep, Scan, Step, Test,
    Text, TextCompare, Told, Value, Went,
};
use keyway::report::{Group, Html, Reporter, Start};
use keyway::run::BranchKind;
use keyway::verdict::{Reason, Spot, Verdict, Why};

use super::plan::coverage;

/// A text that is markup, a script and a comment at once, and turns the direction of writing.
pub const HOSTILE: &str =
    "</script><script>window.broken=1</script><img src=x onerror=window.broken=1><!-- \u{202E}{{DATA}}";

/// The branches of the demo's harness.
const BRANCHES: [(&str, BranchKind); 5] = [
    ("combination", BranchKind::FullCombination),
    ("patched", BranchKind::Alternate),
    ("noise", BranchKind::Fallback),
    ("refused", BranchKind::Rejected),
    ("alone", BranchKind::Rejected),
];

/// The page for so many cases. Every 97th failed; the last one has the hostile texts.
pub fn page(cases: usize) -> Vec<u8> {
    let harness = Harness::load(crate::support::root().join("harness/aria.yaml")).expect("the demo harness");
    let mut page = Vec::new();
    let mut reporter = Html::new(&mut page);
    let mut summary = Summary::default();
    reporter.started(&Start { cases, derived: 0, open: 0, seed: 1 }).expect("memory");
    reporter.group(&Group { harness: &harness, cases, widest_label: 20 }).expect("memory");
    for index in 0..cases {
        let result = case(index, index + 1 == cases);
        summary.count(&result.verdict);
        reporter.case(&result).expect("memory");
    }
    reporter.coverage(&coverage(cases as u64)).expect("memory");
    reporter.finished(&summary).expect("memory");
    page
}

fn case(index: usize, hostile: bool) -> CaseResult {
    let product = format!("AW-{:04}-{:02X}", index / 7, index % 256);
    let (branch, kind) = BRANCHES[index * 7 % 5];
    let failed = index % 97 == 96;
    let name =
        if hostile { HOSTILE.to_owned() } else { format!("cartridge {product} of the long list, number {index}") };
    let reasons = vec![Reason::new(Why::Branch, format!("took {branch}; wanted patched"))];
    let file = format!("cases/list-{}.yaml", index / 1000);
    CaseResult {
        rerun: format!("keyway check '{file}:{name}'"),
        attached: if hostile { HOSTILE.to_owned() } else { format!("drums {product}, {} KiB", 64 << (index % 5)) },
        name,
        file,
        line: 10 + index % 1000,
        expected: if failed { "patched".to_owned() } else { branch.to_owned() },
        expected_kind: Some(if failed { BranchKind::Alternate } else { kind }),
        reached: match index % 50 {
            49 => Reached::Other { short: "hang".to_owned(), text: "hung at 0x000284 <poll_pedal>".to_owned() },
            _ => Reached::Branch { branch: branch.to_owned(), kind },
        },
        instructions: 100 + (index as u64 * 37) % 4000,
        cycles: 1500 + (index as u64 * 911) % 60_000,
        milliseconds: None,
        fill: "zeros".to_owned(),
        fills: 3,
        fills_run: 1,
        verdict: match index % 500 {
            _ if failed => Verdict::Failed { reasons },
            40 => Verdict::KnownBug { why: "the next pressing mends it".to_owned(), reasons },
            41 => Verdict::Undecided { reasons: vec![Reason::new(Why::Limit, "given up after 500,000 instructions")] },
            _ => Verdict::Held,
        },
        evidence: None,
        explanation: Some(Box::new(explanation(index, &product, branch))),
    }
}

pub fn spot(address: u32, symbol: &str, line: u32) -> Spot {
    Spot { address, symbol: Some(symbol.to_owned()), source: Some(format!("harness/detect.s:{line}")) }
}

fn went(address: u32, symbol: &str, line: u32, taken: bool) -> Went {
    Went {
        at: spot(address, symbol, line),
        instruction: format!("beq.s 0x{:06X}", address + 12),
        taken,
        kept: false,
        to: spot(address + if taken { 12 } else { 2 }, symbol, line + 1),
    }
}

fn text(whose: &str, offset: Option<u32>, bytes: &str) -> Text {
    let hex: Vec<String> = bytes.bytes().map(|byte| format!("{byte:02X}")).collect();
    let source = offset.is_none().then(|| "harness/detect.s:170".to_owned());
    let address = Some(offset.map_or(0x342, |offset| 0x20_0000 + offset));
    Text { whose: whose.to_owned(), address, offset, source, hex: hex.join(" "), text: bytes.to_owned() }
}

fn compare(found: Text, with: Text) -> TextCompare {
    let pairs = found.text.bytes().zip(with.text.bytes());
    let matched = pairs.take_while(|(found, with)| found == with).count();
    let equal = matched == with.text.len();
    TextCompare {
        at: spot(0x25C, "compare_signature", 40),
        instruction: "cmpm.b (a0)+,(a1)+".to_owned(),
        compared: if equal { matched } else { matched + 1 },
        matched,
        difference: None,
        stored: None,
        equal,
        found,
        with,
        went: went(0x260, "compare_signature+4", 42, equal),
    }
}

fn product_origin() -> Vec<Origin> {
    vec![Origin::Image { first: 0x180, last: 0x18D, field: Some("product".to_owned()), holds: None }]
}

fn explanation(index: usize, product: &str, branch: &str) -> Explanation {
    let found = || text("product[0]", Some(0x180), &format!("{product:14}"));
    let entry = |number: usize, code: &str| {
        compare(found(), text(&format!("0x{:06X} <our_products+{}>", 0x342 + 16 * number, 16 * number), None, code))
    };
    let codes = ["AW-3200-00    ", "AW-2100-00    ", "AW-2100-01    ", "AW-2100-02    ", "AW-2100-0B    "];
    let entries = codes.iter().enumerate().map(|(number, code)| entry(number, code)).collect();
    let signature = "PARLOR16 SYSTEM ";
    let mut steps = vec![
        Step::Compare(compare(
            text("signature[0]", Some(0x100), signature),
            text("0x000100 <own_signature>", None, signature),
        )),
        Step::Scan(Scan { entries, matched: None }),
        Step::Compare(compare(found(), text("0x0003A0 <own_product>", None, "AX-"))),
    ];
    steps.extend(others(index));
    Explanation {
        steps,
        ended: format!("took {branch}"),
        nearest: vec![
            Nearby {
                changes: vec![Change::Byte {
                    offset: 0x18C,
                    field: Some("product[12]".to_owned()),
                    is: 0x31,
                    instead: 0x32,
                    text: true,
                }],
                would: "would have matched 0x000372 <our_products+48>".to_owned(),
                ends: "patched".to_owned(),
            },
            Nearby {
                changes: vec![Change::Port { port: "pedal".to_owned(), instead: 1 }],
                would: "would have branched at 0x00028C".to_owned(),
                ends: "noise".to_owned(),
            },
        ],
        influence: Influence { of: product_origin(), decisions: Vec::new() },
        fill: "zeros".to_owned(),
    }
}

/// A step of each other kind, spread over the cases.
fn others(index: usize) -> Vec<Step> {
    let value = |value, held_in: &str, from| Value { value, held_in: held_in.to_owned(), from };
    let port = || vec![Origin::Port { port: "pedal".to_owned() }];
    let at = || spot(0x284, "poll_pedal", 95);
    let all = [
        Step::Test(Test {
            at: at(),
            instruction: "btst #0,0xB00003".to_owned(),
            found: value(index as u32 % 251, "port pedal", port()),
            with: None,
            by: Vec::new(),
            mask: Some(1),
            width: 1,
            times: 2000,
            went: went(0x28C, "poll_pedal+8", 96, false),
        }),
        Step::Jump(Jump {
            at: at(),
            instruction: "jmp (a2)".to_owned(),
            to: spot(0x2AE, "play_noise", 110),
            by: product_origin(),
        }),
        Step::Lookup(Lookup {
            at: at(),
            instruction: "move.w (a0,d1.w),d2".to_owned(),
            place: format!("0x0002F2 <preset_table+{}>", index % 8),
            address: 0x2F2,
            width: 2,
            writes: false,
            value: Some(index as u32 % 8),
            by: product_origin(),
            times: 1,
        }),
        Step::Write(PortStep {
            at: at(),
            port: "latch".to_owned(),
            value: 1,
            effect: Some("format patch shows at 0x280000-0x2BFFFF".to_owned()),
            from: Vec::new(),
        }),
        Step::Exception(ExceptionStep {
            name: "zero divide".to_owned(),
            from: at(),
            raised: index.is_multiple_of(2),
            to: None,
            times: 1,
            by: product_origin(),
        }),
        Step::Told(Told { branch: "noise".to_owned(), found: value(3, "word 0xE00010", Vec::new()), is: 3 }),
        Step::Omitted(Omitted { decisions: 12_345 }),
    ];
    all.into_iter().enumerate().filter(|(kind, _)| *kind == 0 || index % 7 <= *kind).map(|(_, step)| step).collect()
}
