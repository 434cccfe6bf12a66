//! The machine: one board and one CPU that run a rig's routine again and again.

use std::sync::Arc;

use super::exits::Exits;
use super::hang::Earlier;
use super::interrupts::{Interrupts, Timing, mask};
use super::{Branch, Cell, Crash, End, Entry, Limit, Outcome, Rig, Wrong};
use crate::board::{
    AccessKind, BUS_MASK, Board, Bus, Inputs, Observer, Place, RETURN_ADDRESS, RamFill, extension_words,
};
use crate::cpu::{Cpu, DoubleFault, Exception, Raised, Step};

/// The longest instruction, in bytes.
const LONGEST: u32 = 10;

/// What one run gets.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// Cartridge, open-bus rule, port schedules, seed.
    pub inputs: Inputs,
    /// When each device interrupts, by index; `None` for what the rig says.
    pub interrupts: Vec<Option<Timing>>,
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
    interrupts: Interrupts,
    /// The cycle after which something is to be looked at: a limit, or an interrupt.
    horizon: u64,
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
            interrupts: Interrupts::default(),
            horizon: 0,
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

    /// The observer beside what it has seen.
    pub fn watched_run(&mut self) -> (&mut O, &Outcome, &Bus) {
        (&mut self.board.observer, &self.outcome, &self.board.bus)
    }

    /// Lets these bytes of RAM be what they are told to be at power-on in all runs to come, whatever the fills.
    pub fn hold_ram(&mut self, bytes: &[(u32, u8)]) {
        self.board.bus.hold_ram(bytes);
    }

    /// Runs the routine once, with these RAM fills (by area), and says what happened.
    pub fn run(&mut self, setup: &Setup, fills: &[RamFill]) -> &Outcome {
        let mut end = self.start(setup, fills).unwrap_or_else(|| self.advance(u64::MAX));
        if let End::Hung { first, last, period } = &mut end {
            (*first, *last) = self.walk_loop(*period);
        }
        self.finish(setup, end);
        &self.outcome
    }

    /// Prepares board and processor. The end if not even the first instruction can be fetched.
    fn start(&mut self, setup: &Setup, fills: &[RamFill]) -> Option<End> {
        self.board.bus.power_on(&setup.inputs, fills);
        self.cpu.start(self.rig.first_registers());
        if let Entry::At(_) = self.rig.routine.entry {
            // The caller's push; the harness was checked to have RAM there.
            let stack = self.rig.routine.stack.wrapping_sub(4);
            let _ = self.board.bus.write_word(stack, (RETURN_ADDRESS >> 16) as u16);
            let _ = self.board.bus.write_word(stack.wrapping_add(2), RETURN_ADDRESS as u16);
        }
        self.board.bus.pc = self.cpu.pc();
        self.earlier.reset();
        self.interrupts.start(&self.rig.interrupts, &setup.interrupts);
        self.look_ahead();
        let outcome = &mut self.outcome;
        outcome.instructions = 0;
        outcome.cycles = 0;
        outcome.last = self.cpu.pc() & BUS_MASK;
        outcome.fill_matters = false;
        // The caller's jump or the reset has filled the queue; their time is not the routine's.
        self.board.mute(true);
        let filled = match self.rig.routine.entry {
            Entry::At(_) => self.cpu.refill(&mut self.board),
            Entry::Reset => self.cpu.reset(&mut self.board).map_or_else(Step::Raised, |()| Step::Ran),
        };
        self.board.mute(false);
        self.board.bus.now = 0;
        match (filled, self.rig.routine.entry) {
            (Step::Ran, _) => None,
            (Step::Raised(raised), Entry::At(_)) => self.enter_all(Some(raised), None).err(),
            // An error while the reset is processed is a double fault (UM 6.3.9).
            (Step::Raised(raised), Entry::Reset) => Some(End::Halted(raised.exception)),
        }
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
                if self.board.bus.now > self.horizon
                    && let Err(end) = self.at_horizon()
                {
                    break 'run end;
                }
                if let Some(period) = self.earlier.again(count, &self.cpu, &self.interrupts, &self.board.bus) {
                    break 'run End::Hung { first: 0, last: BUS_MASK, period };
                }
            }
            if let Some(end) = self.arrived() {
                break end;
            }
            if count >= last {
                break End::Limit(Limit::Instructions);
            }
            self.earlier.keep(count, &self.cpu, &self.interrupts, &self.board.bus);
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
        let step = self.cpu.step(&mut self.board);
        if !matches!(step, Step::Ran) || self.cpu.stopped() {
            self.exceptional(step)?;
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

    /// Whether the routine has come back to its caller.
    fn returned(&self) -> bool {
        self.cpu.pc() == RETURN_ADDRESS && self.rig.routine.entry != Entry::Reset
    }

    /// Whether the routine is over where it stands.
    fn leaves(&self) -> bool {
        self.returned() || self.exits.hit(self.cpu.pc() & BUS_MASK)
    }

    /// Has the routine returned, or left the host?
    fn check_outside(&mut self, pc: u32) -> Option<End> {
        if self.returned() {
            return Some(self.arrive(None));
        }
        let to = pc & BUS_MASK;
        if !self.may_run(to) {
            return Some(End::LeftHost { to, place: self.board.bus.place(to) });
        }
        self.board.bus.pc = pc;
        self.board.bus.note_executed(to, 2 + 2 * extension_words(self.cpu.queue()[0]));
        None
    }

    /// Whether an instruction may run at an address.
    fn may_run(&self, address: u32) -> bool {
        match self.board.bus.place(address) {
            Place::Host | Place::Overlay(_) => true,
            Place::Nothing => false,
            _ => self.rig.routine.executes_anywhere,
        }
    }

    /// After an instruction that raised an exception or stopped: its handler is entered, or the run ends.
    #[cold]
    fn exceptional(&mut self, step: Step) -> Result<(), End> {
        match step {
            Step::Raised(raised) => self.enter_all(Some(raised), None),
            Step::Ran => self.wait_stopped(),
        }
    }

    /// Enters handlers as long as one leads to the next: an error that stacking a frame has met, or the trace of an
    /// instruction that raised something else.
    fn enter_all(&mut self, first: Option<Raised>, mut within: Option<Exception>) -> Result<(), End> {
        let mut next = first;
        while let Some(raised) = next {
            let halted = End::Halted(within.unwrap_or(raised.exception));
            if let Err(end) = self.check_handler(&raised) {
                // An error within an exception: if its own frame cannot be stacked either, the processor halts.
                let halts = within.is_some() && self.cpu.enter(&mut self.board, &raised).is_err();
                return Err(if halts { halted } else { end });
            }
            let from = self.cpu.pc();
            let met = self.cpu.enter(&mut self.board, &raised).map_err(|DoubleFault| halted)?;
            within = met.map(|_| raised.exception);
            next = met.or_else(|| self.entered(raised.exception, from));
        }
        Ok(())
    }

    /// A handler is entered. The trace that is to be entered next, if there is one.
    fn entered(&mut self, exception: Exception, from: u32) -> Option<Raised> {
        self.board.excepted(exception, from, self.cpu.pc());
        self.cpu.trace_due()
    }

    /// After a STOP: time passes until a request comes that wakes the processor. It is taken like any other.
    fn wait_stopped(&mut self) -> Result<(), End> {
        self.interrupts.advance(self.board.bus.now);
        let mask = mask(&self.cpu);
        if self.interrupts.taken(mask).is_none() {
            let Some(when) = self.interrupts.wakes(mask) else { return Err(End::Stopped) };
            let limit = self.rig.routine.limits.cycles.saturating_add(1);
            self.board.bus.now = self.board.bus.now.max(when.min(limit));
        }
        self.horizon = 0;
        Ok(())
    }

    /// Past the horizon: a limit is reached, or an interrupt may be taken. An exit that is reached comes first; a
    /// processor that has stopped has not reached what follows.
    #[cold]
    fn at_horizon(&mut self) -> Result<(), End> {
        if self.board.bus.now > self.rig.routine.limits.cycles {
            return Err(End::Limit(Limit::Cycles));
        }
        self.interrupts.advance(self.board.bus.now);
        // A higher request that has come while a handler was entered is taken before the handler's first instruction;
        // so there are seven at the most, however often devices request.
        let mut served = 0;
        while (self.cpu.stopped() || !self.leaves())
            && let Some(index) = self.interrupts.taken(mask(&self.cpu))
            && self.rig.interrupts[index].level > served
        {
            served = self.rig.interrupts[index].level;
            self.interrupts.acknowledge(index);
            self.interrupt(index)?;
            self.interrupts.advance(self.board.bus.now);
        }
        self.look_ahead();
        Ok(())
    }

    /// Sets the horizon: one cycle before the next request, or the limit.
    fn look_ahead(&mut self) {
        self.horizon = self.rig.routine.limits.cycles.min(self.interrupts.next().saturating_sub(1));
    }

    /// Enters the handler of a device's interrupt.
    fn interrupt(&mut self, index: usize) -> Result<(), End> {
        let (level, vector) = (self.rig.interrupts[index].level, self.rig.interrupts[index].vector());
        let exception = Exception::Interrupt(level);
        if let Err(value) = self.check_vector(vector) {
            let handler = Wrong::NoServiceRoutine { device: index, value };
            return Err(End::Crashed(Crash { exception, access: None, handler }));
        }
        let from = self.cpu.pc();
        let met = self.cpu.interrupt(&mut self.board, level, vector).map_err(|DoubleFault| End::Halted(exception))?;
        let next = met.or_else(|| self.entered(exception, from));
        self.enter_all(next, met.map(|_| exception))
    }

    /// Whether the routine takes an exception by itself.
    fn handles(&self, exception: Exception) -> bool {
        exception.asked_for() || self.rig.routine.handles.contains(&exception)
    }

    /// The end if no handler of the routine takes an exception.
    fn check_handler(&self, raised: &Raised) -> Result<(), End> {
        let exception = raised.exception;
        let access = access(raised);
        let crash = |handler| End::Crashed(Crash { exception, access, handler });
        if !self.handles(exception) {
            return Err(crash(Wrong::NotHandled));
        }
        self.check_vector(exception.vector()).map_err(|value| crash(Wrong::NoHandler(value)))
    }

    /// Whether a vector leads to code; if not, its value. The table may lie in RAM or under an overlay too.
    fn check_vector(&self, number: u8) -> Result<(), u32> {
        let (address, bus) = (u32::from(number) * 4, &self.board.bus);
        let handler = u32::from(bus.peek_word(address)) << 16 | u32::from(bus.peek_word(address + 2));
        let runs = handler.is_multiple_of(2) && self.may_run(handler & BUS_MASK);
        if runs { Ok(()) } else { Err(handler) }
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

    fn finish(&mut self, setup: &Setup, end: End) {
        let outcome = &mut self.outcome;
        outcome.end = end;
        outcome.pc = self.cpu.pc() & BUS_MASK;
        outcome.registers = *self.cpu.registers();
        outcome.writes.clear();
        outcome.writes.extend_from_slice(self.board.bus.writes());
        outcome.held.clear();
        outcome.held.extend(self.board.bus.held());
        outcome.troubles.copy(self.board.bus.troubles());
        outcome.held_back = self.interrupts.held_back(mask(&self.cpu));
        outcome.probes.clear();
        for cell in &setup.probes {
            outcome.probes.push(cell.probe(&outcome.registers, &self.board.bus));
        }
        let branch: Option<&Branch> = outcome.branch().map(|index| &self.rig.branches[index]);
        let shown = branch.map_or(&[][..], |branch| &branch.shows);
        let unknown = |cell: &Cell| !cell.probe(&outcome.registers, &self.board.bus).known;
        outcome.fill_matters |= outcome.troubles.early_read_count > 0
            || outcome.troubles.fetched_early
            || outcome.probes.iter().any(|probe| !probe.known)
            || shown.iter().any(|(_, cell)| unknown(cell));
    }
}

/// The access that raised an exception, as a crash names it.
fn access(raised: &Raised) -> Option<(u32, AccessKind)> {
    raised.fault.map(|fault| (fault.address & BUS_MASK, fault.kind))
}
