//! Terms keep their meaning through all simplification, and the solver's answers are those of brute force.

use std::collections::{BTreeMap, BTreeSet};

use keyway::noise::Noise;
use keyway::prove::Domain;
use keyway::prove::logic::{Answer, Checker, Model, Solver, Term, Terms, Unknown, View};

use super::support::{Garden, Grown};

#[test]
fn simplified_terms_mean_what_the_standard_defines() {
    for seed in 0..400 {
        let mut garden = Garden::wild(seed, 12);
        (0..120).for_each(|_| garden.grow());
        let all: Vec<Term> = garden.grown.iter().map(|grown| grown.term).collect();
        for (index, model) in garden.models.iter().enumerate() {
            let wanted: Vec<u64> = garden.grown.iter().map(|grown| grown.values[index]).collect();
            assert_eq!(garden.terms.evaluate_all(&all, model), wanted, "seed {seed}");
        }
    }
}

#[test]
fn numbers_in_place_of_unknowns_do_not_change_the_value() {
    for seed in 0..100 {
        let mut garden = Garden::wild(seed, 6);
        (0..80).for_each(|_| garden.grow());
        for index in 0..garden.models.len() {
            let model = garden.models[index].clone();
            let some: BTreeMap<Unknown, u64> = model.iter().filter(|(unknown, _)| unknown.0 != 1).collect();
            for Grown { term, values, .. } in garden.grown.clone() {
                let new = garden.terms.substitute(term, &some);
                assert_eq!(garden.terms.evaluate(new, &model), values[index], "seed {seed}");
                let left: BTreeSet<Unknown> = garden.terms.unknowns(new);
                assert!(left.iter().all(|unknown| unknown.0 == 1), "seed {seed}");
                let all = model.iter().collect();
                let number = garden.terms.substitute(term, &all);
                assert_eq!(garden.terms.known(number), Some(values[index]), "seed {seed}");
            }
        }
    }
}

/// Whether some model makes all of them 1.
fn possible(all: &[Grown], models: usize) -> bool {
    (0..models).any(|model| all.iter().all(|bit| bit.values[model] == 1))
}

#[test]
fn answers_are_those_of_brute_force() {
    let (mut yes, mut no) = (0, 0);
    for seed in 0..150 {
        let mut garden = Garden::whole(seed, &[5, 4, 3]);
        (0..40).for_each(|_| garden.grow());
        let mut solver = Solver::new();
        for _ in 0..20 {
            let count = 1 + garden.below(5);
            let all: Vec<Grown> = (0..count).map(|_| garden.bit()).collect();
            let asked: Vec<Term> = all.iter().map(|bit| bit.term).collect();
            match solver.ask(&garden.terms, &asked) {
                Answer::Possible(model) => {
                    assert!(garden.terms.evaluate_all(&asked, &model).iter().all(|&value| value == 1));
                    assert!(possible(&all, garden.models.len()), "seed {seed}");
                    yes += 1;
                }
                Answer::Impossible(refutation) => {
                    let core: Vec<Grown> = refutation.core().iter().map(|&index| all[index].clone()).collect();
                    assert!(!possible(&core, garden.models.len()), "seed {seed}");
                    no += 1;
                }
                Answer::Open(why) => panic!("seed {seed}: {why}"),
            }
        }
    }
    assert!(yes > 500 && no > 500, "{yes} possible, {no} not");
}

#[test]
fn every_impossible_answer_over_wide_terms_is_certified() {
    let (mut yes, mut no, mut certain) = (0, 0, 0);
    for seed in 0..300 {
        let mut garden = Garden::wild(1000 + seed, 1);
        (0..25).for_each(|_| garden.grow());
        let mut solver = Solver::new().budget(200);
        for _ in 0..10 {
            let asked: Vec<Term> = (0..3).map(|_| garden.bit().term).collect();
            match solver.ask(&garden.terms, &asked) {
                Answer::Possible(_) => yes += 1,
                Answer::Impossible(refutation) => {
                    // What it rests on is impossible by itself, to another solver.
                    let core: Vec<Term> = refutation.core().iter().map(|&index| asked[index]).collect();
                    let again = Solver::new().budget(200).ask(&garden.terms, &core);
                    assert!(!matches!(again, Answer::Possible(_)), "seed {seed}: {again:?}");
                    certain += usize::from(matches!(again, Answer::Impossible(_)));
                    no += 1;
                }
                Answer::Open(why) => assert!(why.contains("conflicts"), "seed {seed}: {why}"),
            }
        }
    }
    assert!(yes > 500 && no > 500 && certain * 100 > no * 95, "{yes} possible, {no} not, {certain} of them twice");
}

#[test]
fn a_claim_that_does_not_follow_is_refused() {
    let mut checker = Checker::new();
    checker.add_original(&[1, 2]);
    checker.add_original(&[-1, 3]);
    assert!(checker.add_learnt(&[1]).is_err(), "1 may be false");
    assert!(checker.add_learnt(&[2, 3]).is_ok(), "with 2 and 3 false, 1 is true and false");
    assert_eq!(checker.refute(&[-3]), None, "this has a model");
    let refutation = checker.refute(&[5, -2, 4, -3]).expect("neither 2 nor 3");
    assert_eq!(refutation.core(), [1, 3]);
    assert!(checker.add_learnt(&[]).is_err());
    assert_eq!(checker.refute(&[7, 6, -7]).expect("7 and not 7").core(), [0, 2]);
}

/// Random clauses with what the models are that meet them all.
fn clauses(noise: &mut Noise, variables: u32) -> (Vec<Vec<i32>>, Vec<u32>) {
    let mut below = |end: u64| noise.bits() % end;
    let clauses: Vec<Vec<i32>> = (0..4 * variables)
        .map(|_| {
            (0..3).map(|_| (1 + below(u64::from(variables))) as i32 * if below(2) == 0 { 1 } else { -1 }).collect()
        })
        .collect();
    let meets = |model: u32, clause: &[i32]| {
        clause.iter().any(|literal| (model >> (literal.unsigned_abs() - 1) & 1 == 1) == (*literal > 0))
    };
    let models = (0..1 << variables).filter(|&model| clauses.iter().all(|clause| meets(model, clause))).collect();
    (clauses, models)
}

#[test]
fn the_checker_never_takes_what_is_wrong() {
    let mut noise = Noise::new(5);
    let (mut taken, mut refused) = (0, 0);
    for _ in 0..2000 {
        let (clauses, models) = clauses(&mut noise, 8);
        let mut checker = Checker::new();
        clauses.iter().for_each(|clause| checker.add_original(clause));
        for _ in 0..20 {
            let claim: Vec<i32> = (1..=8i32)
                .filter_map(|variable| match noise.bits() % 4 {
                    0 => Some(variable),
                    1 => Some(-variable),
                    _ => None,
                })
                .collect();
            let set = |model: u32, literal: i32| (model >> (literal.unsigned_abs() - 1) & 1 == 1) == (literal > 0);
            let follows = models.iter().all(|&model| claim.iter().any(|&literal| set(model, literal)));
            let opposite: Vec<i32> = claim.iter().map(|&literal| -literal).collect();
            if let Some(refutation) = checker.refute(&opposite) {
                let core: Vec<i32> = refutation.core().iter().map(|&index| opposite[index]).collect();
                assert!(!models.iter().any(|&model| core.iter().all(|&literal| set(model, literal))));
            }
            match checker.add_learnt(&claim) {
                Ok(()) => {
                    assert!(follows);
                    taken += 1;
                }
                Err(_) => refused += 1,
            }
        }
    }
    assert!(taken > 5000 && refused > 5000, "{taken} taken, {refused} refused");
}

fn byte(terms: &mut Terms, unknown: u32) -> Term {
    terms.unknown(Unknown(unknown), 8)
}

#[test]
fn a_compare_with_a_number_is_an_equality() {
    let mut terms = Terms::new();
    let (b, k, zero) = (byte(&mut terms, 0), terms.number(8, 0x4B), terms.number(8, 0));
    let wanted = terms.equal(b, k);
    assert_eq!(terms.view(wanted), View::Equal(b, k));
    for (left, right) in [(k, b), (b, k)] {
        let difference = terms.sub(left, right);
        assert_eq!(terms.equal(difference, zero), wanted);
        let (left, right) = (terms.extend(left, 32), terms.extend(right, 32));
        let difference = terms.sub(left, right);
        let low = terms.part(difference, 0, 8);
        assert_eq!(terms.equal(low, zero), wanted);
    }
    // The borrow of a ninth bit is a comparison.
    let (wide, other) = (terms.extend(b, 9), terms.extend(k, 9));
    let difference = terms.sub(wide, other);
    let borrow = terms.part(difference, 8, 1);
    assert_eq!(borrow, terms.less(b, k));
    let difference = terms.sub(other, wide);
    let borrow = terms.part(difference, 8, 1);
    assert_eq!(borrow, terms.less(k, b));
}

#[test]
fn words_and_masks_come_apart() {
    let mut terms = Terms::new();
    let (high, low) = (byte(&mut terms, 0), byte(&mut terms, 1));
    let word = terms.join(high, low);
    let magic = terms.number(16, 0x4157);
    let whole = terms.equal(word, magic);
    let (one, two) = (terms.number(8, 0x41), terms.number(8, 0x57));
    let (one, two) = (terms.equal(high, one), terms.equal(low, two));
    assert_eq!(whole, terms.and(one, two));
    let mask = terms.number(16, 0xFF00);
    let masked = terms.and(word, mask);
    let eight = terms.number(16, 8);
    assert_eq!(terms.shift_right(masked, eight), terms.extend(high, 16));
    let (top, rest) = (terms.part(word, 12, 4), terms.part(word, 0, 12));
    assert_eq!(terms.join(top, rest), word);
}

#[test]
fn guards_that_split_and_meet_are_one_guard_again() {
    let mut terms = Terms::new();
    let bits: Vec<Term> = (0..4).map(|index| terms.unknown(Unknown(index), 1)).collect();
    let mut guard = bits[0];
    let before = terms.len();
    for &bit in &bits[1..] {
        let not = terms.not(bit);
        let (one, two) = (terms.and(guard, bit), terms.and(guard, not));
        assert_eq!(terms.or(one, two), guard);
        assert_eq!(terms.and(one, not), terms.bit(false));
        assert_eq!(terms.or(guard, one), guard);
        guard = one;
    }
    assert!(terms.len() - before < 20);
}

const DEEP: u32 = 100_000;

#[test]
fn terms_may_be_a_hundred_thousand_deep() {
    let mut terms = Terms::new();
    let (mut all, mut any, mut choice) = (terms.bit(true), terms.bit(false), byte(&mut terms, DEEP));
    let (mut sum, mut tangle) = (choice, choice);
    for index in 0..DEEP {
        let bit = terms.unknown(Unknown(index), 1);
        all = terms.and(all, bit);
        any = terms.or(bit, any);
        let number = terms.number(8, u64::from(index));
        choice = terms.either(bit, number, choice);
        let wide = terms.extend(bit, 8);
        sum = terms.add(sum, wide);
        let three = terms.number(8, 3);
        let (shifted, flipped) = (terms.mul(tangle, three), terms.xor(tangle, wide));
        tangle = terms.sub(shifted, flipped);
    }
    let one: Model = (0..DEEP).map(|index| (Unknown(index), 1)).collect();
    assert_eq!(terms.evaluate_all(&[all, any, choice], &one), [1, 1, u64::from(DEEP - 1) & 0xFF]);
    assert_eq!(terms.evaluate(sum, &one), u64::from(DEEP) & 0xFF);
    assert_eq!(terms.unknowns(tangle).len(), DEEP as usize + 1);
    let zeros: BTreeMap<Unknown, u64> = (0..DEEP).map(|index| (Unknown(index), 0)).collect();
    assert_eq!([all, any, choice].map(|term| terms.substitute(term, &zeros)), {
        let last = byte(&mut terms, DEEP);
        [terms.bit(false), terms.bit(false), last]
    });
    let script = terms.smtlib(all);
    assert!(script.lines().count() > 2 * DEEP as usize - 10);
    let wanted = terms.number(8, 7);
    let (choice, sum) = (terms.equal(choice, wanted), terms.equal(sum, wanted));
    let mut solver = Solver::new();
    assert!(matches!(solver.ask(&terms, &[all]), Answer::Possible(_)));
    assert!(matches!(solver.ask(&terms, &[any, choice]), Answer::Possible(_)));
    assert!(matches!(solver.ask(&terms, &[sum]), Answer::Possible(_)));
    let none = terms.not(any);
    assert!(matches!(solver.ask(&terms, &[all, none]), Answer::Impossible(_)));
}

#[test]
fn a_budget_leaves_a_hard_question_open() {
    let mut terms = Terms::new();
    let (left, right) = (terms.unknown(Unknown(0), 32), terms.unknown(Unknown(1), 32));
    let (left, right) = (terms.extend(left, 64), terms.extend(right, 64));
    let product = terms.mul(left, right);
    // A product of two primes near 2 to the 32nd.
    let number = terms.number(64, 4_294_967_291 * 4_294_967_279);
    let (equal, one) = (terms.equal(product, number), terms.number(64, 1));
    let (first, second) = (terms.less(one, left), terms.less(left, right));
    let answer = Solver::new().budget(50).ask(&terms, &[equal, first, second]);
    assert!(matches!(answer, Answer::Open(_)), "{answer:?}");
}

#[test]
fn a_long_poll_is_asked_about_step_by_step() {
    let mut terms = Terms::new();
    let mut solver = Solver::new();
    let (mut guard, first) = (terms.bit(true), byte(&mut terms, 0));
    let ready = terms.number(8, 0x80);
    for index in 1..=4_000 {
        let status = byte(&mut terms, index);
        let done = terms.equal(status, ready);
        let leave = terms.and(guard, done);
        assert!(matches!(solver.ask(&terms, &[leave]), Answer::Possible(_)));
        let not = terms.not(done);
        guard = terms.and(guard, not);
        assert!(matches!(solver.ask(&terms, &[guard]), Answer::Possible(_)));
        // Something that the first step has ruled out.
        if index == 1 {
            let same = terms.equal(first, ready);
            guard = terms.and(guard, same);
        }
        let (zero, other) = (terms.number(8, 0), terms.number(8, u64::from(index) & 0x7F));
        let (never, same) = (terms.equal(first, zero), terms.equal(first, other));
        let never = terms.or(never, same);
        match solver.ask(&terms, &[never, guard]) {
            Answer::Impossible(refutation) => assert_eq!(refutation.core(), [0, 1]),
            other => panic!("{other:?}"),
        }
    }
}
