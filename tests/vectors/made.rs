//! Vectors made by hand, so that reader and comparison are tested without the published ones, and the writer of the
//! format. Results and flags are from the Programmer's Reference Manual, clocks from the User's Manual (section 8; PRM
//! and UM from memory); the order of an exception's cycles and its share of idle clocks are those of the data's.

use keyway::cpu::FunctionCode;

use super::format::{Access, ENTRIES, Entry, FILE, Lanes, NAME, PC, SR, SSP, STATE, State, USP, VECTOR, Vector};

const CODE: u32 = 0x1000;
const USER_STACK: u32 = 0x3000;
const STACK: u32 = 0x2000;
/// What follows the instruction in memory. Never executed.
const NEXT: [u16; 3] = [0x4E71, 0x7001, 0x7202];

/// A state before `code` runs.
fn before(code: &[u16], status: u16, values: &[(usize, u32)], ram: &[(u32, u16)]) -> State {
    let mut state = State { values: [0; 19], queue: [0; 2], ram: Vec::new() };
    for number in 0..15 {
        state.values[number] = 0x1111_1110 * (number as u32 + 1);
    }
    state.values[USP] = USER_STACK;
    state.values[SSP] = STACK;
    state.values[SR] = u32::from(status);
    state.values[PC] = CODE + 4;
    for &(number, value) in values {
        state.values[number] = value;
    }
    let words: Vec<u16> = code.iter().chain(&NEXT).copied().collect();
    state.queue = [words[0], words[1]];
    state.ram = (CODE..).step_by(2).zip(words).chain(ram.iter().copied()).collect();
    state
}

/// The state after it: the changes, and the queue from `next` on.
fn after(before: &State, next: u32, changes: &[(usize, u32)], ram: &[(u32, u16)]) -> State {
    let mut state = before.clone();
    state.values[PC] = next + 4;
    for &(number, value) in changes {
        state.values[number] = value;
    }
    for &(address, word) in ram {
        match state.ram.iter_mut().find(|(other, _)| *other == address) {
            Some(entry) => entry.1 = word,
            None => state.ram.push((address, word)),
        }
    }
    let word = |address| state.ram.iter().find(|(other, _)| *other == address).map_or(0, |(_, word)| *word);
    state.queue = [word(next), word(next + 2)];
    state
}

fn cycle(write: bool, code: FunctionCode, address: u32, data: u16) -> Entry {
    Entry::Access(Access { write, code, address, data, lanes: Lanes::Both })
}

fn vector(name: &str, before: State, after: State, entries: Vec<Entry>) -> Vector {
    let clocks = |entry: &Entry| if let Entry::Idle(clocks) = entry { *clocks } else { 4 };
    let cycles = entries.iter().map(clocks).sum();
    Vector { name: name.to_owned(), before, after, cycles, entries }
}

/// One vector of each category, and a STOP.
pub fn vectors() -> Vec<Vector> {
    vec![byte_write(), traced_read(), trap(), address_error(), stop()]
}

/// `move.b d1,(a0)+`: 8(1/1), and MOVE leaves X alone.
fn byte_write() -> Vector {
    let before = before(&[0x10C1], 0x0013, &[(1, 0x1234_5680), (8, 0x4001)], &[(0x4000, 0xABCD)]);
    let after = after(&before, CODE + 2, &[(8, 0x4002), (SR, 0x0018)], &[(0x4000, 0xAB80)]);
    let data = Access { write: true, code: FunctionCode::UserData, address: 0x4000, data: 0x80, lanes: Lanes::Lower };
    let fetch = cycle(false, FunctionCode::UserProgram, CODE + 4, NEXT[1]);
    vector("move.b d1,(a0)+", before, after, vec![Entry::Access(data), fetch])
}

/// `move.w -(a0),d1` under T: 10(2/0), of which the decrement takes 2 before the read. The upper half of D1 stays.
fn traced_read() -> Vector {
    let before = before(&[0x3220], 0xA71F, &[(1, 0x1234_5678), (8, 0x4002)], &[(0x4000, 0)]);
    let after = after(&before, CODE + 2, &[(1, 0x1234_0000), (8, 0x4000), (SR, 0xA714)], &[]);
    let read = cycle(false, FunctionCode::SupervisorData, 0x4000, 0);
    let fetch = cycle(false, FunctionCode::SupervisorProgram, CODE + 4, NEXT[1]);
    vector("move.w -(a0),d1", before, after, vec![Entry::Idle(2), read, fetch])
}

/// `trap #8` in user mode: 34(4/3), vector 40, which is at 0xA0.
fn trap() -> Vector {
    let handler = [(0xA0, 0x0000), (0xA2, 0x5000), (0x5000, 0x4E73), (0x5002, 0x4E71)];
    let before = before(&[0x4E48], 0x0004, &[], &handler);
    let frame = [(STACK - 2, 0x1002), (STACK - 6, 0x0004), (STACK - 4, 0x0000)];
    let after = after(&before, 0x5000, &[(SSP, STACK - 6), (SR, 0x2004)], &frame);
    let mut entries = vec![Entry::Idle(4)];
    entries.extend(entry(&frame, &handler));
    vector("trap #8", before, after, entries)
}

/// `move.w (a0),d1` with A0 odd: the frame of UM figure 6-7, 58 clocks by the data's description. Its PC is the
/// opcode's address + 2, as in the vectors of this instruction.
fn address_error() -> Vector {
    let handler = [(0x0C, 0x0000), (0x0E, 0x6000), (0x6000, 0x4E71), (0x6002, 0x4E71)];
    let before = before(&[0x3210], 0x0000, &[(8, 0x8000_4001)], &handler);
    let frame = [
        (STACK - 2, 0x1002),
        (STACK - 6, 0x0000),
        (STACK - 4, 0x0000),
        (STACK - 8, 0x3210),
        (STACK - 10, 0x4001),
        // The opcode with its low five bits replaced: a read of user data.
        (STACK - 14, 0x3211),
        (STACK - 12, 0x8000),
    ];
    let after = after(&before, 0x6000, &[(SSP, STACK - 14), (SR, 0x2000)], &frame);
    let data = Access { write: false, code: FunctionCode::UserData, address: 0x4000, data: 0, lanes: Lanes::Both };
    let mut entries = vec![Entry::Fault(data), Entry::Idle(8)];
    entries.extend(entry(&frame, &handler));
    vector("move.w (a0),d1", before, after, entries)
}

/// `stop #$2700`: 4(0/0). The queue is not refilled, and PC does not advance.
fn stop() -> Vector {
    let before = before(&[0x4E72, 0x2700], 0x2000, &[], &[]);
    let mut after = after(&before, CODE, &[(SR, 0x2700)], &[]);
    after.queue = before.queue;
    vector("stop #$2700", before, after, vec![Entry::Idle(4)])
}

/// The cycles of an entry: the frame, the vector, the first two words of the handler with a pause between.
fn entry(frame: &[(u32, u16)], handler: &[(u32, u16); 4]) -> Vec<Entry> {
    let data = FunctionCode::SupervisorData;
    let mut entries: Vec<Entry> = frame.iter().map(|&(address, word)| cycle(true, data, address, word)).collect();
    for &(address, word) in &handler[..2] {
        entries.push(cycle(false, data, address, word));
    }
    for &(address, word) in &handler[2..] {
        entries.push(cycle(false, FunctionCode::SupervisorProgram, address, word));
    }
    entries.insert(entries.len() - 1, Entry::Idle(2));
    entries
}

/// Writes a file of vectors.
pub fn write(vectors: &[Vector]) -> Vec<u8> {
    let mut file = longs(&[FILE, vectors.len() as u32]);
    for vector in vectors {
        let mut name = longs(&[vector.name.len() as u32]);
        name.extend(vector.name.as_bytes());
        let parts = [
            block(NAME, &name),
            block(STATE, &state(&vector.before)),
            block(STATE, &state(&vector.after)),
            block(ENTRIES, &entries(vector)),
        ];
        file.extend(block(VECTOR, &parts.concat()));
    }
    file
}

fn state(state: &State) -> Vec<u8> {
    let mut bytes = longs(&state.values);
    bytes.extend(longs(&state.queue.map(u32::from)));
    bytes.extend(longs(&[state.ram.len() as u32]));
    for (address, word) in &state.ram {
        bytes.extend(address.to_le_bytes());
        bytes.extend(word.to_le_bytes());
    }
    bytes
}

fn entries(vector: &Vector) -> Vec<u8> {
    let mut bytes = longs(&[vector.cycles, vector.entries.len() as u32]);
    for entry in &vector.entries {
        let (kind, access) = match entry {
            Entry::Idle(clocks) => {
                bytes.push(0);
                bytes.extend(clocks.to_le_bytes());
                continue;
            }
            Entry::Access(access) => (if access.write { 1 } else { 2 }, access),
            Entry::Fault(access) => (if access.write { 5 } else { 4 }, access),
        };
        bytes.push(kind);
        let strobes = [u32::from(access.lanes != Lanes::Lower), u32::from(access.lanes != Lanes::Upper)];
        let [upper, lower] = strobes;
        bytes.extend(longs(&[4, access.code as u32, access.address, u32::from(access.data), upper, lower]));
    }
    bytes
}

fn longs(values: &[u32]) -> Vec<u8> {
    values.iter().flat_map(|value| value.to_le_bytes()).collect()
}

fn block(magic: u32, content: &[u8]) -> Vec<u8> {
    let mut bytes = longs(&[content.len() as u32 + 8, magic]);
    bytes.extend(content);
    bytes
}
