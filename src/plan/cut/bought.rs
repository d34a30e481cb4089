//! What matters less than money, one purchase at a time: once the least money is known, only a few
//! purchases cost exactly that.
//!
//! # Method
//! A linear program that may buy parts of rolls finds soldering far below what any plan needs. With the
//! rolls of one purchase it can't, so the question is asked once for each purchase of the least money
//! that holds enough by all weights known ([`super::purchase`]), each time with the best plan so far to
//! be beaten. Together the answers prove what each of them proves of its own purchase.

use super::{
    levels::{Done, Dual, Level},
    pattern::{Cost, Instance},
    purchase::{Cut, Purchases, offers},
};

/// With more purchases than this all are asked for at once.
const MOST_PURCHASES: usize = 12;

/// The same question once for each purchase of exactly so much money, those that hold most first;
/// `None` where there are too many, or nothing is bought.
pub(super) fn by_purchase<'a>(
    instance: &Instance,
    money: i64,
    weightings: impl Iterator<Item = (&'a [i64], &'a [i64])>,
    duals: &[(Level, Dual)],
) -> Option<Vec<Instance>> {
    let offers = offers(instance);
    if offers.is_empty() || offers.iter().any(|offer| offer.price <= 0) {
        return None;
    }
    let mut purchases = Purchases::new(offers.clone());
    for (weight, holds) in weightings {
        let need = (instance.demand.iter().zip(weight))
            .map(|(&many, &weight)| i128::from(many) * i128::from(weight))
            .sum();
        purchases.add(Cut::new(instance, 0, need, holds, &offers));
    }
    for (level, dual) in duals {
        if *level == Level::Money {
            let need = dual.weights.worth_of(&instance.demand);
            purchases.add(Cut::new(instance, 1, need, &dual.holds, &offers));
        }
    }
    let mut parts: Vec<Instance> = purchases
        .all_of(money.into(), MOST_PURCHASES)?
        .iter()
        .map(|many| {
            let mut part = instance.clone();
            for (offer, &many) in offers.iter().zip(many) {
                part.classes[offer.class].available = Some(many);
            }
            part
        })
        .collect();
    let held = |part: &Instance| -> i64 {
        let bought = part.classes.iter().filter(|of| of.price_minor.is_some());
        bought
            .map(|of| of.units * i64::from(of.available.unwrap_or(0)))
            .sum()
    };
    parts.sort_by_key(|part| std::cmp::Reverse(held(part)));
    (!parts.is_empty()).then_some(parts)
}

/// What was proven of one part, about the best plan there was then.
pub(super) struct PartDone {
    pub done: Vec<Done>,
    pub best: Cost,
}

/// What all parts together prove of the best plan of all.
pub(super) fn together(parts: &[PartDone], best: Cost) -> Vec<Done> {
    let mut alive: Vec<&PartDone> = parts.iter().collect();
    let mut all = Vec::new();
    for (at, level) in Level::ALL.into_iter().enumerate() {
        let value = level.of(best);
        // No plan of a part is below this; nothing is known where it did not come so far.
        let least = |part: &PartDone| match part.done.get(at) {
            Some(Done::Proven) => Some(level.of(part.best)),
            Some(Done::Bound(least)) => Some(*least),
            Some(Done::Open) | None => None,
        };
        // So far was not asked for.
        if alive.iter().all(|part| part.done.len() <= at) {
            break;
        }
        let lowest = alive
            .iter()
            .map(|part| least(part))
            .try_fold(value, |lowest, least| Some(lowest.min(least?)));
        match lowest {
            Some(lowest) if lowest >= value => all.push(Done::Proven),
            Some(lowest) => {
                all.push(Done::Bound(lowest));
                break;
            }
            None => {
                all.push(Done::Open);
                break;
            }
        }
        // Beaten parts hold nothing as good.
        alive.retain(|part| least(part) == Some(value));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cost(solder: i64, scrap: i64) -> Cost {
        Cost {
            solder,
            scrap,
            ..Cost::default()
        }
    }

    fn part(done: &[Done], solder: i64, scrap: i64) -> PartDone {
        PartDone {
            done: done.to_vec(),
            best: cost(solder, scrap),
        }
    }

    const P: Done = Done::Proven;

    #[test]
    fn what_every_part_proves_is_proven() {
        let all = [P; 6];
        let parts = [part(&all, 5, 9), part(&all, 5, 3)];
        assert_eq!(together(&parts, cost(5, 3)), all);
    }

    #[test]
    fn a_part_that_is_beaten_need_not_be_proven_any_further() {
        // No plan of the first is below 6, and the second has one of 5.
        let first = part(&[P, P, Done::Bound(6)], 8, 0);
        let parts = [first, part(&[P; 6], 5, 3)];
        assert_eq!(together(&parts, cost(5, 3)), [P; 6]);
    }

    #[test]
    fn a_part_that_may_be_as_good_leaves_what_matters_less_open() {
        let first = part(&[P, P, Done::Bound(5)], 8, 0);
        let parts = [first, part(&[P; 6], 5, 3)];
        assert_eq!(together(&parts, cost(5, 3)), [P, P, P, Done::Open]);
    }

    #[test]
    fn the_lowest_bound_is_the_bound_of_all() {
        let parts = [
            part(&[P, P, Done::Bound(3)], 8, 0),
            part(&[P, P, Done::Bound(4)], 5, 0),
            part(&[P, P, P, P], 5, 0),
        ];
        assert_eq!(together(&parts, cost(5, 0)), [P, P, Done::Bound(3)]);
    }

    #[test]
    fn what_no_part_was_asked_is_not_told() {
        let parts = [part(&[P, P, P], 5, 0), part(&[P, P, P], 5, 0)];
        assert_eq!(together(&parts, cost(5, 0)), [P, P, P]);
    }
}
