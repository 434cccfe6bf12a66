//! The file format of the vectors: [`read`] turns a file into [`Vector`]s. Everything that the data's description
//! promises is checked here, so that a file that breaks a promise is a message and not a puzzling comparison.

use keyway::cpu::FunctionCode;

pub const FILE: u32 = 0x1A3F_5D71;
pub const VECTOR: u32 = 0xABC1_2367;
pub const NAME: u32 = 0x89AB_CDEF;
pub const STATE: u32 = 0x0123_4567;
pub const ENTRIES: u32 = 0x4567_89AB;

/// The values of a [`State`], in the order of the file.
pub const NAMES: [&str; 19] = [
    "D0", "D1", "D2", "D3", "D4", "D5", "D6", "D7", "A0", "A1", "A2", "A3", "A4", "A5", "A6", "USP", "SSP", "SR", "PC",
];
pub const USP: usize = 15;
pub const SSP: usize = 16;
pub const SR: usize = 17;
pub const PC: usize = 18;

/// A state, an instruction, and the state after it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Vector {
    pub name: String,
    pub before: State,
    pub after: State,
    pub cycles: u32,
    pub entries: Vec<Entry>,
}

/// Registers, queue, and the RAM that matters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct State {
    pub values: [u32; 19],
    pub queue: [u16; 2],
    pub ram: Vec<(u32, u16)>,
}

/// What happens on the pins for some clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry {
    Idle(u32),
    /// A bus cycle of four clocks.
    Access(Access),
    /// Four clocks that would have been this cycle, but its address was odd.
    Fault(Access),
}

/// One bus cycle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Access {
    pub write: bool,
    pub code: FunctionCode,
    /// Even; 24 bits.
    pub address: u32,
    /// The lane that is not strobed is 0 here.
    pub data: u16,
    pub lanes: Lanes,
}

/// The data strobes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lanes {
    Both,
    /// UDS: bits 15 to 8, the even address.
    Upper,
    /// LDS: bits 7 to 0, the odd address.
    Lower,
}

impl Lanes {
    pub fn mask(self) -> u16 {
        match self {
            Lanes::Both => 0xFFFF,
            Lanes::Upper => 0xFF00,
            Lanes::Lower => 0x00FF,
        }
    }
}

/// Reads a file of vectors.
///
/// # Errors
/// A sentence with the byte offset if the file is not what the format says.
pub fn read(bytes: &[u8]) -> Result<Vec<Vector>, String> {
    let mut reader = Reader { bytes, at: 0, base: 0 };
    reader.magic(FILE, "file")?;
    let count = reader.long("number of vectors")?;
    if count == 0 {
        return Err("the file holds no vector".to_owned());
    }
    let mut vectors = Vec::new();
    for index in 0..count {
        vectors.push(vector(&mut reader).map_err(|what| format!("vector {index} of {count}: {what}"))?);
    }
    reader.end("file")?;
    Ok(vectors)
}

fn vector(file: &mut Reader) -> Result<Vector, String> {
    let mut block = file.block(VECTOR, "vector")?;
    let name = name(&mut block)?;
    let before = state(&mut block, "state before").map_err(|what| format!("{name}: {what}"))?;
    let after = state(&mut block, "state after").map_err(|what| format!("{name}: {what}"))?;
    let (cycles, entries) = entries(&mut block).map_err(|what| format!("{name}: {what}"))?;
    block.end("vector")?;
    if (before.values[PC] | before.values[USP] | before.values[SSP]) & 0xFF00_0001 != 0 {
        return Err(format!("{name}: PC, USP or SSP before is odd or beyond 24 bits"));
    }
    Ok(Vector { name, before, after, cycles, entries })
}

fn name(vector: &mut Reader) -> Result<String, String> {
    let mut block = vector.block(NAME, "name")?;
    let length = block.long("length of the name")? as usize;
    let text = block.take(length, "name")?.to_vec();
    block.end("name")?;
    String::from_utf8(text).map_err(|_| "the name is not UTF-8".to_owned())
}

fn state(vector: &mut Reader, what: &str) -> Result<State, String> {
    let mut block = vector.block(STATE, what)?;
    let mut values = [0; 19];
    for (value, name) in values.iter_mut().zip(NAMES) {
        *value = block.long(name)?;
    }
    let queue = [block.narrow("queue")?, block.narrow("queue")?];
    let mut ram = Vec::new();
    for _ in 0..block.long("number of RAM words")? {
        let address = block.address("RAM address")?;
        let word = u16::from_le_bytes(block.array("RAM word")?);
        if ram.iter().any(|&(other, _)| other == address) {
            return Err(format!("{what}: RAM word {address:#08X} is there twice"));
        }
        ram.push((address, word));
    }
    block.end(what)?;
    Ok(State { values, queue, ram })
}

fn entries(vector: &mut Reader) -> Result<(u32, Vec<Entry>), String> {
    let mut block = vector.block(ENTRIES, "transactions")?;
    let cycles = block.long("cycles")?;
    let count = block.long("number of transactions")?;
    let mut entries = Vec::new();
    let mut sum = 0u64;
    for _ in 0..count {
        let [kind] = block.array("kind")?;
        let clocks = block.long("clocks of a transaction")?;
        sum += u64::from(clocks);
        entries.push(match kind {
            0 => Entry::Idle(clocks),
            1 | 2 | 4 | 5 if clocks != 4 => return Err(block.wrong(&format!("a bus cycle of {clocks} clocks"))),
            1 | 2 => Entry::Access(access(&mut block, kind == 1)?),
            4 | 5 => Entry::Fault(access(&mut block, kind == 5)?),
            _ => return Err(block.wrong(&format!("kind {kind}, which no reader knows"))),
        });
    }
    block.end("transactions")?;
    if sum != u64::from(cycles) {
        return Err(format!("the transactions take {sum} clocks, the total says {cycles}"));
    }
    Ok((cycles, entries))
}

fn access(block: &mut Reader, write: bool) -> Result<Access, String> {
    let code = match block.long("function code")? {
        1 => FunctionCode::UserData,
        2 => FunctionCode::UserProgram,
        5 => FunctionCode::SupervisorData,
        6 => FunctionCode::SupervisorProgram,
        other => return Err(block.wrong(&format!("function code {other}"))),
    };
    let address = block.address("address")?;
    let data = block.narrow("data")?;
    let lanes = match (block.long("UDS")?, block.long("LDS")?) {
        (1, 1) => Lanes::Both,
        (1, 0) => Lanes::Upper,
        (0, 1) => Lanes::Lower,
        (upper, lower) => return Err(block.wrong(&format!("strobes UDS {upper}, LDS {lower}"))),
    };
    // Not promised, but so it is in all vectors, reads and writes: the other lane shows 0.
    if data & !lanes.mask() != 0 {
        return Err(block.wrong(&format!("data {data:#06X} on a lane without a strobe")));
    }
    Ok(Access { write, code, address, data, lanes })
}

/// A part of a file, and how far it is read.
struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
    /// Where the part begins in the file.
    base: usize,
}

impl<'a> Reader<'a> {
    fn wrong(&self, what: &str) -> String {
        format!("{what} (before byte {})", self.base + self.at)
    }

    fn take(&mut self, length: usize, what: &str) -> Result<&'a [u8], String> {
        let rest = &self.bytes[self.at..];
        let Some(taken) = rest.get(..length) else {
            let place = self.base + self.at;
            return Err(format!("{what} at byte {place} needs {length} bytes, {} are left", rest.len()));
        };
        self.at += length;
        Ok(taken)
    }

    fn array<const N: usize>(&mut self, what: &str) -> Result<[u8; N], String> {
        let mut array = [0; N];
        array.copy_from_slice(self.take(N, what)?);
        Ok(array)
    }

    fn long(&mut self, what: &str) -> Result<u32, String> {
        self.array(what).map(u32::from_le_bytes)
    }

    /// A word that the file keeps in a long.
    fn narrow(&mut self, what: &str) -> Result<u16, String> {
        let long = self.long(what)?;
        u16::try_from(long).map_err(|_| self.wrong(&format!("{what} {long:#X} is no word")))
    }

    fn address(&mut self, what: &str) -> Result<u32, String> {
        let address = self.long(what)?;
        if address & 0xFF00_0001 != 0 {
            return Err(self.wrong(&format!("{what} {address:#X} is odd or beyond 24 bits")));
        }
        Ok(address)
    }

    fn magic(&mut self, expected: u32, what: &str) -> Result<(), String> {
        match self.long(what)? {
            magic if magic == expected => Ok(()),
            magic => Err(self.wrong(&format!("no {what} begins with {magic:#010X}, but with {expected:#010X}"))),
        }
    }

    /// A block of its own: size (of all of it), magic, content.
    fn block(&mut self, magic: u32, what: &str) -> Result<Reader<'a>, String> {
        let base = self.base + self.at;
        let size = self.long(what)? as usize;
        let Some(rest) = size.checked_sub(4) else {
            return Err(self.wrong(&format!("{what} of {size} bytes, less than its own size field")));
        };
        let bytes = self.take(rest, what)?;
        let mut block = Reader { bytes, at: 0, base: base + 4 };
        block.magic(magic, what)?;
        Ok(block)
    }

    fn end(&self, what: &str) -> Result<(), String> {
        match self.bytes.len() - self.at {
            0 => Ok(()),
            left => Err(self.wrong(&format!("{left} bytes are left at the end of the {what}"))),
        }
    }
}
