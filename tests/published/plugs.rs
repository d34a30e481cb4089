//! What bars and cables end in, where the plan chooses it.

use std::collections::BTreeSet;

use serde_json::json;

use crate::house::{House, RGB, RGBW, checks, driver, lead, supply, tape};

/// So many bars of three colours and of four; one male lead and plenty of female ones.
fn house(three: i64, four: i64) -> House {
    let mut house = House::new();
    let pins = ["common", "red", "green", "blue", "white"];
    let tapes = [
        house.part(1, "tape 3", tape(RGB)),
        house.part(2, "tape 4", tape(RGBW)),
    ];
    let male = house.part(4, "male lead", lead("male", &pins));
    let female = house.part(5, "female lead", lead("female", &pins));
    house.part(7, "driver", driver(4, 4, "isolated"));
    house.part(8, "supply", supply(10_000, Some(4)));
    for id in [male, female] {
        house.offer(id, 1, 400);
    }
    house.count(male, 1);
    house.count(female, 20);
    for (id, part) in [(101, tapes[0]), (102, tapes[1])] {
        house.piece(id, part, 100, json!({}));
    }
    for n in 0..three {
        house.bar(1 + n, 1_000_000, RGB, json!({}));
    }
    for n in 0..four {
        house.bar(51 + n, 1_000_000, RGBW, json!({}));
    }
    house
}

#[test]
fn cables_of_all_colours_end_in_one_half_where_that_costs_no_more() {
    // Whichever colours are seen to first: by the price of the bars' side alone the one bar would take
    // the male lead that is there, the three others female ones.
    for (three, four) in [(1, 3), (3, 1)] {
        let plan = house(three, four).plan();
        let mates: BTreeSet<_> = plan.bars.iter().map(|bar| bar.mate).collect();
        assert_eq!(mates.len(), 1, "{three} and {four}: {mates:?}");
        assert!(mates.iter().all(Option::is_some), "{mates:?}");
        assert!(checks(&plan, "mates").is_empty());
    }
}
