//! What is to be bought.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    model::{
        id::{DesignId, OfferId, PartId, SupplierId},
        purchase::Share,
    },
    plan::{answer::Proof, outcome::UnpricedRolls, packs::Aim, shopping},
    units::{Date, Money},
};

/// What all sets that are still to be built are short of.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Shopping {
    /// How many sets were looked at: those whose build day is nearest.
    pub sets: usize,
    /// What to order, supplier by supplier.
    pub parcels: Vec<Parcel>,
    /// Goods and deliveries together; left out where that is more than can be counted.
    pub cost_minor: Option<Money>,
    /// What is known about its being the least.
    pub proof: Proof<i64>,
    /// What only suppliers sell that were left out.
    pub unsold: Vec<Unsold>,
    /// What other ways to buy all of it cost.
    pub beside: Vec<Beside>,
    /// What has no price.
    pub unpriced: Vec<Unpriced>,
}

/// Something that only those sell who were left out.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Unsold {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// How much: an amount in its stock unit, or rolls of `roll_um`.
    pub needed: i64,
    /// The length of one roll, reel or bar in micrometres.
    pub roll_um: Option<i64>,
}

/// Another way to buy.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Beside {
    /// What counts first in it.
    pub aim: Aim,
    /// Without which supplier of the list.
    pub without: Option<SupplierId>,
    /// What it costs, deliveries included; nothing where not everything can be bought so.
    pub cost_minor: Option<Money>,
    /// How many parcels it is.
    pub parcels: Option<usize>,
}

/// What to order from one supplier.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Parcel {
    /// Who sells.
    pub supplier: SupplierId,
    /// Their name.
    pub name: String,
    /// What the goods cost.
    pub goods_minor: Money,
    /// What the delivery costs.
    pub delivery_minor: Money,
    /// Lines, earliest day first.
    pub lines: Vec<ParcelLine>,
}

/// One line of what to order.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ParcelLine {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// From which offer.
    pub offer: OfferId,
    /// Packs, rolls or bars to order.
    pub packs: u32,
    /// Count in one, or its length in micrometres.
    pub pack_amount: i64,
    /// What they cost together.
    pub cost_minor: Money,
    /// What is left over (count), if it can be said.
    pub left_over: Option<i64>,
    /// How much of it is on open orders already.
    pub on_order: i64,
    /// The sets that want it.
    pub designs: Vec<DesignId>,
    /// How much of it each of them needs: sent with the order, what it costs is shared so.
    pub shares: Vec<Share>,
    /// The last day to order.
    #[schema(value_type = String, format = Date)]
    pub order_by: Date,
}

/// Something short that nobody is known to sell.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Unpriced {
    /// The part, where there is one in the catalogue.
    pub part: Option<PartId>,
    /// Its name, or what is wanted.
    pub name: String,
    /// How much, in the part's stock unit.
    pub short: i64,
    /// Rolls, reels or bars to buy, where lengths are known in which it is sold.
    pub rolls: Vec<UnpricedRolls>,
    /// The sets that want it.
    pub designs: Vec<DesignId>,
}

impl Shopping {
    /// The list over so many sets.
    pub fn new(list: shopping::ShoppingList, sets: usize) -> Self {
        let ids =
            |designs: Vec<(DesignId, String)>| designs.into_iter().map(|(id, _)| id).collect();
        let line = |line: shopping::ListLine| ParcelLine {
            part: line.part,
            name: line.name,
            offer: line.offer,
            packs: line.packs,
            pack_amount: line.pack_amount,
            cost_minor: line.cost_minor,
            left_over: line.left_over,
            on_order: line.on_order,
            designs: ids(line.designs),
            shares: line.shares,
            order_by: line.order_by,
        };
        Self {
            sets,
            parcels: list
                .parcels
                .into_iter()
                .map(|parcel| Parcel {
                    supplier: parcel.supplier,
                    name: parcel.name,
                    goods_minor: parcel.goods_minor,
                    delivery_minor: parcel.delivery_minor,
                    lines: parcel.lines.into_iter().map(line).collect(),
                })
                .collect(),
            cost_minor: list.cost_minor,
            proof: list.proof,
            unsold: list
                .unsold
                .into_iter()
                .map(|it| Unsold {
                    part: it.part,
                    name: it.name,
                    needed: it.needed,
                    roll_um: it.roll_um,
                })
                .collect(),
            beside: list
                .beside
                .into_iter()
                .map(|it| Beside {
                    aim: it.way.aim,
                    without: it.without.map(|(id, _)| id),
                    cost_minor: it.cost.map(|(cost, _)| cost),
                    parcels: it.cost.map(|(_, parcels)| parcels),
                })
                .collect(),
            unpriced: list
                .unpriced
                .into_iter()
                .map(|it| Unpriced {
                    part: it.part,
                    name: it.name,
                    short: it.short,
                    rolls: it.rolls,
                    designs: ids(it.designs),
                })
                .collect(),
        }
    }
}
