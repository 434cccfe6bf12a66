//! The `m68000` core at work: instructions that touch registers only.
//!
//! The core gets the instruction's words and nothing else, so it can neither miss a bus cycle nor panic over one. The
//! prefetches are made here, in the order of the chip.

use m68000::MemoryAccess;

use super::access::Done;
use super::memory::Memory;
use super::{Cpu, Exception};

/// An instruction as memory: its words, and nothing else.
struct Words {
    /// The words not yet taken; the next one is at the left. The core takes them in order.
    words: u64,
}

impl MemoryAccess for Words {
    fn get_byte(&mut self, _: u32) -> Option<u8> {
        None
    }

    #[inline]
    fn get_word(&mut self, _: u32) -> Option<u16> {
        let word = (self.words >> 48) as u16;
        self.words <<= 16;
        Some(word)
    }

    fn set_byte(&mut self, _: u32, _: u8) -> Option<()> {
        None
    }

    fn set_word(&mut self, _: u32, _: u16) -> Option<()> {
        None
    }

    fn reset_instruction(&mut self) {}
}

impl Cpu {
    /// Lets the core execute an instruction of `length` words.
    #[inline]
    pub(super) fn by_core<M: Memory>(&mut self, memory: &mut M, length: u32) -> Done {
        let at = self.at;
        let third = if length == 3 { self.fetch(memory, at.wrapping_add(4))? } else { 0 };
        let mut words = Words { words: self.queue.with_third(third) };
        let (clocks, vector) = self.core.interpreter_exception(&mut words);
        // Of a traced instruction the core says so; it has run, and the rest is `step`'s.
        if let Some(vector) = vector
            && vector != Exception::Trace.vector()
        {
            debug_assert!(false, "an instruction on registers raised vector {vector}");
            return Err(self.raise(Exception::from_vector(vector).unwrap_or(Exception::Illegal), at));
        }
        let next = at.wrapping_add(2 * length);
        debug_assert_eq!(self.pc(), next, "the table of corrections has another length");
        if length > 1 {
            let first = self.fetch(memory, next)?;
            self.queue.advance(first);
        }
        let second = self.fetch(memory, next.wrapping_add(2))?;
        self.queue.advance(second);
        let bus = 4 * length;
        if clocks as u32 > bus {
            memory.idle(clocks as u32 - bus);
        }
        Ok(())
    }
}
