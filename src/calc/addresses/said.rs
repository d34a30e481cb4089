//! The answer: start addresses, switches, and the data lines.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asked::AddressesBody;
use crate::{
    calc::document::Refused,
    model::part::AddressBy,
    plan::{
        address::{self, Device, Taken, switches_on},
        data::LINE_LOADS,
        outcome::SlotRef,
    },
};

/// A driver with its address.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AddressedDriver {
    /// Its name.
    pub name: String,
    /// Universe, from 1.
    pub universe: u16,
    /// Start address.
    pub start: u16,
    /// Its last slot.
    pub last: u16,
    /// Whether it is where it was set to.
    pub kept: bool,
    /// What nine address switches show: the start, or one less. `None` where it has none.
    pub switches_show: Option<u16>,
    /// Switches that are on, switch k being worth 2^(k−1).
    pub switches_on: Vec<u16>,
}

/// The data line of a universe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AddressesLine {
    /// Universe, from 1.
    pub universe: u16,
    /// Drivers on it, a unit load each.
    pub unit_loads: u32,
    /// Lines that these need, each with a terminator at its end.
    pub lines: u32,
    /// Whether a splitter is needed.
    pub splitter: bool,
}

/// Addresses given out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AddressesAnswer {
    /// Driver by driver.
    pub drivers: Vec<AddressedDriver>,
    /// Universe by universe.
    pub data_lines: Vec<AddressesLine>,
    /// Notes, a sentence each.
    pub notes: Vec<String>,
}

impl AddressesAnswer {
    pub(super) fn new(
        asked: &AddressesBody,
        taken: &Taken,
        leaders: &[usize],
    ) -> Result<Self, Refused> {
        let own: Vec<usize> = (0..leaders.len())
            .filter(|at| leaders[*at] == *at)
            .collect();
        let devices: Vec<Device> = own.iter().map(|&at| device(asked, leaders, at)).collect();
        let given = address::give(taken, &devices);
        let starts: BTreeMap<usize, Option<SlotRef>> = own.into_iter().zip(given).collect();
        let mut drivers = Vec::new();
        let mut notes = Vec::new();
        let mut loads: BTreeMap<u16, u32> = BTreeMap::new();
        for (at, driver) in asked.drivers.iter().enumerate() {
            let Some(start) = starts.get(&leaders[at]).copied().flatten() else {
                let detail = format!(
                    "No run of {} slots is free for it: free some in slots_taken.",
                    driver.slots
                );
                return Err(Refused::at(format!("/drivers/{at}/slots"), detail));
            };
            *loads.entry(start.universe).or_insert(0) += 1;
            let shows = match driver.address_by {
                AddressBy::Switches => Some(start.slot),
                AddressBy::SwitchesLessOne => Some(start.slot - 1),
                _ => None,
            };
            let set = driver.set_to.map(|set| (set.universe, set.slot));
            let kept = set == Some((start.universe, start.slot));
            if set.is_some() && !kept {
                notes.push(format!(
                    "{} can't keep the address that it is set to: set it anew.",
                    driver.name
                ));
            }
            drivers.push(AddressedDriver {
                name: driver.name.clone(),
                universe: start.universe,
                start: start.slot,
                last: start.slot + (driver.slots - 1),
                kept,
                switches_show: shows,
                switches_on: shows.and_then(switches_on).unwrap_or_default(),
            });
        }
        Ok(Self {
            drivers,
            data_lines: loads
                .into_iter()
                .map(|(universe, unit_loads)| AddressesLine {
                    universe,
                    unit_loads,
                    lines: unit_loads.div_ceil(LINE_LOADS),
                    splitter: unit_loads > LINE_LOADS,
                })
                .collect(),
            notes,
        })
    }
}

/// A driver with those that follow it: where one of them has nine switches, all must be within
/// their reach.
fn device(asked: &AddressesBody, leaders: &[usize], at: usize) -> Device {
    let driver = &asked.drivers[at];
    let group = asked.drivers.iter().zip(leaders);
    let switches = group
        .filter(|(_, leader)| **leader == at)
        .any(|(driver, _)| driver.address_by == AddressBy::Switches);
    Device {
        slots: driver.slots,
        by: if switches {
            AddressBy::Switches
        } else {
            driver.address_by
        },
        set_to: driver.set_to.map(|set| SlotRef {
            universe: set.universe,
            slot: set.slot,
        }),
    }
}
