//! temp
use crate::prove::Domain;
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Perhaps {
    width: u32,
    bits: Option<u64>,
}
#[derive(Default)]
pub struct Flat;
fn mask(w: u32) -> u64 {
    if w >= 64 { u64::MAX } else { (1 << w) - 1 }
}
impl Flat {
    pub fn unknown(&mut self, width: u32) -> Perhaps {
        Perhaps { width, bits: None }
    }
    fn two(&self, a: Perhaps, b: Perhaps, f: impl Fn(u64, u64) -> u64) -> Perhaps {
        Perhaps { width: a.width, bits: a.bits.zip(b.bits).map(|(x, y)| f(x, y) & mask(a.width)) }
    }
}
impl Domain for Flat {
    type Value = Perhaps;
    fn number(&mut self, width: u32, v: u64) -> Perhaps {
        Perhaps { width, bits: Some(v & mask(width)) }
    }
    fn known(&self, v: Perhaps) -> Option<u64> {
        v.bits
    }
    fn width(&self, v: Perhaps) -> u32 {
        v.width
    }
    fn not(&mut self, v: Perhaps) -> Perhaps {
        Perhaps { width: v.width, bits: v.bits.map(|b| !b & mask(v.width)) }
    }
    fn and(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        if a.bits == Some(0) {
            return a;
        }
        if b.bits == Some(0) {
            return b;
        }
        self.two(a, b, |x, y| x & y)
    }
    fn or(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, |x, y| x | y)
    }
    fn xor(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, |x, y| x ^ y)
    }
    fn add(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, u64::wrapping_add)
    }
    fn sub(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, u64::wrapping_sub)
    }
    fn mul(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, u64::wrapping_mul)
    }
    fn quotient(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, |x, y| x.checked_div(y).unwrap_or(u64::MAX))
    }
    fn remainder(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        self.two(a, b, |x, y| x.checked_rem(y).unwrap_or(x))
    }
    fn shift_left(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        let w = a.width;
        self.two(a, b, move |x, y| if y >= u64::from(w) { 0 } else { x << y })
    }
    fn shift_right(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        let w = a.width;
        self.two(a, b, move |x, y| if y >= u64::from(w) { 0 } else { x >> y })
    }
    fn shift_right_signed(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        let w = a.width;
        self.two(a, b, move |x, y| ((x << (64 - w)) as i64 >> (64 - w) >> y.min(63)) as u64)
    }
    fn equal(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        Perhaps { width: 1, bits: a.bits.zip(b.bits).map(|(x, y)| u64::from(x == y)) }
    }
    fn less(&mut self, a: Perhaps, b: Perhaps) -> Perhaps {
        Perhaps { width: 1, bits: a.bits.zip(b.bits).map(|(x, y)| u64::from(x < y)) }
    }
    fn either(&mut self, c: Perhaps, a: Perhaps, b: Perhaps) -> Perhaps {
        match c.bits {
            Some(1) => a,
            Some(_) => b,
            None if a == b => a,
            None => Perhaps { width: a.width, bits: None },
        }
    }
    fn part(&mut self, v: Perhaps, low: u32, width: u32) -> Perhaps {
        Perhaps { width, bits: v.bits.map(|b| b >> low & mask(width)) }
    }
    fn join(&mut self, h: Perhaps, l: Perhaps) -> Perhaps {
        Perhaps { width: h.width + l.width, bits: h.bits.zip(l.bits).map(|(h, x)| h << l.width | x) }
    }
}
