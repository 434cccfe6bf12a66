//! What a vector says between the lines: its [`Category`], the exception it takes, when its bus cycles begin. Only the
//! vector is asked, never the processor.

use keyway::board::AccessKind;

use super::bench::Timed;
use super::format::{Access, Entry, PC, SR, SSP, Vector};

/// The rows of the table in the data's description.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Category {
    Normal,
    Traced,
    Exception,
    AddressError,
}

impl Category {
    pub const ALL: [Category; 4] = [Category::Normal, Category::Traced, Category::Exception, Category::AddressError];

    pub fn name(self) -> &'static str {
        match self {
            Category::Normal => "normal",
            Category::Traced => "T set",
            Category::Exception => "other exception",
            Category::AddressError => "address error",
        }
    }
}

/// The long frame of an address error (UM figure 6-7, from memory), as it lies in the final RAM.
pub struct Frame {
    pub status: u16,
    pub address: u32,
    pub instruction: u16,
    pub pc: u32,
}

/// The instructions that can meet an odd address while they fetch; all others meet it with an operand.
const JUMPS: [&str; 8] = ["BSR", "Bcc", "DBcc", "JMP", "JSR", "RTE", "RTR", "RTS"];

impl Vector {
    pub fn category(&self) -> Category {
        match self.exception() {
            Some(3) => Category::AddressError,
            Some(_) => Category::Exception,
            None if self.traced() => Category::Traced,
            None => Category::Normal,
        }
    }

    pub fn traced(&self) -> bool {
        self.before.values[SR] & 0x8000 != 0
    }

    /// Whether a trace follows on the exception: that of an instruction that ran to its end, not of one that was refused
    /// or aborted (UM 6.3.8, from memory).
    pub fn traced_twice(&self) -> bool {
        self.traced() && matches!(self.exception(), Some(5..=7 | 32..=47))
    }

    pub fn opcode(&self) -> u16 {
        self.before.queue[0]
    }

    /// The exception vector that is read: two words below 0x400, to which the final PC belongs.
    pub fn exception(&self) -> Option<u8> {
        let accesses: Vec<Timed> = self.timeline().collect();
        accesses.windows(2).find_map(|pair| {
            let [high, low] = [pair[0].access, pair[1].access];
            let target = u32::from(high.data) << 16 | u32::from(low.data);
            let read = !high.write && !low.write && high.code as u8 == 5 && low.code as u8 == 5;
            let entry = high.address < 0x400 && high.address % 4 == 0 && low.address == high.address + 2;
            (read && entry && target.wrapping_add(4) == self.after.values[PC]).then_some((high.address / 4) as u8)
        })
    }

    /// An executed STOP. It does not refill the queue.
    pub fn stops(&self) -> bool {
        self.opcode() == 0x4E72 && self.exception().is_none()
    }

    /// An executed RESET.
    pub fn resets(&self) -> bool {
        self.opcode() == 0x4E70 && self.exception().is_none()
    }

    /// The address of the next instruction.
    pub fn next(&self) -> u32 {
        let pc = self.after.values[PC];
        if self.stops() { pc } else { pc.wrapping_sub(4) }
    }

    /// The bus cycles that reach memory, and when.
    pub fn timeline(&self) -> impl Iterator<Item = Timed> + '_ {
        let mut clock = 0;
        self.entries.iter().filter_map(move |entry| {
            let start = clock;
            clock += if let Entry::Idle(clocks) = entry { *clocks } else { 4 };
            if let Entry::Access(access) = *entry { Some(Timed { clock: start, access }) } else { None }
        })
    }

    /// The access that is an address error.
    pub fn fault(&self) -> Option<Access> {
        self.entries.iter().find_map(|entry| if let Entry::Fault(access) = *entry { Some(access) } else { None })
    }

    /// What kind of access the fault is, which the function code alone does not say: operands relative to the PC are
    /// program space too.
    pub fn fault_kind(&self, file: &str) -> AccessKind {
        match self.fault() {
            Some(access) if access.write => AccessKind::Write,
            _ if JUMPS.contains(&file) => AccessKind::Fetch,
            _ => AccessKind::Read,
        }
    }

    /// The frame at the final SSP. A word that the final RAM lacks is `None`.
    pub fn frame(&self) -> Option<Frame> {
        let stack = self.after.values[SSP];
        let word = |offset: u32| {
            let address = stack.wrapping_add(offset) & 0xFF_FFFF;
            self.after.ram.iter().find(|(other, _)| *other == address).map(|(_, word)| *word)
        };
        let long = |offset| Some(u32::from(word(offset)?) << 16 | u32::from(word(offset + 2)?));
        Some(Frame { status: word(0)?, address: long(2)?, instruction: word(6)?, pc: long(10)? })
    }
}
