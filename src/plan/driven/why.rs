//! Why a unit in use is this one, in words.

use super::{Answer, Bought, Origin, UsedDriver};
use crate::plan::fit;

/// Which list of [`Answer::why`] a unit is in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Driver,
    Supply,
}

impl Answer {
    /// Why a driver in use is this one, as a sentence; `loads` names what is fed, such as "bars".
    pub fn driver_why(&self, driver: &UsedDriver, loads: &str) -> String {
        self.words(driver.origin, Side::Driver, driver.room, loads)
    }

    /// The same for a supply in use, by its place in [`Answer::supplies`].
    pub fn supply_why(&self, supply: usize, loads: &str) -> String {
        let origin = self.supplies.get(supply).map(|it| it.origin);
        let mut drivers = self.drivers.iter();
        let room = drivers
            .find(|it| it.feeds.contains(&Some(supply)))
            .map_or(0, |driver| driver.room);
        origin.map_or_else(String::new, |origin| {
            self.words(origin, Side::Supply, room, loads)
        })
    }

    fn words(&self, origin: Origin, side: Side, room: usize, loads: &str) -> String {
        let bought = self.why.get(room).and_then(|why| why[side as usize]);
        let (one, many) = match side {
            Side::Driver => ("driver", "drivers"),
            Side::Supply => ("supply", "supplies"),
        };
        match (origin, bought) {
            (Origin::Mounted, _) => "It stays mounted on its frame.".to_owned(),
            (Origin::Shelf, _) => "It is in the house and free: nothing to buy.".to_owned(),
            (Origin::Bought, None | Some(Bought::NoneThere)) => {
                format!("Bought, since no free {one} in the house suits these {loads}.")
            }
            (Origin::Bought, Some(Bought::Places { wanted, there })) => {
                let what = match side {
                    Side::Driver => format!("have {there} outputs for these {loads}"),
                    Side::Supply => format!("have terminals for {there} outputs"),
                };
                format!("Bought, since the free {many} in the house {what}; {wanted} are needed.")
            }
            (
                Origin::Bought,
                Some(Bought::Large {
                    from_ma,
                    wanted,
                    there,
                }),
            ) => format!(
                "Bought, since {wanted} {loads} take {} or more each, and the free {many} in the \
                 house carry {there} of them.",
                fit::amps(from_ma)
            ),
            (
                Origin::Bought,
                Some(Bought::Current {
                    wanted_ma,
                    there_ma,
                }),
            ) => format!(
                "Bought, since the {loads} take {} together, and the free {many} in the house carry \
                 {}{}: {}.",
                fit::amps(wanted_ma),
                fit::amps(there_ma),
                match side {
                    Side::Driver => " at most, were they fed by the largest supply there is",
                    Side::Supply => " at their derated rating",
                },
                fit::margin(there_ma, wanted_ma)
            ),
            (Origin::Bought, Some(Bought::Together)) => format!(
                "Bought, since the free {many} in the house would do by each limit, but not by all \
                 at once."
            ),
        }
    }
}
