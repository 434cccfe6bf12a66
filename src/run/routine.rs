//! The plan of a run: where the routine starts, what it may do, and how its branches are told apart.

use std::sync::Arc;

use m68000::Registers;
use serde::Serialize;

use super::{Cell, Interrupt, Register};
use crate::board::Map;
use crate::cpu::{self, Exception};

/// Where the routine starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry {
    /// At an address, called like a subroutine.
    At(u32),
    /// As after power-on: stack pointer and program counter from vectors 0 and 1.
    Reset,
}

/// When a run is given up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most instructions.
    pub instructions: u64,
    /// Most clock cycles.
    pub cycles: u64,
}

/// The routine under test.
#[derive(Clone, Debug)]
pub struct Routine {
    /// Where it starts.
    pub entry: Entry,
    /// The stack pointer at the start; the return address is pushed below it.
    pub stack: u32,
    /// The status register at the start.
    pub status: u16,
    /// Registers that are not zero at the start.
    pub registers: Vec<(Register, u32)>,
    /// When to give up.
    pub limits: Limits,
    /// Exceptions whose handlers run although they are no TRAP, TRAPV or CHK.
    pub handles: Vec<Exception>,
    /// Whether code may run from RAM, the window or other mapped places than the host's own ROMs.
    pub executes_anywhere: bool,
}

/// What a branch means for the user of the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BranchKind {
    /// The attached cartridge joins the host.
    FullCombination,
    /// It joins in another mode, often with a patch ROM switched in.
    Alternate,
    /// It is used for something less.
    Fallback,
    /// The host plays alone.
    Rejected,
}

impl BranchKind {
    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            BranchKind::FullCombination => "full-combination",
            BranchKind::Alternate => "alternate",
            BranchKind::Fallback => "fallback",
            BranchKind::Rejected => "rejected",
        }
    }
}

/// How the routine leaves for a branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// It reaches this address.
    At(u32),
    /// It returns to its caller.
    Return,
}

/// A cell that must hold a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Condition {
    /// Where to look.
    pub cell: Cell,
    /// What must be there.
    pub is: u32,
}

/// A named outcome of the routine.
#[derive(Clone, Debug)]
pub struct Branch {
    /// Its name, unique in the harness.
    pub name: String,
    /// What it means.
    pub kind: BranchKind,
    /// How it is reached.
    pub exit: Exit,
    /// What must hold there too; tells branches with a common exit apart.
    pub when: Option<Condition>,
    /// Values that it leaves behind, by name.
    pub shows: Vec<(String, Cell)>,
    /// What ports hold then, by index.
    pub leaves: Vec<(usize, u16)>,
}

/// Everything that stays the same from run to run.
#[derive(Clone, Debug)]
pub struct Rig {
    /// What the CPU sees.
    pub map: Arc<Map>,
    /// What it runs.
    pub routine: Routine,
    /// Who interrupts it.
    pub interrupts: Vec<Interrupt>,
    /// How that can end.
    pub branches: Vec<Branch>,
}

impl Rig {
    /// The registers with which the routine starts.
    pub(crate) fn first_registers(&self) -> Registers {
        let routine = &self.routine;
        let host = self.map.host();
        let (stack, pc) = match routine.entry {
            Entry::At(address) => (routine.stack.wrapping_sub(4), address),
            Entry::Reset => (host.long(0).unwrap_or(0), host.long(4).unwrap_or(0)),
        };
        let mut registers = cpu::registers(routine.status, stack, pc);
        if !registers.sr.s {
            // A routine that runs in user mode still takes its exceptions on the supervisor stack: the ROM's own.
            registers.ssp.0 = host.long(0).unwrap_or(0);
        }
        for (register, value) in &routine.registers {
            register.set(&mut registers, *value);
        }
        registers
    }
}
