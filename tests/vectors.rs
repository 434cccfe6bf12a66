//! The processor against vectors that others published: one state, one instruction, and the state after it, with every
//! bus cycle in between. The vectors are not part of this repository; `find` says where they are looked for. What the
//! data say about themselves (PC convention, caveats) is cited as "the data's description".

pub mod bench;
mod compare;
mod find;
pub mod format;
mod made;
mod meaning;
mod noticed;
mod published;
mod reader;
mod report;
pub mod run;
