//! Which spare fixture serves which wanted bar, and what could replace a fixture.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    answer::Proof,
    assign::{Assignment, Cost, assign},
    book::Book,
    input::{Freedom, SpareFixture},
    outcome::NearMiss,
    together::{self, Kinds, Score},
    worth::BarWorth,
};
use crate::{
    model::{
        channel::Channels,
        design::Bar,
        fixture::{Condition, Fed, Make},
        id::{BarId, PartId, ThingId},
        text::Tag,
    },
    units::{Length, LengthUnit, Voltage},
};

/// The least length, beside a tenth of the bar's own, within which a near miss is worth showing.
const NEAR_UM: i64 = 100_000;

/// Why a fixture does not serve a bar, or replace another fixture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Misfit {
    /// The sentence for people.
    pub why: String,
    /// Whether only its length is in the way, and by how much it is too long or, negative, too
    /// short.
    pub by_um: Option<i64>,
}

impl Misfit {
    /// Something other than the length.
    #[expect(
        clippy::unnecessary_wraps,
        reason = "every caller answers whether there is one"
    )]
    fn other(why: String) -> Option<Self> {
        Some(Self { why, by_um: None })
    }
}

/// What is asked of a fixture.
struct Wanted<'a> {
    make: &'a Make,
    voltage_matters: bool,
    shorter_um: Length,
    longer_um: Length,
}

/// Everything but length, freedom and condition.
fn differs(wanted: &Wanted<'_>, found: &Make) -> Option<Misfit> {
    let make = wanted.make;
    if make.channels != found.channels {
        return Misfit::other(format!(
            "its colours are {}, wanted are {}",
            found.channels, make.channels
        ));
    }
    if wanted.voltage_matters && make.voltage_mv != found.voltage_mv {
        return Misfit::other(format!(
            "it runs at {}, wanted is {}",
            found.voltage_mv.show(),
            make.voltage_mv.show()
        ));
    }
    if make.diffused != found.diffused {
        return Misfit::other(if found.diffused {
            "it is diffused, wanted is bare".into()
        } else {
            "it is not diffused".into()
        });
    }
    // A lead more than needed can stay unused; one less can't be fed.
    if make.fed == Fed::BothEnds && found.fed == Fed::OneEnd {
        return Misfit::other("it has a lead at one end only, wanted are both".into());
    }
    if make.tape.is_some() && make.tape != found.tape {
        return Misfit::other(match found.tape {
            Some(_) => "it is made of another tape".into(),
            None => "its tape is not noted, and one was chosen".into(),
        });
    }
    if make.profile.is_some() && make.profile != found.profile {
        return Misfit::other("it is in another profile".into());
    }
    None
}

fn off(wanted: &Wanted<'_>, found: &Make) -> i64 {
    found.lit_um.get() - wanted.make.lit_um.get()
}

fn length_misfit(wanted: &Wanted<'_>, found: &Make, unit: LengthUnit) -> Option<Misfit> {
    let off = off(wanted, found);
    let beyond = if off > wanted.longer_um.get() {
        off - wanted.longer_um.get()
    } else if off < -wanted.shorter_um.get() {
        off + wanted.shorter_um.get()
    } else {
        return None;
    };
    let by = Length::new(off.abs().min(Length::MAX)).unwrap_or(Length::ZERO);
    Some(Misfit {
        why: format!(
            "it is {} {} than wanted",
            by.say(unit),
            if off > 0 { "longer" } else { "shorter" }
        ),
        by_um: Some(beyond),
    })
}

fn state_misfit(spare: &SpareFixture) -> Option<Misfit> {
    if spare.fixture.condition != Condition::Good {
        return Misfit::other(format!("it is {}", spare.fixture.condition));
    }
    match &spare.freedom {
        Freedom::Free => None,
        Freedom::Not(why) => Misfit::other(format!("it is not free: {why}")),
    }
}

/// What is asked for by a bar, as a make.
fn make_of(bar: &Bar) -> Make {
    Make {
        tape: bar.tape,
        profile: bar.profile,
        channels: bar.channels.clone(),
        voltage_mv: bar.voltage_mv.unwrap_or_default(),
        lit_um: bar.length_um,
        diffused: bar.diffused,
        fed: bar.fed,
        connector: None,
    }
}

fn wanted<'a>(bar: &Bar, make: &'a Make) -> Wanted<'a> {
    Wanted {
        make,
        voltage_matters: bar.voltage_mv.is_some(),
        shorter_um: bar.shorter_um,
        longer_um: bar.longer_um,
    }
}

/// Why a fixture does not serve a bar; `None` if it does.
pub fn why_not(bar: &Bar, spare: &SpareFixture, unit: LengthUnit) -> Option<Misfit> {
    let make = make_of(bar);
    let wanted = wanted(bar, &make);
    differs(&wanted, &spare.fixture.make)
        .or_else(|| state_misfit(spare))
        .or_else(|| length_misfit(&wanted, &spare.fixture.make, unit))
}

/// Which fixture serves which bar.
pub(super) struct Reuse<'a> {
    /// By the place of the bar in [`Book::bars`].
    pub(super) served: Vec<Option<&'a SpareFixture>>,
    /// Bars whose fixture was chosen by hand and can't serve, with the reason.
    pub(super) refused: Vec<(BarId, String)>,
    /// Fixtures that would serve if a bar were a little different.
    pub(super) near: Vec<NearMiss>,
    /// What is known of the choice being the cheapest.
    pub(super) proof: Proof<i64>,
}

/// The bars for which no fixture was chosen by hand, and the fixtures that are left for them.
pub(super) struct Open<'b, 'a> {
    book: &'b Book<'a>,
    served: Vec<Option<&'a SpareFixture>>,
    refused: Vec<(BarId, String)>,
    rows: Vec<usize>,
    makes: Vec<Make>,
    columns: Vec<&'a SpareFixture>,
    nearest: i64,
}

/// What two bars that are cut alike have in common.
type CutAs<'a> = (
    &'a Channels,
    Option<Voltage>,
    bool,
    Option<PartId>,
    Option<PartId>,
    Fed,
    Length,
);

fn cut_as(bar: &Bar) -> CutAs<'_> {
    (
        &bar.channels,
        bar.voltage_mv,
        bar.diffused,
        bar.tape,
        bar.profile,
        bar.fed,
        bar.length_um,
    )
}

impl<'b, 'a> Open<'b, 'a> {
    /// Gives the fixtures chosen by hand to their bars.
    pub(super) fn new(book: &'b Book<'a>) -> Self {
        let unit = book.input.venue.length_unit;
        let mut served: Vec<Option<&SpareFixture>> = vec![None; book.bars.len()];
        let mut refused = Vec::new();
        let mut taken = BTreeSet::new();
        for (at, bar) in book.bars.iter().enumerate() {
            let Some(chosen) = bar.fixture else { continue };
            let Some(&spare) = book
                .fixtures
                .iter()
                .find(|spare| spare.fixture.id == chosen)
            else {
                refused.push((bar.id, "The chosen fixture is not in the house.".to_owned()));
                continue;
            };
            let tag = &spare.fixture.tag;
            if let Some(misfit) = why_not(bar, spare, unit) {
                refused.push((bar.id, format!("{tag} was chosen, but {}.", misfit.why)));
            } else if !taken.insert(chosen) {
                refused.push((
                    bar.id,
                    format!("{tag} was chosen, but for another bar too."),
                ));
            } else {
                served[at] = Some(spare);
            }
        }
        // Bars with a refused choice are served like any other, so that the set can still be built.
        let rows: Vec<usize> = (0..book.bars.len())
            .filter(|&at| served[at].is_none())
            .collect();
        let columns: Vec<&SpareFixture> = book
            .fixtures
            .iter()
            .copied()
            .filter(|spare| state_misfit(spare).is_none())
            .filter(|spare| {
                let id = spare.fixture.id;
                !taken.contains(&id) && !book.left_alone.contains(&id)
            })
            .collect();
        let nearest = columns.iter().map(|spare| spare.place.position).min();
        Self {
            makes: rows.iter().map(|&at| make_of(book.bars[at])).collect(),
            nearest: nearest.unwrap_or(0),
            book,
            served,
            refused,
            rows,
            columns,
        }
    }

    fn cost(&self, row: usize, column: usize) -> Option<Cost> {
        let bar = self.book.bars[self.rows[row]];
        let wanted = wanted(bar, &self.makes[row]);
        let spare = self.columns[column];
        // Of those that fit as well, the one stays that is held for the bar; else the nearest comes.
        let stays = self.book.serving.get(&bar.id) == Some(&spare.fixture.id);
        let off = off(&wanted, &spare.fixture.make);
        let fits = off <= wanted.longer_um.get()
            && off >= -wanted.shorter_um.get()
            && differs(&wanted, &spare.fixture.make).is_none();
        fits.then(|| Cost {
            primary: off.unsigned_abs(),
            secondary: if stays {
                0
            } else {
                (spare.place.position.abs_diff(self.nearest)).saturating_add(1)
            },
        })
    }

    /// The best assignment of some of the open bars: most served, least mismatch, nearest places.
    fn assign(&self, rows: &[usize]) -> Assignment {
        assign(rows.len(), self.columns.len(), |row, column| {
            self.cost(rows[row], column)
        })
    }

    /// The fixture of each bar where these rows are assigned so.
    fn with(&self, rows: &[usize], best: &Assignment) -> Vec<Option<&'a SpareFixture>> {
        let mut served = self.served.clone();
        for (row, column) in rows.iter().zip(&best.column_of) {
            if let Some(column) = *column {
                served[self.rows[*row]] = Some(self.columns[column]);
            }
        }
        served
    }

    /// The fixtures that come nearest to the bars, as many as can serve, whatever the rest costs.
    pub(super) fn best_fitting(&self) -> Vec<Option<&'a SpareFixture>> {
        let all: Vec<usize> = (0..self.rows.len()).collect();
        self.with(&all, &self.assign(&all))
    }

    /// Gives the fixtures to bars so that the rest costs least, see [`super::together`]; `judge`
    /// says what it costs to build the bars that have none, `worths` what bars are worth.
    pub(super) fn give(
        self,
        mut judge: impl FnMut(&[&Bar]) -> Score,
        worths: impl FnOnce(&[&Bar]) -> Vec<Vec<BarWorth>>,
    ) -> Reuse<'a> {
        let all: Vec<usize> = (0..self.rows.len()).collect();
        let full = self.assign(&all);
        let served = self.with(&all, &full);
        if full.served == all.len() || full.served == 0 {
            return self.done(served, Proof::Proven);
        }
        let (kinds, mut members) = self.kinds();
        // Of like bars those come first that have their fixture already.
        let serving = |row: &usize| {
            let bar = self.book.bars[self.rows[*row]].id;
            self.book.serving.contains_key(&bar)
        };
        for rows in &mut members {
            rows.sort_by_key(|row| (!serving(row), *row));
        }
        let first: together::Served = members
            .iter()
            .map(|rows| {
                let got = rows.iter().filter(|row| full.column_of[**row].is_some());
                got.count()
            })
            .collect();
        // Which of some like bars are served makes no difference to what is cut.
        let rows_of = |choice: &together::Served| -> Vec<usize> {
            let mut rows: Vec<usize> = members
                .iter()
                .zip(choice)
                .flat_map(|(rows, count)| rows.iter().take(*count).copied())
                .collect();
            rows.sort_unstable();
            rows
        };
        let chosen = kinds.choose(
            first.clone(),
            |choice| {
                let served: BTreeSet<usize> = rows_of(choice).into_iter().collect();
                let left = (0..self.rows.len()).filter(|row| !served.contains(row));
                let left: Vec<&Bar> = left.map(|row| self.book.bars[self.rows[row]]).collect();
                judge(&left)
            },
            || {
                let open: Vec<&Bar> = self.rows.iter().map(|&at| self.book.bars[at]).collect();
                let valued = |worth: BarWorth| worth.by_kind(members.iter().map(|rows| rows[0]));
                let parts = worths(&open).into_iter();
                parts
                    .map(|ways| ways.into_iter().map(valued).collect())
                    .collect()
            },
        );
        let mut best: Option<(u128, u128, Vec<Option<&SpareFixture>>)> = None;
        for choice in chosen.best.iter().take(MOST_TIES) {
            let rows = rows_of(choice);
            let found = self.assign(&rows);
            if best
                .as_ref()
                .is_none_or(|(off, far, _)| (found.primary, found.secondary) < (*off, *far))
            {
                let served = self.with(&rows, &found);
                best = Some((found.primary, found.secondary, served));
            }
        }
        let ranks = (full.primary, full.secondary);
        let served = match best {
            // Where the first assignment is one of the cheapest, it is kept unless another fits better.
            Some((off, far, better)) if (off, far) < ranks || !chosen.best.contains(&first) => {
                better
            }
            _ => served,
        };
        self.done(served, chosen.proof)
    }

    /// Bars that ask for the same, with their rows, and the fixtures by what they serve.
    fn kinds(&self) -> (Kinds, Vec<Vec<usize>>) {
        let mut by: BTreeMap<(CutAs<'_>, Length, Length), Vec<usize>> = BTreeMap::new();
        for (row, &at) in self.rows.iter().enumerate() {
            let bar = self.book.bars[at];
            by.entry((cut_as(bar), bar.shorter_um, bar.longer_um))
                .or_default()
                .push(row);
        }
        let cuts: BTreeSet<CutAs<'_>> = by.keys().map(|(cut, _, _)| *cut).collect();
        let place = |cut: &CutAs<'_>| cuts.iter().position(|it| it == cut).unwrap_or(0);
        let cut_as = by.keys().map(|(cut, _, _)| place(cut)).collect();
        let members: Vec<Vec<usize>> = by.into_values().collect();
        let mut groups: BTreeMap<BTreeSet<usize>, usize> = BTreeMap::new();
        for column in 0..self.columns.len() {
            let serves: BTreeSet<usize> = members
                .iter()
                .enumerate()
                .filter(|(_, rows)| self.cost(rows[0], column).is_some())
                .map(|(kind, _)| kind)
                .collect();
            if !serves.is_empty() {
                *groups.entry(serves).or_default() += 1;
            }
        }
        let kinds = Kinds {
            bars: members.iter().map(Vec::len).collect(),
            cut_as,
            fixtures: groups.into_iter().collect(),
        };
        (kinds, members)
    }

    fn done(self, served: Vec<Option<&'a SpareFixture>>, proof: Proof<i64>) -> Reuse<'a> {
        Reuse {
            near: self.near(&served),
            refused: self.refused,
            served,
            proof,
        }
    }

    fn near(&self, served: &[Option<&SpareFixture>]) -> Vec<NearMiss> {
        let taken: BTreeSet<ThingId> = served
            .iter()
            .flatten()
            .map(|spare| spare.fixture.id)
            .collect();
        let unit = self.book.input.venue.length_unit;
        let mut near = Vec::new();
        for (at, bar) in self.book.bars.iter().enumerate() {
            if served[at].is_some() {
                continue;
            }
            let make = make_of(bar);
            let wanted = wanted(bar, &make);
            let limit = NEAR_UM.max(bar.length_um.get() / 10);
            for spare in &self.columns {
                let found = &spare.fixture.make;
                // Beyond the tolerance already: what served would not be left over.
                let by_um = length_misfit(&wanted, found, unit).and_then(|misfit| misfit.by_um);
                if let Some(by_um) = by_um.filter(|by| by.abs() <= limit)
                    && !taken.contains(&spare.fixture.id)
                    && differs(&wanted, found).is_none()
                {
                    near.push(NearMiss {
                        bar: bar.id,
                        label: bar.label.to_string(),
                        fixture: spare.fixture.id,
                        tag: spare.fixture.tag.clone(),
                        by_um,
                    });
                }
            }
        }
        near.sort_by_key(|miss| (miss.by_um.abs(), miss.bar, miss.fixture));
        near
    }
}

/// The most equally cheap choices among which mismatch and place decide.
const MOST_TIES: usize = 16;

/// A fixture that can replace another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replacement {
    /// Which.
    pub fixture: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// Its lit length less that of the one it replaces.
    pub off_um: i64,
    /// How far its place lies along the walk from the nearest.
    pub far: u64,
}

/// A fixture that can't replace another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoReplacement {
    /// Which.
    pub fixture: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// Why not.
    pub why: String,
}

/// What could replace a fixture of this make: those that plug in as they are, are free, good and
/// within the tolerances, best first (least length mismatch, then nearest place, then tag); and
/// why each other one can't, by tag. `itself` is left out of both.
///
/// A connector that is not noted on either side is a reason against: nobody knows whether it
/// plugs in.
pub fn replacements(
    make: &Make,
    itself: Option<ThingId>,
    shorter_um: Length,
    longer_um: Length,
    candidates: &[SpareFixture],
    unit: LengthUnit,
) -> (Vec<Replacement>, Vec<NoReplacement>) {
    let make_only = Make {
        tape: None,
        profile: None,
        ..make.clone()
    };
    let wanted = Wanted {
        make: &make_only,
        voltage_matters: true,
        shorter_um,
        longer_um,
    };
    let nearest = candidates
        .iter()
        .map(|spare| spare.place.position)
        .min()
        .unwrap_or(0);
    let (mut fit, mut not) = (Vec::new(), Vec::new());
    for spare in candidates
        .iter()
        .filter(|spare| Some(spare.fixture.id) != itself)
    {
        let found = &spare.fixture.make;
        let (fixture, tag) = (spare.fixture.id, spare.fixture.tag.clone());
        let misfit = differs(&wanted, found)
            .or_else(|| plug_misfit(make, found))
            .or_else(|| length_misfit(&wanted, found, unit))
            .or_else(|| state_misfit(spare));
        match misfit {
            Some(Misfit { why, .. }) => not.push(NoReplacement { fixture, tag, why }),
            None => fit.push(Replacement {
                fixture,
                tag,
                off_um: off(&wanted, found),
                far: spare.place.position.abs_diff(nearest),
            }),
        }
    }
    fit.sort_by(|a, b| {
        let key = |it: &Replacement| (it.off_um.abs(), it.far);
        key(a)
            .cmp(&key(b))
            .then_with(|| a.tag.counted().cmp(&b.tag.counted()))
            .then(a.fixture.cmp(&b.fixture))
    });
    not.sort_by(|a, b| (a.tag.counted(), a.fixture).cmp(&(b.tag.counted(), b.fixture)));
    (fit, not)
}

fn plug_misfit(make: &Make, found: &Make) -> Option<Misfit> {
    match (&make.connector, &found.connector) {
        (Some(wanted), Some(found)) if found.stands_in_for(wanted) => None,
        (Some(wanted), Some(found))
            if found.same_family(wanted) && found.gender == wanted.gender =>
        {
            Misfit::other("the pins of its lead are in another order".into())
        }
        (Some(wanted), Some(found)) => {
            Misfit::other(format!("its lead ends in {found}, wanted is {wanted}"))
        }
        (_, None) => Misfit::other("what its lead ends in is not noted".into()),
        (None, Some(_)) => Misfit::other("what the wanted one's lead ends in is not noted".into()),
    }
}
