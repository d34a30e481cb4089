//! Availability against a day-by-day count that knows no windows, low points or sweeps.

use std::collections::BTreeMap;

use jiff::civil::date;
use proptest::{collection::vec, prelude::*};
use tapewright::{
    model::{
        fixture::Condition,
        id::{DesignId, PurchaseLineId},
    },
    plan::{
        available::{At, Claim, Counted, Due, Lent, Out, Rules, free_ranges, freedom},
        input::Freedom,
    },
    units::{Date, FOREVER, Window},
};

/// The tests' month: day 1 to 28.
fn day(number: i8) -> Date {
    date(2026, 11, number)
}

fn window() -> impl Strategy<Value = Window> {
    (1_i8..=20, 0_i8..=6)
        .prop_map(|(from, days)| Window::new(day(from), day(from + days)).expect("in order"))
}

fn rules() -> impl Strategy<Value = Rules> {
    (1_i8..=20, any::<bool>()).prop_map(|(today, same_day_turnaround)| Rules {
        today: day(today),
        same_day_turnaround,
    })
}

/// Days of a hold: some end never.
fn span() -> impl Strategy<Value = Window> {
    (window(), prop::bool::weighted(0.25)).prop_map(|(window, for_good)| {
        if for_good {
            Window::new(window.from(), FOREVER).expect("in order")
        } else {
            window
        }
    })
}

fn claim(most: i64) -> impl Strategy<Value = Claim> {
    (
        1_i64..5,
        0..most,
        1..=most,
        span(),
        any::<bool>(),
        prop::option::weighted(0.2, 1_i64..3),
    )
        .prop_map(|(design, from, length, window, until_back, due)| Claim {
            design: DesignId(design),
            name: format!("set {design}"),
            from,
            to: from + length,
            window,
            // One set is at work or not: the same for all its holds.
            until_back: until_back && design > 2,
            due: due.map(PurchaseLineId),
        })
}

fn counted() -> impl Strategy<Value = Counted> {
    let out = vec((1_i64..5, 1_i64..4, 1_i8..=22), 0..3).prop_map(|rows| {
        let rows: BTreeMap<i64, Out> = rows
            .into_iter()
            .map(|(design, amount, until)| {
                let out = Out {
                    design: DesignId(design),
                    amount,
                    until: day(until),
                };
                (design, out)
            })
            .collect();
        rows.into_values().collect::<Vec<_>>()
    });
    let lent = vec(
        (1_i64..4, 1_i8..=22).prop_map(|(amount, due)| Lent {
            amount,
            due_on: day(due),
        }),
        0..3,
    );
    let due = vec((1_i64..4, 1_i8..=22), 0..3).prop_map(|rows| {
        (1..)
            .zip(rows)
            .map(|(line, (amount, on))| Due {
                line: PurchaseLineId(line),
                amount,
                on: day(on),
            })
            .collect::<Vec<_>>()
    });
    (0_i64..12, out, lent, due, vec(claim(4), 0..8)).prop_map(
        |(in_places, out, lent, due, claims)| Counted {
            in_places,
            out,
            lent,
            due,
            claims,
        },
    )
}

/// What one claim takes from others on one day of an asked window, said day by day.
fn taken_on(claim: &Claim, day: Date, asked: Window, rules: Rules) -> i64 {
    let amount = claim.to - claim.from;
    let (first, last) = (claim.window.from(), claim.window.to());
    let overdue = claim.until_back && last < rules.today;
    if overdue {
        return if day >= first { amount } else { 0 };
    }
    if day < first || day > last {
        return 0;
    }
    // One set out and another in on one day, where the venue allows it.
    let handed = rules.same_day_turnaround && (last == asked.from()) != (first == asked.to());
    if handed { 0 } else { amount }
}

/// Available, counted day by day.
fn by_days(stock: &Counted, asked: Window, rules: Rules) -> i64 {
    let mut least = i64::MAX;
    let mut today = asked.from();
    while today <= asked.to() {
        let mut there = stock.in_places;
        for out in &stock.out {
            there += out.amount;
        }
        for lent in &stock.lent {
            if lent.due_on >= rules.today && lent.due_on <= today {
                there += lent.amount;
            }
        }
        for due in &stock.due {
            if due.on >= rules.today && due.on <= today {
                there += due.amount;
            }
        }
        for design in 1..5 {
            let held: i64 = stock
                .claims
                .iter()
                .filter(|claim| claim.design == DesignId(design))
                .map(|claim| taken_on(claim, today, asked, rules))
                .sum();
            let out: i64 = stock
                .out
                .iter()
                .filter(|out| out.design == DesignId(design))
                .map(|out| {
                    let overdue = out.until < rules.today;
                    let handed = rules.same_day_turnaround && out.until == asked.from();
                    if overdue || (today <= out.until && !handed) {
                        out.amount
                    } else {
                        0
                    }
                })
                .sum();
            there -= held.max(out);
        }
        least = least.min(there);
        today = today.tomorrow().expect("within the calendar");
    }
    least
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn counts_equal_a_count_day_by_day(stock in counted(), asked in window(), rules in rules()) {
        prop_assert_eq!(stock.available(asked, rules), by_days(&stock, asked, rules));
    }

    /// What is there without ordered goods, and what is due in by the first day and unheld, are
    /// together never more than is available with them.
    #[test]
    fn firm_and_due_together_are_not_more_than_available(
        mut stock in counted(), asked in window(), rules in rules(),
    ) {
        // A hold rests on goods that come by its first day, or on what is there.
        let due = stock.due.clone();
        for claim in &mut stock.claims {
            claim.due = claim.due.filter(|line| due.iter().any(|due| {
                due.line == *line && due.on >= rules.today && due.on <= claim.window.from()
            }));
        }
        let due: i64 = stock.due_free(asked.from(), rules).iter().map(|(_, amount)| amount).sum();
        let (firm, available) = (stock.firm(asked, rules), stock.available(asked, rules));
        prop_assert!(firm + due <= available, "{firm} and {due} due of {available}");
    }

    /// Each point of a piece is free just when nobody holds it on any day of the window.
    #[test]
    fn pieces_equal_a_point_by_point_count(
        amount in 1_i64..30,
        claims in vec(claim(12), 0..6),
        asked in window(),
        rules in rules(),
        own in prop::option::of(1_i64..5),
    ) {
        let own = own.map(DesignId);
        let free = free_ranges(amount, Condition::Good, &At::Place, &claims, own, asked, rules);
        for point in 0..amount {
            let mut held = false;
            let mut today = asked.from();
            while today <= asked.to() {
                held |= claims.iter().any(|claim| {
                    Some(claim.design) != own
                        && claim.from <= point
                        && point < claim.to
                        && taken_on(claim, today, asked, rules) > 0
                });
                today = today.tomorrow().expect("within the calendar");
            }
            let in_range = free.iter().any(|(from, to)| *from <= point && point < *to);
            prop_assert_eq!(in_range, !held, "point {}", point);
        }
        for pair in free.windows(2) {
            prop_assert!(pair[0].1 < pair[1].0, "in order and apart: {:?}", free);
        }
    }

    /// A thing is a piece of one: free as a whole, or not.
    #[test]
    fn things_equal_pieces_of_one(
        claims in vec(claim(1).prop_map(|mut it| { (it.from, it.to) = (0, 1); it }), 0..4),
        asked in window(),
        rules in rules(),
    ) {
        let ranges = free_ranges(1, Condition::Good, &At::Place, &claims, None, asked, rules);
        let free = freedom(Condition::Good, &At::Place, &claims, None, asked, rules);
        prop_assert_eq!(free == Freedom::Free, ranges == [(0, 1)]);
    }
}

const RULES: Rules = Rules {
    today: date(2026, 11, 10),
    same_day_turnaround: false,
};

fn asked(from: i8, to: i8) -> Window {
    Window::new(day(from), day(to)).expect("in order")
}

fn out(until: i8) -> At {
    At::Out {
        design: DesignId(1),
        name: "Lantern Walk".into(),
        until: day(until),
    }
}

#[test]
fn what_is_late_from_a_set_or_a_loan_is_not_free_until_it_is_checked_in() {
    let free = |at: &At, from, to| {
        freedom(
            Condition::Good,
            at,
            [],
            Some(DesignId(9)),
            asked(from, to),
            RULES,
        )
    };
    assert_eq!(free(&out(12), 13, 15), Freedom::Free);
    assert_eq!(
        free(&out(12), 12, 15),
        Freedom::Not("out with Lantern Walk until 12 Nov 2026".into())
    );
    assert_eq!(
        free(&out(9), 13, 15),
        Freedom::Not("out with Lantern Walk, which was due back on 9 Nov 2026".into())
    );
    let lent = |due| At::Lent {
        borrower: "the school".into(),
        due_on: day(due),
    };
    assert_eq!(free(&lent(13), 13, 15), Freedom::Free);
    assert_eq!(
        free(&lent(14), 13, 15),
        Freedom::Not("lent to the school until 14 Nov 2026".into())
    );
    assert_eq!(
        free(&lent(9), 13, 15),
        Freedom::Not("lent to the school, due back on 9 Nov 2026 and late".into())
    );
    for condition in [Condition::Suspect, Condition::Dead] {
        assert_ne!(
            freedom(condition, &At::Place, [], None, asked(13, 15), RULES),
            Freedom::Free
        );
    }
}

#[test]
fn strike_and_build_on_one_day_overlap_unless_the_venue_allows_it() {
    let stock = Counted {
        in_places: 1,
        claims: vec![Claim {
            design: DesignId(1),
            name: "Lantern Walk".into(),
            from: 0,
            to: 1,
            window: asked(11, 14),
            until_back: false,
            due: None,
        }],
        ..Counted::default()
    };
    assert_eq!(stock.available(asked(14, 16), RULES), 0);
    assert_eq!(stock.available(asked(15, 16), RULES), 1);
    let same_day = Rules {
        same_day_turnaround: true,
        ..RULES
    };
    assert_eq!(stock.available(asked(14, 16), same_day), 1);
    assert_eq!(stock.available(asked(13, 16), same_day), 0);
}

#[test]
fn ordered_goods_count_from_their_day_on_and_not_when_late() {
    let due = |on| Counted {
        due: vec![Due {
            line: PurchaseLineId(1),
            amount: 4,
            on: day(on),
        }],
        ..Counted::default()
    };
    assert_eq!(due(12).available(asked(12, 14), RULES), 4);
    assert_eq!(due(13).available(asked(12, 14), RULES), 0);
    assert_eq!(due(9).available(asked(12, 14), RULES), 0);
    assert_eq!(due(12).firm(asked(12, 14), RULES), 0);
    assert_eq!(due(12).due_free(day(12), RULES), [(PurchaseLineId(1), 4)]);
}
