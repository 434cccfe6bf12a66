//! An independent SMT solver says the same about random formulas. It reads what `Terms::smtlib` writes, so a fault in the
//! simplification, the text, the bits or the search would show. The program is Debian's `z3`, or what `KEYWAY_Z3` names;
//! without it the test says on standard error that it was not run, and `KEYWAY_REQUIRE_Z3=1` makes that a failure.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use keyway::prove::Domain;
use keyway::prove::logic::{Answer, Solver, Term};

use super::support::Garden;

fn program() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("KEYWAY_Z3") {
        return Some(named.into());
    }
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path).map(|folder| folder.join("z3")).find(|file| file.is_file())
}

/// The program's answers to scripts, in order.
fn answers(program: &PathBuf, scripts: &[String]) -> Vec<String> {
    let mut child = Command::new(program)
        .arg("-in")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the SMT solver starts");
    let mut input = child.stdin.take().expect("its standard input");
    let text = scripts.join("(reset)\n");
    let writer = std::thread::spawn(move || input.write_all(text.as_bytes()));
    let output = child.wait_with_output().expect("the SMT solver ends");
    writer.join().expect("a writer").expect("the scripts are taken");
    String::from_utf8(output.stdout).expect("text").lines().map(str::to_owned).collect()
}

/// A formula, as its conjuncts, and their conjunction.
fn formula(seed: u64) -> (Garden, Vec<Term>, Term) {
    // Wide products and quotients are slow to decide for both.
    let widest = [64, 24, 16, 12][seed as usize % 4];
    let mut garden = Garden::of_width(50_000 + seed, 1, widest);
    let size = 4 + garden.below(14);
    (0..size).for_each(|_| garden.grow());
    let count = 2 + garden.below(3);
    let asked: Vec<Term> = (0..count).map(|_| garden.bit().term).collect();
    let mut whole = garden.terms.bit(true);
    for &bit in &asked {
        whole = garden.terms.and(whole, bit);
    }
    (garden, asked, whole)
}

#[test]
fn an_independent_solver_says_the_same() {
    let Some(program) = program() else {
        let required = std::env::var_os("KEYWAY_REQUIRE_Z3").is_some();
        assert!(!required, "KEYWAY_REQUIRE_Z3 is set, and there is no program `z3`");
        eprintln!("note: there is no program `z3`; the terms were NOT compared with it");
        return;
    };
    let (mut scripts, mut ours, mut seed) = (Vec::new(), Vec::new(), 0);
    let (mut yes, mut no) = (0, 0);
    while ours.len() < 2000 {
        let (garden, asked, whole) = formula(seed);
        seed += 1;
        let answer = match Solver::new().budget(60).ask(&garden.terms, &asked) {
            Answer::Possible(_) if yes < 1000 => "sat",
            Answer::Impossible(_) if no < 1000 => "unsat",
            _ => continue,
        };
        *(if answer == "sat" { &mut yes } else { &mut no }) += 1;
        scripts.push(garden.terms.smtlib(whole));
        ours.push((seed - 1, answer));
    }
    let theirs = answers(&program, &scripts);
    assert_eq!(theirs.len(), ours.len());
    for ((seed, ours), theirs) in ours.iter().zip(theirs) {
        assert_eq!(*ours, theirs, "seed {seed}");
    }
    assert_eq!((yes, no), (1000, 1000));
}
