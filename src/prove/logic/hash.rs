//! Hashing of small keys for tables that are only looked up in. Their order is never walked, so it cannot show.

use std::collections::{HashMap, HashSet};
use std::hash::{BuildHasherDefault, Hasher};

/// A table that is quick with numbers as keys.
pub(super) type FastMap<K, V> = HashMap<K, V, BuildHasherDefault<Mixer>>;
/// A set that is quick with numbers as members.
pub(super) type FastSet<K> = HashSet<K, BuildHasherDefault<Mixer>>;

/// Mixes in one number.
pub(super) fn mix(state: u64, value: u64) -> u64 {
    let product = u128::from(state ^ value) * 0x9E37_79B9_7F4A_7C15;
    (product as u64) ^ ((product >> 64) as u64)
}

/// Multiplies and folds, a number at a time.
#[derive(Default)]
pub(super) struct Mixer(u64);

impl Hasher for Mixer {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_u64(u64::from(byte));
        }
    }

    fn write_u8(&mut self, value: u8) {
        self.write_u64(u64::from(value));
    }

    fn write_u32(&mut self, value: u32) {
        self.write_u64(u64::from(value));
    }

    fn write_i32(&mut self, value: i32) {
        self.write_u64(value as u32 as u64);
    }

    fn write_u64(&mut self, value: u64) {
        self.0 = mix(self.0 ^ 0xD1B5_4A32_D192_ED03, value);
    }

    fn write_usize(&mut self, value: usize) {
        self.write_u64(value as u64);
    }
}
