//! Cable from the supplies to the drivers: one run for each inlet that is fed, as long as the
//! venue's settings say, since no design draws where a supply stands.

use super::{
    book::Book,
    cable,
    check::Checks,
    cutting::{Purpose, Wish},
    fit,
    need::Needs,
    power::Used,
    protect::fused_ma,
    supply::Fed,
};
use crate::{
    model::{id::PartId, part::Cable},
    units::{Current, Length, Voltage},
};

/// A conductor out and one back.
pub(super) const CONDUCTORS: usize = 2;

/// The most that a feed over a cable carries: what the cable may, and what a fuse in it may; `None` where
/// the cable does not tell.
fn most_ma(cable: &Cable, voltage: Voltage) -> Option<i64> {
    let rated = cable.rating_ma.map(Current::get);
    [rated, fused_ma(cable, voltage)]
        .into_iter()
        .flatten()
        .min()
}

/// The most that any cable which a feed may be cut from lets it carry; `None` where one does not tell, or
/// none is needed or there.
pub(super) fn most_of_any(book: &Book<'_>, voltage: Voltage) -> Option<i64> {
    if book.input.venue.feed_um == Length::ZERO {
        return None;
    }
    let cables = cable::eligible(book, CONDUCTORS).into_iter();
    let most: Option<Vec<i64>> = cables.map(|(_, cable)| most_ma(cable, voltage)).collect();
    most?.into_iter().max()
}

/// The cable that feeds the drivers.
#[derive(Default)]
pub(super) struct Feeds {
    /// What it is cut from; `None` where the catalogue has none or none is needed.
    pub(super) cable: Option<PartId>,
    /// Of each run, one way.
    pub(super) length: Length,
    /// The runs to be cut from it.
    pub(super) wishes: Vec<Wish>,
}

/// Chooses the cable for every inlet that has a supply.
pub(super) fn feeds(
    book: &Book<'_>,
    used: &[Used<'_>],
    fed: &Fed<'_>,
    needs: &mut Needs,
    checks: &mut Checks,
) -> Feeds {
    let length = book.input.venue.feed_um;
    let mut feeds = Feeds {
        length,
        ..Feeds::default()
    };
    let mut heaviest = Some(0);
    for (&(driver, inlet), supply) in &fed.of {
        if length == Length::ZERO || supply.is_none() {
            continue;
        }
        let inlets = used[driver].inlets();
        let load_ma = inlets
            .into_iter()
            .find(|(number, _)| *number == inlet)
            .and_then(|(_, ma)| ma);
        heaviest = heaviest
            .zip(load_ma)
            .map(|(most, ma): (i64, _)| most.max(ma));
        feeds.wishes.push(Wish {
            purpose: Purpose::Feed(driver, inlet),
            amount: length.get(),
            fed: None,
        });
    }
    if feeds.wishes.is_empty() {
        return feeds;
    }
    let voltage = used.iter().map(|driver| driver.voltage).max();
    let most = |cable: &Cable| most_ma(cable, voltage.unwrap_or_default());
    let Some((id, spec)) = cable::best(book, heaviest, &feeds.wishes, CONDUCTORS, most) else {
        let all: i64 = feeds.wishes.iter().map(|wish| wish.amount).sum();
        needs.unheard(
            format!(
                "cable with {CONDUCTORS} conductors, {} in all",
                book.show_um(all)
            ),
            i64::try_from(feeds.wishes.len()).unwrap_or(i64::MAX),
            cable::FEEDS,
        );
        feeds.wishes.clear();
        return feeds;
    };
    let name = book.name(id);
    let rating = fit::carries("The fullest inlet", &name, spec.rating_ma, heaviest);
    checks.add("feed-rating", format_args!("part-{id}"), &name, rating, []);
    feeds.cable = Some(id);
    feeds
}
