//! What an instruction reads and writes, found by running it in every way on values of which only constants are known.

use super::execute::{Core, Flat, Perhaps, Step};
use super::graph::Node;
use super::live::Live;
use super::script::Script;
use super::{Domain, Pin, ValueOf, World};
use crate::cpu::{Control, FunctionCode};
use crate::run::Rig;

/// The most ways that an instruction is run in; beyond that it counts as reading everything.
const MOST_WAYS: usize = 4096;

/// What an instruction reads before it writes it, and what it writes in full on every way to the next one.
pub fn uses_of(rig: &Rig, node: &Node) -> (Live, Live) {
    // A handler may look at anything.
    if let Control::Raises(_) | Control::Trap(_) | Control::MayTrap(_) | Control::ExceptionReturn = node.control {
        return (Live::ALL, Live::default());
    }
    let mut script = Script::default();
    let (mut uses, mut defines, mut ways) = (0, u32::MAX, 0);
    loop {
        let mut blank = Blank { values: Flat, script: &mut script, rig };
        let mut core = start(&mut blank, rig, node);
        let step = core.step(&mut blank);
        uses |= core.trail.uses;
        match step {
            Ok(Step::Ran) | Err(Opaque::Target) => defines &= core.trail.defines,
            // An aborted instruction ends the run; where a handler takes it, the way there was seen and all is live.
            Ok(Step::Raised(_)) if rig.routine.handles.is_empty() => {}
            Ok(Step::Raised(_)) | Err(Opaque::Other) => return (Live::ALL, Live::default()),
        }
        ways += 1;
        if ways > MOST_WAYS {
            return (Live::ALL, Live::default());
        }
        if !script.advance() {
            return (Live(uses & Live::ALL.0), Live(defines & Live::ALL.0));
        }
    }
}

/// A processor before the instruction that knows nothing but where it is.
fn start(blank: &mut Blank, rig: &Rig, node: &Node) -> Core<Perhaps> {
    let pc = node.decoded.instruction().pc;
    let mut core = Core::start(blank, &crate::cpu::registers(rig.routine.status, 0, pc));
    let long = Perhaps::unknown(32);
    let flag = Perhaps::unknown(1);
    core.data = [long; 8];
    core.address = [long; 7];
    (core.user_stack, core.supervisor_stack) = (long, long);
    (core.extend, core.negative, core.zero, core.overflow, core.carry) = (flag, flag, flag, flag, flag);
    core.queue = [0, 2].map(|offset| blank.word(pc.wrapping_add(offset)));
    core
}

/// Why an instruction could not be run to its end.
enum Opaque {
    /// It goes on where a value says.
    Target,
    /// It hangs on more than can be followed.
    Other,
}

/// A world of which only the code is known.
struct Blank<'a> {
    values: Flat,
    script: &'a mut Script,
    rig: &'a Rig,
}

impl Blank<'_> {
    fn word(&mut self, address: u32) -> Perhaps {
        match self.rig.map.code_word(address & crate::board::BUS_MASK) {
            Some(word) => self.values.number(16, u64::from(word)),
            None => Perhaps::unknown(16),
        }
    }
}

impl World for Blank<'_> {
    type Values = Flat;
    type Cut = Opaque;

    fn values(&mut self) -> &mut Flat {
        &mut self.values
    }

    fn decide(&mut self, bit: Perhaps) -> Result<bool, Opaque> {
        if let Some(number) = self.values.known(bit) {
            return Ok(number == 1);
        }
        let chosen = match self.script.again() {
            Some((_, number)) => number,
            None => self.script.first([0, 1].into()),
        };
        Ok(chosen == 1)
    }

    fn pin(&mut self, value: Perhaps, what: Pin) -> Result<u64, Opaque> {
        let opaque = if what == Pin::Jump { Opaque::Target } else { Opaque::Other };
        self.values.known(value).ok_or(opaque)
    }

    fn read_byte(&mut self, _: ValueOf<Self>, _: FunctionCode) -> Result<Option<Perhaps>, Opaque> {
        Ok(Some(Perhaps::unknown(8)))
    }

    fn read_word(&mut self, _: ValueOf<Self>, _: FunctionCode) -> Result<Option<Perhaps>, Opaque> {
        Ok(Some(Perhaps::unknown(16)))
    }

    fn fetch(&mut self, at: u32, _: FunctionCode) -> Result<Option<Perhaps>, Opaque> {
        Ok(Some(self.word(at)))
    }

    fn write_byte(&mut self, _: Perhaps, _: Perhaps, _: FunctionCode) -> Result<Option<()>, Opaque> {
        Ok(Some(()))
    }

    fn write_word(&mut self, _: Perhaps, _: Perhaps, _: FunctionCode) -> Result<Option<()>, Opaque> {
        Ok(Some(()))
    }

    fn touch_byte(&mut self, _: Perhaps, _: FunctionCode) -> Result<Option<()>, Opaque> {
        Ok(Some(()))
    }

    fn touch_word(&mut self, _: Perhaps, _: FunctionCode) -> Result<Option<()>, Opaque> {
        Ok(Some(()))
    }

    fn idle(&mut self, _: u32) {}

    fn idle_for(&mut self, _: Perhaps) {}

    fn reset_devices(&mut self) -> Result<(), Opaque> {
        Ok(())
    }
}
