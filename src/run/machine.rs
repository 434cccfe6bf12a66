//! The machine: one board and one CPU that run a rig's routine again and again.

use std::sync::Arc;

use m68000::Registers;

use super::exits::Exits;
use super::hang::Earlier;
use super::{Branch, Cell, Crash, End, Entry, Limit, Outcome, Rig, Wrong, odd};
use crate::board::{AccessKind, BUS_MASK, Board, Bus, Inputs, Observer, Place, RamFill};
use crate::cpu::{self, Cpu, Exception, Step};

/// The address that the routine's caller is said to have. Nothing else leads there: no 24-bit address equals it, and
/// no absolute short one either, which would be sign-extended.
const CALLER: u32 = 0xA5FF_FFF0;

/// The longest instruction, in bytes.
const LONGEST: u32 = 10;

/// What one run gets.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// Cartridge, open-bus rule, port schedules, seed.
    pub inputs: Inputs,
    /// Cells to look at when the run is over.
    pub probes: Vec<Cell>,
}

/// Runs the routine of a rig. Reuse it: a run allocates nothing after the first.
#[derive(Clone, Debug)]
pub struct Machine<O: Observer = ()> {
    rig: Arc<Rig>,
    board: Board<O>,
    cpu: Cpu,
    exits: Exits,
    earlier: Earlier,
    outcome: Outcome,
}

impl Machine<()> {
    /// A machine that nobody watches.
    pub fn new(rig: Arc<Rig>) -> Self {
        Self::watched(rig, ())
    }
}

impl<O: Observer> Machine<O> {
    /// A machine with an observer.
    pub fn watched(rig: Arc<Rig>, observer: O) -> Self {
        let host = rig.map.host();
        let code = host.origin()..host.end().saturating_sub(LONGEST).max(host.origin());
        let exits = Exits::new(&rig.branches, &code);
        Self {
            board: Board::new(Bus::new(Arc::clone(&rig.map)), observer),
            cpu: Cpu::default(),
            exits,
            earlier: Earlier::new(),
            outcome: Outcome::default(),
            rig,
        }
    }

    /// The rig.
    pub fn rig(&self) -> &Arc<Rig> {
        &self.rig
    }

    /// The observer.
    pub fn observer(&mut self) -> &mut O {
        &mut self.board.observer
    }

    /// What the last run did.
    pub fn outcome(&self) -> &Outcome {
        &self.outcome
    }

    /// The board as the last run left it.
    pub fn bus(&self) -> &Bus {
        &self.board.bus
    }

    /// Runs the routine once, with these RAM fills (by area), and says what happened.
    pub fn run(&mut self, setup: &Setup, fills: &[RamFill]) -> &Outcome {
        self.start(setup, fills);
        let mut end = self.advance(u64::MAX);
        match &mut end {
            End::Crashed(crash) if crash.exception == Exception::AddressError => {
                crash.access = self.find_odd_access(setup, fills);
            }
            End::Hung { first, last, period } => (*first, *last) = self.walk_loop(*period),
            _ => {}
        }
        self.finish(setup, end);
        &self.outcome
    }

    fn start(&mut self, setup: &Setup, fills: &[RamFill]) {
        self.board.bus.power_on(&setup.inputs, fills);
        self.cpu.start(first_registers(&self.rig));
        if let Entry::At(_) = self.rig.routine.entry {
            // The caller's push; the harness was checked to have RAM there.
            let stack = self.rig.routine.stack.wrapping_sub(4);
            let _ = self.board.bus.write_word(stack, (CALLER >> 16) as u16);
            let _ = self.board.bus.write_word(stack.wrapping_add(2), CALLER as u16);
            self.board.bus.take_fault();
        }
        self.board.bus.pc = self.cpu.pc();
        self.earlier.reset();
        let outcome = &mut self.outcome;
        outcome.instructions = 0;
        outcome.cycles = 0;
        outcome.last = self.cpu.pc() & BUS_MASK;
        outcome.fill_matters = false;
    }

    /// Steps until the run ends, or `pause` instructions have run (then the end is a limit and means nothing).
    ///
    /// Of two ends at once an exit comes first, then the limits.
    fn advance(&mut self, pause: u64) -> End {
        let limits = self.rig.routine.limits;
        let last = limits.instructions.min(pause);
        let mut count = self.outcome.instructions;
        let end = 'run: loop {
            let stop = last.min(self.earlier.next);
            while count < stop {
                let pc = self.cpu.pc();
                if !self.exits.ordinary(pc)
                    && let Some(end) = self.look_at(pc)
                {
                    break 'run end;
                }
                count += 1;
                if let Err(end) = self.step(pc) {
                    break 'run end;
                }
                if self.board.bus.now > limits.cycles {
                    break 'run End::Limit(Limit::Cycles);
                }
                if let Some(period) = self.earlier.again(count, self.cpu.registers(), &self.board.bus) {
                    break 'run End::Hung { first: 0, last: BUS_MASK, period };
                }
            }
            if let Some(end) = self.arrived() {
                break end;
            }
            if count >= last {
                break End::Limit(Limit::Instructions);
            }
            self.earlier.keep(count, self.cpu.registers(), &self.board.bus);
        };
        self.outcome.instructions = count;
        self.outcome.cycles = self.board.bus.now;
        self.outcome.last = self.board.bus.pc & BUS_MASK;
        end
    }

    /// Runs the instruction at `pc`.
    ///
    /// This is where all the time goes. It must stay the only caller of [`Cpu::step`], and have one caller itself, so
    /// that the compiler puts the core's dispatch right into the loop.
    #[inline(always)]
    fn step(&mut self, pc: u32) -> Result<(), End> {
        self.board.begin(pc, self.cpu.registers());
        let (cycles, step) = self.cpu.step(&mut self.board);
        self.board.bus.now += cycles;
        if step != Step::Ran || self.cpu.stopped() || self.board.bus.faulted() {
            self.board.bus.now += self.exceptional(step)?;
        }
        self.board.done(self.cpu.pc());
        Ok(())
    }

    /// The next instruction is an exit, or does not lie wholly in the host ROM.
    #[cold]
    fn look_at(&mut self, pc: u32) -> Option<End> {
        self.arrived().or_else(|| self.check_outside(pc))
    }

    /// The end if the next instruction is an exit.
    fn arrived(&mut self) -> Option<End> {
        let address = self.cpu.pc() & BUS_MASK;
        self.exits.hit(address).then(|| self.arrive(Some(address)))
    }

    /// An exit is reached: which branch holds there?
    fn arrive(&mut self, exit: Option<u32>) -> End {
        let list = exit.map_or_else(|| self.exits.returns(), |address| self.exits.at(address));
        for index in list {
            let Some(condition) = self.rig.branches[*index].when else { return End::Branch(*index) };
            let probe = condition.cell.probe(self.cpu.registers(), &self.board.bus);
            self.outcome.fill_matters |= !probe.known;
            if probe.value == condition.is {
                return End::Branch(*index);
            }
        }
        if exit.is_none() && list.is_empty() { End::Returned } else { End::NoBranch(exit) }
    }

    /// Has the routine returned, or left the host?
    fn check_outside(&mut self, pc: u32) -> Option<End> {
        if pc == CALLER && self.rig.routine.entry != Entry::Reset {
            return Some(self.arrive(None));
        }
        if !pc.is_multiple_of(2) {
            // An address error, wherever it leads: the core raises it before anything is fetched.
            return None;
        }
        let to = pc & BUS_MASK;
        (!self.may_run(to)).then(|| End::LeftHost { to, place: self.board.bus.place(to) })
    }

    /// Whether an instruction may run at an address.
    fn may_run(&self, address: u32) -> bool {
        match self.board.bus.place(address) {
            Place::Host | Place::Overlay(_) => true,
            Place::Nothing => false,
            _ => self.rig.routine.executes_anywhere,
        }
    }

    /// After an instruction that raised an exception or stopped: the cycles of entering a handler, or the end.
    #[cold]
    fn exceptional(&mut self, step: Step) -> Result<u64, End> {
        let pc = self.board.bus.pc;
        let fault = self.board.bus.take_fault();
        let unfetched = fault.is_some_and(|fault| fault.kind == AccessKind::Fetch);
        let vector = match step {
            _ if unfetched => Exception::BusError.vector(),
            Step::Raised(vector) => vector,
            Step::Ran => return Err(End::Stopped),
        };
        // The core knows only the vectors of table B-1; anything else would be a fault of this tool.
        let exception = Exception::from_vector(vector).unwrap_or(Exception::Illegal);
        let access = fault.map(|fault| (fault.address, fault.kind));
        let crash = |handler| End::Crashed(Crash { exception, access, handler });
        if unfetched {
            return Err(crash(Wrong::NotFetched));
        }
        if !exception.asked_for() && !self.rig.routine.handles.contains(&exception) {
            return Err(crash(Wrong::NotHandled));
        }
        // The vector table may lie in RAM or under an overlay too.
        let vector = u32::from(exception.vector()) * 4;
        let bus = &self.board.bus;
        let handler = u32::from(bus.peek_word(vector)) << 16 | u32::from(bus.peek_word(vector + 2));
        if !handler.is_multiple_of(2) || !self.may_run(handler & BUS_MASK) {
            return Err(crash(Wrong::NoHandler(handler)));
        }
        self.cpu.enter(&mut self.board, exception, pc, fault).map_err(|_| End::Halted(exception))?;
        Ok(exception.cycles())
    }

    /// Goes once more round a loop that never ends: the lowest and the highest address of its instructions.
    fn walk_loop(&mut self, period: u64) -> (u32, u32) {
        let writes = self.board.bus.writes().len();
        let troubles = self.board.bus.troubles().clone();
        let Outcome { instructions, cycles, last: at, .. } = self.outcome;
        let (mut first, mut last) = (u32::MAX, 0);
        // The kept state has done its work; met again, it would end the walk.
        self.earlier.reset();
        self.board.mute(true);
        for _ in 0..period {
            let pc = self.cpu.pc() & BUS_MASK;
            first = first.min(pc);
            last = last.max(pc);
            // One more instruction, whatever the limits are.
            self.outcome.instructions = 0;
            self.advance(1);
        }
        self.board.mute(false);
        self.board.bus.restore_journal(writes, troubles);
        (self.outcome.instructions, self.outcome.cycles, self.outcome.last) = (instructions, cycles, at);
        (first, last)
    }

    /// Which access was odd. The core only says that one was, so the run is repeated up to that instruction.
    fn find_odd_access(&mut self, setup: &Setup, fills: &[RamFill]) -> Option<(u32, AccessKind)> {
        let (count, last) = (self.outcome.instructions, self.outcome.last);
        if self.cpu.pc() & 1 != 0 {
            return Some((self.cpu.pc() & BUS_MASK, AccessKind::Fetch));
        }
        self.board.mute(true);
        self.start(setup, fills);
        self.advance(count - 1);
        let bus = &self.board.bus;
        let decoded = cpu::decode(last, |at| bus.peek_word(at));
        let access = odd::find(&decoded, self.cpu.registers());
        self.advance(count);
        self.board.mute(false);
        access
    }

    fn finish(&mut self, setup: &Setup, end: End) {
        let outcome = &mut self.outcome;
        outcome.end = end;
        outcome.pc = self.cpu.pc() & BUS_MASK;
        outcome.registers = *self.cpu.registers();
        outcome.writes.clear();
        outcome.writes.extend_from_slice(self.board.bus.writes());
        outcome.troubles.copy(self.board.bus.troubles());
        outcome.probes.clear();
        for cell in &setup.probes {
            outcome.probes.push(cell.probe(&outcome.registers, &self.board.bus));
        }
        let branch: Option<&Branch> = outcome.branch().map(|index| &self.rig.branches[index]);
        let shown = branch.map_or(&[][..], |branch| &branch.shows);
        let unknown = |cell: &Cell| !cell.probe(&outcome.registers, &self.board.bus).known;
        outcome.fill_matters |= outcome.troubles.early_read_count > 0
            || outcome.probes.iter().any(|probe| !probe.known)
            || shown.iter().any(|(_, cell)| unknown(cell));
    }
}

/// The registers with which the routine starts.
fn first_registers(rig: &Rig) -> Registers {
    let routine = &rig.routine;
    let host = rig.map.host();
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
