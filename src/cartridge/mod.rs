//! What is plugged into the socket: a synthetic image, a dump, or nothing.
//!
//! [`Image`] is sparse (a fill and a few spans), so a 4 MiB cartridge costs a few hundred bytes. [`Layout`] says where
//! the fields of a header stand, [`Recipe`] turns field values into an image, and [`Contacts`] spoils what the socket
//! passes on. How an image's offsets show on the bus is the business of the room `board`.

mod contacts;
mod image;
mod layout;
mod recipe;

pub use contacts::{AddressFault, Contacts, DataFault, Flaw};
pub use image::{Fill, Image, LARGEST_IMAGE, Segment, Shown};
pub use layout::{Field, Holds, Layout, Pad};
pub use recipe::{Checksum, ErrorPlace, Recipe, RecipeError, Value};

use std::sync::Arc;

/// What the socket holds during one run.
#[derive(Clone, Debug, Default)]
pub struct Attached {
    /// The image, or nothing at all.
    pub image: Option<Arc<Image>>,
    /// Contact faults between socket and cartridge.
    pub contacts: Contacts,
}

impl Attached {
    /// An empty socket.
    pub fn nothing() -> Self {
        Self::default()
    }

    /// A cartridge with good contacts.
    pub fn image(image: Image) -> Self {
        Self { image: Some(Arc::new(image)), contacts: Contacts::default() }
    }
}
