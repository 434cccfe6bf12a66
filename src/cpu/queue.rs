//! The prefetch queue: two words that were fetched before they are needed.
//!
//! Both live in one register, since writing two halves and reading them as one stalls the machine that runs this.

/// The two words of the queue.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Queue(u32);

impl Queue {
    #[inline]
    pub fn new(first: u16, second: u16) -> Self {
        Self(u32::from(first) << 16 | u32::from(second))
    }

    /// The word that is executed next.
    #[inline]
    pub fn first(self) -> u16 {
        (self.0 >> 16) as u16
    }

    /// The word after it.
    #[inline]
    pub fn second(self) -> u16 {
        self.0 as u16
    }

    /// The second word was taken as an extension, and this one fetched in its place.
    #[inline]
    pub fn replace_second(&mut self, word: u16) {
        self.0 = self.0 & 0xFFFF_0000 | u32::from(word);
    }

    /// The first word is done, and this one was fetched.
    #[inline]
    pub fn advance(&mut self, word: u16) {
        self.0 = self.0 << 16 | u32::from(word);
    }

    /// Both words, and a third, from the left.
    #[inline]
    pub fn with_third(self, third: u16) -> u64 {
        u64::from(self.0) << 32 | u64::from(third) << 16
    }
}
