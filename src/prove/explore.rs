//! The exploration: every path of the routine for every input, with paths brought together where they can be.
//!
//! [`explore`] says how the paths end, for which inputs each, and what went wrong on the way. It claims nothing by itself:
//! what may be called proved is decided in `gates`.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use super::Domain;
use super::count::Count;
use super::ending::{Close, Ending};
use super::execute::{Core, Step};
use super::explored::{Budget, Explored, Taken};
use super::graph::{Graph, Node, Seen, entry, place_of};
use super::ground::{Ground, Logic};
use super::live::{Live, Liveness, at_exit, forget};
use super::logic::Term;
use super::merge::{Rule, keep_only, merge};
use super::order::{Move, Order};
use super::scene::{Cut, Scene, Trouble};
use super::script::Script;
use super::state::{Facts, Held, State};
use super::turn::Turn;
use super::unknowns::all;
use crate::board::{BUS_MASK, RETURN_ADDRESS};
use crate::cpu::Control;
use crate::run::{Cell, Entry, Exit};

/// How many states of one place differ in data that are numbers before these may become unknown.
const MANY: usize = 64;

/// How often an exploration is begun again with a better graph.
const MOST_STARTS: usize = 200;

/// How far an exploration that has met a surprise looks for more of them.
const AFTER_SURPRISE: u64 = 20_000;

/// Explores everything.
pub fn explore(logic: &mut Logic, ground: &Ground, budget: Budget) -> Explored {
    let mut seen = Seen::default();
    for _ in 0..MOST_STARTS {
        let mut explorer = Explorer::new(logic, ground, seen.clone(), budget);
        explorer.run();
        if explorer.surprises == Seen::default() {
            return explorer.finish();
        }
        seen.edges.append(&mut explorer.surprises.edges);
        seen.functions.append(&mut explorer.surprises.functions);
    }
    let mut explorer = Explorer::new(logic, ground, seen, budget);
    explorer.run();
    // Nothing may be said on the grounds of a graph that does not hold.
    if explorer.surprises != Seen::default() {
        let truth = explorer.logic.terms.bit(true);
        let cut = Cut::Budget("new ways of the program");
        explorer.cut_short(truth, cut);
    }
    explorer.finish()
}

pub(super) struct Explorer<'a> {
    pub logic: &'a mut Logic,
    pub ground: &'a Ground<'a>,
    graph: Graph,
    order: Order,
    pub live: Liveness,
    queue: BTreeMap<Vec<u32>, Vec<State>>,
    ends: BTreeMap<Close, Vec<State>>,
    found: Explored,
    surprises: Seen,
    /// When to stop looking for surprises.
    until: u64,
    budget: Budget,
    script: Script,
}

/// A way in which an instruction went on.
pub(super) struct Way {
    pub state: State,
    turn: Turn,
    /// Whether an instruction ran.
    ran: bool,
}

impl<'a> Explorer<'a> {
    fn new(logic: &'a mut Logic, ground: &'a Ground<'a>, seen: Seen, budget: Budget) -> Self {
        let graph = Graph::new(ground.rig(), seen);
        Self {
            order: Order::new(&graph),
            live: Liveness::new(ground.rig(), &graph),
            logic,
            ground,
            graph,
            queue: BTreeMap::new(),
            ends: BTreeMap::new(),
            found: Explored::default(),
            surprises: Seen::default(),
            until: u64::MAX,
            budget,
            script: Script::default(),
        }
    }

    fn run(&mut self) {
        self.start();
        while let Some((_, states)) = self.queue.pop_first() {
            for state in states {
                self.follow(state);
                if self.found.steps > self.until {
                    return;
                }
            }
            let spent = self.found.steps > self.budget.steps || self.logic.terms.len() > self.budget.terms;
            if spent {
                let left: Vec<State> = std::mem::take(&mut self.queue).into_values().flatten().collect();
                for state in left {
                    let at = place_of(state.core.pc);
                    self.end(Close::Cut(at, Cut::Budget("instructions")), state);
                }
            }
        }
    }

    fn finish(mut self) -> Explored {
        for (close, states) in self.ends {
            self.found.endings.extend(states.into_iter().map(|state| Ending { close: close.clone(), state }));
        }
        self.found.graph = Some(self.graph);
        self.found
    }

    /// An end for these inputs of which nothing is known.
    fn cut_short(&mut self, guard: Term, cut: Cut) {
        let Some(state) = self.ends.values().flatten().next().cloned() else { return };
        let close = Close::Cut(place_of(state.core.pc), cut);
        self.ends.entry(close).or_default().push(State { guard, ..state });
    }

    /// The state before the first instruction.
    fn start(&mut self) {
        let rig = self.ground.rig();
        let first = rig.first_registers();
        let terms = &mut self.logic.terms;
        let (guard, zero) = (terms.bit(true), terms.number(8, 0));
        let power_on = rig.map.ports().iter().map(|port| terms.number(16, u64::from(port.power_on))).collect();
        let mut held = Held {
            ram: Rc::default(),
            latched: power_on,
            reads: vec![terms.number(32, 0); rig.map.ports().len()],
            showing: 0,
            last: [zero; 2],
            cycles: Count::ZERO,
            writes: Rc::default(),
        };
        let (mut looked, mut script, facts) = (BTreeSet::new(), Script::default(), Facts::default());
        let mut scene = scene(self.logic, self.ground, &mut held, guard, &facts, &mut script, &mut looked);
        let mut core = Core::start(&mut scene, &first);
        scene.at = core.pc & BUS_MASK;
        let ready = prepare(&mut scene, &mut core);
        let troubles = std::mem::take(&mut scene.troubles);
        // The caller's time is not the routine's, and what it wrote is no write of the routine.
        held.cycles = Count::ZERO;
        let position = self.order.start(entry(rig));
        let at = core.pc & BUS_MASK;
        let state = State { core, held, guard, facts, position, steps: Count::ZERO, earlier: None, possible: None };
        self.found.looked.append(&mut looked);
        self.note(troubles, guard, at);
        match ready {
            Ok(None) => self.insert(state),
            Ok(Some(close)) => self.end(close, state),
            Err(cut) => self.end(Close::Cut(at, cut), state),
        }
    }

    /// Runs a state until it splits, ends, or comes to where others may join it.
    fn follow(&mut self, mut state: State) {
        loop {
            let from = place_of(state.core.pc);
            self.reach(from, state.guard);
            let mut ways = self.ways(state);
            self.found.steps += 1;
            let alone = ways.len() == 1;
            let decides = |node: &Node| matches!(node.control, Control::Branch(_) | Control::ComputedJump);
            if !alone || self.graph.nodes.get(&from).is_some_and(decides) {
                self.note_ways(from, &ways);
            }
            let Some(first) = ways.pop() else { return };
            for way in ways {
                if let Some(next) = self.go_on(from, way) {
                    self.insert(next);
                }
            }
            let Some(next) = self.go_on(from, first) else { return };
            let spent = self.found.steps > self.budget.steps.min(self.until);
            if !alone || spent || self.graph.joins(place_of(next.core.pc)) {
                self.insert(next);
                return;
            }
            state = next;
        }
    }

    fn reach(&mut self, at: u32, guard: Term) {
        let guards = self.found.reached.entry(at).or_default();
        if guards.last() != Some(&guard) {
            guards.push(guard);
        }
    }

    fn note_ways(&mut self, from: u32, ways: &[Way]) {
        for way in ways.iter().filter(|way| matches!(way.turn, Turn::Goes { .. })) {
            let core = &way.state.core;
            let terms = &self.logic.terms;
            let mut registers = [None; 15];
            for (slot, value) in registers.iter_mut().zip(core.data.iter().chain(&core.address)) {
                *slot = terms.known(*value).map(|value| value as u32);
            }
            let taken = Taken { registers, guard: way.state.guard };
            self.found.taken.entry((from, place_of(core.pc))).or_default().push(taken);
        }
    }

    /// Every way in which the next instruction can go.
    pub fn ways(&mut self, mut state: State) -> Vec<Way> {
        let mut ram = std::mem::take(&mut state.held.ram);
        let at = state.core.pc & BUS_MASK;
        self.script.clear();
        let mut ways = Vec::new();
        loop {
            let mut way = State { held: Held { ram, ..state.held.clone() }, ..state.clone() };
            let mut core = state.core.clone();
            let mut looked = std::mem::take(&mut self.found.looked);
            let mut script = std::mem::take(&mut self.script);
            let mut scene =
                scene(self.logic, self.ground, &mut way.held, state.guard, &state.facts, &mut script, &mut looked);
            scene.at = at;
            let turn = scene.turn(&mut core, &state.steps);
            let Scene { taken, undo, troubles, events, facts, .. } = scene;
            self.found.events.extend(events);
            (self.found.looked, self.script) = (looked, script);
            let ran = !matches!(
                turn,
                Ok(Turn::Ends(
                    Close::Branch(_) | Close::NoBranch(_) | Close::Returned | Close::LeftHost(_) | Close::Limit(_)
                ))
            ) || core.pc != state.core.pc;
            let turn = turn.unwrap_or_else(|cut| Turn::Ends(Close::Cut(at, cut)));
            way.core = core;
            way.facts = facts;
            settle(self.logic, &mut way, &taken);
            self.note(troubles, way.guard, at);
            let last = self.script.last_way();
            ram = if last { Rc::default() } else { taken_back(&way.held.ram, &undo) };
            if self.logic.terms.known(way.guard) != Some(0) {
                ways.push(Way { state: way, turn, ran });
            }
            if last || !self.script.advance() {
                return ways;
            }
        }
    }

    fn note(&mut self, troubles: Vec<Trouble>, guard: Term, at: u32) {
        for trouble in troubles {
            let when = self.logic.terms.and(guard, trouble.when);
            let list = self.found.troubles.entry((trouble.what, at, trouble.address)).or_default();
            if list.last() != Some(&when) {
                list.push(when);
            }
        }
    }

    /// Where a way leads: the state there, unless the run is over.
    fn go_on(&mut self, from: u32, way: Way) -> Option<State> {
        let Way { mut state, turn, ran } = way;
        if ran {
            state.steps.add(1);
        }
        let handler = match turn {
            Turn::Goes { handler } => handler,
            Turn::Ends(close) => {
                self.end(close, state);
                return None;
            }
        };
        let to = place_of(state.core.pc);
        self.expect(from, to, handler);
        let how = match self.graph.nodes.get(&from).map(|node| (node.control, node.next())) {
            _ if handler => Move::Into { back: from },
            Some((Control::Call(_) | Control::ComputedCall, back)) if to != back => Move::Into { back },
            Some((Control::Return | Control::ExceptionReturn, _)) => Move::Back,
            _ => Move::Within,
        };
        let closed = state.position.go(&self.order, to, how);
        match closed {
            Some(turn) => self.close_loop(state, turn),
            None => Some(state),
        }
    }

    /// Notes a step that the graph does not have.
    fn expect(&mut self, from: u32, to: u32, handler: bool) {
        if self.graph.expects(from, to) {
            return;
        }
        self.surprises.edges.insert((from, to));
        let calls = matches!(self.graph.nodes.get(&from).map(|node| node.control), Some(Control::ComputedCall));
        if handler || calls {
            self.surprises.functions.insert(to);
        }
        self.until = self.until.min(self.found.steps + AFTER_SURPRISE);
    }

    /// Puts a state into the queue; one that stands there takes it in if it can.
    fn insert(&mut self, mut state: State) {
        let at = place_of(state.core.pc);
        let live = self.live.at(at);
        forget(&mut self.logic.terms, &mut state.core, live);
        let counters = self.order.counters(&state.position, at);
        let list = self.queue.entry(state.position.key()).or_default();
        join(self.logic, self.ground, list, state, Rule { live, counters, forced: false });
    }

    /// A run is over. What nobody looks at any more is forgotten.
    pub fn end(&mut self, close: Close, mut state: State) {
        let rig = self.ground.rig();
        let mut wanted = BTreeSet::new();
        let mut live = Live::default();
        if let Close::Branch(index) = close {
            let branch = &rig.branches[index];
            live = at_exit(rig, if let Exit::At(address) = branch.exit { address } else { RETURN_ADDRESS });
            for (_, cell) in &branch.shows {
                if let Cell::Memory { address, width } = cell {
                    wanted.extend((0..width.bytes()).filter_map(|offset| {
                        let address = address.wrapping_add(offset) & BUS_MASK;
                        Some(self.ground.ram_home(self.ground.ram_area(address)?, address))
                    }));
                }
            }
        }
        keep_only(&mut state.held.ram, &wanted);
        forget(&mut self.logic.terms, &mut state.core, live);
        let zero = self.logic.terms.number(16, 0);
        state.core.queue = [zero; 2];
        state.position = self.order.start(entry(rig));
        (state.earlier, state.possible) = (None, None);
        let list = self.ends.entry(close).or_default();
        join(self.logic, self.ground, list, state, Rule { live, counters: Live::default(), forced: true });
    }
}

/// Adds a state to those of its place.
fn join(logic: &mut Logic, ground: &Ground, list: &mut Vec<State>, state: State, rule: Rule) {
    let many = list.len() >= MANY;
    for forced in [rule.forced, true] {
        for known in list.iter_mut() {
            if let Some(both) = merge(logic, ground, known, &state, Rule { forced, ..rule }) {
                *known = both;
                return;
            }
        }
        if !many {
            break;
        }
    }
    list.push(state);
}

fn scene<'a>(
    logic: &'a mut Logic,
    ground: &'a Ground<'a>,
    held: &'a mut Held,
    guard: Term,
    facts: &Facts,
    script: &'a mut Script,
    looked: &'a mut BTreeSet<u32>,
) -> Scene<'a> {
    let facts = facts.clone();
    Scene {
        logic,
        ground,
        held,
        guard,
        facts,
        script,
        taken: Vec::new(),
        undo: Vec::new(),
        troubles: Vec::new(),
        events: Vec::new(),
        looked,
        at: 0,
    }
}

/// Overlays at power-on, the caller's push, and the prefetch queue. The end if not even that goes well.
fn prepare(scene: &mut Scene, core: &mut Core<Term>) -> Result<Option<Close>, Cut> {
    scene.show_overlays()?;
    scene.troubles.clear();
    let rig = scene.ground.rig();
    if let Entry::At(_) = rig.routine.entry {
        let stack = rig.routine.stack.wrapping_sub(4) & BUS_MASK;
        for (offset, half) in [(0, RETURN_ADDRESS >> 16), (2, RETURN_ADDRESS & 0xFFFF)] {
            let word = scene.logic.terms.number(16, u64::from(half));
            scene.write_at(stack.wrapping_add(offset), word, crate::board::PortSize::Word)?;
        }
        return match core.refill(scene)? {
            Step::Ran => Ok(None),
            Step::Raised(raised) => scene.enter_all(core, raised),
        };
    }
    match core.reset(scene)? {
        Step::Ran => Ok(None),
        Step::Raised(raised) => Ok(Some(Close::Halted(raised.exception, scene.at))),
    }
}

/// The guard of a way, and what its decisions say of flags.
fn settle(logic: &mut Logic, way: &mut State, taken: &[Term]) {
    if taken.is_empty() {
        return;
    }
    let taken_all = all(&mut logic.terms, taken.iter().copied());
    way.guard = logic.terms.and(way.guard, taken_all);
    let core = &mut way.core;
    for flag in [&mut core.extend, &mut core.negative, &mut core.zero, &mut core.overflow, &mut core.carry] {
        for fact in taken {
            if *flag == *fact {
                *flag = logic.terms.bit(true);
            } else if *flag == logic.terms.not(*fact) {
                *flag = logic.terms.bit(false);
            }
        }
    }
}

/// RAM as it was before these bytes were written.
fn taken_back(ram: &Rc<super::state::Ram>, undo: &[(u32, Option<super::state::Byte>)]) -> Rc<super::state::Ram> {
    let mut ram = Rc::clone(ram);
    if !undo.is_empty() {
        let map = Rc::make_mut(&mut ram);
        for (address, before) in undo.iter().rev() {
            match before {
                Some(byte) => map.insert(*address, *byte),
                None => map.remove(address),
            };
        }
    }
    ram
}
