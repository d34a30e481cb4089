//! An order from one supplier, and what came of it.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    id::{DesignId, OfferId, PartId, PurchaseId, PurchaseLineId, SupplierId},
    text::{Note, words},
};
use crate::units::{Date, Money};

words! {
    /// How far an order is.
    PurchaseState {
        /// A list to buy from, not yet ordered.
        List = "list", "to order";
        /// Ordered, to be expected.
        Ordered = "ordered", "ordered";
        /// Everything came, or will not come.
        Closed = "closed", "closed";
        /// Not ordered after all.
        Cancelled = "cancelled", "cancelled";
    }
}

/// A set that a line is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Share {
    /// Which set.
    pub design: DesignId,
    /// How much of the line it needs: to be held against the other sets of the line only.
    #[schema(minimum = 1)]
    pub amount: i64,
}

/// One line of an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PurchaseLine {
    /// Its id.
    pub id: PurchaseLineId,
    /// What.
    pub part: PartId,
    /// Its name.
    pub part_name: String,
    /// From which offer.
    pub offer: Option<OfferId>,
    /// For which sets, by id; empty if for none in particular.
    pub shares: Vec<Share>,
    /// Packs, rolls or bars ordered.
    pub packs: i64,
    /// Count in one, or its length in micrometres.
    pub pack_amount: i64,
    /// Price of one.
    pub price_minor: Money,
    /// Packs that came and are in stock.
    pub received_packs: i64,
    /// Packs that were wrong or faulty, or will not come.
    pub refused_packs: i64,
    /// What was wrong.
    pub note: Note,
}

impl PurchaseLine {
    /// Packs still to come.
    pub const fn open_packs(&self) -> i64 {
        self.packs - self.received_packs - self.refused_packs
    }

    /// Whether some of it has come, or will not, and some is still to come.
    pub const fn came_short(&self) -> bool {
        let open = self.open_packs();
        open > 0 && open < self.packs
    }

    /// How many pieces so many packs hold, of what is counted by the piece.
    pub const fn pieces(&self, packs: i64) -> i64 {
        packs.saturating_mul(self.pack_amount)
    }

    /// Whether it is for this set, alone or with others.
    pub fn is_for(&self, design: DesignId) -> bool {
        self.shares.iter().any(|share| share.design == design)
    }

    /// The set that it is for, where it is for one only.
    pub fn only_for(&self) -> Option<DesignId> {
        match self.shares.as_slice() {
            [share] => Some(share.design),
            _ => None,
        }
    }

    /// What falls on one of its sets of a sum that is spent on it, by how much each needs. What does not
    /// divide goes by the smallest coin to those that were cut most, of like ones to the older set: all
    /// shares sum to the sum. `None` for a set that it is not for.
    pub fn share_of(&self, design: DesignId, sum: Money) -> Option<Money> {
        let at = self.shares.iter().position(|it| it.design == design)?;
        let sum = i128::from(sum.get());
        let needed = |share: &Share| i128::from(share.amount.max(1));
        let all: i128 = self.shares.iter().map(needed).sum();
        let rest = |share: &Share| (sum * needed(share)).rem_euclid(all);
        let whole = |share: &Share| (sum * needed(share)).div_euclid(all);
        let coins = sum - self.shares.iter().map(whole).sum::<i128>();
        let own = &self.shares[at];
        let before = |other: &&Share| {
            (std::cmp::Reverse(rest(other)), other.design)
                < (std::cmp::Reverse(rest(own)), own.design)
        };
        let turn = self.shares.iter().filter(before).count();
        let coin = i128::from(i128::try_from(turn).is_ok_and(|turn| turn < coins));
        Money::new(i64::try_from(whole(own) + coin).ok()?).ok()
    }

    /// What the line costs.
    pub fn cost(&self) -> Money {
        self.price_minor
            .times(u64::try_from(self.packs).unwrap_or(0))
            .unwrap_or(Money::ZERO)
    }
}

/// An order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Purchase {
    /// Its id.
    pub id: PurchaseId,
    /// From whom.
    pub supplier: SupplierId,
    /// Their name.
    pub supplier_name: String,
    /// How far it is.
    pub state: PurchaseState,
    /// The day it was ordered.
    #[schema(value_type = Option<String>, format = Date)]
    pub ordered_on: Option<Date>,
    /// The day it is expected.
    #[schema(value_type = Option<String>, format = Date)]
    pub expected_on: Option<Date>,
    /// Delivery charge.
    pub delivery_minor: Money,
    /// Paid so far.
    pub paid_minor: Money,
    /// Notes.
    pub note: Note,
    /// Lines.
    pub lines: Vec<PurchaseLine>,
    /// Raised by each change.
    pub version: i64,
}

impl Purchase {
    /// The goods without delivery.
    pub fn goods(&self) -> Money {
        Money::sum(self.lines.iter().map(PurchaseLine::cost)).unwrap_or(Money::ZERO)
    }

    /// Goods and delivery.
    pub fn total(&self) -> Money {
        self.goods()
            .checked_add(self.delivery_minor)
            .unwrap_or(Money::ZERO)
    }

    /// Whether something is still to come.
    pub fn open(&self) -> bool {
        self.lines.iter().any(|line| line.open_packs() > 0)
    }

    /// How many of its lines are in, while others are still to come: `16 of 17 in`.
    pub fn partly_in(&self) -> Option<String> {
        let all = self.lines.len();
        let settled = self.lines.iter().filter(|line| line.open_packs() == 0);
        let came = settled.filter(|line| line.received_packs > 0).count();
        let waits = self.state == PurchaseState::Ordered && self.open();
        (waits && came > 0).then(|| format!("{came} of {all} in"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pack_of_ten_is_ten_pieces_and_waits_as_one_pack() {
        let line = PurchaseLine {
            id: PurchaseLineId(1),
            part: PartId(1),
            part_name: "Lead three-pin, male".to_owned(),
            offer: None,
            shares: Vec::new(),
            packs: 3,
            pack_amount: 10,
            price_minor: Money::ZERO,
            received_packs: 1,
            refused_packs: 0,
            note: Note::default(),
        };
        assert_eq!(line.pieces(1), 10);
        assert_eq!(line.open_packs(), 2);
        assert!(line.came_short());
    }

    #[test]
    fn sets_share_a_line_by_what_they_need_to_the_last_coin() {
        let share = |id, amount| Share {
            design: DesignId(id),
            amount,
        };
        let mut line = PurchaseLine {
            id: PurchaseLineId(1),
            part: PartId(1),
            part_name: "Lead three-pin, male".to_owned(),
            offer: None,
            shares: vec![share(4, 1), share(7, 1), share(9, 1)],
            packs: 1,
            pack_amount: 10,
            price_minor: Money::ZERO,
            received_packs: 0,
            refused_packs: 0,
            note: Note::default(),
        };
        let shared = |line: &PurchaseLine, sum: i64| -> Vec<i64> {
            let of = |share: &Share| line.share_of(share.design, Money::new(sum).unwrap());
            let of = line.shares.iter().map(|share| of(share).unwrap().get());
            of.collect()
        };
        // Of like ones the older sets pay the odd coins.
        assert_eq!(shared(&line, 1000), [334, 333, 333]);
        assert_eq!(shared(&line, 1001), [334, 334, 333]);
        assert_eq!(shared(&line, 0), [0, 0, 0]);
        assert_eq!(line.share_of(DesignId(5), Money::ZERO), None);
        assert_eq!(line.only_for(), None);
        line.shares = vec![share(4, 1), share(7, 2)];
        // 3.33 and 6.67 hundredths: who was cut most gets the coin.
        assert_eq!(shared(&line, 1000), [333, 667]);
        for sum in 0..200 {
            assert_eq!(shared(&line, sum).iter().sum::<i64>(), sum);
        }
        line.shares = vec![share(7, 3)];
        assert_eq!(shared(&line, 1999), [1999]);
        assert_eq!(line.only_for(), Some(DesignId(7)));
        assert!(line.is_for(DesignId(7)) && !line.is_for(DesignId(4)));
    }

    #[test]
    fn an_order_says_how_much_of_it_is_in_while_it_waits_for_the_rest() {
        let line = |packs, received_packs, refused_packs| PurchaseLine {
            id: PurchaseLineId(1),
            part: PartId(1),
            part_name: "Lead three-pin, male".to_owned(),
            offer: None,
            shares: Vec::new(),
            packs,
            pack_amount: 1,
            price_minor: Money::ZERO,
            received_packs,
            refused_packs,
            note: Note::default(),
        };
        let mut order = Purchase {
            id: PurchaseId(1),
            supplier: SupplierId(1),
            supplier_name: "Harbour Lights".to_owned(),
            state: PurchaseState::Ordered,
            ordered_on: None,
            expected_on: None,
            delivery_minor: Money::ZERO,
            paid_minor: Money::ZERO,
            note: Note::default(),
            lines: vec![line(2, 0, 0), line(2, 1, 0)],
            version: 1,
        };
        assert_eq!(order.partly_in(), None);
        // A line is in once nothing more of it is to come; one that was sent back whole is not.
        order
            .lines
            .extend([line(2, 1, 1), line(3, 3, 0), line(1, 0, 1)]);
        assert_eq!(order.partly_in().as_deref(), Some("2 of 5 in"));
        order.lines.retain(|line| line.open_packs() == 0);
        assert_eq!(order.partly_in(), None);
        order.lines.push(line(1, 0, 0));
        order.state = PurchaseState::Closed;
        assert_eq!(order.partly_in(), None);
    }
}
