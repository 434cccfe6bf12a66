//! Small routines of hand-assembled words, and the coverage of cases on them.
//!
//! Opcodes from the M68000 Programmer's Reference Manual; the source stands beside them.

use std::ops::ControlFlow;
use std::sync::Arc;

use keyway::Suite;
use keyway::check::{Job, Source, Watch, check_all};
use keyway::coverage::{Coverage, Gathered, Instruction, build};

use crate::support::Project;

/// Where the code of each routine stands.
pub const CODE: u32 = 0x100;

/// Four letters `A` and it is found; if the first other one is a `B`, there is a second way.
///
/// Of its 11 instructions 3 are conditional branches, which have 6 directions.
pub const LETTERS: &[u16] = &[
    0x41F9, 0x0020, 0x0100, // 100          lea     0x200100,a0
    0x7003, //                 106          moveq   #3,d0
    0x0C18, 0x0041, //         108  next:   cmpi.b  #'A',(a0)+
    0x56C8, 0xFFFA, //         10C          dbne    d0,next
    0x6606, //                 110          bne.s   other
    0x7201, //                 112          moveq   #1,d1
    0x6000, 0x000A, //         114          bra.w   found
    0x0C28, 0x0042, 0xFFFF, // 118  other:  cmpi.b  #'B',-1(a0)
    0x6704, //                 11E          beq.s   second
    0x4E71, //                 120  found:  nop
    0x4E71, //                 122          nop
    0x7202, //                 124  second: moveq   #2,d1
    0x7203, //                 126          moveq   #3,d1
    0x4E71, //                 128  there:  nop
];

/// Its harness.
pub const LETTERS_HARNESS: &str = "\
routine: {entry: 0x100, stack: 0xE0FE00}
header: {title: {at: 0x100, length: 4}, maker: {at: 0x104, length: 2}}
branches: {found: {kind: full-combination, at: 0x120}, second: {kind: fallback, at: 0x128}}
";

/// One image with four letters `A`, one in which the third letter differs.
pub const LETTERS_CASES: &str = "\
harness: ../harness/rom.yaml
cases:
  - {name: all, attach: {title: AAAA, size: 1 KiB}, expect: {branch: found}}
  - {name: third, attach: {title: AAXA, size: 1 KiB}, expect: {branch: found}}
";

/// A byte of the header chooses one of four places.
pub const TABLE: &[u16] = &[
    0x7000, //                         100         moveq   #0,d0
    0x1039, 0x0020, 0x0180, //         102         move.b  0x200180,d0
    0x0200, 0x0003, //                 108         andi.b  #3,d0
    0xD040, //                         10C         add.w   d0,d0
    0x303B, 0x0006, //                 10E         move.w  table(pc,d0.w),d0
    0x4EFB, 0x0002, //                 112         jmp     table(pc,d0.w)
    0x0008, 0x000C, 0x0010, 0x0014, // 116  table: .word   zero-table, one-table, two-table, three-table
    0x7200, 0x600A, //                 11E  zero:  moveq   #0,d1;  bra.s  done
    0x7201, 0x6006, //                 122  one:   moveq   #1,d1;  bra.s  done
    0x7202, 0x6002, //                 126  two:   moveq   #2,d1;  bra.s  done
    0x7203, //                         12A  three: moveq   #3,d1
    0x4E71, //                         12C  done:  nop
];

/// Its harness.
pub const TABLE_HARNESS: &str = "\
routine: {entry: 0x100, stack: 0xE0FE00}
header: {letter: {at: 0x180, length: 1}, title: {at: 0x184, length: 4}}
branches: {done: {kind: fallback, at: 0x12C}}
";

/// A subroutine that returns, one that does not, and a jump that nobody takes.
///
/// What stands behind the call of `leave` is no code of the routine, as `leave` ends at a branch.
pub const CALLS: &[u16] = &[
    0x6114, //                 100         bsr.s   sub
    0x4A79, 0x0020, 0x0100, // 102         tst.w   0x200100
    0x6702, //                 108         beq.s   1f
    0x4ED0, //                 10A         jmp     (a0)
    0x4EB9, 0x0000, 0x011A, // 10C  1:     jsr     leave
    0x4E71, 0x4E71, //         112         nop; nop
    0x7201, //                 116  sub:   moveq   #1,d1
    0x4E75, //                 118         rts
    0x6000, 0x0004, //         11A  leave: bra.w   done
    0x4E71, //                 11E         nop
    0x4E71, //                 120  done:  nop
];

/// Its harness.
pub const CALLS_HARNESS: &str = "\
routine: {entry: 0x100, stack: 0xE0FE00}
header: {mark: {at: 0x100, length: 2}}
branches: {done: {kind: fallback, at: 0x120}}
";

/// A project with a routine at [`CODE`] and cases for it.
pub fn project(code: &[u16], harness: &str, cases: &str) -> Project {
    let mut words = vec![0; CODE as usize / 2];
    words.extend(code);
    let project = Project::with_rom(&words, &[("start", CODE)], harness);
    project.write("cases/it.yaml", cases);
    project
}

/// What the cases of a project do, on the threads of the caller's pool.
pub fn gathered(project: &Project) -> (Arc<Suite>, Gathered) {
    let suite = Suite::load(project.path().join("cases/it.yaml")).unwrap_or_else(|error| panic!("{}", error.message));
    let suite = Arc::new(suite);
    let cases = (0..suite.len() as u32).collect();
    let job = Job { source: Source::Suite(Arc::clone(&suite)), cases };
    let watch = Watch { coverage: true, ..Watch::default() };
    let gathered = check_all(&[job], watch, |_| ControlFlow::Continue(())).ok().flatten();
    (suite, gathered.expect("coverage was asked for"))
}

/// The coverage of the cases of a project.
pub fn coverage(project: &Project) -> Coverage {
    let (suite, gathered) = gathered(project);
    build(&suite.harness, &gathered)
}

/// The same of a routine with a harness and cases.
pub fn measure(code: &[u16], harness: &str, cases: &str) -> Coverage {
    coverage(&project(code, harness, cases))
}

/// The instruction at an address.
pub fn at(coverage: &Coverage, address: u32) -> &Instruction {
    let found = coverage.listing.iter().find(|instruction| instruction.at.address == address);
    found.unwrap_or_else(|| panic!("no instruction at 0x{address:06X}"))
}
