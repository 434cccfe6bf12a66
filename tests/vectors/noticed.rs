//! Whether the comparison would notice: each expected value of a vector is spoilt, one at a time, and the comparison
//! has to name the difference. A comparison that forgets a field passes every processor.

use keyway::cpu::{Exception, FunctionCode, Raised};

use super::compare::{Kind, compare};
use super::find::{find, stem};
use super::format::{Access, Entry, Lanes, NAMES, PC, SR, Vector, read};
use super::made;
use super::meaning::Category;
use super::run::{Runner, Runs, Seen};

/// A spoilt vector, what was done to it, and what the comparison must say.
struct Spoilt {
    what: String,
    kind: Kind,
    vector: Vector,
}

#[test]
fn made_vectors_pass_and_every_change_of_them_is_noticed() {
    let mut runner = Runner::default();
    let mut categories: Vec<Category> = Vec::new();
    for vector in made::vectors() {
        notices("made", &vector, &runner.run(&vector));
        categories.push(vector.category());
    }
    assert!(Category::ALL.iter().all(|category| categories.contains(category)));
}

/// The first vector of each category in each file.
#[test]
fn every_change_of_published_vectors_is_noticed() {
    let Some(found) = find() else { return };
    let mut runner = Runner::default();
    let mut changes = 0;
    for path in &found.files {
        let vectors = read(&std::fs::read(path).unwrap()).unwrap();
        for category in Category::ALL {
            if let Some(vector) = vectors.iter().find(|vector| vector.category() == category) {
                changes += notices(&stem(path), vector, &runner.run(vector));
            }
        }
    }
    assert!(changes > 0);
}

/// What no field of a vector states on its own: here the processor's side is spoilt.
#[test]
fn every_change_of_what_is_seen_is_noticed() {
    type Change = fn(&mut Seen);
    let changes: [(&str, Kind, Change); 8] = [
        ("stopped", Kind::Outcome, |seen| seen.stopped = !seen.stopped),
        ("double fault", Kind::Outcome, |seen| seen.double_fault = true),
        ("trace after an exception", Kind::Outcome, |seen| seen.trace_due = true),
        ("reset line", Kind::Outcome, |seen| seen.bench.resets += 1),
        ("exception", Kind::Outcome, |seen| seen.raised = if seen.raised.is_some() { None } else { bus_error() }),
        ("another exception", Kind::Outcome, |seen| seen.raised = bus_error()),
        ("a clock", Kind::Cycles, |seen| seen.bench.clock += 1),
        ("a write of what is there", Kind::ExtraWrite, |seen| {
            seen.bench.words.insert(0x10_0000, 0);
            seen.bench.written.insert(0x10_0000);
        }),
    ];
    let mut runner = Runner::default();
    for vector in made::vectors() {
        for (what, kind, change) in changes {
            // Whether a traced STOP counts as stopped is open, see `compare`.
            if what == "stopped" && vector.traced() {
                continue;
            }
            let mut seen = runner.run(&vector);
            change(&mut seen);
            let found = compare("made", &vector, &seen);
            assert!(found.iter().any(|mismatch| mismatch.kind == kind), "{}: {what}: {found:?}", vector.name);
        }
    }
}

fn bus_error() -> Option<Raised> {
    Some(Raised { exception: Exception::BusError, pc: 0, fault: None })
}

/// Spoils a vector in every way and compares. Returns the number of ways.
fn notices(file: &str, vector: &Vector, seen: &Seen) -> usize {
    let name = &vector.name;
    let good = compare(file, vector, seen);
    assert!(good.is_empty(), "{file}: {name} fails as it is, so nothing can be said about changes: {good:#?}");
    let ways: [fn(&Vector) -> Vec<Spoilt>; 6] = [values, ram, accesses, order, idle, fault];
    let spoilt: Vec<Spoilt> = ways.iter().flat_map(|way| way(vector)).collect();
    assert!(spoilt.len() > 40, "{file}: {name} has only {} changes", spoilt.len());
    for Spoilt { what, kind, vector } in &spoilt {
        let found = compare(file, vector, seen);
        assert!(
            found.iter().any(|mismatch| mismatch.kind == *kind),
            "{file}: {name}: {what} is not noticed: {found:?}"
        );
    }
    spoilt.len()
}

fn spoil(vector: &Vector, kind: Kind, what: impl Into<String>, change: impl FnOnce(&mut Vector)) -> Spoilt {
    let mut spoilt = vector.clone();
    change(&mut spoilt);
    let what = what.into();
    assert!(spoilt != *vector, "{what} changes nothing");
    Spoilt { what, kind, vector: spoilt }
}

/// Registers, status bits, PC, queue, the clocks in total, and what the state before says about the outcome.
fn values(vector: &Vector) -> Vec<Spoilt> {
    let mut list = Vec::new();
    for (number, name) in NAMES.iter().enumerate().take(SR) {
        for bit in [0, 15, 31] {
            let what = format!("bit {bit} of {name}");
            list.push(spoil(vector, Kind::Registers, what, |vector| vector.after.values[number] ^= 1 << bit));
        }
    }
    for bit in [0, 1, 2, 3, 4, 8, 9, 10, 13, 15] {
        let what = format!("bit {bit} of SR");
        list.push(spoil(vector, Kind::Status, what, |vector| vector.after.values[SR] ^= 1 << bit));
    }
    // The exception of a vector is recognised by its final PC, so bits of PC may change the outcome as well.
    for bit in [1, 23, 31] {
        list.push(spoil(vector, Kind::Pc, format!("bit {bit} of PC"), |vector| vector.after.values[PC] ^= 1 << bit));
    }
    for word in 0..2 {
        let what = format!("word {word} of the queue");
        list.push(spoil(vector, Kind::Queue, what, |vector| vector.after.queue[word] ^= 0x0100));
    }
    list.push(spoil(vector, Kind::Cycles, "two clocks more", |vector| vector.cycles += 2));
    if vector.exception().is_none() {
        list.push(spoil(vector, Kind::Outcome, "T before", |vector| vector.before.values[SR] ^= 0x8000));
        let other = if vector.resets() { 0x4E71 } else { 0x4E70 };
        list.push(spoil(vector, Kind::Outcome, "RESET or not", |vector| vector.before.queue[0] = other));
    }
    list
}

/// Each word of the final RAM: another value, and none at all if it was written.
fn ram(vector: &Vector) -> Vec<Spoilt> {
    let mut list = Vec::new();
    for index in 0..vector.after.ram.len() {
        let address = vector.after.ram[index].0;
        for bit in [0, 8] {
            let what = format!("bit {bit} of the word at {address:06X}");
            list.push(spoil(vector, Kind::Ram, what, |vector| vector.after.ram[index].1 ^= 1 << bit));
        }
        if vector.timeline().any(|timed| timed.access.write && timed.access.address == address) {
            let what = format!("the word at {address:06X} is not listed");
            list.push(spoil(vector, Kind::ExtraWrite, what, |vector| _ = vector.after.ram.remove(index)));
        }
    }
    let listed = |address: u32| vector.after.ram.iter().any(|(other, _)| *other == address);
    let free = (0x10_0000..).step_by(2).find(|address| !listed(*address)).unwrap();
    list.push(spoil(vector, Kind::Ram, "a word that nothing writes", |vector| vector.after.ram.push((free, 0))));
    list
}

/// The entries that reach memory, by index.
fn indices(vector: &Vector) -> Vec<usize> {
    (0..vector.entries.len()).filter(|index| matches!(vector.entries[*index], Entry::Access(_))).collect()
}

/// Each field of each bus cycle.
fn accesses(vector: &Vector) -> Vec<Spoilt> {
    let mut list = Vec::new();
    type Change = fn(&mut Access);
    let changes: [(&str, Change); 7] = [
        ("the address", |access| access.address ^= 2),
        ("the high address", |access| access.address ^= 0x80_0000),
        ("a bit of data", |access| access.data ^= access.lanes.mask() & 0x0101),
        ("another bit of data", |access| access.data ^= access.lanes.mask() & 0x8080),
        ("user or supervisor", |access| access.code = other_code(access.code as u8 ^ 4)),
        ("program or data", |access| access.code = other_code(access.code as u8 ^ 3)),
        ("the direction", |access| access.write = !access.write),
    ];
    for index in indices(vector) {
        let mut add = |what: &str, change: Change| {
            let what = format!("{what} of transaction {index}");
            list.push(spoil(vector, Kind::Bus, what, |vector| match &mut vector.entries[index] {
                Entry::Access(access) | Entry::Fault(access) => change(access),
                Entry::Idle(_) => {}
            }));
        };
        for (what, change) in changes {
            add(what, change);
        }
        add("the strobes", |access| {
            access.lanes = match access.lanes {
                Lanes::Both | Lanes::Lower => Lanes::Upper,
                Lanes::Upper => Lanes::Lower,
            }
        });
    }
    list
}

fn other_code(code: u8) -> FunctionCode {
    use FunctionCode as Code;
    [Code::UserData, Code::UserProgram, Code::SupervisorData, Code::SupervisorProgram]
        .into_iter()
        .find(|other| *other as u8 == code)
        .unwrap()
}

/// Bus cycles that change places, are missing, or come twice.
fn order(vector: &Vector) -> Vec<Spoilt> {
    let mut list = Vec::new();
    let indices = indices(vector);
    for pair in indices.windows(2) {
        if vector.entries[pair[0]] != vector.entries[pair[1]] {
            let what = format!("transactions {pair:?} in the other order");
            list.push(spoil(vector, Kind::Bus, what, |vector| vector.entries.swap(pair[0], pair[1])));
        }
    }
    for index in indices {
        let what = format!("transaction {index} missing");
        list.push(spoil(vector, Kind::Bus, what, |vector| _ = vector.entries.remove(index)));
        let what = format!("transaction {index} twice");
        list.push(spoil(vector, Kind::Bus, what, |vector| vector.entries.insert(index, vector.entries[index])));
    }
    list
}

/// Idle clocks that lie on the other side of a bus cycle, or are not there at all before one.
fn idle(vector: &Vector) -> Vec<Spoilt> {
    let mut list = Vec::new();
    let indices = indices(vector);
    for &index in &indices {
        let what = format!("two idle clocks more before transaction {index}");
        list.push(spoil(vector, Kind::Idle, what, |vector| vector.entries.insert(index, Entry::Idle(2))));
    }
    for index in 0..vector.entries.len() {
        let Entry::Idle(_) = vector.entries[index] else { continue };
        // Before a fault, which is idle too, the place cannot be seen.
        if let Some(Entry::Access(_)) = vector.entries.get(index + 1) {
            let what = format!("idle entry {index} one transaction later");
            list.push(spoil(vector, Kind::Idle, what, |vector| vector.entries.swap(index, index + 1)));
        }
    }
    list
}

/// The access that is an address error, the frame, and an address error where there is none.
fn fault(vector: &Vector) -> Vec<Spoilt> {
    let mut list = Vec::new();
    let Some(index) = vector.entries.iter().position(|entry| matches!(entry, Entry::Fault(_))) else {
        let access = Access { write: false, code: other_code(1), address: 0, data: 0, lanes: Lanes::Both };
        list.push(spoil(vector, Kind::Fault, "a fault", |vector| vector.entries.push(Entry::Fault(access))));
        return list;
    };
    let mut add = |what: &str, change: fn(&mut Access)| {
        list.push(spoil(vector, Kind::Fault, format!("{what} of the fault"), |vector| {
            if let Entry::Fault(access) = &mut vector.entries[index] {
                change(access);
            }
        }));
    };
    add("the address", |access| access.address ^= 2);
    add("user or supervisor", |access| access.code = other_code(access.code as u8 ^ 4));
    add("program or data", |access| access.code = other_code(access.code as u8 ^ 3));
    add("the direction", |access| access.write = !access.write);
    list.push(spoil(vector, Kind::Fault, "no fault", |vector| vector.entries[index] = Entry::Idle(4)));
    // UM figure 6-7: status word, address, instruction register, (status register,) PC. The status register is RAM.
    let stack = vector.after.values[super::format::SSP] & 0xFF_FFFF;
    for offset in [0, 2, 4, 6, 10, 12] {
        let word = vector.after.ram.iter().position(|(address, _)| *address == stack + offset).unwrap();
        let what = format!("the frame's word {offset}");
        list.push(spoil(vector, Kind::Fault, what, |vector| vector.after.ram[word].1 ^= 1));
    }
    list
}
