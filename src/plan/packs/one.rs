//! One want by itself: its cheapest mix of offers, and every mix that the money allows.

use std::collections::HashMap;

use super::{Offer, Steps, Want};

/// A mix of offers that covers a want.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Mix {
    /// Packs, by the place of the offer.
    pub packs: Vec<u64>,
    /// What they cost.
    pub cost: i64,
}

/// A set of suppliers, one bit each.
pub(super) type Mask = u64;

/// Whether a supplier is in a set.
pub(super) const fn has(mask: Mask, supplier: usize) -> bool {
    mask >> supplier & 1 == 1
}

struct Cover<'a> {
    want: &'a Want,
    /// Offers that may be used, the least price for its amount first.
    order: Vec<usize>,
    /// Whether more may be bought than is needed, to fill an order up.
    surplus: bool,
    /// Whether less than is needed will do: the rest is bought elsewhere.
    partly: bool,
    packs: Vec<u64>,
}

fn packs_for(remaining: u64, offer: &Offer) -> u64 {
    if remaining == 0 {
        0
    } else {
        remaining.div_ceil(offer.pack).max(offer.minimum_packs)
    }
}

fn cost(packs: u64, offer: &Offer) -> Option<i64> {
    i64::try_from(packs).ok()?.checked_mul(offer.price_minor)
}

impl<'a> Cover<'a> {
    fn new(want: &'a Want, suppliers: Mask, surplus: bool) -> Self {
        let mut order: Vec<usize> = (0..want.offers.len())
            .filter(|at| has(suppliers, want.offers[*at].supplier))
            .collect();
        let key = |at: &usize| {
            let offer = &want.offers[*at];
            (i128::from(offer.price_minor), i128::from(offer.pack), *at)
        };
        order.sort_by(|a, b| {
            let ((price, pack, first), (other_price, other_pack, second)) = (key(a), key(b));
            (price * other_pack)
                .cmp(&(other_price * pack))
                .then(other_pack.cmp(&pack))
                .then(first.cmp(&second))
        });
        Self {
            want,
            order,
            surplus,
            partly: false,
            packs: vec![0; want.offers.len()],
        }
    }

    /// The least that the remaining amount can cost at the offers from `at` on.
    fn least(&self, at: usize, remaining: u64) -> Option<i64> {
        if remaining == 0 || self.partly {
            return Some(0);
        }
        let offer = &self.want.offers[*self.order.get(at)?];
        let share = i128::from(remaining) * i128::from(offer.price_minor);
        let pack = i128::from(offer.pack);
        i64::try_from((share + pack - 1) / pack).ok()
    }

    /// Goes through the mixes that cost no more than `limit`, which `found` may lower.
    fn walk(
        &mut self,
        at: usize,
        remaining: u64,
        spent: i64,
        limit: &mut i64,
        steps: &mut Steps,
        found: &mut impl FnMut(&[u64], i64, u64, &mut i64),
    ) {
        if !steps.take() {
            return;
        }
        if at == self.order.len() {
            if remaining == 0 || self.partly {
                let bought: u64 = self
                    .order
                    .iter()
                    .map(|at| self.packs[*at].saturating_mul(self.want.offers[*at].pack))
                    .fold(0, u64::saturating_add);
                found(&self.packs, spent, bought, limit);
            }
            return;
        }
        let place = self.order[at];
        let offer = self.want.offers[place];
        let enough = packs_for(remaining, &offer);
        let mut most = enough;
        if self.surplus && offer.price_minor > 0 {
            let room = limit.saturating_sub(spent) / offer.price_minor;
            most = most.max(u64::try_from(room).unwrap_or(0));
        }
        // Fewer packs of the cheapest leave more to dearer ones: the bound only grows.
        for packs in (0..=most).rev() {
            if packs > 0 && packs < offer.minimum_packs {
                continue;
            }
            let Some(sum) = cost(packs, &offer).and_then(|cost| spent.checked_add(cost)) else {
                continue;
            };
            if packs > enough && sum > *limit {
                continue;
            }
            let rest = remaining.saturating_sub(packs.saturating_mul(offer.pack));
            let Some(bound) = self
                .least(at + 1, rest)
                .and_then(|least| sum.checked_add(least))
            else {
                break;
            };
            if bound > *limit {
                // Of a part only, fewer packs cost less.
                if packs <= enough && sum < bound && !self.partly {
                    break;
                }
                continue;
            }
            self.packs[place] = packs;
            self.walk(at + 1, rest, sum, limit, steps, found);
            if steps.used_up() {
                break;
            }
        }
        self.packs[place] = 0;
    }
}

/// The cheapest mix at some suppliers, the one that leaves least over among equals; `None` if they
/// do not sell it.
pub(super) fn least(want: &Want, suppliers: Mask, steps: &mut Steps) -> Option<Mix> {
    let mut cover = Cover::new(want, suppliers, false);
    let mut limit = i64::MAX;
    let mut best: Option<(u64, Mix)> = None;
    cover.walk(
        0,
        want.needed,
        0,
        &mut limit,
        steps,
        &mut |packs, cost, bought, limit| {
            let better = best
                .as_ref()
                .is_none_or(|(least, mix)| (cost, bought) < (mix.cost, *least));
            if better {
                let packs = packs.to_vec();
                best = Some((bought, Mix { packs, cost }));
                *limit = cost;
            }
        },
    );
    best.map(|(_, mix)| mix)
}

/// The cheapest single offer, the one that leaves least over among equals, then the first.
pub(super) fn single(want: &Want) -> Option<Mix> {
    let ways = want.offers.iter().enumerate().filter_map(|(at, offer)| {
        let packs = packs_for(want.needed, offer);
        let bought = packs.saturating_mul(offer.pack);
        Some((cost(packs, offer)?, bought, at, packs))
    });
    let (cost, _, at, packs) = ways.min()?;
    let mut mix = Mix {
        packs: vec![0; want.offers.len()],
        cost,
    };
    mix.packs[at] = packs;
    Some(mix)
}

/// The mixes at some suppliers that cost no more than `limit` and may help to fill up orders at
/// the `filled` ones: there any number of packs, more than is needed too; what is still to be
/// covered is bought for the least money at the others.
pub(super) fn fills(
    want: &Want,
    suppliers: Mask,
    filled: Mask,
    mut limit: i64,
    steps: &mut Steps,
) -> Vec<Mix> {
    let mut rests: HashMap<u64, Option<Mix>> = HashMap::new();
    let mut mixes = Vec::new();
    let mut cover = Cover::new(want, suppliers & filled, true);
    cover.partly = true;
    let mut some: Vec<(u64, Mix)> = Vec::new();
    cover.walk(
        0,
        want.needed,
        0,
        &mut limit,
        steps,
        &mut |packs, cost, bought, _| {
            let packs = packs.to_vec();
            some.push((bought, Mix { packs, cost }));
        },
    );
    for (bought, mut mix) in some {
        let needed = want.needed.saturating_sub(bought);
        if needed > 0 {
            let rest = rests.entry(needed).or_insert_with(|| {
                let offers = want.offers.clone();
                least(&Want { needed, offers }, suppliers & !filled, steps)
            });
            let Some(rest) = rest else {
                continue;
            };
            mix.cost = mix.cost.saturating_add(rest.cost);
            for (sum, more) in mix.packs.iter_mut().zip(&rest.packs) {
                *sum += more;
            }
        }
        if mix.cost <= limit {
            mixes.push(mix);
        }
    }
    mixes
}
