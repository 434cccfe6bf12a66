//! What a run did that a harness may forbid: RAM read before it was written, accesses that land nowhere, undeclared
//! port values. The first few of each are kept, the rest only counted, so that a run gone wild costs no memory.

use super::PortSize;

/// How many early reads and strays are kept with their details.
pub const STRAYS_KEPT: usize = 8;

/// A RAM byte read before anything wrote it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EarlyRead {
    /// Bus address of the byte.
    pub address: u32,
    /// Address of the instruction that read it.
    pub pc: u32,
}

/// What an access did wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StrayKind {
    /// A write that lands nowhere: in ROM, in the socket, or where nothing is mapped.
    Write,
    /// A read where nothing is mapped.
    Read,
    /// A value that the port does not declare, with the port's index.
    Undeclared(usize),
}

/// An access that lands nowhere or brings an undeclared value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stray {
    /// What kind.
    pub kind: StrayKind,
    /// Bus address.
    pub address: u32,
    /// Address of the instruction.
    pub pc: u32,
    /// The value written; 0 for reads.
    pub value: u16,
    /// Width of the bus access.
    pub size: PortSize,
}

/// A write that changed what shows under the code that made it, or where the two words after it lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Remap {
    /// The overlay that came or went, by index.
    pub overlay: usize,
    /// Whether it came.
    pub came: bool,
    /// Address of the instruction.
    pub pc: u32,
}

/// What a faulting access tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AccessKind {
    /// An instruction word was fetched.
    Fetch,
    /// An operand was read.
    Read,
    /// An operand was written.
    Write,
}

/// Everything noted during one run.
#[derive(Clone, Debug, Default)]
pub struct Troubles {
    /// First reads of RAM never written.
    pub early_reads: Vec<EarlyRead>,
    /// How many bytes were read early in all.
    pub early_read_count: u64,
    /// Whether a word of RAM never written came into the prefetch queue, executed or not.
    pub fetched_early: bool,
    /// The first time that a write remapped the code which made it.
    pub remap: Option<Remap>,
    /// First accesses that went astray, of each kind.
    pub strays: Vec<Stray>,
    /// How many writes landed nowhere, reads found nothing, and port values were undeclared.
    pub stray_counts: [u64; 3],
}

impl Troubles {
    pub(super) fn clear(&mut self) {
        self.early_reads.clear();
        self.early_read_count = 0;
        self.fetched_early = false;
        self.remap = None;
        self.strays.clear();
        self.stray_counts = [0; 3];
    }

    /// Becomes like `other` without allocating, if there ever was as much in here (a derived `clone_from` would).
    pub(crate) fn copy(&mut self, other: &Self) {
        self.early_reads.clone_from(&other.early_reads);
        self.early_read_count = other.early_read_count;
        self.fetched_early = other.fetched_early;
        self.remap = other.remap;
        self.strays.clone_from(&other.strays);
        self.stray_counts = other.stray_counts;
    }

    pub(super) fn early_read(&mut self, address: u32, pc: u32) {
        self.early_read_count += 1;
        let read = EarlyRead { address, pc };
        if self.early_reads.len() < STRAYS_KEPT && !self.early_reads.contains(&read) {
            self.early_reads.push(read);
        }
    }

    pub(super) fn remap(&mut self, remap: Remap) {
        self.remap.get_or_insert(remap);
    }

    pub(super) fn stray(&mut self, stray: Stray) {
        let count = &mut self.stray_counts[stray.kind.index()];
        *count += 1;
        if *count <= STRAYS_KEPT as u64 {
            self.strays.push(stray);
        }
    }

    /// The first stray of a kind (the port index does not matter).
    pub fn first(&self, index: usize) -> Option<&Stray> {
        self.strays.iter().find(|stray| stray.kind.index() == index)
    }
}

impl StrayKind {
    /// Index into [`Troubles::stray_counts`].
    pub fn index(self) -> usize {
        match self {
            StrayKind::Write => 0,
            StrayKind::Read => 1,
            StrayKind::Undeclared(_) => 2,
        }
    }
}
