//! ELF executables: what is burnt into the ROM, and the symbols and sections that name it.
//!
//! The loadable segments are taken at their physical address (the LMA), because that is where
//! initialised data lie in a ROM before the program copies them. Everything here is bounds-checked
//! by the `object` library.

use std::borrow::Cow;

use object::BigEndian;
use object::elf::{self, FileHeader32, ProgramHeader32, SectionHeader32};
use object::read::elf::{FileHeader, ProgramHeader, SectionHeader, SectionTable, Sym};
use thiserror::Error;

use super::blocks::{Block, Place};
use super::dwarf;
use super::lines::Lines;
use super::symbols::{Binding, Home, Kind, Region, Symbol, on_bus};

type Sections<'a> = SectionTable<'a, FileHeader32<BigEndian>>;

/// Length of a 32-bit ELF header in bytes (System V gABI, `Elf32_Ehdr`).
const HEADER_LENGTH: usize = 52;

/// Why an ELF file is refused. Names and numbers are those of the System V gABI.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum ElfFault {
    /// The file ends inside its header.
    #[error("The ELF file ends inside its header: it has {length} bytes, and the header alone has 52.")]
    ShortHeader {
        /// Length of the file in bytes.
        length: usize,
    },
    /// Not a 32-bit file.
    #[error("This is {}, but the 68000 needs 32-bit ELF (class 1).", match .0 {
        2 => "a 64-bit ELF file (class 2)".to_owned(),
        other => format!("an ELF file of the unknown class {other}"),
    })]
    Class(u8),
    /// Not big-endian.
    #[error("This is {}, but the 68000 is big-endian (data encoding 2).", match .0 {
        1 => "a little-endian ELF file (data encoding 1)".to_owned(),
        other => format!("an ELF file of the unknown data encoding {other}"),
    })]
    Encoding(u8),
    /// For another processor.
    #[error("This ELF file is for machine {number}{}, but the 68000 is machine 4 (EM_68K).", machine_name(*number))]
    Machine {
        /// The number in `e_machine`.
        number: u16,
    },
    /// Not an executable.
    #[error("This ELF file is {}; a linked executable (type ET_EXEC) is needed.", match .0 {
        0 => "of no type (ET_NONE)".to_owned(),
        1 => "not linked: it is an object file (type ET_REL)".to_owned(),
        3 => "a shared or position-independent object (type ET_DYN)".to_owned(),
        4 => "a memory dump (type ET_CORE)".to_owned(),
        other => format!("of the unknown type {other}"),
    })]
    Type(u16),
    /// A header table does not fit the file.
    #[error("The ELF file is damaged: {0}.")]
    Damaged(String),
    /// A segment's bytes are not all in the file.
    #[error(
        "The ELF file is truncated: program header {segment} takes {size} bytes at file offset {offset}, but the \
         file has only {length}."
    )]
    TruncatedSegment {
        /// The program header, counted from 0.
        segment: usize,
        /// Its `p_offset`.
        offset: u32,
        /// Its `p_filesz`.
        size: u32,
        /// Length of the file in bytes.
        length: usize,
    },
}

/// The gABI's name of a machine that is commonly met, in brackets, or nothing.
fn machine_name(number: u16) -> &'static str {
    match number {
        0 => " (EM_NONE)",
        2 => " (EM_SPARC)",
        3 => " (EM_386)",
        8 => " (EM_MIPS)",
        20 => " (EM_PPC)",
        40 => " (EM_ARM)",
        42 => " (EM_SH)",
        62 => " (EM_X86_64)",
        183 => " (EM_AARCH64)",
        243 => " (EM_RISCV)",
        _ => "",
    }
}

/// What an executable holds for the host.
pub(super) struct Executable<'a> {
    pub blocks: Vec<Block<'a>>,
    pub symbols: Vec<Symbol>,
    /// The allocated sections at the addresses where the program runs; empty if the file lists no
    /// sections.
    pub regions: Vec<Region>,
    pub lines: Lines,
}

/// Reads an executable for the 68000.
pub(super) fn read(data: &[u8]) -> Result<Executable<'_>, ElfFault> {
    let header = checked_header(data)?;
    let sections = header.sections(BigEndian, data).map_err(damaged)?;
    let regions = regions(&sections);
    let lines = dwarf::lines(|name| debug_section(&sections, data, name), &regions);
    Ok(Executable { blocks: blocks(header, &sections, data)?, symbols: symbols(&sections, data)?, regions, lines })
}

fn damaged(error: object::read::Error) -> ElfFault {
    ElfFault::Damaged(error.to_string())
}

/// The header, if it is that of a linked 68000 program.
fn checked_header(data: &[u8]) -> Result<&FileHeader32<BigEndian>, ElfFault> {
    // Class and encoding come first: they decide how the rest of the header is laid out.
    match (data.get(4), data.get(5)) {
        (Some(&class), _) if class != 1 => return Err(ElfFault::Class(class)),
        (_, Some(&encoding)) if encoding != 2 => return Err(ElfFault::Encoding(encoding)),
        _ => {}
    }
    if data.len() < HEADER_LENGTH {
        return Err(ElfFault::ShortHeader { length: data.len() });
    }
    let header = FileHeader32::<BigEndian>::parse(data).map_err(damaged)?;
    let machine = header.e_machine(BigEndian);
    if machine != elf::EM_68K {
        return Err(ElfFault::Machine { number: machine.0 });
    }
    let kind = header.e_type(BigEndian);
    if kind != elf::ET_EXEC {
        return Err(ElfFault::Type(kind.0));
    }
    Ok(header)
}

fn blocks<'a>(
    header: &FileHeader32<BigEndian>,
    sections: &Sections<'a>,
    data: &'a [u8],
) -> Result<Vec<Block<'a>>, ElfFault> {
    let segments = header.program_headers(BigEndian, data).map_err(damaged)?;
    let tables_end = tables_end(header, segments.len());
    let mut blocks = Vec::new();
    for (number, segment) in segments.iter().enumerate() {
        let (offset, size) = (segment.p_offset(BigEndian), segment.p_filesz(BigEndian));
        if segment.p_type(BigEndian) != elf::PT_LOAD || size == 0 {
            continue;
        }
        let bytes = segment.data(BigEndian, data).map_err(|()| ElfFault::TruncatedSegment {
            segment: number,
            offset,
            size,
            length: data.len(),
        })?;
        let skipped = skipped(segment, sections, tables_end).min(size);
        blocks.push(Block {
            start: u64::from(segment.p_paddr(BigEndian)) + u64::from(skipped),
            bytes: Cow::Borrowed(bytes.get(skipped as usize..).unwrap_or_default()),
            place: Place::Segment(number),
        });
    }
    Ok(blocks)
}

/// Where the ELF header and the program headers behind it end in the file.
fn tables_end(header: &FileHeader32<BigEndian>, segments: usize) -> u32 {
    let each = usize::from(header.e_phentsize(BigEndian));
    let table = (header.e_phoff(BigEndian) as usize).saturating_add(segments.saturating_mul(each));
    u32::try_from(table.max(HEADER_LENGTH)).unwrap_or(u32::MAX)
}

/// How many bytes at the start of a segment are the file's own headers and the padding after them.
///
/// A linker that is not told otherwise (`-n`) maps the headers into the first segment where there
/// is room below the code. They are no part of the program, and a programmer's raw image of the
/// same file does not hold them either.
fn skipped(segment: &ProgramHeader32<BigEndian>, sections: &Sections<'_>, tables_end: u32) -> u32 {
    let offset = segment.p_offset(BigEndian);
    if offset >= HEADER_LENGTH as u32 {
        return 0;
    }
    let allocated =
        sections.iter().filter(|section| occupies(section) && section.sh_type(BigEndian) != elf::SHT_NOBITS);
    let first =
        allocated.map(|section| section.sh_offset(BigEndian)).filter(|&start| start >= HEADER_LENGTH as u32).min();
    first.unwrap_or(tables_end).saturating_sub(offset)
}

fn occupies(section: &SectionHeader32<BigEndian>) -> bool {
    section.sh_flags(BigEndian).contains(elf::SHF_ALLOC) && section.sh_size(BigEndian) != 0
}

fn regions(sections: &Sections<'_>) -> Vec<Region> {
    let allocated = sections.enumerate().filter(|(_, section)| occupies(section));
    let region = |(index, section): (object::SectionIndex, &SectionHeader32<BigEndian>)| {
        let start = on_bus(section.sh_addr(BigEndian));
        let addresses = start..start.saturating_add(section.sh_size(BigEndian));
        Region { addresses, section: Some(index.0) }
    };
    allocated.map(region).collect()
}

fn symbols(sections: &Sections<'_>, data: &[u8]) -> Result<Vec<Symbol>, ElfFault> {
    let table = sections.symbols(BigEndian, data, elf::SHT_SYMTAB).map_err(damaged)?;
    let mut symbols = Vec::new();
    for (index, entry) in table.enumerate() {
        let Some(kind) = kind(entry.st_type()) else {
            continue;
        };
        let section = table.symbol_section(BigEndian, entry, index).map_err(damaged)?;
        let home = match section {
            Some(section) => Home::Section(section.0),
            None if entry.st_shndx(BigEndian) == elf::SHN_ABS => Home::Absolute,
            None => continue, // undefined, or common and so without an address
        };
        let name = String::from_utf8_lossy(table.symbol_name(BigEndian, entry).map_err(damaged)?);
        if name.is_empty() {
            continue;
        }
        let (address, size) = (entry.st_value(BigEndian), entry.st_size(BigEndian));
        let (name, binding) = ((*name).into(), binding(entry.st_bind()));
        symbols.push(Symbol { name, address, size, kind, binding, home });
    }
    Ok(symbols)
}

/// What a symbol names; `None` for sections, source files and the like.
fn kind(of: elf::SymbolType) -> Option<Kind> {
    match of {
        elf::STT_FUNC => Some(Kind::Function),
        elf::STT_NOTYPE => Some(Kind::Label),
        elf::STT_OBJECT => Some(Kind::Object),
        _ => None,
    }
}

fn binding(of: elf::SymbolBind) -> Binding {
    match of {
        elf::STB_LOCAL => Binding::Local,
        elf::STB_WEAK => Binding::Weak,
        _ => Binding::Global,
    }
}

fn debug_section<'a>(sections: &Sections<'a>, data: &'a [u8], name: &str) -> Result<&'a [u8], String> {
    let Some((_, section)) = sections.section_by_name(BigEndian, name.as_bytes()) else {
        return Ok(&[]);
    };
    if section.sh_flags(BigEndian).contains(elf::SHF_COMPRESSED) {
        return Err(format!("the section {name} is compressed; link with --compress-debug-sections=none"));
    }
    section.data(BigEndian, data).map_err(|error| format!("the section {name} is damaged ({error})"))
}
