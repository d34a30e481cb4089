//! Sundries by their use rates.

use super::{book::Book, load::Load, need::Needs};
use crate::model::{
    id::{BarId, PartId},
    part::{Measure, PartSpec, Per, Sundry},
    reservation::HoldUse,
};

/// Counts what new bars use up: so much for each bar, each soldered joint or each metre. Where a
/// sundry goes with one profile only, bars in that profile count.
pub(super) fn count(
    book: &Book<'_>,
    loads: &[Load<'_>],
    profile_of: impl Fn(BarId) -> Option<PartId>,
    needs: &mut Needs,
) {
    let sundries = book.of(|spec| match spec {
        PartSpec::Sundry(sundry) => Some(sundry),
        _ => None,
    });
    for (id, sundry) in sundries {
        let amount = amount(sundry, loads, &profile_of);
        needs.count(id, amount, HoldUse::Consumed, "building");
    }
}

fn amount(
    sundry: &Sundry,
    loads: &[Load<'_>],
    profile_of: &impl Fn(BarId) -> Option<PartId>,
) -> i64 {
    let Some(rate) = sundry.use_rate else {
        return 0;
    };
    let mut bars = loads
        .iter()
        .filter(|load| load.to_solder.is_some())
        .filter(|load| {
            sundry
                .goes_with
                .is_none_or(|profile| profile_of(load.bar.id) == Some(profile))
        });
    // In thousandths of what the rate is for.
    let each = i128::from(rate.thousandths);
    let used = match rate.per {
        Per::Bar => bars.count() as i128 * each * 1_000_000,
        Per::Joint => {
            let joints: i64 = bars.filter_map(|load| load.to_solder).sum();
            i128::from(joints) * each * 1_000_000
        }
        Per::Metre => {
            let length = bars.try_fold(0, |sum: i64, load| sum.checked_add(load.lit.get()));
            i128::from(length.unwrap_or(i64::MAX)) * each
        }
    };
    // A thousandth of a millimetre is the micrometre that lengths are counted in.
    let unit = match sundry.measure {
        Measure::Each => 1_000_000_000,
        Measure::Length => 1_000_000,
    };
    i64::try_from((used + unit - 1) / unit).unwrap_or(i64::MAX)
}
