//! The question: slots that are taken, and drivers to be addressed.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    calc::document::{Refused, named, within},
    model::part::AddressBy,
    plan::address::{SLOTS, Taken, UNIVERSES},
};

/// The most drivers of one document.
const MOST_DRIVERS: usize = 1_000;

/// Where a driver starts now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AddressSetting {
    /// Universe, 1 where it is left out.
    #[serde(default = "first")]
    #[schema(minimum = 1, maximum = 63_999)]
    pub universe: u16,
    /// Start address.
    #[schema(minimum = 1, maximum = 512)]
    pub slot: u16,
}

const fn first() -> u16 {
    1
}

/// A driver.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AddressesDriver {
    /// What it is called, no two alike.
    pub name: String,
    /// Slots that it takes.
    #[schema(minimum = 1, maximum = 512)]
    pub slots: u16,
    /// How its address is set; a menu where it is left out.
    #[serde(default = "menu")]
    pub address_by: AddressBy,
    /// Where it starts now; kept if it can be.
    #[serde(default)]
    pub set_to: Option<AddressSetting>,
    /// The driver whose address it follows, if it is to do the same.
    #[serde(default)]
    pub follows: Option<String>,
}

const fn menu() -> AddressBy {
    AddressBy::Menu
}

/// Drivers to be addressed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AddressesBody {
    /// Slots that other lights use, such as `1-96, 200`; `2:1-96` for those of universe 2.
    #[serde(default)]
    pub slots_taken: String,
    /// Drivers, in the order in which they are served.
    #[schema(min_items = 1, max_items = 1_000)]
    pub drivers: Vec<AddressesDriver>,
}

impl AddressesBody {
    /// Checks every field, and gives back what is taken, and for each driver the place of the one
    /// whose address it has.
    pub(super) fn check(&self) -> Result<(Taken, Vec<usize>), Refused> {
        let taken = Taken::parse(&self.slots_taken)
            .map_err(|why| Refused::at("/slots_taken", why.to_string()))?;
        let count = self.drivers.len();
        if !(1..=MOST_DRIVERS).contains(&count) {
            let detail = format!("Send 1 to {MOST_DRIVERS} of them; these are {count}.");
            return Err(Refused::at("/drivers", detail));
        }
        let mut leaders = Vec::with_capacity(count);
        for (at, driver) in self.drivers.iter().enumerate() {
            leaders.push(self.driver(at, driver)?);
        }
        Ok((taken, leaders))
    }

    fn driver(&self, at: usize, driver: &AddressesDriver) -> Result<usize, Refused> {
        let pointer = |field: &str| format!("/drivers/{at}/{field}");
        named(|| pointer("name"), &driver.name)?;
        let place = |name: &str| self.drivers.iter().position(|other| other.name == name);
        if place(&driver.name) != Some(at) {
            let detail = format!("“{}” is there before: name each driver once.", driver.name);
            return Err(Refused::at(pointer("name"), detail));
        }
        within(|| pointer("slots"), driver.slots, 1, SLOTS)?;
        if let Some(set) = driver.set_to {
            within(|| pointer("set_to/universe"), set.universe, 1, UNIVERSES)?;
            within(|| pointer("set_to/slot"), set.slot, 1, SLOTS)?;
        }
        let Some(follows) = &driver.follows else {
            return Ok(at);
        };
        let wrong = |detail: String| Err(Refused::at(pointer("follows"), detail));
        let Some(leader) = place(follows) else {
            return wrong(format!("There is no driver “{follows}”."));
        };
        let other = &self.drivers[leader];
        if other.follows.is_some() {
            return wrong(format!(
                "“{follows}” follows another one: let it follow that."
            ));
        }
        if other.slots != driver.slots {
            return wrong(format!(
                "“{follows}” takes {} slots and this one {}: only alike drivers can follow one \
                 address.",
                other.slots, driver.slots
            ));
        }
        Ok(leader)
    }
}
