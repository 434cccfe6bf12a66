//! ELF files made by hand, so that each field can be right or wrong on purpose.
//!
//! Layout and numbers are those of the System V gABI: `Elf32_Ehdr` (52 bytes), `Elf32_Phdr` (32),
//! `Elf32_Shdr` (40) and `Elf32_Sym` (16); EI_CLASS 1 is 32-bit, EI_DATA 2 is big-endian, machine 4
//! is EM_68K, type 2 is ET_EXEC.

pub const SHT_PROGBITS: u32 = 1;
pub const SHT_NOBITS: u32 = 8;
pub const SHF_ALLOC: u32 = 2;
pub const SHF_COMPRESSED: u32 = 0x800;
pub const SHN_ABS: u16 = 0xFFF1;

/// `st_info` is the binding (0 local, 1 global, 2 weak) times 16 plus the type.
pub const NOTYPE: u8 = 0;
pub const OBJECT: u8 = 1;
pub const FUNC: u8 = 2;
pub const SECTION: u8 = 3;
pub const FILE: u8 = 4;
pub const GLOBAL: u8 = 0x10;
pub const WEAK: u8 = 0x20;

pub struct Section {
    pub name: &'static str,
    pub kind: u32,
    pub flags: u32,
    pub address: u32,
    pub bytes: Vec<u8>,
}

pub struct Elf {
    pub class: u8,
    pub encoding: u8,
    pub kind: u16,
    pub machine: u16,
    /// `p_paddr` and content of each PT_LOAD segment; `p_vaddr` is far away, in RAM.
    pub segments: Vec<(u32, Vec<u8>)>,
    /// Counted from 1, as section 0 is the gABI's empty one.
    pub sections: Vec<Section>,
    /// Name, value, size, info, section.
    pub symbols: Vec<(&'static str, u32, u32, u8, u16)>,
}

impl Elf {
    /// A 68000 executable with one segment and no sections.
    pub fn executable(address: u32, code: &[u8]) -> Elf {
        let segments = vec![(address, code.to_vec())];
        Elf { class: 1, encoding: 2, kind: 2, machine: 4, segments, sections: vec![], symbols: vec![] }
    }

    /// Adds a section that occupies memory.
    pub fn allocated(mut self, name: &'static str, address: u32, size: usize) -> Elf {
        let bytes = vec![0; size];
        self.sections.push(Section { name, kind: SHT_PROGBITS, flags: SHF_ALLOC, address, bytes });
        self
    }

    /// Adds a section that does not.
    pub fn extra(mut self, name: &'static str, flags: u32, bytes: Vec<u8>) -> Elf {
        self.sections.push(Section { name, kind: SHT_PROGBITS, flags, address: 0, bytes });
        self
    }

    pub fn symbol(mut self, name: &'static str, value: u32, size: u32, info: u8, section: u16) -> Elf {
        self.symbols.push((name, value, size, info, section));
        self
    }

    pub fn build(&self) -> Vec<u8> {
        let mut file = vec![0; 52 + 32 * self.segments.len()];
        let mut headers = Vec::new();
        for (address, bytes) in &self.segments {
            headers.extend(words(&[
                1,
                file.len() as u32,
                0xE0_0000,
                *address,
                bytes.len() as u32,
                bytes.len() as u32 + 16,
                5,
                2,
            ]));
            file.extend(bytes);
        }
        file[52..52 + headers.len()].copy_from_slice(&headers);
        let table = self.section_table(&mut file);
        self.header(&mut file, table);
        file
    }

    /// Appends the sections and their table; gives the table's offset and entries.
    fn section_table(&self, file: &mut Vec<u8>) -> (u32, u16) {
        if self.sections.is_empty() && self.symbols.is_empty() {
            return (0, 0);
        }
        let mut names = vec![0];
        let mut table = words(&[0; 10]);
        for section in &self.sections {
            let name = push_name(&mut names, section.name);
            let (at, size) = (file.len() as u32, section.bytes.len() as u32);
            if section.kind != SHT_NOBITS {
                file.extend(&section.bytes);
            }
            let Section { kind, flags, address, .. } = *section;
            table.extend(words(&[name, kind, flags, address, at, size, 0, 0, 1, 0]));
        }
        let (symbols, strings) = self.symbol_table();
        let symtab = self.sections.len() as u32 + 1;
        for (name, kind, bytes, link, entry) in [(".symtab", 2, symbols, symtab + 1, 16), (".strtab", 3, strings, 0, 0)]
        {
            let name = push_name(&mut names, name);
            let (at, size) = (file.len() as u32, bytes.len() as u32);
            table.extend(words(&[name, kind, 0, 0, at, size, link, 1, 1, entry]));
            file.extend(bytes);
        }
        let name = push_name(&mut names, ".shstrtab");
        let (at, size) = (file.len() as u32, names.len() as u32);
        table.extend(words(&[name, 3, 0, 0, at, size, 0, 0, 1, 0]));
        file.extend(names);
        let offset = file.len() as u32;
        file.extend(table);
        (offset, self.sections.len() as u16 + 4)
    }

    fn symbol_table(&self) -> (Vec<u8>, Vec<u8>) {
        let (mut table, mut strings) = (vec![0; 16], vec![0]);
        for &(name, value, size, info, section) in &self.symbols {
            table.extend(words(&[push_name(&mut strings, name), value, size]));
            table.extend([info, 0]);
            table.extend(section.to_be_bytes());
        }
        (table, strings)
    }

    fn header(&self, file: &mut [u8], (table, sections): (u32, u16)) {
        let mut header = b"\x7fELF".to_vec();
        header.extend([self.class, self.encoding, 1]);
        header.resize(16, 0);
        header.extend(self.kind.to_be_bytes());
        header.extend(self.machine.to_be_bytes());
        header.extend(words(&[1, 0, 52, table, 0]));
        for half in [52, 32, self.segments.len() as u16, 40, sections, sections.saturating_sub(1)] {
            header.extend(half.to_be_bytes());
        }
        file[..52].copy_from_slice(&header);
    }
}

pub fn words(values: &[u32]) -> Vec<u8> {
    values.iter().flat_map(|value| value.to_be_bytes()).collect()
}

fn push_name(names: &mut Vec<u8>, name: &str) -> u32 {
    let at = names.len() as u32;
    names.extend(name.as_bytes());
    names.push(0);
    at
}
