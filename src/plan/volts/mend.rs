//! What would mend a drop: each change is made to the bar as wired and solved like a plan of the
//! changed design, over every mix of channels. Its cost is that of what has to be got for it, by the
//! cheapest offers; what is in stock already is not counted off.

use super::{
    Chosen, Solver, assumed,
    assumed::Guess,
    figures::{How, Mend, rounded},
    judge, strips,
    wired::{To, Wired, WiredRun},
};
use crate::{
    model::{
        id::PartId,
        part::{Cable, PartSpec, Tape},
        ready_made,
    },
    plan::{feed, ladder::LoadModel, load::Load},
    units::{Length, Money},
};

/// A bar to be mended.
pub(super) struct Ask<'m, 'c, 'a> {
    pub(super) chosen: &'m Chosen<'c, 'a>,
    pub(super) load: &'m Load<'a>,
    /// Its output as planned.
    pub(super) wired: &'m Wired,
    /// Its place among the output's bars.
    pub(super) at: usize,
}

/// What comes of a change: worst drop and least light in percent.
type Outcome = (f64, f64);

/// Steps in which a shorter cable is looked for, in m.
const CABLE_STEP_M: f64 = 0.1;

impl Ask<'_, '_, '_> {
    /// Every mend that can be told, in the order of [`How`].
    pub(super) fn mends(&self, solver: &mut Solver) -> Vec<Mend> {
        [
            self.both_ends(solver),
            self.middle_feed(solver),
            self.thicker_cable(solver),
            self.thicker_feed(solver),
            self.doubled_common(solver),
            self.shorter_run(solver),
            self.driver_nearer(solver),
            self.higher_voltage(solver),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// Solves the output with a change to this bar.
    fn solve(&self, solver: &mut Solver, change: impl FnOnce(&mut Wired)) -> Option<Outcome> {
        let mut changed = self.wired.clone();
        change(&mut changed);
        outcome(solver, &changed, self.at)
    }

    /// Whether the bar is good enough with a change to it and everything at full, which is rarely
    /// better than its worst mix and soon solved.
    fn good_at_full(&self, solver: &mut Solver, change: impl FnOnce(&mut Wired)) -> bool {
        let mut changed = self.wired.clone();
        change(&mut changed);
        let full = solver.full(&changed, LoadModel::ResistorString);
        let Ok(full) = full.as_ref() else {
            return false;
        };
        changed.bars_of(self.at).all(|bar| {
            let mut strips = full.bars[bar].strips.iter();
            strips.all(|strip| judge::good(strip.drop_percent, strip.light_worst_percent))
        })
    }

    /// The greatest of so many steps of a change that is good enough, with what comes of it; what
    /// comes of the least where none is.
    fn longest(
        &self,
        solver: &mut Solver,
        steps: usize,
        change: impl Fn(&mut Wired, usize),
    ) -> Option<(usize, Outcome)> {
        let none = (0, self.solve(solver, |wired| change(wired, 0))?);
        if !judge::good(none.1.0, none.1.1) {
            return Some(none);
        }
        // No step beyond the greatest that is good at full is good in every mix.
        let bound = greatest(steps, |step| {
            self.good_at_full(solver, |wired| change(wired, step))
                .then_some(())
        });
        let most = bound.map_or(0, |(step, ())| step);
        let mut all = |step| {
            self.solve(solver, |wired| change(wired, step))
                .filter(|found| judge::good(found.0, found.1))
        };
        let found = all(most).map(|found| (most, found));
        Some(found.or_else(|| greatest(most, all)).unwrap_or(none))
    }

    fn run(&self) -> Option<&WiredRun> {
        self.wired.bars[self.at].runs.first()
    }

    /// What a length of a part costs, by its cheapest offer.
    fn cost_of_m(&self, part: PartId, metres: f64) -> Option<Money> {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a length on a stage, in micrometres, is far within range"
        )]
        let um = (metres * 1e6).round() as i128;
        self.cost(part, um)
    }

    /// What so many of a part, or so many micrometres of it, cost.
    fn cost(&self, part: PartId, amount: i128) -> Option<Money> {
        let offers = self.chosen.book.offers(part).iter();
        let minor = offers
            .map(|offer| {
                let price = i128::from(offer.price_minor.get());
                price * amount / i128::from(offer.pack_amount)
            })
            .min()?;
        Money::new(i64::try_from(minor).ok()?).ok()
    }

    /// A length of the bar's own cable and a lead.
    fn cost_of_run(&self, metres: f64) -> Option<Money> {
        let bar = self.load.bar.id;
        let cable = *self.chosen.cables.get(&bar)?;
        let (lead, _) = self.chosen.plugs.get(&bar)?.lead?;
        self.cost_of_m(cable, metres)?
            .checked_add(self.cost(lead, 1)?)
    }

    fn show(&self, metres: f64) -> String {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a length on a stage is far within range"
        )]
        let um = (metres * 1e6).round() as i64;
        self.chosen
            .book
            .show(Length::new(um.clamp(0, Length::MAX)).unwrap_or_default())
    }

    fn both_ends(&self, solver: &mut Solver) -> Option<Mend> {
        let near = self.run().filter(|_| self.load.ends() == 1)?.clone();
        let far_m = near.cable_m + self.load.lit.metres();
        let ohm_per_m = self.ohm_per_m(&near)?;
        let found = self.solve(solver, |wired| {
            let runs = &mut wired.bars[self.at].runs;
            runs.push(WiredRun {
                to: To::End,
                cable_m: far_m,
                ohm_per_m,
                ..near
            });
        })?;
        let words = format!(
            "Feed it at both ends: {} more of its cable to the far end, from the same output.",
            self.show(far_m)
        );
        Some(mend(How::BothEnds, words, found, self.cost_of_run(far_m)))
    }

    /// Resistance of the bar's cable in Ω/m: one that stands at its driver has none planned yet.
    fn ohm_per_m(&self, run: &WiredRun) -> Option<f64> {
        if run.ohm_per_m > 0.0 {
            return Some(run.ohm_per_m);
        }
        let chosen = self.chosen.book.input.design.choices.cable;
        let (_, cable) = self
            .own_cables()
            .into_iter()
            .find(|(id, _)| chosen == Some(*id))?;
        Some(assumed::cable(
            "the cable",
            Some(cable),
            Guess::Usual,
            &mut Vec::new(),
        ))
    }

    fn middle_feed(&self, solver: &mut Solver) -> Option<Mend> {
        let bar = &self.wired.bars[self.at];
        if self.load.ends() != 1 || bar.units < 2 {
            return None;
        }
        let more_m = bar.lit_m() / 2.0;
        let near = self.run()?.clone();
        let ohm_per_m = self.ohm_per_m(&near)?;
        let found = self.solve(solver, |wired| {
            let run = &mut wired.bars[self.at].runs[0];
            run.to = To::Middle;
            run.cable_m += more_m;
            run.ohm_per_m = ohm_per_m;
        })?;
        let words = format!(
            "Feed it in the middle: its cable is {} longer and soldered to the pads there.",
            self.show(more_m)
        );
        let cable = self.chosen.cables.get(&self.load.bar.id);
        let cost = cable.and_then(|id| self.cost_of_m(*id, more_m));
        Some(mend(How::MiddleFeed, words, found, cost))
    }

    /// Cables of the catalogue with conductors enough.
    fn cables(&self, conductors: usize) -> Vec<(PartId, &Cable)> {
        let all = self.chosen.book.of(|spec| match spec {
            PartSpec::Cable(cable) => Some(cable),
            _ => None,
        });
        let enough = |cable: &Cable| usize::from(cable.conductors) >= conductors;
        all.into_iter().filter(|(_, cable)| enough(cable)).collect()
    }

    /// Cables that carry the bar's colours.
    fn own_cables(&self) -> Vec<(PartId, &Cable)> {
        self.cables(self.load.channels.conductors())
    }

    /// All the cable of the bar.
    fn cable_m(&self) -> f64 {
        let runs = self.wired.bars[self.at].runs.iter();
        runs.map(|run| run.cable_m).sum()
    }

    fn thicker_cable(&self, solver: &mut Solver) -> Option<Mend> {
        let now = self.run().filter(|run| run.cable_m > 0.0)?.ohm_per_m;
        let metres = self.cable_m();
        let conductors = self.load.channels.conductors();
        self.thicker(now, conductors, metres, |name, ohm_per_m, cost| {
            let found = self.solve(solver, |wired| {
                for run in &mut wired.bars[self.at].runs {
                    run.ohm_per_m = ohm_per_m;
                }
            })?;
            let words = format!("Take {name}: {} of it.", self.show(metres));
            Some(mend(How::ThickerCable, words, found, cost))
        })
    }

    fn thicker_feed(&self, solver: &mut Solver) -> Option<Mend> {
        let feeds = self.chosen.feeds;
        let cables = self.cables(feed::CONDUCTORS);
        let (id, cable) = cables.iter().find(|(id, _)| feeds.cable == Some(*id))?;
        let name = self.chosen.book.name(*id);
        let now = assumed::cable(&name, Some(cable), Guess::Usual, &mut Vec::new());
        if self.wired.feed_ohm <= 0.0 {
            return None;
        }
        let metres = feeds.length.metres();
        self.thicker(now, feed::CONDUCTORS, metres, |name, ohm_per_m, cost| {
            let found = self.solve(solver, |wired| wired.feed_ohm *= ohm_per_m / now)?;
            let words = format!(
                "Feed its driver through {name}: {} of it.",
                self.show(metres)
            );
            Some(mend(How::ThickerFeed, words, found, cost))
        })
    }

    /// The cheapest cable that is good enough, else the one of least drop, among those of less
    /// resistance than `now`, in Ω/m: of the catalogue, or where it has none, of the ready-made
    /// parts. `of` is given its name, its Ω/m and what the metres cost.
    fn thicker(
        &self,
        now: f64,
        conductors: usize,
        metres: f64,
        mut of: impl FnMut(&str, f64, Option<Money>) -> Option<Mend>,
    ) -> Option<Mend> {
        let known = self.cables(conductors).into_iter().map(|(id, cable)| {
            let name = self.chosen.book.name(id);
            (name, cable, self.cost_of_m(id, metres))
        });
        let ready = ready_made::all().iter().filter_map(|part| {
            let PartSpec::Cable(cable) = &part.spec else {
                return None;
            };
            let enough = usize::from(cable.conductors) >= conductors;
            let name = format!("{}, which is among the ready-made parts", part.name);
            enough.then_some((name, cable, None))
        });
        best_of(now, known, &mut of).or_else(|| best_of(now, ready, &mut of))
    }

    fn doubled_common(&self, solver: &mut Solver) -> Option<Mend> {
        self.run().filter(|run| run.cable_m > 0.0)?;
        let found = self.solve(solver, |wired| {
            for run in &mut wired.bars[self.at].runs {
                run.commons = 2;
            }
        })?;
        let wanted = self.load.channels.conductors() + 1;
        let own = self.chosen.cables.get(&self.load.bar.id).copied();
        let all = self.own_cables();
        let own_cable = all.iter().find(|(id, _)| Some(*id) == own);
        let enough = |cable: &Cable| usize::from(cable.conductors) >= wanted;
        let like = |cable: &Cable| {
            own_cable.is_some_and(|(_, own)| {
                own.conductor.is_some()
                    && own.conductor == cable.conductor
                    && own.strand == cable.strand
            })
        };
        let (words, cost) = if own_cable.is_some_and(|(_, cable)| enough(cable)) {
            (
                "Let a spare conductor of its cable carry the common too.".to_owned(),
                Some(Money::default()),
            )
        } else if let Some((id, _)) = all.iter().find(|(_, cable)| enough(cable) && like(cable)) {
            let words = format!(
                "Let two conductors carry the common: {} of {}.",
                self.show(self.cable_m()),
                self.chosen.book.name(*id)
            );
            (words, self.cost_of_m(*id, self.cable_m()))
        } else {
            let words = format!(
                "Let two conductors carry the common: a cable of {wanted} such conductors, which is not in the catalogue."
            );
            (words, None)
        };
        Some(mend(How::DoubledCommon, words, found, cost))
    }

    fn shorter_run(&self, solver: &mut Solver) -> Option<Mend> {
        let bar = &self.wired.bars[self.at];
        let units = bar.units;
        let (less, found) = self.longest(solver, units.checked_sub(1)?, |wired, more| {
            let bar = &mut wired.bars[self.at];
            let shorter = super::wired::float(units - more - 1) * bar.pitch_m;
            bar.units = more + 1;
            // The run to the far end is as much shorter as the bar.
            for run in bar.runs.iter_mut().filter(|run| run.to == To::End) {
                run.cable_m = (run.cable_m - shorter).max(0.0);
            }
        })?;
        let lit_m = super::wired::float(less + 1) * bar.pitch_m;
        let words = if judge::good(found.0, found.1) {
            format!(
                "Make it at most {} long, and the rest another bar with a run of its own.",
                self.show(lit_m)
            )
        } else {
            "Even a single cut unit is not good enough on this cable.".to_owned()
        };
        Some(mend(How::ShorterRun, words, found, Some(Money::default())))
    }

    fn driver_nearer(&self, solver: &mut Solver) -> Option<Mend> {
        let near_m = self.run().filter(|run| run.cable_m > 0.0)?.cable_m;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a length on a stage is not below 0 and far within range"
        )]
        let steps = (near_m / CABLE_STEP_M).ceil() as usize;
        let at = |step: usize| super::wired::float(step) * CABLE_STEP_M;
        let (step, found) = self.longest(solver, steps, |wired, step| {
            for run in &mut wired.bars[self.at].runs {
                run.cable_m = (run.cable_m - (near_m - at(step)).max(0.0)).max(0.0);
            }
        })?;
        let words = if judge::good(found.0, found.1) {
            format!(
                "Put the driver nearer: at most {} of cable.",
                self.show(at(step))
            )
        } else {
            "Even with the driver beside it, it is not good enough.".to_owned()
        };
        Some(mend(
            How::DriverNearer,
            words,
            found,
            Some(Money::default()),
        ))
    }

    /// The tape of the same colours and of a higher voltage with the least drop: of the catalogue,
    /// or where it has none, of the ready-made parts.
    fn higher_voltage(&self, solver: &mut Solver) -> Option<Mend> {
        let metres = self.load.lit.metres();
        let known = self.chosen.book.of(|spec| match spec {
            PartSpec::Tape(tape) => Some(tape),
            _ => None,
        });
        let known = known.into_iter().map(|(id, tape)| {
            let name = self.chosen.book.name(id);
            (name, tape, self.cost_of_m(id, metres))
        });
        let ready = ready_made::all().iter().filter_map(|part| {
            let PartSpec::Tape(tape) = &part.spec else {
                return None;
            };
            let name = format!("{}, which is among the ready-made parts", part.name);
            Some((name, tape, None))
        });
        self.of_tapes(solver, known)
            .or_else(|| self.of_tapes(solver, ready))
    }

    fn of_tapes<'t>(
        &self,
        solver: &mut Solver,
        tapes: impl Iterator<Item = (String, &'t Tape, Option<Money>)>,
    ) -> Option<Mend> {
        let mut best: Option<(f64, Mend)> = None;
        for (name, tape, cost) in tapes {
            let same = tape.colours().is_some_and(|of| of == *self.load.channels);
            if !same || tape.voltage_mv.volts() <= self.wired.nominal_v {
                continue;
            }
            let Some(found) = self.with_tape(solver, tape) else {
                continue;
            };
            let words = format!(
                "Build it of another tape, {name}: {} of it, with a driver and a supply for {}.",
                self.show(self.load.lit.metres()),
                tape.voltage_mv.show()
            );
            let mend = mend(How::HigherVoltage, words, found, cost);
            if best.as_ref().is_none_or(|(least, _)| found.0 < *least) {
                best = Some((found.0, mend));
            }
        }
        best.map(|(_, mend)| mend)
    }

    /// The bar made of another tape, on an output of its own.
    fn with_tape(&self, solver: &mut Solver, tape: &Tape) -> Option<Outcome> {
        let volts = tape.voltage_mv.volts();
        let mut changed = self.wired.clone();
        let mut bar = changed.bars.swap_remove(self.at);
        bar.units = usize::try_from(tape.pitch.whole_units(self.load.lit).0).ok()?;
        bar.pitch_m = super::pitch_m(tape);
        let unsaid = &mut Vec::new();
        (bar.common_ohm_per_m, bar.channel_ohm_per_m) = super::traces(tape, Guess::Usual, unsaid);
        bar.strips = strips(self.load, tape, Guess::Usual, unsaid).ok()?;
        changed.bars = vec![bar];
        (changed.nominal_v, changed.supply_v) = (volts, volts);
        outcome(solver, &changed, 0)
    }
}

fn best_of<'c>(
    now: f64,
    cables: impl Iterator<Item = (String, &'c Cable, Option<Money>)>,
    of: &mut impl FnMut(&str, f64, Option<Money>) -> Option<Mend>,
) -> Option<Mend> {
    let mut best: Option<((bool, i64), Mend)> = None;
    for (name, cable, cost) in cables {
        let mut missing = Vec::new();
        let ohm_per_m = assumed::cable(&name, Some(cable), Guess::Usual, &mut missing);
        if !missing.is_empty() || ohm_per_m >= now {
            continue;
        }
        let Some(mend) = of(&name, ohm_per_m, cost) else {
            continue;
        };
        let price = if mend.good {
            mend.cost_minor.map_or(i64::MAX, Money::get)
        } else {
            0
        };
        let rank = (!mend.good, price);
        if best.as_ref().is_none_or(|(least, other)| {
            rank.cmp(least)
                .then(mend.drop_percent.total_cmp(&other.drop_percent))
                .is_lt()
        }) {
            best = Some((rank, mend));
        }
    }
    best.map(|(_, mend)| mend)
}

/// The worst drop and the least light of a bar over every mix; `None` where it can't be solved.
fn outcome(solver: &mut Solver, wired: &Wired, at: usize) -> Option<Outcome> {
    let mixes = solver.mixes(wired);
    let (_, _, worst) = mixes.as_ref().as_ref().ok()?;
    let mut found: Option<Outcome> = None;
    for bar in wired.bars_of(at) {
        let (lowest, dimmest) = worst.bars[bar]?;
        let drop = 100.0 * (wired.supply_v - lowest.1.value) / wired.nominal_v;
        let light = dimmest.1.value;
        found = Some(found.map_or((drop, light), |(most, least)| {
            (most.max(drop), least.min(light))
        }));
    }
    found
}

fn mend(how: How, words: String, found: Outcome, cost_minor: Option<Money>) -> Mend {
    let (drop, light) = found;
    Mend {
        how,
        words,
        drop_percent: rounded(drop),
        light_percent: rounded(light),
        good: judge::good(drop, light),
        cost_minor,
    }
}

/// The greatest step above none and below so many for which there is something, if every smaller
/// one has too.
fn greatest<T>(steps: usize, mut of: impl FnMut(usize) -> Option<T>) -> Option<(usize, T)> {
    let (mut low, mut high) = (0, steps);
    let mut best = None;
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        match of(middle) {
            Some(found) => {
                best = Some((middle, found));
                low = middle;
            }
            None => high = middle,
        }
    }
    best
}
