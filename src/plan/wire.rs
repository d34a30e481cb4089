//! Whether every role reaches its own from driver terminal to tape pad. Where two orders differ,
//! the wires cross at a joint that is wired by hand: at the pads, and at the driver's terminals or
//! a block.

use std::collections::BTreeMap;

use super::{
    book::Book,
    check::{Checks, Finding, named},
    load::Load,
    plug::Plug,
    power::Used,
};
use crate::model::{
    channel::{Channels, Role, RoleOrder},
    id::{BarId, PartId},
    part::{Lead, PartSpec},
};

/// How two orders meet for these colours.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meeting {
    /// Each conductor lies beside its own.
    Straight,
    /// Wires cross: for each conductor of the first order, which place of the second it goes to,
    /// both counted from 1.
    Crossed(Vec<(Role, usize, usize)>),
    /// A role is missing on one side.
    Missing(Role),
}

/// How the conductors of `first` go to those of `second`.
pub fn meet(first: &RoleOrder, second: &RoleOrder, channels: &Channels) -> Meeting {
    let wanted = std::iter::once(Role::Common)
        .chain(channels.list().iter().map(|channel| Role::Colour(*channel)));
    let place = |order: &RoleOrder, role: Role| order.list().iter().position(|at| *at == role);
    let mut ways = Vec::new();
    for role in wanted {
        match (place(first, role), place(second, role)) {
            (Some(from), Some(to)) => ways.push((role, from + 1, to + 1)),
            _ => return Meeting::Missing(role),
        }
    }
    ways.sort_by_key(|(_, from, _)| *from);
    // Wires that keep their order do not cross, whatever unused places lie between.
    if ways.windows(2).all(|pair| pair[0].2 < pair[1].2) {
        Meeting::Straight
    } else {
        Meeting::Crossed(ways)
    }
}

/// A driver's terminals as these colours use them. Its channels are alike inside: a colour that no
/// terminal is named for takes the next one that no wanted colour is named for.
pub fn terminals_for(order: &RoleOrder, channels: &Channels) -> RoleOrder {
    let named = |role: &Role| match role {
        Role::Colour(channel) => channels.list().contains(channel),
        Role::Common | Role::Unused => true,
    };
    let mut nameless = channels
        .list()
        .iter()
        .map(|channel| Role::Colour(*channel))
        .filter(|role| !order.list().contains(role));
    let list = order
        .list()
        .iter()
        .map(|role| match role {
            role if named(role) => *role,
            _ => nameless.next().unwrap_or(Role::Unused),
        })
        .collect();
    RoleOrder::new(list).unwrap_or_else(|_| order.clone())
}

/// A wire for each role out of those of a cable: the one of its own colour where there is one, the
/// black one for the common, what is left for the others; empty where none is left.
pub fn colours_of(colours: &[String], roles: &[Role]) -> Vec<String> {
    let mut left: Vec<String> = colours.to_vec();
    let mut found = vec![String::new(); roles.len()];
    for (role, wire) in roles.iter().zip(&mut found) {
        let own = match role {
            Role::Common => "black".to_owned(),
            other => other.to_string(),
        };
        if let Some(at) = left.iter().position(|wire| wire.eq_ignore_ascii_case(&own)) {
            *wire = left.remove(at);
        }
    }
    for wire in found.iter_mut().filter(|wire| wire.is_empty()) {
        if !left.is_empty() {
            *wire = left.remove(0);
        }
    }
    found
}

fn finding(
    first_name: &str,
    first: Option<&RoleOrder>,
    second_name: &str,
    second: Option<&RoleOrder>,
    channels: &Channels,
    joint: &str,
) -> Finding {
    let (Some(first), Some(second)) = (first, second) else {
        let missing = if first.is_none() {
            first_name
        } else {
            second_name
        };
        return Finding::warned(
            format!("The order of conductors of {missing} is not noted."),
            format!("Read it off before wiring {joint}, and check with a meter before power."),
        );
    };
    match meet(first, second, channels) {
        Meeting::Straight => Finding::passed(format!(
            "{first_name} and {second_name} have their conductors in the same order."
        )),
        Meeting::Crossed(ways) => {
            let ways: Vec<String> = ways
                .iter()
                .map(|(role, from, to)| format!("{role} {from} to {to}"))
                .collect();
            Finding::warned(
                format!(
                    "{first_name} is in the order {first}; {second_name} is {second}. The wires \
                     cross."
                ),
                format!("Cross them {joint}: {}.", ways.join(", ")),
            )
        }
        Meeting::Missing(role) => Finding::broken(
            format!("{first_name} ({first}) and {second_name} ({second}) do not both have {role}."),
            "Choose parts whose conductors are named for these colours.",
        ),
    }
}

/// Checks both joints that are wired by hand, once for each pair of parts.
pub(super) fn check(
    book: &Book<'_>,
    loads: &[Load<'_>],
    plugs: &BTreeMap<BarId, Plug>,
    drivers: &[Used<'_>],
    checks: &mut Checks,
) {
    let lead_of = |load: &Load<'_>| -> Option<(PartId, &Lead)> {
        let (id, _) = plugs.get(&load.bar.id)?.lead?;
        match book.part(id).map(|part| &part.spec) {
            Some(PartSpec::Lead(lead)) => Some((id, lead)),
            _ => None,
        }
    };
    for load in loads {
        if let (Some((id, lead)), Some((tape_id, tape))) = (lead_of(load), load.tape) {
            let (lead_name, tape_name) = (book.name(id), book.name(tape_id));
            let finding = finding(
                &lead_name,
                lead.connector.pins.as_ref(),
                &tape_name,
                tape.pads.as_ref(),
                load.channels,
                "at the pads",
            );
            let about = format!("{lead_name} on {tape_name}");
            checks.add(
                "order",
                format_args!("part-{id}:part-{tape_id}"),
                about,
                finding,
                [named(load.bar)],
            );
        }
    }
    for driver in drivers {
        let name = book.name(driver.part);
        for at in driver.outputs.values().flat_map(|output| &output.loads) {
            let load = &loads[*at];
            let Some(connector) = &load.connector else {
                continue;
            };
            let terminals = driver.spec.terminals.as_ref();
            let used = terminals.map(|order| terminals_for(order, load.channels));
            if let (Some(order), Some(used)) = (terminals, &used)
                && order.carries(load.channels) != used.carries(load.channels)
            {
                let finding = Finding::warned(
                    format!("The terminals of {name} are named {order}; they serve as {used}."),
                    "Label them so, and set the colours in the lighting desk by these channels.",
                );
                let key = format!("part-{}:{}", driver.part, load.channels);
                checks.add("terminal-names", key, &name, finding, [named(load.bar)]);
            }
            let finding = finding(
                &name,
                used.as_ref(),
                &format!("the lead {connector}"),
                connector.pins.as_ref(),
                load.channels,
                "at the driver's terminals",
            );
            let pins = connector
                .pins
                .as_ref()
                .map(|pins| pins.to_string().replace(", ", "-"))
                .unwrap_or_default();
            checks.add(
                "order",
                format_args!(
                    "part-{}:{}:{pins}:{}",
                    driver.part,
                    connector.to_string().to_lowercase(),
                    load.channels
                ),
                format!("{name} to {connector}"),
                finding,
                [named(load.bar)],
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_driver_s_channels_serve_colours_that_they_are_not_named_for() {
        let order = |text: &str| text.parse::<RoleOrder>().unwrap();
        let whites: Channels = "tunable white".parse().unwrap();
        let used = terminals_for(&order("common, red, green, blue"), &whites);
        assert_eq!(used, order("common, warm, cool, unused"));
        let rgbw: Channels = "RGBW".parse().unwrap();
        let used = terminals_for(&order("common, red, green, blue"), &rgbw);
        assert!(
            !used.carries(&rgbw),
            "three channels do not serve four colours"
        );
    }

    #[test]
    fn wires_cross_only_where_their_order_differs() {
        let rgb: Channels = "RGB".parse().unwrap();
        let order = |text: &str| text.parse::<RoleOrder>().unwrap();
        let pads = order("common, green, red, blue");
        assert_eq!(meet(&pads, &pads, &rgb), Meeting::Straight);
        assert_eq!(
            meet(&order("common, unused, green, red, blue"), &pads, &rgb),
            Meeting::Straight
        );
        let Meeting::Crossed(ways) = meet(&order("common, red, green, blue"), &pads, &rgb) else {
            panic!("red and green change places");
        };
        let places: Vec<_> = ways.iter().map(|(_, from, to)| (*from, *to)).collect();
        assert_eq!(places, [(1, 1), (2, 3), (3, 2), (4, 4)]);
        assert!(matches!(
            meet(&order("common, red, green"), &pads, &rgb),
            Meeting::Missing(Role::Colour(_))
        ));
    }
}
