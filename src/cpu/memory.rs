//! What the processor is connected to: the [`Memory`] trait, one call a bus cycle.
//!
//! Every call stands for what happens on the pins, in the order in which it happens there; the implementation keeps the
//! time. What a read finds is the board's business, as is what it notes about it.

use std::fmt;

/// The function code that the processor shows with an access (UM table 3-2).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum FunctionCode {
    /// User data.
    UserData = 1,
    /// User program.
    UserProgram = 2,
    /// Supervisor data.
    SupervisorData = 5,
    /// Supervisor program.
    SupervisorProgram = 6,
}

impl FunctionCode {
    /// The code of a data access.
    #[inline]
    pub fn data(supervisor: bool) -> Self {
        if supervisor { FunctionCode::SupervisorData } else { FunctionCode::UserData }
    }

    /// The code of an instruction fetch or a PC-relative read.
    #[inline]
    pub fn program(supervisor: bool) -> Self {
        if supervisor { FunctionCode::SupervisorProgram } else { FunctionCode::UserProgram }
    }
}

impl fmt::Display for FunctionCode {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(match self {
            FunctionCode::UserData => "user data",
            FunctionCode::UserProgram => "user program",
            FunctionCode::SupervisorData => "supervisor data",
            FunctionCode::SupervisorProgram => "supervisor program",
        })
    }
}

/// The bus as the processor drives it. Each read or write is one bus cycle of four clock periods and whatever wait
/// states the board adds; a long is two of them. `None` means that nothing acknowledged: a bus error.
///
/// Addresses are 32 bits wide; the pins carry the low 24. Word addresses are even.
pub trait Memory {
    /// Reads a byte of data.
    fn read_byte(&mut self, address: u32, code: FunctionCode) -> Option<u8>;

    /// Reads a word of data.
    fn read_word(&mut self, address: u32, code: FunctionCode) -> Option<u16>;

    /// Fetches a word for the prefetch queue. Whether it will ever be executed is not known yet.
    fn fetch(&mut self, address: u32, code: FunctionCode) -> Option<u16>;

    /// Writes a byte.
    fn write_byte(&mut self, address: u32, value: u8, code: FunctionCode) -> Option<()>;

    /// Writes a word.
    fn write_word(&mut self, address: u32, value: u16, code: FunctionCode) -> Option<()>;

    /// Reads a byte and takes no notice of it, as Scc does before it writes.
    fn touch_byte(&mut self, address: u32, code: FunctionCode) -> Option<()> {
        self.read_byte(address, code).map(|_| ())
    }

    /// Reads a word and takes no notice of it, as CLR does before it writes.
    fn touch_word(&mut self, address: u32, code: FunctionCode) -> Option<()> {
        self.read_word(address, code).map(|_| ())
    }

    /// Clock periods without a bus cycle.
    fn idle(&mut self, clocks: u32);

    /// The RESET instruction pulls the reset line of everything else.
    fn reset_devices(&mut self);
}
