//! A second processor beside the first: the crate `m68k`, with a board of its own, runs the demo's `detect` on every
//! cartridge of the demo suite. After each instruction all registers, the status register and the cycles agree, and so
//! does everything that the instruction did on the bus: fetches into the prefetch queue, operands read and written,
//! addresses and values, in order. Each processor keeps its own queue, so what a floating bus shows is computed twice.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use keyway::board::{Access, Bus, Change, Cycle, Inputs, Observer, OpenBus, Schedule};
use keyway::cartridge::{AddressFault, Attached, DataFault, Fill, Flaw, Image};
use keyway::rom::HostRom;
use keyway::run::{End, Machine};
use keyway::suite::{Case, Harness, Suite};
use m68k::{CpuCore, CpuType, StepResult};
use m68000::Registers;

use super::other_board::{BusCycle, OtherBoard};
use super::support::Dice;

/// What the first processor did at one instruction.
#[derive(Clone, Debug)]
struct Moment {
    at: u32,
    before: Registers,
    /// Cycles before it.
    now: u64,
    cycles: Vec<BusCycle>,
}

#[derive(Default)]
struct Recorder(Vec<Moment>);

impl Recorder {
    fn note(&mut self, access: &Access) {
        let Access { address, value, .. } = *access;
        let cycle = BusCycle { write: access.cycle == Cycle::Write, address, bytes: access.size.bytes(), value };
        self.0.last_mut().expect("an instruction").cycles.push(cycle);
    }
}

impl Observer for Recorder {
    const WATCHES_PASSING: bool = true;

    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        self.0.push(Moment { at, before: *registers, now: bus.now, cycles: Vec::new() });
    }

    fn passing(&mut self, access: &Access) {
        self.note(access);
    }

    fn read(&mut self, access: &Access) {
        self.note(access);
    }

    fn write(&mut self, access: &Access) {
        self.note(access);
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// Whether a case file is for the harness of `detect`; the other routines of the demo have boards that differ.
fn is_about_detect(path: &Path) -> bool {
    let text = std::fs::read_to_string(path).expect("a case file");
    text.lines().any(|line| line == "harness: ../harness/aria.yaml")
}

fn cases() -> Vec<Case> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(root().join("cases"))
        .expect("the demo suite")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "yaml"))
        .filter(|path| is_about_detect(path))
        .collect();
    files.sort();
    let suites = files.iter().map(|file| Suite::load(file).unwrap_or_else(|complaint| panic!("{complaint:?}")));
    let all = suites.flat_map(|suite| suite.cases().collect::<Vec<_>>());
    all.map(|case| case.unwrap_or_else(|complaint| panic!("{complaint:?}"))).collect()
}

/// Two boards have two sources of noise, so what flickers or is noise cannot be equal on them.
fn random(inputs: &Inputs) -> bool {
    let contacts = &inputs.attached.contacts;
    inputs.empty == OpenBus::Noise
        || contacts.data.iter().any(|fault| fault.is == Flaw::Flickering)
        || contacts.address.iter().any(|fault| fault.is == Flaw::Flickering)
}

/// Everything that a program can see of the second processor.
fn state(cpu: &CpuCore) -> ([u32; 16], u16, u32, u32) {
    let registers = std::array::from_fn(|index| if index < 8 { cpu.d(index) } else { cpu.a(index - 8) });
    (registers, cpu.get_sr(), cpu.get_usp(), cpu.pc)
}

/// The same of the first one.
fn seen(registers: &Registers) -> ([u32; 16], u16, u32, u32) {
    let all = std::array::from_fn(|index| match index {
        0..8 => registers.d[index].0,
        _ => registers.a(index as u8 - 8),
    });
    (all, registers.sr.into(), registers.usp.0, registers.pc.0)
}

/// The second processor in the state of the first one before its first instruction.
fn second(start: &Registers) -> CpuCore {
    let mut cpu = CpuCore::new();
    cpu.set_cpu_type(CpuType::M68000);
    cpu.set_sr(start.sr.into());
    for index in 0..8 {
        cpu.set_d(index, start.d[index].0);
        cpu.set_a(index, start.a(index as u8));
    }
    cpu.set_usp(start.usp.0);
    cpu.pc = start.pc.0;
    cpu
}

/// How often each opcode differs in cycles, and by how much.
type Differences = BTreeMap<(u16, i64), usize>;

/// The one thing in which the processors differ on the bus: the word that DBcc reads and drops when its count expires.
///
/// It reads three words then (MC68000UM table 8-9, from memory: 14 cycles, 3 reads), of which two fill the queue. The
/// second processor reads the first of these twice. The first one reads the word at the target: the chip works out the
/// branch while it counts, and a count known in time would need no third read. No published vector shows which it is.
fn with_target_read(cycles: &[BusCycle], moment: &Moment, opcode: u16, after: u32, host: &HostRom) -> Vec<BusCycle> {
    let mut cycles = cycles.to_vec();
    let before = moment.before.d[usize::from(opcode & 7)].0;
    if opcode & 0xF0F8 == 0x50C8 && before & 0xFFFF == 0 && after & 0xFFFF == 0xFFFF {
        assert_eq!((cycles.len(), cycles[0]), (3, cycles[1]), "the second processor has changed its ways");
        let displacement = host.word(moment.at + 2).expect("host code") as i16;
        cycles[0].address = (moment.at + 2).wrapping_add_signed(displacement.into());
        cycles[0].value = host.word(cycles[0].address).expect("host code");
    }
    cycles
}

/// The second processor on its board, after what is the harness's doing: the caller's push and its jump.
fn other_machine(harness: &Harness, case: &Case, start: &Registers, bus: &Bus) -> (CpuCore, OtherBoard) {
    let map = &harness.rig.map;
    let mut board = OtherBoard::new(map.host().bytes(), &map.overlays()[0].bytes, &case.setup.inputs);
    for offset in [0, 2] {
        let at = harness.rig.routine.stack - 4 + offset;
        m68k::AddressBus::write_word(&mut board, at, bus.peek_word(at));
    }
    let mut cpu = second(start);
    cpu.full_prefetch(&mut board);
    board.start();
    (cpu, board)
}

/// Runs one case on both; returns how many instructions were compared.
fn compare(harness: &Harness, case: &Case, differences: &mut Differences) -> usize {
    let host = harness.rig.map.host();
    let mut machine = Machine::watched(harness.rig.clone(), Recorder::default());
    let outcome = machine.run(&case.setup, &case.fills[0]).clone();
    assert!(matches!(outcome.end, End::Branch(_)), "{}: {:?}", case.name, outcome.end);
    let moments = std::mem::take(&mut machine.observer().0);

    let (mut cpu, mut board) = other_machine(harness, case, &moments[0].before, machine.bus());
    let ends = moments.iter().skip(1).map(|moment| (seen(&moment.before), moment.now));
    let ends = ends.chain([(seen(&outcome.registers), outcome.cycles)]);
    for (index, (moment, (after, now))) in moments.iter().zip(ends).enumerate() {
        let place = format!("{}: instruction {index} at {:06X}", case.name, moment.at);
        let opcode = host.word(moment.at).expect("host code");
        board.begin();
        let StepResult::Ok { cycles } = cpu.step(&mut board) else { panic!("{place}: trapped") };
        assert_eq!(state(&cpu), after, "{place}: registers");
        let counter = after.0[usize::from(opcode & 7)];
        let seen = with_target_read(&board.cycles, moment, opcode, counter, host);
        assert_eq!(seen, moment.cycles, "{place}: bus cycles");
        let difference = (now - moment.now) as i64 - i64::from(cycles);
        if difference != 0 {
            *differences.entry((opcode, difference)).or_default() += 1;
        }
    }
    assert_eq!(moments.len() as u64, outcome.instructions);
    let latches: Vec<u16> = moments
        .iter()
        .flat_map(|moment| &moment.cycles)
        .filter(|cycle| cycle.write && cycle.address == 0xB0_0001)
        .map(|cycle| cycle.value)
        .collect();
    assert_eq!(latches, outcome.writes.iter().map(|write| write.value).collect::<Vec<_>>(), "{}", case.name);
    moments.len()
}

#[test]
fn two_processors_agree_on_every_cartridge_of_the_demo() {
    let harness = Harness::load(root().join("harness/aria.yaml")).unwrap_or_else(|complaint| panic!("{complaint:?}"));
    let all = cases();
    let (skipped, compared): (Vec<&Case>, Vec<&Case>) = all.iter().partition(|case| random(&case.setup.inputs));
    let mut differences = Differences::new();
    let mut instructions = 0;
    for case in &compared {
        instructions += compare(&harness, case, &mut differences);
    }
    println!(
        "{} cases and {instructions} instructions agree; {} cases skipped for noise or flickering lines",
        compared.len(),
        skipped.len()
    );
    assert_eq!(differences, Differences::new(), "opcodes whose cycles differ");
    assert_eq!(skipped.len(), 5, "{:?}", skipped.iter().map(|case| &case.name).collect::<Vec<_>>());
    assert!(compared.len() >= 169 && instructions > 150_000, "{} cases", compared.len());
}

/// An image with a header that is right or nearly so.
fn random_image(dice: &mut Dice, size: u32, seed: u64) -> Image {
    let mut image = Image::new(size, Fill::Noise(seed));
    let products: [&[u8]; 6] = [b"AW-3200-00", b"AW-2100-0B", b"AW-2100-02", b"AW-9", b"XY-1000-00", b"AW-2100-0C"];
    let at = if size > 0x20_0000 && dice.below(2) == 0 { 0x20_0000 } else { 0 };
    let mut header = b"PARLOR16 SYSTEM ".to_vec();
    header.resize(0x80, 0);
    header.extend(dice.pick(&products));
    header.resize(0x8E, b' ');
    if dice.below(4) == 0 {
        let place = dice.pick(&[0usize, 7, 15, 0x80, 0x83, 0x89, 0x8A, 0x8D]);
        header[place] = dice.word() as u8;
    }
    image.put(at + 0x100, header);
    image
}

/// The same on cartridges that no case names: headers that are nearly right, images of any size, bad contacts.
#[test]
fn two_processors_agree_on_random_cartridges() {
    let harness = Harness::load(root().join("harness/aria.yaml")).unwrap_or_else(|complaint| panic!("{complaint:?}"));
    let mut dice = Dice::new(31);
    let mut differences = Differences::new();
    let mut branches = BTreeMap::<usize, usize>::new();
    for round in 0..120u64 {
        let bits = 9 + dice.below(14);
        let size = (1 << bits) + dice.below(3) * dice.below(0x1000);
        let mut attached = Attached::image(random_image(&mut dice, size, round));
        if dice.below(4) == 0 {
            let is = dice.pick(&[Flaw::High, Flaw::Low, Flaw::Open]);
            attached.contacts.data.push(DataFault { line: dice.below(16) as u8, is });
        }
        if dice.below(6) == 0 {
            let line = 1 + dice.below(23) as u8;
            attached.contacts.address.push(AddressFault { line, is: dice.pick(&[Flaw::High, Flaw::Low]) });
        }
        let mut case = harness.case(&format!("random cartridge {round}"), attached);
        case.setup.inputs.empty = dice.pick(&[OpenBus::Ones, OpenBus::Zeros, OpenBus::Floating]);
        let pressed = Schedule::Changes { first: 0, then: 1, after: Change::Cycles(dice.below(60_000).into()) };
        let pedals = [None, Some(Schedule::Constant(1)), Some(Schedule::Constant(0)), Some(pressed)];
        case.setup.inputs.ports[1] = pedals[dice.below(4) as usize].clone();
        compare(&harness, &case, &mut differences);
        let mut machine = Machine::new(harness.rig.clone());
        if let Some(branch) = machine.run(&case.setup, &case.fills[0]).branch() {
            *branches.entry(branch).or_default() += 1;
        }
    }
    assert_eq!(differences, Differences::new(), "opcodes whose cycles differ");
    assert_eq!(branches.len(), harness.rig.branches.len(), "branches taken: {branches:?}");
}
