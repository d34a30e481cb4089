use std::collections::BTreeMap;

use proptest::prelude::*;

use super::{Answer, Chain, HandJoint, Joined, Part, Why, solve};
use crate::model::{
    channel::{Channels, Role, RoleOrder},
    part::Polarity,
};

fn order(text: &str) -> RoleOrder {
    text.parse().expect("an order")
}

fn part(name: &str, joined: Joined, text: &str) -> Part {
    let order = order(text);
    Part {
        name: name.to_owned(),
        joined,
        conductors: order.count(),
        order: Some(order),
        order_out: None,
    }
}

fn cores(name: &str, joined: Joined, conductors: usize) -> Part {
    Part {
        name: name.to_owned(),
        joined,
        order: None,
        order_out: None,
        conductors,
    }
}

fn crossing(mut part: Part, text: &str) -> Part {
    part.order_out = Some(order(text));
    part
}

const PLUG: Joined = Joined::ByHand(HandJoint::DriverPlug);
const BLOCK: Joined = Joined::ByHand(HandJoint::Block);
const LEAD: Joined = Joined::ByHand(HandJoint::Lead);

fn chain(colours: &str, parts: Vec<Part>) -> Chain {
    Chain {
        name: "bar 1".to_owned(),
        channels: colours.parse().expect("colours"),
        common: (None, None),
        parts,
    }
}

fn usual() -> Chain {
    chain(
        "RGBW",
        vec![
            part("terminals", PLUG, "common, red, green, blue, white"),
            cores("cable", PLUG, 5),
            cores("block", BLOCK, 12),
            cores("lead", BLOCK, 5),
            part("pads", LEAD, "common, green, red, blue, white"),
        ],
    )
}

fn only(answer: &Answer) -> &super::Wired {
    answer.chains[0].as_ref().expect("it is right")
}

/// Common practice, no source.
#[test]
fn red_and_green_cross_once_at_the_place_that_the_venue_prefers() {
    for kind in HandJoint::ALL {
        let answer = solve(&[usual()], &[*kind]);
        assert_eq!((answer.at, answer.crossings), (Some(*kind), 1));
        let wired = only(&answer);
        let red = |word: &str| Role::Colour(word.parse().expect("a colour"));
        assert_eq!(wired.crossings, [(red("red"), red("green"))]);
        assert_eq!(wired.wires.len(), 5);
        assert_eq!(
            wired.wires[1].places.last(),
            Some(&3),
            "red is the third pad"
        );
    }
}

#[test]
fn orders_that_agree_need_no_crossing() {
    let mut same = usual();
    same.parts[4].order = same.parts[0].order.clone();
    let answer = solve(&[same], &[]);
    assert_eq!((answer.at, answer.crossings), (None, 0));
    assert_eq!(only(&answer).crossed_before, None);
}

#[test]
fn a_lead_that_crosses_by_itself_spares_the_hand() {
    let lead = crossing(
        part("lead", BLOCK, "common, red, green, blue"),
        "common, green, red, blue",
    );
    let answer = solve(
        &[chain(
            "RGB",
            vec![
                part("terminals", PLUG, "common, red, green, blue"),
                lead,
                part("pads", LEAD, "common, green, red, blue"),
            ],
        )],
        &[],
    );
    assert_eq!(answer.crossings, 0);
}

#[test]
fn two_parts_whose_crossings_cancel_need_none() {
    let over = |name: &str| {
        crossing(
            part(name, Joined::Plugged, "common, red, green, blue"),
            "common, green, red, blue",
        )
    };
    let parts = |couplers: Vec<Part>| {
        let mut parts = vec![
            part("terminals", PLUG, "common, red, green, blue"),
            cores("socket", PLUG, 4),
        ];
        parts.extend(couplers);
        parts.push(part("pads", LEAD, "common, red, green, blue"));
        parts
    };
    let both = solve(&[chain("RGB", parts(vec![over("one"), over("two")]))], &[]);
    assert_eq!(both.crossings, 0);
    let one = solve(&[chain("RGB", parts(vec![over("one")]))], &[]);
    assert_eq!(one.crossings, 1);
}

#[test]
fn three_orders_that_differ_cross_at_one_joint_only() {
    let answer = solve(
        &[chain(
            "RGB",
            vec![
                part("terminals", PLUG, "blue, green, red, common"),
                part("lead", PLUG, "common, red, green, blue"),
                part("pads", LEAD, "common, green, red, blue"),
            ],
        )],
        &[],
    );
    // From blue, green, red, common to common, green, red, blue: all pairs but green and red.
    assert_eq!(answer.crossings, 5);
    assert!(only(&answer).crossed_before.is_some());
}

#[test]
fn every_chain_crosses_at_the_same_kind_of_joint() {
    let mut short = usual();
    // This one has no block.
    short.parts.remove(2);
    short.parts[2].joined = PLUG;
    let answer = solve(&[usual(), short], &[HandJoint::Block]);
    assert_ne!(answer.at, Some(HandJoint::Block), "the second has none");
    assert_eq!(answer.crossings, 2);
    assert!(answer.chains.iter().all(Result::is_ok));
}

#[test]
fn a_chain_that_cannot_be_made_right_says_why() {
    let why = |change: fn(&mut Chain)| {
        let mut chain = usual();
        change(&mut chain);
        solve(&[chain], &[]).chains[0]
            .clone()
            .expect_err("it is wrong")
    };
    assert_eq!(
        why(|it| it.parts[1].conductors = 4),
        Why::TooFew {
            part: "cable".into(),
            has: 4,
            needed: 5
        }
    );
    assert!(matches!(
        why(|it| it.parts[4].order = Some(order("common, green, red, blue"))),
        Why::NoRole { .. }
    ));
    assert!(matches!(
        why(|it| it.common = (Some(Polarity::Positive), Some(Polarity::Negative))),
        Why::WrongSide { .. }
    ));
    assert_eq!(
        why(|it| it
            .parts
            .iter_mut()
            .for_each(|part| part.joined = Joined::Plugged)),
        Why::NoJoint
    );
    assert!(matches!(
        why(|it| it.parts[0].order = None),
        Why::NoOrder(_)
    ));
    assert!(matches!(
        why(|it| {
            it.parts[2] = part("socket", Joined::Plugged, "red, green, blue, white, common");
            it.parts[2].order_out = Some(order("red, green, blue, white"));
        }),
        Why::Lost { .. } | Why::NoRole { .. }
    ));
}

/// A chain in numbers, followed wire by wire: written apart from what is tested.
fn follow(chain: &Chain, joint: usize, over: &[usize]) -> bool {
    let wanted: Vec<Role> = std::iter::once(Role::Common)
        .chain(chain.channels.list().iter().map(|one| Role::Colour(*one)))
        .collect();
    let names = |part: &Part| part.order.as_ref().map(|order| order.list().to_vec());
    let mut place: BTreeMap<Role, usize> = BTreeMap::new();
    for (at, role) in names(&chain.parts[0])
        .expect("terminals")
        .iter()
        .enumerate()
    {
        if wanted.contains(role) {
            place.insert(*role, at);
        }
    }
    for at in 1..chain.parts.len() {
        let before = &chain.parts[at - 1];
        if let (Some(into), Some(out)) = (&before.order, &before.order_out) {
            for pin in place.values_mut() {
                let name = into.list()[*pin];
                *pin = out
                    .list()
                    .iter()
                    .position(|other| *other == name)
                    .expect("a way");
            }
        }
        let part = &chain.parts[at];
        if let Joined::ByHand(_) = part.joined {
            let room: Vec<usize> = match names(part) {
                Some(names) => (0..names.len())
                    .filter(|pin| wanted.contains(&names[*pin]))
                    .collect(),
                None => (0..part.conductors).collect(),
            };
            let mut wires: Vec<(usize, Role)> =
                place.iter().map(|(role, pin)| (*pin, *role)).collect();
            wires.sort_unstable();
            for (k, (_, role)) in wires.into_iter().enumerate() {
                let to = if at == joint { over[k] } else { k };
                place.insert(role, room[to]);
            }
        }
    }
    let pads = names(chain.parts.last().expect("pads")).expect("pads");
    place.iter().all(|(role, pin)| pads[*pin] == *role)
}

fn permutations(count: usize) -> Vec<Vec<usize>> {
    let mut all = vec![Vec::new()];
    for _ in 0..count {
        all = all
            .into_iter()
            .flat_map(|row: Vec<usize>| {
                (0..count)
                    .filter(|one| !row.contains(one))
                    .map(|one| {
                        let mut row = row.clone();
                        row.push(one);
                        row
                    })
                    .collect::<Vec<_>>()
            })
            .collect();
    }
    all
}

fn inversions(row: &[usize]) -> usize {
    let pairs = row.iter().enumerate();
    pairs
        .map(|(i, a)| row[i + 1..].iter().filter(|b| a > b).count())
        .sum()
}

fn shuffled() -> impl Strategy<Value = RoleOrder> {
    let roles: Vec<Role> = order("common, red, green, blue").list().to_vec();
    Just(roles)
        .prop_shuffle()
        .prop_map(|roles| RoleOrder::new(roles).expect("an order"))
}

fn any_part() -> impl Strategy<Value = Part> {
    let joined = prop_oneof![Just(Joined::Plugged), Just(PLUG), Just(BLOCK), Just(LEAD),];
    let names = proptest::option::of((shuffled(), proptest::option::of(shuffled())));
    (joined, names).prop_map(|(joined, names)| Part {
        name: "a part".to_owned(),
        joined,
        conductors: 4,
        order: names.as_ref().map(|(order, _)| order.clone()),
        order_out: names.and_then(|(_, out)| out),
    })
}

fn any_chain() -> impl Strategy<Value = Chain> {
    (
        shuffled(),
        proptest::collection::vec(any_part(), 0..4),
        shuffled(),
        any_part(),
    )
        .prop_map(|(first, middle, last, end)| {
            let terminals = Part {
                order: Some(first),
                order_out: None,
                ..end.clone()
            };
            let pads = Part {
                order: Some(last),
                order_out: None,
                ..end
            };
            let mut parts = vec![terminals];
            parts.extend(middle);
            parts.push(pads);
            chain("RGB", parts)
        })
}

/// The fewest crossings of a chain at one joint of a kind, by trying every order at every joint.
fn brute(chain: &Chain, kind: HandJoint) -> Option<usize> {
    let straight: Vec<usize> = (0..4).collect();
    if follow(chain, usize::MAX, &straight) {
        return Some(0);
    }
    let joints = chain.parts.iter().enumerate().skip(1);
    joints
        .filter(|(_, part)| part.joined == Joined::ByHand(kind))
        .flat_map(|(joint, _)| permutations(4).into_iter().map(move |row| (joint, row)))
        .filter(|(joint, row)| follow(chain, *joint, row))
        .map(|(_, row)| inversions(&row))
        .min()
}

proptest! {
    #[test]
    fn the_fewest_crossings_are_those_of_brute_force(
        chains in proptest::collection::vec(any_chain(), 1..4),
    ) {
        let answer = solve(&chains, &[]);
        let best = HandJoint::ALL
            .iter()
            .map(|kind| {
                let each: Vec<Option<usize>> =
                    chains.iter().map(|chain| brute(chain, *kind)).collect();
                let wrong = each.iter().filter(|one| one.is_none()).count();
                (wrong, each.iter().flatten().sum::<usize>())
            })
            .min()
            .expect("three kinds");
        let wrong = answer.chains.iter().filter(|one| one.is_err()).count();
        prop_assert_eq!((wrong, answer.crossings), best);
    }

    #[test]
    fn what_is_said_to_be_right_is_followed_to_its_own_pad(chain in any_chain()) {
        let channels: Channels = "RGB".parse().expect("colours");
        prop_assert_eq!(&chain.channels, &channels);
        if let Ok(wired) = &solve(std::slice::from_ref(&chain), &[]).chains[0] {
            let pads = chain.parts.last().and_then(|part| part.order.clone()).expect("pads");
            for wire in &wired.wires {
                let pad = *wire.places.last().expect("a place");
                prop_assert_eq!(pads.list()[pad - 1], wire.role);
            }
        }
    }
}
