//! Random terms whose values the tests work out themselves, operation by operation, with the definitions of SMT-LIB's
//! theory FixedSizeBitVectors and logic QF_BV and nothing of the term module.

use keyway::noise::Noise;
use keyway::prove::Domain;
use keyway::prove::logic::{Model, Term, Terms, Unknown};

/// A term with what it has to be under each of some models.
#[derive(Clone)]
pub struct Grown {
    pub term: Term,
    pub width: u32,
    pub values: Vec<u64>,
}

/// Makes terms out of terms.
pub struct Garden {
    pub terms: Terms,
    pub models: Vec<Model>,
    pub grown: Vec<Grown>,
    pub noise: Noise,
    widest: u32,
}

fn ones(width: u32) -> u64 {
    ((1u128 << width) - 1) as u64
}

impl Garden {
    /// Unknowns of these widths, and their values under each of the models.
    pub fn new(seed: u64, widths: &[u32], models: Vec<Model>, widest: u32) -> Self {
        let mut garden = Self { terms: Terms::new(), models, grown: Vec::new(), noise: Noise::new(seed), widest };
        for (index, &width) in widths.iter().enumerate() {
            let unknown = Unknown(index as u32);
            let values = garden.models.iter().map(|model| model.get(unknown)).collect();
            let term = garden.terms.unknown(unknown, width);
            garden.grown.push(Grown { term, width, values });
        }
        garden
    }

    /// Unknowns of random widths under a few random models.
    pub fn wild(seed: u64, models: usize) -> Self {
        Self::of_width(seed, models, 64)
    }

    /// The same, nothing being wider than this.
    pub fn of_width(seed: u64, models: usize, widest: u32) -> Self {
        let mut noise = Noise::new(seed);
        let widths: Vec<u32> = (0..4).map(|_| if noise.coin() { 8 } else { below(&mut noise, widest) + 1 }).collect();
        let mut model = |_| {
            let value = |(index, &width): (usize, &u32)| (Unknown(index as u32), number(&mut noise, width));
            widths.iter().enumerate().map(value).collect()
        };
        let models = (0..models).map(&mut model).collect();
        Self::new(seed, &widths, models, widest)
    }

    /// Every model of unknowns of these widths.
    pub fn whole(seed: u64, widths: &[u32]) -> Self {
        let bits: u32 = widths.iter().sum();
        let models = (0..1u64 << bits).map(|all| {
            let mut rest = all;
            let mut next = |(index, &width): (usize, &u32)| {
                let value = rest & ones(width);
                rest >>= width;
                (Unknown(index as u32), value)
            };
            widths.iter().enumerate().map(&mut next).collect()
        });
        let models = models.collect();
        Self::new(seed, widths, models, 16)
    }

    /// A random number below another.
    pub fn below(&mut self, end: u32) -> u32 {
        below(&mut self.noise, end)
    }

    /// One of the terms, rather a late one.
    pub fn any(&mut self) -> Grown {
        let count = self.grown.len() as u32;
        let back = if self.noise.coin() { count } else { count.min(6) };
        let at = count - 1 - self.below(back);
        self.grown[at as usize].clone()
    }

    /// A number.
    pub fn number(&mut self, width: u32) -> Grown {
        let value = number(&mut self.noise, width);
        let term = self.terms.number(width, value);
        Grown { term, width, values: vec![value; self.models.len()] }
    }

    /// A term of this width: a number, or another one cut or widened to it.
    pub fn fit(&mut self, width: u32) -> Grown {
        if self.below(4) == 0 {
            return self.number(width);
        }
        let of = self.any();
        match of.width.cmp(&width) {
            std::cmp::Ordering::Equal => of,
            std::cmp::Ordering::Greater => {
                let low = self.below(of.width - width + 1);
                self.part(&of, low, width)
            }
            std::cmp::Ordering::Less if self.noise.coin() => {
                let term = self.terms.extend(of.term, width);
                Grown { term, width, values: of.values }
            }
            std::cmp::Ordering::Less => {
                let term = self.terms.extend_signed(of.term, width);
                let values = of.values.iter().map(|&value| signed(value, of.width) as u64 & ones(width)).collect();
                Grown { term, width, values }
            }
        }
    }

    fn part(&mut self, of: &Grown, low: u32, width: u32) -> Grown {
        let term = self.terms.part(of.term, low, width);
        Grown { term, width, values: of.values.iter().map(|&value| value >> low & ones(width)).collect() }
    }

    /// A random one-bit term.
    pub fn bit(&mut self) -> Grown {
        let of = self.any();
        match self.below(4) {
            0 if of.width == 1 => of,
            0 => {
                let low = self.below(of.width);
                self.part(&of, low, 1)
            }
            kind => {
                let other = self.fit(of.width);
                self.binary(if kind == 1 { 11 } else { 12 }, &of, &other)
            }
        }
    }

    /// Makes one more term.
    pub fn grow(&mut self) {
        let left = self.any();
        let kind = self.below(20);
        let new = match kind {
            0..=12 => {
                let right = self.fit(left.width);
                if self.noise.coin() { self.binary(kind, &left, &right) } else { self.binary(kind, &right, &left) }
            }
            13 => {
                let width = 1 + self.below(left.width);
                let low = self.below(left.width - width + 1);
                self.part(&left, low, width)
            }
            14 => {
                let term = self.terms.not(left.term);
                let values = left.values.iter().map(|&value| !value & ones(left.width)).collect();
                Grown { term, width: left.width, values }
            }
            15 | 16 => self.choice(&left),
            17 => self.bit(),
            _ => self.join(left),
        };
        self.check(&new);
        self.grown.push(new);
    }

    fn check(&self, new: &Grown) {
        assert_eq!(self.terms.width(new.term), new.width);
        assert!(new.values.iter().all(|&value| value <= ones(new.width)));
    }

    fn choice(&mut self, then: &Grown) -> Grown {
        let (condition, other) = (self.bit(), self.fit(then.width));
        let term = self.terms.either(condition.term, then.term, other.term);
        let pick = |index: usize| if condition.values[index] == 1 { then.values[index] } else { other.values[index] };
        Grown { term, width: then.width, values: (0..self.models.len()).map(pick).collect() }
    }

    fn join(&mut self, high: Grown) -> Grown {
        let mut low = self.any();
        if high.width + low.width > self.widest {
            if high.width == self.widest {
                return high;
            }
            let width = 1 + self.below(self.widest - high.width);
            low = self.fit(width);
        }
        let term = self.terms.join(high.term, low.term);
        let values = high.values.iter().zip(&low.values).map(|(&high, &value)| high << low.width | value).collect();
        Grown { term, width: high.width + low.width, values }
    }

    fn binary(&mut self, kind: u32, left: &Grown, right: &Grown) -> Grown {
        let (terms, one, two) = (&mut self.terms, left.term, right.term);
        let term = match kind {
            0 => terms.and(one, two),
            1 => terms.or(one, two),
            2 => terms.xor(one, two),
            3 => terms.add(one, two),
            4 => terms.sub(one, two),
            5 => terms.mul(one, two),
            6 => terms.quotient(one, two),
            7 => terms.remainder(one, two),
            8 => terms.shift_left(one, two),
            9 => terms.shift_right(one, two),
            10 => terms.shift_right_signed(one, two),
            11 => terms.equal(one, two),
            _ => terms.less(one, two),
        };
        let width = if kind >= 11 { 1 } else { left.width };
        let values = left.values.iter().zip(&right.values).map(|(&one, &two)| defined(kind, left.width, one, two));
        Grown { term, width, values: values.collect() }
    }
}

/// What the standard defines, in wide numbers.
fn defined(kind: u32, width: u32, left: u64, right: u64) -> u64 {
    let (one, two, modulus) = (u128::from(left), u128::from(right), 1u128 << width);
    let beyond = two >= u128::from(width);
    let result = match kind {
        0 => one & two,
        1 => one | two,
        2 => one ^ two,
        3 => (one + two) % modulus,
        4 => (one + modulus - two) % modulus,
        5 => (one * two) % modulus,
        6 => one.checked_div(two).unwrap_or(modulus - 1),
        7 => one.checked_rem(two).unwrap_or(one),
        8 => {
            if beyond {
                0
            } else {
                (one << two) % modulus
            }
        }
        9 => {
            if beyond {
                0
            } else {
                one >> two
            }
        }
        10 => {
            let by = two.min(u128::from(width) - 1);
            (signed(left, width) >> by) as u128 % modulus
        }
        11 => u128::from(one == two),
        _ => u128::from(one < two),
    };
    result as u64
}

fn signed(value: u64, width: u32) -> i128 {
    let value = i128::from(value);
    if value >> (width - 1) & 1 == 1 { value - (1i128 << width) } else { value }
}

fn below(noise: &mut Noise, end: u32) -> u32 {
    (noise.bits() % u64::from(end)) as u32
}

/// A number, rather one at an edge.
fn number(noise: &mut Noise, width: u32) -> u64 {
    let value = match below(noise, 8) {
        0 => 0,
        1 => 1,
        2 => u64::MAX,
        3 => 1 << below(noise, width),
        4 => u64::from(below(noise, width) + 1),
        5 => ones(1 + below(noise, width)) << below(noise, width),
        _ => noise.bits(),
    };
    value & ones(width)
}
