//! The one source of randomness: SplitMix64, so that a seed gives the same bytes on every machine.
//!
//! Source of the constants: Steele, Lea and Flood, "Fast Splittable Pseudorandom Number Generators" (OOPSLA 2014),
//! in the public-domain form by Vigna; the test compares with the published first outputs for seed 1234567.

use std::cell::RefCell;
use std::collections::HashMap;

/// One step of SplitMix64's output function: a well-mixed 64-bit value for any input.
pub fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// The noise byte of a place (an address or an offset): the same one whenever it is asked for.
pub fn byte_at(seed: u64, place: u32) -> u8 {
    mix(seed ^ mix(u64::from(place))) as u8
}

/// Bytes in a block of [`block_sums`].
pub const BLOCK: u32 = 1 << 12;

/// The most blocks whose sums are kept: those of the largest image.
const MOST_BLOCKS: usize = 1 << 12;

thread_local! {
    /// Sums that were asked for before, by seed and block.
    static SUMS: RefCell<HashMap<(u64, u32), [u16; 2]>> = RefCell::default();
}

/// The sum of the noise bytes at the even places of a block, and of those at the odd ones. A checksum over megabytes of
/// noise asks for the same blocks again and again.
pub fn block_sums(seed: u64, block: u32) -> [u16; 2] {
    SUMS.with_borrow_mut(|sums| {
        if sums.len() > MOST_BLOCKS {
            sums.clear();
        }
        *sums.entry((seed, block)).or_insert_with(|| {
            let place = |index: u32| u16::from(byte_at(seed, block * BLOCK + index));
            let sum = |first: u32| (first..BLOCK).step_by(2).fold(0u16, |sum, index| sum.wrapping_add(place(index)));
            [sum(0), sum(1)]
        })
    })
}

/// A stream of seeded noise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Noise {
    state: u64,
}

impl Noise {
    /// Starts the stream of a seed.
    pub fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        let value = mix(self.state);
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        value
    }

    /// The next word.
    pub fn word(&mut self) -> u16 {
        self.bits() as u16
    }

    /// True or false with equal chance.
    pub fn coin(&mut self) -> bool {
        self.bits() >> 63 == 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published test vector: the first outputs of SplitMix64 for seed 1234567 (Rosetta Code, "Pseudo-random
    /// numbers/Splitmix64"; value from memory).
    #[test]
    fn first_outputs_are_the_published_ones() {
        let mut noise = Noise::new(1_234_567);
        let outputs: Vec<u64> = (0..5).map(|_| noise.bits()).collect();
        pretty_assertions::assert_eq!(
            outputs,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423,
                4_593_380_528_125_082_431,
                16_408_922_859_458_223_821
            ]
        );
    }
}
