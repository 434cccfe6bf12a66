//! The executor with a part of the state unknown: everything that it then says is a number is the number that a run over
//! numbers gives, for every completion that was tried.

use keyway::prove::execute::{Core, Entered, Number, Perhaps, Step};
use rayon::prelude::*;

use super::bus::{Bus, registers};
use super::script::{Follower, Script, fits};
use crate::random::start::{Start, dice};

/// Instructions of each kind of memory.
const ROUNDS: u64 = 3;

/// How many results were numbers, though not all inputs were; and how many were not.
type Counts = (u64, u64);

fn one(case: u64) -> Counts {
    let mut random = dice(case);
    let start = Start::new(&mut random, case as u16);
    let mut memory = Bus::of(&start, random.next(), case >> 16 == 1);
    let mut script = Script::new(&mut memory);
    let mut core = Core::start(&mut script, &registers(&start));
    core.queue = [start.opcode, start.extension[0]].map(|word| Number::new(16, word.into()));
    let before = core.clone();
    let end = run(&mut core, &mut script);

    let mut follower = Follower::new(script, random);
    let mut partly = Core::start(&mut follower, &registers(&start));
    forget(&mut partly, &before, &mut follower);
    let ended = run(&mut partly, &mut follower);
    follower.end();
    assert_eq!(ended.0, end.0);
    assert_eq!((partly.pc, partly.trace, partly.supervisor), (core.pc, core.trace, core.supervisor));
    assert_eq!((partly.mask, partly.stopped), (core.mask, core.stopped));
    // A shift by an unknown count may leave X, by a known one it does or does not.
    let (mine, theirs) = (partly.trail, core.trail);
    assert_eq!(theirs.uses & !mine.uses, 0, "{mine:X?} {theirs:X?}");
    assert_eq!(mine.defines & !theirs.defines & !mine.uses, 0, "{mine:X?} {theirs:X?}");
    if let (Some(mine), Some(theirs)) = (ended.1, end.1) {
        fits(mine, theirs.bits);
    }
    let mut counts = (0, 0);
    for (mine, theirs) in values(&partly).into_iter().zip(values(&core)) {
        fits(mine, theirs.bits);
        assert_eq!(mine.width, u32::from(theirs.width));
        *if mine.number.is_some() { &mut counts.0 } else { &mut counts.1 } += 1;
    }
    counts
}

/// One instruction and its exception: what it was, and the address of its fault.
fn run<V, W>(core: &mut Core<V>, world: &mut W) -> (String, Option<V>)
where
    V: Copy + PartialEq + std::fmt::Debug,
    W: keyway::prove::World<Cut = std::convert::Infallible>,
    W::Values: keyway::prove::Domain<Value = V>,
{
    let Ok(step) = core.step(world);
    let Step::Raised(raised) = step else { return ("ran".to_owned(), None) };
    let Ok(entered) = core.enter(world, &raised);
    let how = match entered {
        Entered::Handler => "handled".to_owned(),
        Entered::Instead(other) => format!("met {:?}", other.exception),
        Entered::DoubleFault => "halted".to_owned(),
    };
    (format!("{:?} {:X} {how}", raised.exception, raised.pc), raised.fault.map(|fault| fault.address))
}

/// The same state, with a third of it unknown.
fn forget(partly: &mut Core<Perhaps>, whole: &Core<Number>, follower: &mut Follower) {
    partly.data = whole.data.map(|value| follower.perhaps(value));
    partly.address = whole.address.map(|value| follower.perhaps(value));
    partly.queue = whole.queue.map(|value| follower.perhaps(value));
    partly.user_stack = follower.perhaps(whole.user_stack);
    partly.supervisor_stack = follower.perhaps(whole.supervisor_stack);
    partly.extend = follower.perhaps(whole.extend);
    partly.negative = follower.perhaps(whole.negative);
    partly.zero = follower.perhaps(whole.zero);
    partly.overflow = follower.perhaps(whole.overflow);
    partly.carry = follower.perhaps(whole.carry);
}

fn values<V: Copy>(core: &Core<V>) -> Vec<V> {
    let rest = [
        core.user_stack,
        core.supervisor_stack,
        core.extend,
        core.negative,
        core.zero,
        core.overflow,
        core.carry,
        core.queue[0],
        core.queue[1],
    ];
    core.data.iter().chain(&core.address).chain(&rest).copied().collect()
}

#[test]
fn what_is_known_is_right() {
    let cases = (0..ROUNDS << 16).into_par_iter();
    let (known, unknown) = cases.map(one).reduce(|| (0, 0), |one, other| (one.0 + other.0, one.1 + other.1));
    assert!(known > unknown && unknown > known / 4, "{known} known, {unknown} unknown");
}
