//! Loading host images: every format, every refusal, and damage of any kind.

mod dwarf_builder;
mod elf;
mod elf_builder;
mod files;
mod mutation;
mod raw;
mod source_lines;
mod srecord;
mod support;
mod symbols;
