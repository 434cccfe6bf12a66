//! Tests the boot code with which a 68000 host cartridge decides what is plugged into its pass-through socket.
//!
//! This is the library under the `keyway` command; README.md says what it is for, DEVELOPERS.md how it is built.
//!
//! # The tour: how a case becomes a verdict
//!
//! 1. [`Harness::load`] reads a harness file and everything that it names, checks all of it, and resolves every symbol.
//!    Inside is a [`Rig`](run::Rig): the address map with the host ROM, the routine, its branches.
//! 2. A [`Recipe`] becomes a sparse [`Image`], and that an [`Attached`] cartridge.
//! 3. A [`Case`] puts it together with the inputs and with what must happen. A [`Suite`] makes cases from a case file;
//!    [`Harness::case`] makes one that wants what the acceptance table says.
//! 4. A [`Machine`] runs the routine: a [`Board`](board::Board) answers the [`Cpu`](cpu::Cpu) until the run comes to a
//!    branch, crashes, hangs or reaches a limit. The [`Outcome`] says all that happened.
//! 5. [`judge`](verdict::judge()) compares it with what was wanted. A [`Checker`] does 4 and 5 for every RAM fill that
//!    can matter, and gives a [`CaseResult`] with its [`Verdict`].
//! 6. A [`Reporter`](report::Reporter) shows results.
//!
//! ```
//! use std::sync::Arc;
//!
//! use keyway::cartridge::Value;
//! use keyway::{Attached, Checker, End, Harness, Recipe, Verdict};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let harness = Arc::new(Harness::load("harness/aria.yaml")?);
//! let text = |field: &str, text: &str| (field.to_owned(), Value::Text(text.to_owned()));
//! let fields = vec![text("signature", "PARLOR16 SYSTEM "), text("product", "AW-2100-0B")];
//! let image = Recipe { size: 512 << 10, fields, ..Recipe::default() }.build(&harness.layout)?;
//! let case = harness.case("the drum library of the pedal", Attached::image(image));
//!
//! let mut checker = Checker::new(Arc::clone(&harness));
//! let outcome = checker.run(&case);
//! let latched: Vec<u16> = outcome.writes.iter().map(|write| write.value).collect();
//! assert_eq!(latched, [1, 0]);
//! assert_eq!(Some(outcome.end), harness.branch("patched").map(End::Branch));
//!
//! let result = checker.check(&case);
//! assert_eq!(result.verdict, Verdict::Held);
//! # Ok(())
//! # }
//! ```
//!
//! A test of one's own compares with [`Verdict::Held`], as here: [`Verdict::failed`] is false for a case that reached a
//! limit.

pub mod board;
pub mod cartridge;
pub mod check;
#[doc(hidden)]
pub mod cli;
pub mod compare;
pub mod coverage;
pub mod cpu;
pub mod explain;
pub mod fuzz;
pub mod noise;
pub mod prove;
pub mod report;
pub mod rom;
pub mod run;
pub mod suite;
pub mod trial;
pub mod units;
pub mod verdict;

pub use cartridge::{Attached, Image, Recipe};
pub use check::{CaseResult, Checker, check_all};
pub use run::{End, Machine, Outcome};
pub use suite::{Case, Complaint, Harness, Suite};
pub use verdict::Verdict;
