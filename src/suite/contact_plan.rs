//! From the `contacts` of a recipe to faulty lines, each given once.

use super::recipe_file::{ContactSpec, FlawWord};
use super::scalar::Number;
use crate::cartridge::{AddressFault, Contacts, DataFault, Flaw};

/// The contacts of a cartridge. An error says which entry is wrong, and which key of it.
pub fn contacts(specs: &[ContactSpec]) -> Result<Contacts, (usize, String)> {
    let mut contacts = Contacts::default();
    for (index, spec) in specs.iter().enumerate() {
        let is = match spec.is {
            FlawWord::High => Flaw::High,
            FlawWord::Low => Flaw::Low,
            FlawWord::Open => Flaw::Open,
            FlawWord::Flickering => Flaw::Flickering,
        };
        match (spec.data, spec.address) {
            (Some(Number(line @ 0..=15)), None) => {
                if contacts.data.iter().any(|fault| u32::from(fault.line) == line) {
                    return Err((index, format!("the data line {line} is given twice")));
                }
                contacts.data.push(DataFault { line: line as u8, is });
            }
            (Some(Number(line)), None) => return Err((index, format!("there is no data line {line}; D0 to D15 are"))),
            (None, Some(_)) if is == Flaw::Open => {
                return Err((
                    index,
                    "an address line cannot be `open`: say what the cartridge sees, high or low".to_owned(),
                ));
            }
            (None, Some(Number(line @ 1..=23))) => {
                if contacts.address.iter().any(|fault| u32::from(fault.line) == line) {
                    return Err((index, format!("the address line {line} is given twice")));
                }
                contacts.address.push(AddressFault { line: line as u8, is });
            }
            (None, Some(Number(line))) => {
                return Err((index, format!("there is no address line {line}; A1 to A23 are")));
            }
            _ => return Err((index, "give either `data` or `address`, a line number".to_owned())),
        }
    }
    Ok(contacts)
}
