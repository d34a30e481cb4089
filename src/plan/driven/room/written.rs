//! What came out for a room in the question's words, and why something was bought.

use super::{Best, Cap, Room, Solved};
use crate::plan::driven::{
    Bought, Origin, Question, UsedDriver, UsedSupply,
    cover::{self, Asks, Row, What},
    share::{self, Planned},
};

/// By room: why drivers and why supplies are bought there, beside what the other rooms use.
pub(in crate::plan::driven) fn why(
    question: &Question,
    planned: &Planned,
) -> Vec<[Option<Bought>; 2]> {
    let all = (0..question.rooms()).map(|number| {
        let mut left = share::stock(question);
        let mut bought = [false; 2];
        // A supply belongs to the room of the drivers that it feeds.
        let mut own = vec![false; planned.units.supplies.len()];
        for driver in &planned.units.drivers {
            if driver.room == number {
                driver.feeds.iter().flatten().for_each(|&at| own[at] = true);
                bought[0] |= driver.origin == Origin::Bought;
            } else {
                take(&mut left[driver.kind]);
            }
        }
        for (supply, own) in planned.units.supplies.iter().zip(own) {
            if own {
                bought[1] |= supply.origin == Origin::Bought;
            } else {
                take(&mut left[question.drivers.len() + supply.kind]);
            }
        }
        let room = Room::new(question, number, &left);
        let out = |at: &&usize| question.loads[**at].room == number;
        let out = planned.unserved.iter().filter(out).count();
        let rows = Asks::of(&room).rows(out.saturating_sub(room.impossible.len()));
        let side =
            |supplies: bool| bought[usize::from(supplies)].then(|| room.why(&rows, supplies));
        [side(false), side(true)]
    });
    all.collect()
}

/// One less of what is mounted, or else on the shelf.
fn take(cap: &mut Cap) {
    if let Some(some) = cap[..2].iter_mut().find(|count| **count > 0) {
        *some -= 1;
    }
}

impl Room<'_> {
    /// Why what is there was not enough on one side.
    fn why(&self, rows: &[Row], supplies: bool) -> Bought {
        let drivers = self.drivers.len();
        let there = self.there(&[Origin::Mounted, Origin::Shelf]);
        let side = if supplies {
            drivers..self.caps.len()
        } else {
            0..drivers
        };
        if there[side.clone()].iter().all(|count| *count == 0) {
            return Bought::NoneThere;
        }
        let mut short: Vec<(&Row, i64)> = rows
            .iter()
            .filter(|row| row.gives[side.clone()].iter().any(|gives| *gives > 0))
            .map(|row| (row, cover::given(row, &there)))
            .filter(|(row, there)| *there < row.need)
            .collect();
        if short
            .iter()
            .any(|(row, there)| row.what == What::Places && *there == 0)
        {
            return Bought::NoneThere;
        }
        short.sort_by_key(|(row, there)| {
            let order = match row.what {
                What::Places => 0,
                What::Current => 1,
                What::Terminals => 2,
                What::Large(_) => 3,
            };
            (order, there - row.need)
        });
        match short.first() {
            None => Bought::Together,
            Some((row, there)) => match row.what {
                What::Places | What::Terminals => Bought::Places {
                    wanted: row.need,
                    there: *there,
                },
                What::Current => Bought::Current {
                    wanted_ma: row.need,
                    there_ma: *there,
                },
                What::Large(from_ma) => Bought::Large {
                    from_ma,
                    wanted: row.need,
                    there: *there,
                },
            },
        }
    }

    pub(super) fn write(&self, rows: &[Row], best: Best) -> Solved {
        let Best { packed, bounds } = best;
        let values = self.values(&packed);
        let question = self.question;
        let mut uses = vec![[0; 3]; question.drivers.len() + question.supplies.len()];
        let mut origin_of = |local: usize, global: usize| {
            for origin in [Origin::Mounted, Origin::Shelf, Origin::Bought] {
                if uses[global][origin as usize] < self.caps[local][origin as usize] {
                    uses[global][origin as usize] += 1;
                    return origin;
                }
            }
            Origin::Bought
        };
        let global = |load: &usize| self.ids[*load];
        let mut drivers: Vec<UsedDriver> = packed
            .drivers
            .iter()
            .map(|driver| {
                let mut outputs = driver.outputs.clone();
                for output in &mut outputs {
                    output.loads = output.loads.iter().map(global).collect();
                }
                outputs.sort_by(|a, b| (a.inlet, &a.loads).cmp(&(b.inlet, &b.loads)));
                UsedDriver {
                    kind: self.drivers[driver.kind],
                    origin: Origin::Bought,
                    room: self.number,
                    outputs,
                    feeds: driver.feeds.clone(),
                }
            })
            .collect();
        for driver in &mut drivers {
            self.in_order(driver);
        }
        drivers.sort_by_key(|driver| driver.outputs.iter().flat_map(|it| it.loads.clone()).min());
        for driver in &mut drivers {
            let local = self.drivers.iter().position(|it| *it == driver.kind);
            driver.origin = origin_of(local.unwrap_or(0), driver.kind);
        }
        let mut order: Vec<usize> = Vec::new();
        for driver in &mut drivers {
            for feed in driver.feeds.iter_mut().flatten() {
                let place = order.iter().position(|it| it == feed).unwrap_or_else(|| {
                    order.push(*feed);
                    order.len() - 1
                });
                *feed = place;
            }
        }
        let supplies: Vec<UsedSupply> = order
            .iter()
            .map(|&at| {
                let (kind, load_ma) = packed.supplies[at];
                let global = self.supplies[kind];
                UsedSupply {
                    kind: global,
                    origin: origin_of(self.drivers.len() + kind, question.drivers.len() + global),
                    load_ma,
                }
            })
            .collect();
        let bought = |any: bool, side: bool| any.then(|| self.why(rows, side));
        let why = [
            bought(drivers.iter().any(|it| it.origin == Origin::Bought), false),
            bought(supplies.iter().any(|it| it.origin == Origin::Bought), true),
        ];
        let mut unserved: Vec<usize> = packed.left.iter().map(global).collect();
        unserved.extend(&self.impossible);
        unserved.sort_unstable();
        Solved {
            drivers,
            supplies,
            unserved,
            values,
            bounds,
            why,
            uses,
        }
    }

    /// Inlets that feed as many outputs trade places, so that loads stand in their order.
    fn in_order(&self, driver: &mut UsedDriver) {
        let sizes = &self.question.drivers[driver.kind].inlets;
        let first = |driver: &UsedDriver, inlet: usize| {
            let own = driver.outputs.iter().filter(|output| output.inlet == inlet);
            own.flat_map(|output| output.loads.iter().copied())
                .min()
                .unwrap_or(usize::MAX)
        };
        for one in 0..sizes.len() {
            let least = (one..sizes.len())
                .filter(|&other| sizes[other] == sizes[one])
                .min_by_key(|&other| (first(driver, other), other));
            let Some(other) = least.filter(|other| *other != one) else {
                continue;
            };
            driver.feeds.swap(one, other);
            for output in &mut driver.outputs {
                if output.inlet == one {
                    output.inlet = other;
                } else if output.inlet == other {
                    output.inlet = one;
                }
            }
        }
        driver
            .outputs
            .sort_by(|a, b| (a.inlet, &a.loads).cmp(&(b.inlet, &b.loads)));
    }
}
