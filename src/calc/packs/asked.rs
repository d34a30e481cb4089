//! The question: a document, and what it becomes.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::said::PacksShort;
use crate::{
    calc::document::{Refused, named, within},
    plan::packs::{Aim, Offer, Question, SUPPLIER_LIMIT, Supplier, Want},
};

/// Who sells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PacksSupplier {
    /// What they are called; no two alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What a delivery costs, in minor units of money.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub delivery_minor: i64,
    /// From which sum of goods on it costs nothing; left out where it always costs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000_000, nullable = false)]
    pub free_from_minor: Option<i64>,
}

/// A pack that somebody sells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PacksOffer {
    /// Who: the name of a supplier.
    pub supplier: String,
    /// What one pack holds, in the unit of the want.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub pack: u64,
    /// What one costs.
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub price_minor: i64,
    /// The fewest that are sold at once; 1 if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 10_000, nullable = false)]
    pub minimum_packs: Option<u64>,
}

/// Something wanted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PacksWant {
    /// What it is called; no two alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// How much: a count, or a length in any unit that its packs have too.
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub needed: u64,
    /// Who sells it; several offers may be mixed.
    #[schema(max_items = 50)]
    pub offers: Vec<PacksOffer>,
}

/// What is to be bought, and where it can be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PacksBody {
    /// Who sells.
    #[schema(max_items = 64)]
    pub suppliers: Vec<PacksSupplier>,
    /// What is wanted.
    #[schema(max_items = 200)]
    pub wants: Vec<PacksWant>,
    /// What counts first; money if left out.
    #[serde(default = "money")]
    #[schema(required = false)]
    pub aim: Aim,
    /// Names of the suppliers to buy from; all if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 64, nullable = false)]
    pub only_suppliers: Option<Vec<String>>,
}

const fn money() -> Aim {
    Aim::Money
}

/// The question, the place in the document of each of its wants, and what nobody sells.
type Asked = (Question, Vec<usize>, Vec<PacksShort>);

/// Places by name; refuses a name that is empty, too long or there twice.
fn places<'a>(
    list: &str,
    names: impl Iterator<Item = &'a str>,
) -> Result<BTreeMap<&'a str, usize>, Refused> {
    let mut places = BTreeMap::new();
    for (at, name) in names.enumerate() {
        let pointer = format!("/{list}/{at}/name");
        named(|| pointer.clone(), name)?;
        if places.insert(name, at).is_some() {
            let detail = format!("“{name}” is there twice. Send another name.");
            return Err(Refused::at(pointer, detail));
        }
    }
    Ok(places)
}

impl PacksBody {
    /// Checks the document and gives what the planner answers.
    pub(super) fn question(&self) -> Result<Asked, Refused> {
        if self.suppliers.len() > SUPPLIER_LIMIT {
            let detail = format!("Send at most {SUPPLIER_LIMIT} suppliers.");
            return Err(Refused::at("/suppliers", detail));
        }
        if self.wants.len() > 200 {
            return Err(Refused::at("/wants", "Send at most 200 wants."));
        }
        let suppliers = places(
            "suppliers",
            self.suppliers.iter().map(|it| it.name.as_str()),
        )?;
        places("wants", self.wants.iter().map(|it| it.name.as_str()))?;
        for (at, it) in self.suppliers.iter().enumerate() {
            let field = |name: &str| format!("/suppliers/{at}/{name}");
            within(
                || field("delivery_minor"),
                it.delivery_minor,
                0,
                1_000_000_000,
            )?;
            if let Some(from) = it.free_from_minor {
                within(|| field("free_from_minor"), from, 0, 1_000_000_000)?;
            }
        }
        let mut open = vec![self.only_suppliers.is_none(); self.suppliers.len()];
        for (at, name) in self.only_suppliers.iter().flatten().enumerate() {
            let Some(supplier) = suppliers.get(name.as_str()) else {
                return Err(unknown(format!("/only_suppliers/{at}"), name));
            };
            open[*supplier] = true;
        }
        let (mut wants, mut known, mut short) = (Vec::new(), Vec::new(), Vec::new());
        for (at, it) in self.wants.iter().enumerate() {
            let want = it.read(at, &suppliers, &open)?;
            if want.offers.is_empty() {
                short.push(PacksShort {
                    want: it.name.clone(),
                    needed: it.needed,
                    why: if it.offers.is_empty() {
                        "Nobody is known to sell it. Add an offer for it.".to_owned()
                    } else {
                        "None of the suppliers asked for sells it.".to_owned()
                    },
                });
            } else {
                wants.push(want);
                known.push(at);
            }
        }
        let suppliers = self
            .suppliers
            .iter()
            .map(|it| Supplier {
                delivery_minor: it.delivery_minor,
                free_from_minor: it.free_from_minor,
            })
            .collect();
        Ok((Question { suppliers, wants }, known, short))
    }
}

impl PacksWant {
    fn read(
        &self,
        at: usize,
        suppliers: &BTreeMap<&str, usize>,
        open: &[bool],
    ) -> Result<Want, Refused> {
        within(|| format!("/wants/{at}/needed"), self.needed, 1, 1_000_000)?;
        if self.offers.len() > 50 {
            let pointer = format!("/wants/{at}/offers");
            return Err(Refused::at(pointer, "Send at most 50 offers."));
        }
        let mut offers = Vec::new();
        for (place, it) in self.offers.iter().enumerate() {
            let field = |name: &str| format!("/wants/{at}/offers/{place}/{name}");
            let Some(supplier) = suppliers.get(it.supplier.as_str()) else {
                return Err(unknown(field("supplier"), &it.supplier));
            };
            within(|| field("pack"), it.pack, 1, 1_000_000_000)?;
            within(|| field("price_minor"), it.price_minor, 0, 1_000_000)?;
            let minimum = it.minimum_packs.unwrap_or(1);
            within(|| field("minimum_packs"), minimum, 1, 10_000)?;
            if open[*supplier] {
                offers.push(Offer {
                    supplier: *supplier,
                    pack: it.pack,
                    price_minor: it.price_minor,
                    minimum_packs: minimum,
                });
            }
        }
        Ok(Want {
            needed: self.needed,
            offers,
        })
    }
}

fn unknown(pointer: String, name: &str) -> Refused {
    let detail = format!("No supplier is called “{name}”. Send the name of one that is listed.");
    Refused::at(pointer, detail)
}
