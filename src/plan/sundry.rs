//! Sundries by their use rates.

use super::{book::Book, load::Load, need::Needs, outcome::BuildBar};
use crate::{
    model::{
        id::{BarId, PartId},
        part::{Measure, PartSpec, Per, Sundry},
        reservation::HoldUse,
    },
    units::Length,
};

/// What a new bar is, as far as sundries go by it.
#[derive(Debug, Clone, Copy)]
pub struct NewBar {
    /// Ends on which a lead is soldered.
    pub joints: i64,
    /// Its lit length.
    pub lit: Length,
    /// What it lies in; `None` for bare tape.
    pub profile: Option<PartId>,
}

impl From<&BuildBar> for NewBar {
    fn from(built: &BuildBar) -> Self {
        Self {
            joints: built.lead.map_or(0, |(_, leads)| leads),
            lit: built.lit_um,
            profile: built.profile.map(|(part, _)| part),
        }
    }
}

/// Counts what new bars use up.
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
    let bars: Vec<NewBar> = loads
        .iter()
        .filter_map(|load| {
            Some(NewBar {
                joints: load.to_solder?,
                lit: load.lit,
                profile: profile_of(load.bar.id),
            })
        })
        .collect();
    for (id, sundry) in sundries {
        let amount = bars
            .iter()
            .map(|bar| of_bar(sundry, bar))
            .fold(0, i64::saturating_add);
        needs.count(id, amount, HoldUse::Consumed, "building");
    }
}

/// How much of a sundry one new bar uses up: so much for the bar, each of its soldered joints or
/// each of its metres, rounded up bar by bar, since no bar has half a clip. Where a sundry goes with
/// one profile only, a bar in another takes none.
pub fn of_bar(sundry: &Sundry, bar: &NewBar) -> i64 {
    let Some(rate) = sundry.use_rate else {
        return 0;
    };
    let fits = match sundry.goes_with {
        Some(profile) => bar.profile == Some(profile),
        None => match rate.per {
            Per::Profile | Per::ProfileMetre => bar.profile.is_some(),
            Per::Bar | Per::Joint | Per::Metre => true,
        },
    };
    if !fits {
        return 0;
    }
    // A millionth is the micrometre of a metre.
    let millionths = match rate.per {
        Per::Bar | Per::Profile => 1_000_000,
        Per::Joint => i128::from(bar.joints) * 1_000_000,
        Per::Metre | Per::ProfileMetre => i128::from(bar.lit.get()),
    };
    // The rate is in thousandths of one, or of a millimetre, which is the micrometre that lengths
    // are counted in.
    let unit = match sundry.measure {
        Measure::Each => 1_000_000_000,
        Measure::Length => 1_000_000,
    };
    let used = millionths * i128::from(rate.thousandths);
    i64::try_from((used + unit - 1) / unit).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::part::UseRate;

    fn sundry(per: Per, thousandths: u32) -> Sundry {
        Sundry {
            measure: Measure::Each,
            use_rate: Some(UseRate { per, thousandths }),
            goes_with: None,
            fuse: None,
        }
    }

    #[test]
    fn bare_tape_takes_no_clip_and_equal_bars_take_the_same() {
        let bar = |profile| NewBar {
            joints: 1,
            lit: Length::mm(1_100),
            profile,
        };
        let (bare, profiled) = (bar(None), bar(Some(PartId(4))));
        let clips = sundry(Per::ProfileMetre, 2_000);
        // 2.2 clips are three, on this bar as on the next.
        assert_eq!(of_bar(&clips, &profiled), 3);
        assert_eq!(of_bar(&clips, &bare), 0);
        let caps = sundry(Per::Profile, 2_000);
        assert_eq!((of_bar(&caps, &profiled), of_bar(&caps, &bare)), (2, 0));
        let labels = sundry(Per::Bar, 1_000);
        assert_eq!((of_bar(&labels, &profiled), of_bar(&labels, &bare)), (1, 1));
        let mut other = clips.clone();
        other.goes_with = Some(PartId(5));
        assert_eq!(of_bar(&other, &profiled), 0);
    }
}
