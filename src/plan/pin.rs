//! What a set is planned around by choice: a fixture on a bar, things left alone, suppliers from
//! whom nothing is bought; and the design without one of these choices, to see what it costs.

use super::{
    book::Book,
    check::{Checks, Finding},
};
use crate::model::{
    design::Design,
    id::{BarId, PartId, SupplierId, ThingId},
};

/// One choice that the plan keeps to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pin {
    /// This fixture serves this bar.
    Fixture(BarId, ThingId),
    /// This roll, offcut or fixture is left alone.
    LeftAlone(ThingId),
    /// Nothing is bought here.
    NotFrom(SupplierId),
}

impl Pin {
    /// Every pin of a design: by bar, then things, then suppliers.
    pub fn of(design: &Design) -> Vec<Self> {
        let bars = design.bars.iter();
        bars.filter_map(|bar| Some(Self::Fixture(bar.id, bar.fixture?)))
            .chain(design.left_alone.iter().map(|it| Self::LeftAlone(it.thing)))
            .chain(design.not_from.iter().map(|it| Self::NotFrom(it.supplier)))
            .collect()
    }

    /// Takes the pin out of a design.
    pub fn take_out(self, design: &mut Design) {
        match self {
            Self::Fixture(id, _) => {
                for bar in design.bars.iter_mut().filter(|bar| bar.id == id) {
                    bar.fixture = None;
                }
            }
            Self::LeftAlone(thing) => design.left_alone.retain(|it| it.thing != thing),
            Self::NotFrom(supplier) => design.not_from.retain(|it| it.supplier != supplier),
        }
    }
}

/// Says of each thing left alone and each supplier whether that can be kept to. Chosen fixtures are
/// checked where they are given to their bars.
pub(super) fn check(book: &Book<'_>, checks: &mut Checks) {
    let stock = &book.input.stock;
    for left in &stock.left_alone {
        if !book.left_alone.contains(&left.thing) {
            continue;
        }
        let tag = &left.tag;
        let finding = match &left.gone {
            None => Finding::passed(format!("{tag} is left alone, as chosen.")),
            Some(gone) => Finding::warned(
                format!("{tag} was to be left alone, but {gone}."),
                "Take the choice out, or leave another piece alone.",
            ),
        };
        let key = format!("thing-{}", left.thing);
        checks.add("left-alone", key, tag.to_string(), finding, []);
    }
    for (supplier, name) in &stock.not_from {
        if !book.not_from.contains(supplier) {
            continue;
        }
        let finding = Finding::passed(format!("Nothing is bought from {name}, as chosen."));
        let key = format!("supplier-{supplier}");
        checks.add("not-from", key, name.to_string(), finding, []);
    }
}

/// Warns of what is short and sold by those only from whom nothing is bought.
pub(super) fn check_unsold<'n>(
    book: &Book<'_>,
    short: impl Iterator<Item = (PartId, &'n str)>,
    checks: &mut Checks,
) {
    for (part, name) in short {
        let mut sellers: Vec<&str> = book
            .input
            .offers
            .iter()
            .filter(|offer| offer.part == part)
            .map(|offer| offer.supplier_name.as_str())
            .collect();
        if sellers.is_empty() || !book.offers(part).is_empty() {
            continue;
        }
        sellers.sort_unstable();
        sellers.dedup();
        let finding = Finding::warned(
            format!(
                "{name} is short, and only {} sells it, from whom nothing is to be bought.",
                sellers.join(" or ")
            ),
            "Enter another offer, or allow this supplier.",
        );
        checks.add("not-from", format_args!("part-{part}"), name, finding, []);
    }
}
