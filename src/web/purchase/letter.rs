//! An order as plain text, for whatever way the venue writes to its suppliers.

use std::fmt::Write as _;

use crate::{
    model::{purchase::Purchase, venue::Venue},
    units::{Date, Money, say_day},
};

/// What is ordered of one pack, for all sets together.
pub struct Wanted {
    /// What.
    pub name: String,
    /// What one pack is, in words.
    pub pack: String,
    /// The supplier's own code; empty if none is kept.
    pub code: String,
    /// Packs.
    pub packs: i64,
    /// Price of one.
    pub price: Money,
    /// Of all of them.
    pub cost: Money,
}

/// Adds what one line orders: a supplier is not told which set each pack is for.
pub fn gather(wanted: &mut Vec<Wanted>, line: Wanted) {
    let same = |other: &&mut Wanted| {
        other.name == line.name
            && other.pack == line.pack
            && other.code == line.code
            && other.price == line.price
    };
    if let Some(other) = wanted.iter_mut().find(same) {
        other.packs = other.packs.saturating_add(line.packs);
        other.cost = other.cost.checked_add(line.cost).unwrap_or(other.cost);
    } else {
        wanted.push(line);
    }
}

/// By when an order is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needed {
    /// By a day that is still to come.
    By(Date),
    /// The day by which it should have been there is today or past.
    Soon {
        /// That day.
        was: Date,
        /// The first day that it is built with.
        building: Date,
        /// Whether that day is past too.
        begun: bool,
    },
}

impl Needed {
    /// For a set that is built from that day on, with so many days in hand before it.
    pub fn new(building: Date, days_in_hand: i64, today: Date) -> Self {
        let days = jiff::Span::new().try_days(days_in_hand).unwrap_or_default();
        let day = building.checked_sub(days).unwrap_or(building);
        if day > today {
            Self::By(day)
        } else {
            Self::Soon {
                was: day,
                building,
                begun: building < today,
            }
        }
    }

    /// When building begins, in words, where no day can be asked for any more.
    pub fn late(self) -> Option<String> {
        match self {
            Self::By(_) => None,
            Self::Soon {
                building, begun, ..
            } => {
                let verb = if begun { "began" } else { "begins" };
                Some(format!("building {verb} on {}", say_day(building)))
            }
        }
    }
}

/// Its first line, for a mail too.
pub fn subject(order: &Purchase, venue: &Venue) -> String {
    format!("Order {} from {}", order.id, venue.name)
}

/// The whole text.
pub fn text(order: &Purchase, wanted: &[Wanted], needed: Option<Needed>, venue: &Venue) -> String {
    let money = |sum: Money| sum.show(&venue.currency);
    let mut text = format!(
        "{}\nTo {}\n\nPlease send us:\n\n",
        subject(order, venue),
        order.supplier_name
    );
    for line in wanted {
        let _ = write!(text, "{} × {}, {}", line.packs, line.name, line.pack);
        if !line.code.is_empty() {
            let _ = write!(text, ", your number {}", line.code);
        }
        let _ = writeln!(text, ", at {}: {}", money(line.price), money(line.cost));
    }
    let tax = if venue.prices_include_tax {
        "with tax"
    } else {
        "without tax"
    };
    let _ = write!(
        text,
        "\nGoods: {}\nDelivery: {}\nTotal: {}, {tax}\n",
        money(order.goods()),
        money(order.delivery_minor),
        money(order.total())
    );
    match needed {
        Some(Needed::By(day)) => {
            let _ = write!(text, "\nNeeded by {}\n", say_day(day));
        }
        Some(late) => {
            let why = late.late().map(|why| format!(" ({why})"));
            let why = why.unwrap_or_default();
            let _ = write!(text, "\nNeeded as soon as possible{why}\n");
        }
        None => {}
    }
    let _ = write!(text, "\n{}\n", venue.name);
    // Lengths are said with spaces that hold a line together, which mail programs may show as signs.
    text.replace('\u{a0}', " ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        model::{
            id::{PartId, PurchaseId, PurchaseLineId, SupplierId},
            purchase::{PurchaseLine, PurchaseState},
            text::{Name, Note},
        },
        units::{Currency, Length, LengthUnit},
    };

    fn money(minor: i64) -> Money {
        Money::new(minor).unwrap()
    }

    fn venue(currency: &str) -> Venue {
        Venue {
            name: Name::parse("Millpond Hall").unwrap(),
            length_unit: LengthUnit::Ft,
            currency: Currency::parse(currency).unwrap(),
            prices_include_tax: true,
            zone: "UTC".to_owned(),
            slots_taken: String::new(),
            usable_offcut_um: Length::ZERO,
            spare_percent: 0,
            same_day_turnaround: false,
            order_slack_days: 0,
            feed_um: Venue::usual_feed(),
            mains: None,
            label_base: String::new(),
            version: 1,
        }
    }

    fn order(lines: &[(i64, i64)]) -> Purchase {
        let line = |(packs, price): &(i64, i64)| PurchaseLine {
            id: PurchaseLineId(1),
            part: PartId(1),
            part_name: String::new(),
            offer: None,
            shares: Vec::new(),
            packs: *packs,
            pack_amount: 1,
            price_minor: money(*price),
            received_packs: 0,
            refused_packs: 0,
            note: Note::default(),
        };
        Purchase {
            id: PurchaseId(7),
            supplier: SupplierId(1),
            supplier_name: "Lock Lane".to_owned(),
            state: PurchaseState::List,
            ordered_on: None,
            expected_on: None,
            delivery_minor: money(490),
            paid_minor: Money::ZERO,
            note: Note::parse("do not tell them").unwrap(),
            lines: lines.iter().map(line).collect(),
            version: 1,
        }
    }

    fn wanted(name: &str, pack: &str, code: &str, packs: i64, price: i64) -> Wanted {
        Wanted {
            name: name.to_owned(),
            pack: pack.to_owned(),
            code: code.to_owned(),
            packs,
            price: money(price),
            cost: money(packs * price),
        }
    }

    #[test]
    fn a_supplier_reads_what_to_send_and_what_it_comes_to() {
        let mut all = Vec::new();
        gather(&mut all, wanted("Tape", "5 m (16'\u{a0}5\")", "", 2, 2150));
        gather(&mut all, wanted("Lead", "pack of 10", "LD-3", 3, 1250));
        // For another set: one line to whoever packs it.
        gather(&mut all, wanted("Lead", "pack of 10", "LD-3", 1, 1250));
        let day = jiff::civil::date(2026, 3, 5);
        let order = order(&[(2, 2150), (3, 1250), (1, 1250)]);
        let said = text(&order, &all, Some(Needed::By(day)), &venue("EUR"));
        assert_eq!(
            said,
            "Order 7 from Millpond Hall\nTo Lock Lane\n\nPlease send us:\n\n\
             2 × Tape, 5 m (16' 5\"), at 21.50 EUR: 43.00 EUR\n\
             4 × Lead, pack of 10, your number LD-3, at 12.50 EUR: 50.00 EUR\n\n\
             Goods: 93.00 EUR\nDelivery: 4.90 EUR\nTotal: 97.90 EUR, with tax\n\n\
             Needed by 5 Mar 2026\n\nMillpond Hall\n"
        );
    }

    #[test]
    fn no_day_is_asked_for_that_is_past() {
        let day = jiff::civil::date;
        let (building, today) = (day(2026, 12, 8), day(2026, 11, 28));
        let said = |days, today| {
            let needed = Needed::new(building, days, today);
            text(&order(&[]), &[], Some(needed), &venue("EUR"))
        };
        assert!(said(9, today).contains("\nNeeded by 29 Nov 2026\n"));
        // Today is too late: it is not there yet.
        for days in [10, 13] {
            let said = said(days, today);
            let soon = "\nNeeded as soon as possible (building begins on 8 Dec 2026)\n";
            assert!(said.contains(soon), "{said}");
        }
        let said = said(3, day(2026, 12, 9));
        assert!(
            said.contains("(building began on 8 Dec 2026)") && !said.contains("Needed by"),
            "{said}"
        );
    }

    #[test]
    fn other_money_has_its_own_decimals_and_no_day_is_made_up() {
        let all = [wanted("Lead", "single", "", 1, 500)];
        let said = text(&order(&[(1, 500)]), &all, None, &venue("JPY"));
        assert!(
            said.contains("1 × Lead, single, at 500 JPY: 500 JPY\n"),
            "{said}"
        );
        assert!(!said.contains("Needed"), "{said}");
    }

    #[test]
    fn unlike_packs_stay_apart() {
        let mut all = Vec::new();
        for (pack, code, price) in [
            ("single", "", 500),
            ("pack of 10", "", 500),
            ("single", "A", 500),
            ("single", "", 510),
        ] {
            gather(&mut all, wanted("Lead", pack, code, 1, price));
        }
        assert_eq!(all.len(), 4);
    }
}
