//! Loading host images: every format, every refusal, and damage of any kind.

#[path = "rom/dwarf_builder.rs"]
mod dwarf_builder;
#[path = "rom/elf.rs"]
mod elf;
#[path = "rom/elf_builder.rs"]
mod elf_builder;
#[path = "rom/files.rs"]
mod files;
#[path = "rom/mutation.rs"]
mod mutation;
#[path = "rom/raw.rs"]
mod raw;
#[path = "rom/source_lines.rs"]
mod source_lines;
#[path = "rom/srecord.rs"]
mod srecord;
#[path = "rom/support.rs"]
mod support;
#[path = "rom/symbols.rs"]
mod symbols;
