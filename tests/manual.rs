//! The processor against its manuals, table by table: condition codes, times, encodings, and arithmetic worked out anew.
//!
//! The tables are data, transcribed from the M68000 Family Programmer's Reference Manual (PRM) and the MC68000 User's
//! Manual (UM, ninth edition, section 8), all of it from memory. The checkers know nothing of the code under test but
//! how to run one instruction; what they expect is the table or a plain computation that stands in the test.

mod codes;
mod conditions;
mod decimal;
mod differences;
mod division;
mod encoding_table;
mod encodings;
mod extension;
mod models;
mod shifts;
mod status;
mod support;
mod time_exceptions;
mod time_formulas;
mod time_tables;
mod times;
