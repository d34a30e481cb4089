use std::collections::{BTreeMap, HashMap};

use proptest::prelude::*;

use super::*;

const BARE: (End, End) = (End::Bare, End::Bare);
pub(super) const LEADED: (End, End) = (End::Lead, End::Lead);

pub(super) fn piece(units: u64, ends: (End, End), joints: Option<Joints>) -> Stock {
    Stock {
        units,
        start: ends.0,
        end: ends.1,
        joints,
    }
}

pub(super) fn one_end(units: u64, quantity: u32) -> Want {
    Want {
        units,
        quantity,
        fed: Fed::OneEnd,
    }
}

pub(super) fn problem(stock: Vec<Stock>, wants: Vec<Want>) -> Problem {
    Problem {
        stock,
        rolls: Vec::new(),
        wants,
        usable_units: 1,
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::USUAL,
    }
}

fn solved(problem: &Problem) -> CutPlan {
    let plan = plan(problem, Budget::USUAL).expect("the problem is in range");
    assert_eq!(verify(problem, &plan), Ok(()), "{problem:?} {plan:?}");
    plan
}

fn all_proven(plan: &CutPlan) -> bool {
    let proof = plan.proof;
    proof.short.is_proven()
        && proof.money.is_proven()
        && proof.solder.is_proven()
        && proof.rest.is_proven()
}

// Common practice, no source: a roll with a lead at each end gives at most two bars that
// need no soldering, however it is cut. Lengths in tenths of a foot.

#[test]
fn of_four_short_bars_from_a_roll_with_two_leads_two_are_soldered() {
    let plan = solved(&problem(
        vec![piece(130, LEADED, None)],
        vec![one_end(30, 4)],
    ));
    assert!(all_proven(&plan));
    let from_lead = joinings(&plan)
        .filter(|&joining| joining == Joining::FactoryLead)
        .count();
    assert_eq!((from_lead, joinings(&plan).count()), (2, 4));
    assert_eq!(plan.solder_work, 2 * 2);
}

#[test]
fn two_long_bars_take_both_leads_and_leave_the_rest_between_them() {
    let plan = solved(&problem(
        vec![piece(130, LEADED, None)],
        vec![one_end(60, 2)],
    ));
    assert!(all_proven(&plan));
    assert_eq!(plan.solder_work, 0);
    let segments: Vec<_> = plan.layouts[0]
        .segments
        .iter()
        .map(|segment| (segment.from, segment.to, segment.becomes))
        .collect();
    let bar = |start, end| Use::Bar {
        want: 0,
        start,
        end,
    };
    assert_eq!(
        segments,
        [
            (0, 60, bar(Some(Joining::FactoryLead), None)),
            (60, 70, Use::Offcut),
            (70, 130, bar(None, Some(Joining::FactoryLead))),
        ]
    );
}

fn joinings(plan: &CutPlan) -> impl Iterator<Item = Joining> {
    plan.layouts
        .iter()
        .flat_map(|layout| &layout.segments)
        .filter_map(|segment| match segment.becomes {
            Use::Bar { start, end, .. } => Some([start, end]),
            _ => None,
        })
        .flatten()
        .flatten()
}

#[test]
fn a_gap_is_left_where_it_brings_a_cut_onto_a_joint() {
    // Joints at 0, 10 and 20. Side by side the second bar would lie on no joint.
    let joints = Some(Joints {
        every: 10,
        offset: 0,
    });
    let mut nines = problem(vec![piece(20, BARE, joints)], vec![one_end(9, 2)]);
    let plan = solved(&nines);
    assert!(all_proven(&plan));
    assert_eq!(plan.solder_work, 2);
    // Both ends of the piece lie on joints, so the two units can stay in one rest.
    assert_eq!((plan.rest.scrap_units, plan.rest.offcuts), (0, 1));

    nines.stock[0].units = 29;
    nines.wants[0].quantity = 3;
    let plan = solved(&nines);
    assert!(all_proven(&plan));
    assert_eq!(plan.solder_work, 3);
    // Fed at 0, at 20 from below and at 20 from above: one rest, between the first two.
    assert_eq!((plan.rest.offcuts, plan.rest.squares), (1, 4));
}

#[test]
fn a_kerf_is_lost_at_every_cut_and_at_none_that_is_not_made() {
    let mut profile = problem(vec![piece(30, BARE, None)], vec![one_end(10, 3)]);
    profile.weights = SolderWeights::NONE;
    profile.kerf_units = 1;
    assert_eq!(
        solved(&profile).short,
        [Short {
            want: 0,
            quantity: 1
        }]
    );
    profile.stock[0].units = 32;
    let plan = solved(&profile);
    assert_eq!((plan.short.len(), plan.rest.offcuts), (0, 0));
    // One unit more is sawn away, two more leave a rest of one.
    profile.stock[0].units = 33;
    assert_eq!(solved(&profile).rest.offcuts, 0);
    profile.stock[0].units = 34;
    assert_eq!(solved(&profile).rest.squares, 1);
}

#[test]
fn what_fits_nowhere_is_short_and_proven_so() {
    let plan = solved(&problem(
        vec![piece(10, BARE, None)],
        vec![one_end(11, 2), one_end(6, 2)],
    ));
    assert!(all_proven(&plan));
    let short: Vec<_> = plan.short.iter().map(|s| (s.want, s.quantity)).collect();
    assert_eq!(short, [(0, 2), (1, 1)]);
}

#[test]
fn nothing_wanted_cuts_nothing() {
    let plan = solved(&problem(vec![piece(10, BARE, None)], Vec::new()));
    assert!(all_proven(&plan) && plan.layouts.is_empty());
    assert_eq!(plan.rest.squares, 100);
}

#[test]
fn questions_that_make_no_sense_are_refused() {
    let good = problem(vec![piece(10, BARE, None)], vec![one_end(5, 1)]);
    let asked = |change: &dyn Fn(&mut Problem)| {
        let mut bad = good.clone();
        change(&mut bad);
        plan(&bad, Budget::USUAL).map(|_| ())
    };
    assert_eq!(asked(&|_| {}), Ok(()));
    assert_eq!(asked(&|p| p.wants[0].units = 0), Err(Refusal::NoLength));
    assert_eq!(
        asked(&|p| p.wants[0].quantity = 1_000_000),
        Err(Refusal::TooLarge)
    );
    assert_eq!(asked(&|p| p.weights.lead = 9), Err(Refusal::WeightsFall));
    assert_eq!(
        asked(&|p| p.rolls.push(Roll {
            piece: p.stock[0],
            price_minor: -1,
            quantity: None
        })),
        Err(Refusal::NegativePrice)
    );
    assert_eq!(
        asked(&|p| {
            p.kerf_units = 1;
            p.stock[0].joints = Some(Joints {
                every: 2,
                offset: 0,
            });
        }),
        Err(Refusal::KerfThroughJoints)
    );
}

#[test]
fn a_plan_that_is_changed_anywhere_is_rejected() {
    let asked = Problem {
        stock: vec![piece(130, LEADED, None), piece(40, BARE, None)],
        rolls: vec![Roll {
            piece: piece(50, BARE, None),
            price_minor: 700,
            quantity: Some(1),
        }],
        wants: vec![one_end(60, 2), one_end(35, 1), one_end(45, 1)],
        usable_units: 6,
        kerf_units: 1,
        trim_units: 0,
        weights: SolderWeights::USUAL,
    };
    let good = solved(&asked);
    assert_eq!(good.layouts.len(), 3);
    let flaw = |change: &dyn Fn(&mut CutPlan)| {
        let mut bad = good.clone();
        change(&mut bad);
        verify(&asked, &bad).err()
    };
    let first = good.layouts[0].source;
    let roll = good.layouts[2].source;
    assert_eq!(roll, Source::Roll(0));
    assert_eq!(flaw(&|_| {}), None);
    assert_eq!(
        flaw(&|p| p.layouts[0].source = Source::Stock(9)),
        Some(Flaw::Unknown)
    );
    let again = |layout: usize| {
        move |p: &mut CutPlan| {
            let twice = p.layouts[layout].clone();
            p.layouts.push(twice);
        }
    };
    assert_eq!(flaw(&again(0)), Some(Flaw::UsedTooOften(first)));
    assert_eq!(flaw(&again(2)), Some(Flaw::UsedTooOften(roll)));
    assert_eq!(
        flaw(&|p| p.layouts[0].segments[0].to += 1),
        Some(Flaw::NotTiled(first))
    );
    assert_eq!(
        flaw(&|p| {
            p.layouts[0].segments.pop();
        }),
        Some(Flaw::NotTiled(first))
    );
    assert_eq!(
        flaw(&|p| {
            let segments = &mut p.layouts[0].segments;
            segments[0].to += 1;
            segments[1].from += 1;
            segments[1].to += 1;
            segments[2].from += 1;
        }),
        Some(Flaw::WrongLength(first))
    );
    assert_eq!(
        flaw(&|p| {
            for segment in &mut p.layouts[0].segments {
                if segment.becomes == Use::Offcut {
                    segment.becomes = Use::Scrap;
                }
            }
        }),
        Some(Flaw::WrongRest(first))
    );
    assert_eq!(
        flaw(&|p| p.layouts[0].segments[1].becomes = Use::Scrap),
        Some(Flaw::WrongRest(first))
    );
    let refeed = |from: Option<Joining>, to: Option<Joining>| {
        move |p: &mut CutPlan| {
            if let Use::Bar { start, end, .. } = &mut p.layouts[2].segments[0].becomes {
                (*start, *end) = (from, to);
            }
        }
    };
    for (start, end) in [
        (None, None),
        (Some(Joining::Mark), Some(Joining::Mark)),
        (Some(Joining::FactoryLead), None),
        (Some(Joining::Joint), None),
    ] {
        assert_eq!(flaw(&refeed(start, end)), Some(Flaw::WrongFeed(roll)));
    }
    assert_eq!(
        flaw(&|p| p.short.push(Short {
            want: 1,
            quantity: 1
        })),
        Some(Flaw::WrongCount(1))
    );
    assert_eq!(
        flaw(&|p| {
            p.layouts.pop();
        }),
        Some(Flaw::WrongCount(2))
    );
    assert_eq!(
        flaw(&|p| p.purchase_minor -= 1),
        Some(Flaw::WrongTotal(Total::Purchase))
    );
    assert_eq!(
        flaw(&|p| p.solder_work += 1),
        Some(Flaw::WrongTotal(Total::Solder))
    );
    assert_eq!(
        flaw(&|p| p.rest.squares += 1),
        Some(Flaw::WrongTotal(Total::Rest))
    );
}

// A second opinion: every way to walk along every piece unit by unit, and every way to
// share the bars out. Shares nothing with the planner but the question.

/// Bars short, money, soldering, scrap, offcuts, squares (negative).
pub(super) type Objective = (u64, i64, u64, u64, u64, i128);

fn add(a: Objective, b: Objective) -> Objective {
    (
        a.0 + b.0,
        a.1 + b.1,
        a.2 + b.2,
        a.3 + b.3,
        a.4 + b.4,
        a.5 + b.5,
    )
}

struct Walk<'a> {
    problem: &'a Problem,
    piece: Stock,
    found: BTreeMap<Vec<u32>, Objective>,
}

impl Walk<'_> {
    fn gap(&self, length: u64) -> Objective {
        let squares = i128::from(length) * i128::from(length);
        match length {
            0 => (0, 0, 0, 0, 0, 0),
            _ if length >= self.problem.usable_units => (0, 0, 0, 0, 1, -squares),
            _ => (0, 0, 0, length, 0, 0),
        }
    }

    fn weight(&self, at: u64) -> u64 {
        let lead = (at == 0 && self.piece.start == End::Lead)
            || (at == self.piece.units && self.piece.end == End::Lead);
        let joint = self
            .piece
            .joints
            .is_some_and(|j| (0..=at).any(|n| n * j.every + j.offset % j.every == at));
        let weights = self.problem.weights;
        u64::from(match (lead, joint) {
            (true, _) => weights.lead,
            (_, true) => weights.joint,
            _ => weights.mark,
        })
    }

    fn from(&mut self, at: u64, gap: u64, cut: &mut Vec<u32>, so_far: Objective) {
        if at + gap == self.piece.units {
            let total = add(so_far, self.gap(gap));
            let known = self.found.entry(cut.clone()).or_insert(total);
            *known = (*known).min(total);
            return;
        }
        self.from(at, gap + 1, cut, so_far);
        for want in 0..cut.len() {
            let Want {
                units,
                quantity,
                fed,
            } = self.problem.wants[want];
            let from = at + gap;
            if cut[want] == quantity || from + units > self.piece.units {
                continue;
            }
            let (start, end) = (self.weight(from), self.weight(from + units));
            let mut next = add(so_far, self.gap(gap));
            next.2 += match fed {
                Fed::OneEnd => start.min(end),
                Fed::BothEnds => start + end,
            };
            cut[want] += 1;
            self.from(from + units, 0, cut, next);
            cut[want] -= 1;
        }
    }
}

/// Every set of bars that a piece can give, each laid as well as can be.
pub(super) fn ways(problem: &Problem, piece: &Stock) -> BTreeMap<Vec<u32>, Objective> {
    let mut walk = Walk {
        problem,
        piece: *piece,
        found: BTreeMap::new(),
    };
    walk.from(0, 0, &mut vec![0; problem.wants.len()], (0, 0, 0, 0, 0, 0));
    walk.found
}

fn brute(problem: &Problem) -> Objective {
    let bars: u32 = problem.wants.iter().map(|want| want.quantity).sum();
    // Every piece and every roll that could be bought, with what not using it costs.
    let mut all: Vec<BTreeMap<Vec<u32>, Objective>> = Vec::new();
    let nothing = vec![0; problem.wants.len()];
    for stock in &problem.stock {
        let mut found = ways(problem, stock);
        let whole = i128::from(stock.units) * i128::from(stock.units);
        found.insert(nothing.clone(), (0, 0, 0, 0, 0, -whole));
        all.push(found);
    }
    for roll in &problem.rolls {
        let mut found = ways(problem, &roll.piece);
        for objective in found.values_mut() {
            objective.1 += roll.price_minor;
        }
        found.insert(nothing.clone(), (0, 0, 0, 0, 0, 0));
        for _ in 0..roll.quantity.unwrap_or(bars).min(bars) {
            all.push(found.clone());
        }
    }
    let mut reached: HashMap<Vec<u32>, Objective> = HashMap::new();
    reached.insert(nothing, (0, 0, 0, 0, 0, 0));
    for ways in &all {
        let mut next: HashMap<Vec<u32>, Objective> = HashMap::new();
        for (done, cost) in &reached {
            for (more, extra) in ways {
                let sum: Vec<u32> = done.iter().zip(more).map(|(a, b)| a + b).collect();
                if sum
                    .iter()
                    .zip(&problem.wants)
                    .any(|(sum, want)| *sum > want.quantity)
                {
                    continue;
                }
                let total = add(*cost, *extra);
                let known = next.entry(sum).or_insert(total);
                *known = (*known).min(total);
            }
        }
        reached = next;
    }
    reached
        .into_iter()
        .map(|(done, cost)| {
            let served: u32 = done.iter().sum();
            add(cost, (u64::from(bars - served), 0, 0, 0, 0, 0))
        })
        .min()
        .unwrap_or((u64::from(bars), 0, 0, 0, 0, 0))
}

fn objective(plan: &CutPlan) -> Objective {
    let short = plan
        .short
        .iter()
        .map(|short| u64::from(short.quantity))
        .sum();
    let squares = i128::try_from(plan.rest.squares).expect("small");
    let rest = plan.rest;
    (
        short,
        plan.purchase_minor,
        plan.solder_work,
        rest.scrap_units,
        rest.offcuts,
        -squares,
    )
}

fn any_piece(most: u64) -> impl Strategy<Value = Stock> {
    let end = prop_oneof![Just(End::Lead), Just(End::Bare)];
    let joints = proptest::option::weighted(0.5, (2_u64..5, 0_u64..6))
        .prop_map(|joints| joints.map(|(every, offset)| Joints { every, offset }));
    (2..=most, end.clone(), end, joints).prop_map(|(units, start, end, joints)| Stock {
        units,
        start,
        end,
        joints,
    })
}

fn any_want(most: u64) -> impl Strategy<Value = Want> {
    let fed = prop_oneof![3 => Just(Fed::OneEnd), 1 => Just(Fed::BothEnds)];
    (2..=most, 1_u32..3, fed).prop_map(|(units, quantity, fed)| Want {
        units,
        quantity,
        fed,
    })
}

pub(super) fn any_problem() -> impl Strategy<Value = Problem> {
    let roll = (any_piece(9), 0_i64..5, proptest::option::of(0_u32..3)).prop_map(
        |(piece, price_minor, quantity)| Roll {
            piece,
            price_minor,
            quantity,
        },
    );
    let weights = prop_oneof![
        3 => Just(SolderWeights::USUAL),
        1 => Just(SolderWeights::NONE),
        1 => Just(SolderWeights { lead: 1, joint: 1, mark: 4 }),
        1 => Just(SolderWeights { lead: 0, joint: 3, mark: 3 }),
    ];
    (
        proptest::collection::vec(any_piece(10), 0..4),
        proptest::collection::vec(roll, 0..3),
        proptest::collection::vec(any_want(7), 0..4),
        0_u64..5,
        weights,
    )
        .prop_map(|(stock, rolls, wants, usable_units, weights)| Problem {
            stock,
            rolls,
            wants,
            usable_units,
            kerf_units: 0,
            trim_units: 0,
            weights,
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn small_cases_are_proven_and_equal_every_way_tried(problem in any_problem()) {
        let plan = solved(&problem);
        prop_assert!(all_proven(&plan), "{:?}", plan.proof);
        prop_assert_eq!(objective(&plan), brute(&problem));
    }

    /// With a budget too small for a proof, what is called proven still is, and bounds hold.
    #[test]
    fn a_search_cut_short_claims_no_more_than_is_true(
        problem in any_problem(),
        steps in 0_u64..12,
    ) {
        let plan = plan(&problem, Budget { steps }).expect("in range");
        prop_assert_eq!(verify(&problem, &plan), Ok(()));
        let (ours, best) = (objective(&plan), brute(&problem));
        prop_assert!(ours >= best);
        match plan.proof.short {
            Proof::Proven => prop_assert_eq!(ours.0, best.0),
            Proof::Within { bound } => prop_assert!(bound <= best.0),
            Proof::Open { .. } => {}
        }
        match plan.proof.money {
            Proof::Proven => prop_assert_eq!((ours.0, ours.1), (best.0, best.1)),
            Proof::Within { bound } => prop_assert!(ours.0 == best.0 && bound <= best.1),
            Proof::Open { .. } => {}
        }
        match plan.proof.solder {
            Proof::Proven => prop_assert_eq!((ours.1, ours.2), (best.1, best.2)),
            Proof::Within { bound } => prop_assert!(ours.1 == best.1 && bound <= best.2),
            Proof::Open { .. } => {}
        }
        let squares = best.5.unsigned_abs();
        let rest = Rest { scrap_units: best.3, offcuts: best.4, squares };
        match plan.proof.rest {
            Proof::Proven => prop_assert_eq!(ours, best),
            Proof::Within { bound } => prop_assert!(ours.2 == best.2 && bound <= rest),
            Proof::Open { .. } => {}
        }
    }

    #[test]
    fn the_order_of_the_input_changes_no_figure(problem in any_problem(), steps in 0_u64..500) {
        let mut turned = problem.clone();
        turned.stock.reverse();
        turned.rolls.reverse();
        turned.wants.reverse();
        let budget = Budget { steps };
        let (plain, turned) = (plan(&problem, budget), plan(&turned, budget));
        let (plain, turned) = (plain.expect("in range"), turned.expect("in range"));
        prop_assert_eq!(objective(&plain), objective(&turned));
        prop_assert_eq!(plain.proof, turned.proof);
        prop_assert_eq!(plain, plan(&problem, budget).expect("in range"));
    }

    /// Sawn bars, too long to tabulate by position: valid, and what is proven is true by
    /// the plain count of bars that fit.
    #[test]
    fn sawn_bars_add_up(
        lengths in proptest::collection::vec(1_000_000_u64..3_000_000, 1..5),
        bars in proptest::collection::vec((150_001_u64..900_000, 1_u32..5), 1..4),
    ) {
        let asked = Problem {
            stock: lengths.iter().map(|&units| piece(units, BARE, None)).collect(),
            rolls: vec![Roll { piece: piece(2_500_000, BARE, None), price_minor: 990, quantity: None }],
            wants: bars.iter().map(|&(units, quantity)| one_end(units, quantity)).collect(),
            usable_units: 100_000,
            kerf_units: 3_000,
            trim_units: 0,
            weights: SolderWeights::NONE,
        };
        let plan = plan(&asked, Budget { steps: 3_000 }).expect("in range");
        prop_assert_eq!(verify(&asked, &plan), Ok(()));
        prop_assert!(plan.short.is_empty());
    }
}
