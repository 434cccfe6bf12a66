//! A made-up answer of a proof with something in every part of it.

use keyway::fuzz::Promise;
use keyway::prove::{
    Answer, BranchAnswer, Condition, DeadCode, DeadEntry, DoubtAt, Effort, EndAnswer, FieldInfluence, Holding, How,
    OpenAnswer, PathAnswer, Paths, RuleAnswer, Scenario, Scope, Violation, WitnessAnswer,
};
use keyway::run::BranchKind;
use keyway::verdict::Spot;

/// An answer. Every text in it goes through `say`, which is told what it says in a plain one.
pub fn answer(say: &dyn Fn(&str) -> String) -> Answer {
    Answer {
        harness: say("Aria Workshop"),
        file: say("harness/aria.yaml"),
        proved: true,
        doubts: Vec::new(),
        scope: Scope {
            unknown: vec![say("every byte of the attached image at 0x100-0x1A1")],
            header_bits: 1296,
            ways: vec![say("nothing"), say("64 KiB"), say("4 MiB")],
            fixed: vec![say("no interrupts")],
        },
        scenarios: vec![alone(say), attached(say)],
        branches: branches(say),
        kept: vec![Promise::Crash, Promise::Hang],
        violations: violations(say),
        rules: vec![
            rule(1, "patched", true, true, say),
            rule(2, "refused", true, false, say),
            rule(3, "noise", false, true, say),
        ],
        open: Some(OpenAnswer { why: say("no rule fits") }),
        dead: vec![DeadCode { at: spot(0x2AE, say), last: 0x2BE, count: 7 }],
        dead_entries: vec![DeadEntry { at: spot(0x372, say), text: say("AW-2100-02"), decision: spot(0x260, say) }],
        influence: influence(say),
        paths: paths(say),
        effort: Effort { steps: 12_345, terms: 6_789, explorations: 4, witnesses: 11 },
    }
}

/// The plain one.
pub fn plain() -> Answer {
    answer(&str::to_owned)
}

/// The same without any entry in any list.
pub fn empty() -> Answer {
    let mut answer = plain();
    answer.scope = Scope::default();
    answer.paths = Paths::default();
    answer.open = None;
    answer.scenarios.clear();
    answer.branches.clear();
    answer.kept.clear();
    answer.violations.clear();
    answer.rules.clear();
    answer.dead.clear();
    answer.dead_entries.clear();
    answer.influence.clear();
    answer
}

/// The answer with doubts.
pub fn doubted(say: &dyn Fn(&str) -> String) -> Answer {
    let doubts = vec![
        DoubtAt { why: say("a word of code that is not known"), at: Some(spot(0x300, say)) },
        DoubtAt { why: say("the solver gave up"), at: None },
    ];
    Answer { proved: false, doubts, ..answer(say) }
}

fn spot(address: u32, say: &dyn Fn(&str) -> String) -> Spot {
    Spot { address, symbol: Some(say("our_products")), source: Some(say("harness/detect.s:173")) }
}

fn condition(text: &str, say: &dyn Fn(&str) -> String) -> Condition {
    let holding = Holding { of: say("product"), how: How::Is, value: say("\"AW-2100-00\"") };
    Condition { text: say(text), all: vec![holding], one_of: Vec::new(), none_of: Vec::new() }
}

fn witness(label: &str, say: &dyn Fn(&str) -> String) -> WitnessAnswer {
    let case = format!(
        "{}\nattach:\n  size: 64 KiB\n  header: {{signature: \"PARLOR16 SYSTEM\", product: \"{}\"}}\n",
        say("- name: a drum library"),
        say("AW-2100-00")
    );
    WitnessAnswer { label: say(label), case }
}

fn alone(say: &dyn Fn(&str) -> String) -> Scenario {
    let end = EndAnswer {
        branch: Some(say("alone")),
        end: say("alone"),
        condition: Some(condition("always", say)),
        headers: Some(say("1")),
        witness: Some(witness("nothing attached", say)),
    };
    Scenario { ways: vec![say("nothing")], attached: false, ends: vec![end] }
}

fn attached(say: &dyn Fn(&str) -> String) -> Scenario {
    let codes: Vec<String> = (0..40).map(|number| format!("\"AW-2100-{number:02X}\"")).collect();
    let long = format!("signature = \"PARLOR16 SYSTEM \" and product in {{{}}}", codes.join(", "));
    let taken = EndAnswer {
        branch: Some(say("patched")),
        end: say("patched"),
        condition: Some(condition(&long, say)),
        headers: Some(say("5 x 2^1056")),
        witness: Some(witness("product \"AW-2100-00\", 64 KiB", say)),
    };
    let hang = EndAnswer {
        branch: None,
        end: say("hangs at 0x000284 <poll_pedal>"),
        condition: None,
        headers: None,
        witness: None,
    };
    let ways = ["64 KiB", "128 KiB", "1 MiB", "4 MiB", "4 MiB, header copy"].map(say).to_vec();
    Scenario { ways, attached: true, ends: vec![taken, hang] }
}

fn branches(say: &dyn Fn(&str) -> String) -> Vec<BranchAnswer> {
    let branch = |name: &str, kind, reachable| BranchAnswer { branch: say(name), kind, reachable };
    vec![
        branch("patched", BranchKind::Alternate, true),
        branch("noise", BranchKind::Fallback, false),
        branch("alone", BranchKind::Rejected, true),
    ]
}

fn violations(say: &dyn Fn(&str) -> String) -> Vec<Violation> {
    let violation = |promise, name: &str| Violation {
        promise,
        name: say(name),
        at: Some(spot(0x284, say)),
        condition: Some(condition("product starts \"AX-\"", say)),
        reasons: vec![say("wrote 0x01 to 0xC00000, where nothing is")],
        file: Some(say("cases/found/stray-writes-1.yaml")),
        known: true,
        case: witness("stray", say).case,
    };
    let unsaid = Violation {
        at: None,
        condition: None,
        reasons: Vec::new(),
        file: None,
        known: false,
        case: String::new(),
        ..violation(Promise::PowerOn, "what RAM holds decides")
    };
    vec![violation(Promise::StrayWrites, "a cartridge that makes it write astray"), unsaid]
}

fn rule(rule: usize, branch: &str, decides: bool, holds: bool, say: &dyn Fn(&str) -> String) -> RuleAnswer {
    RuleAnswer { rule, line: 40 + rule, branch: say(branch), decides, holds }
}

fn influence(say: &dyn Fn(&str) -> String) -> Vec<FieldInfluence> {
    let field = |name: &str, bytes, influence: &str, count, read_only| FieldInfluence {
        field: say(name),
        bytes,
        influence: say(influence),
        count,
        read_only,
    };
    vec![
        field("signature", 16, "0-15", 16, 0),
        field("product", 14, "0-2, 5-9, 12 (of 2 of them no example was found)", 9, 1),
        field("notes", 200, "3-100", 98, 0),
        field("checksum", 2, "", 0, 2),
        field("outside of all fields", 98, "272", 1, 0),
    ]
}

fn paths(say: &dyn Fn(&str) -> String) -> Paths {
    let path = |cycles, instructions| PathAnswer {
        cycles,
        instructions,
        bound: None,
        milliseconds: Some(say("7.654")),
        branch: say("patched"),
        witness: witness("product \"AW-2100-1F\"", say),
    };
    Paths {
        longest: Some(path(61_234, 4_321)),
        shortest: Some(path(321, 21)),
        most_instructions: Some(path(61_200, 4_400)),
        fewest_instructions: None,
    }
}
