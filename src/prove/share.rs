//! How many of all headers: sums of powers of two, exact however many bits a header has.

use std::collections::BTreeMap;
use std::fmt;

/// A number of headers: for each exponent how often that power of two is added (or taken away).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Share(BTreeMap<u32, i64>);

impl Share {
    /// A power of two.
    pub fn power(exponent: u32) -> Self {
        let mut share = Self::default();
        share.add(1, exponent);
        share
    }

    /// So many times a power of two more.
    pub fn add(&mut self, count: i64, exponent: u32) {
        let sum = self.0.entry(exponent).or_default();
        *sum += count;
        if *sum == 0 {
            self.0.remove(&exponent);
        }
    }

    /// Takes another one away.
    pub fn take(&mut self, other: &Self) {
        for (exponent, count) in &other.0 {
            self.add(-count, *exponent);
        }
    }

    /// Adds another one.
    pub fn put(&mut self, other: &Self) {
        for (exponent, count) in &other.0 {
            self.add(*count, *exponent);
        }
    }

    /// The number, if it is small enough.
    pub fn number(&self) -> Option<u128> {
        let mut sum = 0i128;
        for (exponent, count) in &self.0 {
            if *exponent > 100 {
                return None;
            }
            sum = sum.checked_add(i128::from(*count).checked_mul(1 << exponent)?)?;
        }
        u128::try_from(sum).ok()
    }

    /// As few powers as there can be: even counts move up.
    fn tidy(&self) -> BTreeMap<u32, i64> {
        let mut tidy = self.0.clone();
        while let Some((exponent, count)) = tidy.iter().find(|(_, count)| *count % 2 == 0).map(|(e, c)| (*e, *c)) {
            tidy.remove(&exponent);
            let above = tidy.entry(exponent + 1).or_default();
            *above += count / 2;
            if *above == 0 {
                tidy.remove(&(exponent + 1));
            }
        }
        tidy
    }
}

/// Numbers up to this are written out.
const WRITTEN_OUT: u128 = 1 << 20;

impl fmt::Display for Share {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(number) = self.number().filter(|number| *number <= WRITTEN_OUT) {
            return write!(formatter, "{number}");
        }
        for (place, (exponent, count)) in self.tidy().iter().rev().enumerate() {
            let sign = match (place, *count < 0) {
                (0, false) => "",
                (0, true) => "-",
                (_, false) => " + ",
                (_, true) => " - ",
            };
            let times = count.unsigned_abs();
            match (times, exponent) {
                (_, 0) => write!(formatter, "{sign}{times}")?,
                (1, _) => write!(formatter, "{sign}2^{exponent}")?,
                _ => write!(formatter, "{sign}{times} x 2^{exponent}")?,
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sums and differences against plain numbers, and how they are written.
    #[test]
    fn sums_of_powers() {
        let mut share = Share::power(1296);
        share.take(&Share::power(1168));
        assert_eq!(share.to_string(), "2^1296 - 2^1168");
        let mut five = Share::default();
        for _ in 0..5 {
            five.put(&Share::power(1056));
        }
        assert_eq!(five.to_string(), "5 x 2^1056");
        five.take(&Share::power(1056));
        assert_eq!(five.to_string(), "2^1058");
        let mut small = Share::power(16);
        small.take(&Share::power(0));
        assert_eq!((small.number(), small.to_string()), (Some(65_535), "65535".to_owned()));
        assert_eq!(Share::default().to_string(), "0");
    }
}
