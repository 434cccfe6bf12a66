//! Rules of the acceptance table to which no cartridge comes, because earlier ones take all of theirs.
//!
//! Only what can be told for sure from the table alone is told; a rule that is not found dead here may still be one.

use crate::cartridge::{Holds, Layout};
use crate::units;
use crate::verdict::{Conditions, FieldMatch, PortMatch, Rule};

/// A rule, or one text of it, that decides nothing.
#[derive(Debug, PartialEq, Eq)]
pub struct Dead {
    /// The rule, by index.
    pub rule: usize,
    /// The earlier rule that takes its cartridges, by index.
    by: usize,
    /// Field and text, if the rule is dead for one of its texts only.
    text: Option<(usize, Vec<u8>)>,
}

impl Dead {
    /// The sentence for people.
    pub fn message(&self, layout: &Layout) -> String {
        let by = self.by + 1;
        let Some((field, text)) = &self.text else {
            return format!("no cartridge comes to this rule: rule {by} takes all that fit it");
        };
        let field = &layout.fields()[*field];
        let text = match field.holds {
            Holds::Text(_) => {
                let text: String = text.iter().map(|byte| units::printable(*byte)).collect();
                format!("{:?}", text.trim_end())
            }
            Holds::Number | Holds::Sum16 { .. } => text.iter().map(|byte| format!("{byte:02X}")).collect(),
        };
        format!("no cartridge with {} {text} comes to this rule: rule {by} takes it", field.name)
    }
}

/// The first dead rule.
pub fn first(rules: &[Rule]) -> Option<Dead> {
    (0..rules.len()).find_map(|rule| {
        let whole = (0..rule).find(|by| takes_all(&rules[*by], &rules[rule])).map(|by| Dead { rule, by, text: None });
        whole.or_else(|| dead_text(rules, rule))
    })
}

/// A listed text for which an earlier rule takes every cartridge.
fn dead_text(rules: &[Rule], rule: usize) -> Option<Dead> {
    let when = rules[rule].when.as_ref()?;
    for (place, (field, wanted)) in when.fields.iter().enumerate() {
        let FieldMatch::OneOf(texts) = wanted else { continue };
        for text in texts.iter().filter(|_| texts.len() > 1) {
            let mut single = rules[rule].clone();
            if let Some(when) = &mut single.when {
                when.fields[place].1 = FieldMatch::OneOf(vec![text.clone()]);
            }
            if let Some(by) = (0..rule).find(|by| takes_all(&rules[*by], &single)) {
                return Some(Dead { rule, by, text: Some((*field, text.clone())) });
            }
        }
    }
    None
}

/// Whether the earlier rule fits every cartridge that the later one fits.
fn takes_all(earlier: &Rule, later: &Rule) -> bool {
    let nothing = Conditions::default();
    let later_when = later.when.as_ref().unwrap_or(&nothing);
    let when = earlier.when.as_ref().is_none_or(|when| implies(later_when, when));
    let unless = earlier.unless.as_ref().is_none_or(|unless| excludes(later_when, unless));
    // What the later rule's own `unless` leaves out only makes it smaller.
    let same_unless = earlier.unless.is_some() && earlier.unless == later.unless;
    when && (unless || same_unless)
}

/// Whether everything that fits `left` fits `right`.
fn implies(left: &Conditions, right: &Conditions) -> bool {
    let field = |(index, wanted): &(usize, FieldMatch)| {
        left.fields.iter().any(|(other, given)| other == index && field_implies(given, wanted))
    };
    let port = |(index, wanted): &(usize, PortMatch)| {
        left.ports.iter().any(|(other, given)| other == index && port_implies(given, wanted))
    };
    right.fields.iter().all(field) && right.ports.iter().all(port)
}

fn field_implies(left: &FieldMatch, right: &FieldMatch) -> bool {
    match (left, right) {
        (FieldMatch::OneOf(texts), right) => texts.iter().all(|text| fits(text, right) == Some(true)),
        (FieldMatch::Numbers(left), FieldMatch::Numbers(right)) => {
            right.start() <= left.start() && left.end() <= right.end()
        }
        (left, right) => left == right || starts_imply(left, right),
    }
}

/// `starts: AW-2` implies `starts: AW-`.
fn starts_imply(left: &FieldMatch, right: &FieldMatch) -> bool {
    let FieldMatch::Part { starts: Some(left), .. } = left else { return false };
    matches!(right, FieldMatch::Part { starts: Some(right), ends: None, contains: None } if left.starts_with(right))
}

fn port_implies(left: &PortMatch, right: &PortMatch) -> bool {
    match (left, right) {
        (PortMatch::OneOf(left), PortMatch::OneOf(right)) => left.iter().all(|value| right.contains(value)),
        (PortMatch::OneOf(left), PortMatch::Bits { mask, is }) => left.iter().all(|value| value & mask == *is),
        (left, right) => left == right,
    }
}

/// Whether nothing that fits `left` fits `right`: one field of it cannot.
fn excludes(left: &Conditions, right: &Conditions) -> bool {
    right.fields.iter().any(|(index, wanted)| {
        let impossible = |given: &FieldMatch| match given {
            FieldMatch::OneOf(texts) => texts.iter().all(|text| fits(text, wanted) == Some(false)),
            FieldMatch::Part { .. } | FieldMatch::Numbers(_) | FieldMatch::Checksum(_) => false,
        };
        left.fields.iter().any(|(other, given)| other == index && impossible(given))
    })
}

/// Whether a field's text fits; `None` where that depends on its padding.
fn fits(text: &[u8], wanted: &FieldMatch) -> Option<bool> {
    match wanted {
        FieldMatch::OneOf(texts) => Some(texts.iter().any(|other| other == text)),
        FieldMatch::Part { starts: Some(starts), ends: None, contains: None } => Some(text.starts_with(starts)),
        FieldMatch::Part { starts: None, ends: None, contains: Some(part) } => {
            Some(text.windows(part.len().max(1)).any(|window| window == &part[..]))
        }
        FieldMatch::Numbers(range) => {
            Some(text.len() <= 4 && range.contains(&text.iter().fold(0, |value, byte| value << 8 | u32::from(*byte))))
        }
        FieldMatch::Part { .. } | FieldMatch::Checksum(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    fn one_of(texts: &[&str]) -> FieldMatch {
        FieldMatch::OneOf(texts.iter().map(|text| text.as_bytes().to_vec()).collect())
    }

    fn starts(text: &str) -> FieldMatch {
        FieldMatch::Part { starts: Some(text.into()), ends: None, contains: None }
    }

    fn on(field: usize, wanted: FieldMatch) -> Option<Conditions> {
        Some(Conditions { fields: vec![(field, wanted)], ports: Vec::new() })
    }

    fn when(conditions: Option<Conditions>) -> Rule {
        Rule { when: conditions, unless: None, branch: 0 }
    }

    fn unless(conditions: Option<Conditions>) -> Rule {
        Rule { when: None, unless: conditions, branch: 0 }
    }

    fn dead(rules: &[Rule]) -> Option<(usize, usize)> {
        first(rules).map(|dead| (dead.rule, dead.by))
    }

    #[test]
    fn finds_what_earlier_rules_take() {
        assert_eq!(dead(&[when(None), when(on(0, one_of(&["AW"])))]), Some((1, 0)));
        assert_eq!(dead(&[when(on(0, starts("A"))), when(on(0, one_of(&["AW"])))]), Some((1, 0)));
        assert_eq!(dead(&[when(on(0, starts("A"))), when(on(0, starts("AW")))]), Some((1, 0)));
        assert_eq!(dead(&[when(on(0, one_of(&["A", "B"]))), when(on(0, one_of(&["B", "C"])))]), Some((1, 0)));
        assert_eq!(dead(&[unless(on(0, one_of(&["A"]))), when(on(0, one_of(&["B"])))]), Some((1, 0)));
    }

    #[test]
    fn leaves_alone_what_can_be_reached() {
        assert_eq!(dead(&[when(on(0, one_of(&["AW"]))), when(on(0, starts("A"))), when(None)]), None);
        assert_eq!(dead(&[unless(on(0, one_of(&["A"]))), when(on(0, one_of(&["A"]))), when(None)]), None);
        assert_eq!(dead(&[when(on(0, starts("A"))), when(on(1, one_of(&["AW"])))]), None);
    }
}
