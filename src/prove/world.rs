//! What the executor is connected to: values, decisions, and the bus. [`World`] is to the executor what
//! [`crate::cpu::Memory`] is to the processor, one call a bus cycle in the order of the pins.

use super::Domain;
use crate::cpu::FunctionCode;

/// What a value is made a number for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pin {
    /// The program goes on there.
    Jump,
    /// It is an opcode or an extension word.
    Code,
    /// It becomes the system byte of the status register, or decides how an instruction goes on.
    Control,
}

/// A value of a world.
pub type ValueOf<W> = <<W as World>::Values as Domain>::Value;

/// The surroundings of the executor.
///
/// A world in which values may be unknown runs an instruction once for each way in which its decisions can fall: the
/// executor only asks, and is run again from the state before the instruction. So nothing of an instruction's own state
/// may be kept outside of the processor and the world.
pub trait World {
    /// What it computes with.
    type Values: Domain;
    /// Why an instruction cannot be gone on with in this world. Never an exception of the 68000.
    type Cut;

    /// The values.
    fn values(&mut self) -> &mut Self::Values;
    /// Whether the one bit of a value is set.
    fn decide(&mut self, bit: ValueOf<Self>) -> Result<bool, Self::Cut>;
    /// The number that a value is in this run.
    fn pin(&mut self, value: ValueOf<Self>, what: Pin) -> Result<u64, Self::Cut>;

    /// Reads a byte of data at a 32-bit address; `None` if nothing acknowledges.
    fn read_byte(&mut self, at: ValueOf<Self>, code: FunctionCode) -> Result<Option<ValueOf<Self>>, Self::Cut>;
    /// Reads a word of data at an even address.
    fn read_word(&mut self, at: ValueOf<Self>, code: FunctionCode) -> Result<Option<ValueOf<Self>>, Self::Cut>;
    /// Fetches a word for the prefetch queue.
    fn fetch(&mut self, at: u32, code: FunctionCode) -> Result<Option<ValueOf<Self>>, Self::Cut>;
    /// Writes a byte.
    fn write_byte(
        &mut self,
        at: ValueOf<Self>,
        value: ValueOf<Self>,
        code: FunctionCode,
    ) -> Result<Option<()>, Self::Cut>;
    /// Writes a word at an even address.
    fn write_word(
        &mut self,
        at: ValueOf<Self>,
        value: ValueOf<Self>,
        code: FunctionCode,
    ) -> Result<Option<()>, Self::Cut>;
    /// Reads a byte and takes no notice of it.
    fn touch_byte(&mut self, at: ValueOf<Self>, code: FunctionCode) -> Result<Option<()>, Self::Cut>;
    /// Reads a word and takes no notice of it.
    fn touch_word(&mut self, at: ValueOf<Self>, code: FunctionCode) -> Result<Option<()>, Self::Cut>;
    /// Clock periods without a bus cycle.
    fn idle(&mut self, clocks: u32);
    /// The same, of a number that is not known yet (32 bits).
    fn idle_for(&mut self, clocks: ValueOf<Self>);
    /// The RESET instruction pulls the reset line of everything else.
    fn reset_devices(&mut self) -> Result<(), Self::Cut>;
}
