//! Which share of the work is done here: `--part 3/8` of a matrix of machines.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The most parts.
const MOST_PARTS: u32 = 4096;

/// One of several parts, from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Share {
    /// Which one, 1 to `of`.
    pub part: u32,
    /// How many there are.
    pub of: u32,
}

impl Default for Share {
    fn default() -> Self {
        Self { part: 1, of: 1 }
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.of)
    }
}

impl FromStr for Share {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers = text.split_once('/').and_then(|(part, of)| Some((part.parse().ok()?, of.parse().ok()?)));
        match numbers {
            Some((part, of)) if (1..=of).contains(&part) && of <= MOST_PARTS => Ok(Self { part, of }),
            _ => Err(format!("expected a part like 3/8, of {MOST_PARTS} parts at most")),
        }
    }
}

impl TryFrom<String> for Share {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Share> for String {
    fn from(share: Share) -> Self {
        share.to_string()
    }
}
