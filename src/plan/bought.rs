//! By how much a driver or a supply that is bought is needed: what the bars take, what one of it gives,
//! and what would be too much without it. The figures follow the reason.

use super::{fit::amps, power::Used, supply::Fed};
use crate::{
    model::part::Supply,
    units::{Current, Power, Voltage},
};

/// Bars that may share supplies: those of one place and one voltage.
type Room<'u> = (&'u str, Voltage);

/// Adds the figures to the reason of every driver and supply that is bought.
pub(super) fn tell(used: &mut [Used<'_>], fed: &mut Fed<'_>) {
    tell_supplies(used, fed);
    tell_drivers(used);
}

fn add(why: &mut String, figures: &str) {
    if !why.is_empty() {
        why.push(' ');
    }
    why.push_str(figures);
}

/// The bars of a room, to begin a sentence with.
fn bars((place, voltage): Room<'_>) -> String {
    let volts = voltage.show();
    if place.is_empty() {
        format!("The {volts} bars")
    } else {
        format!("The {volts} bars at {place}")
    }
}

/// What all bars of a room take, if known.
fn load_of(used: &[Used<'_>], room: Room<'_>) -> Option<i64> {
    let drivers = used.iter().filter(|it| room_of(it) == room);
    drivers.map(Used::total_ma).sum()
}

fn room_of<'u>(driver: &'u Used<'_>) -> Room<'u> {
    (driver.place.as_str(), driver.voltage)
}

fn tell_supplies(used: &[Used<'_>], fed: &mut Fed<'_>) {
    let rooms: Vec<Option<Room<'_>>> = (fed.supplies.iter())
        .map(|source| Some(room_of(used.get(source.inlets.first()?.0)?)))
        .collect();
    let given: Vec<i64> = (fed.supplies.iter())
        .map(|source| source.spec.usable().get())
        .collect();
    for (at, source) in fed.supplies.iter_mut().enumerate() {
        let (None, Some(room)) = (&source.unit, rooms[at]) else {
            continue;
        };
        let Some(load_ma) = load_of(used, room) else {
            continue;
        };
        let mut others_ma = rooms
            .iter()
            .zip(&given)
            .enumerate()
            .filter(|(other, (of, _))| *other != at && **of == Some(room))
            .map(|(_, (_, ma))| *ma)
            .peekable();
        let others_ma = others_ma.peek().is_some().then(|| others_ma.sum());
        add(
            &mut source.why,
            &supply_words(room, load_ma, source.spec, others_ma),
        );
    }
}

/// What a supply gives beside what is asked for; `others_ma` is what the others of the room give.
fn supply_words(room: Room<'_>, load_ma: i64, supply: &Supply, others_ma: Option<i64>) -> String {
    let (_, volts) = room;
    let both = |ma: i64| format!("{} ({})", amps(ma), watts(volts, ma));
    let percent = supply.load_percent.unwrap_or(Supply::USUAL_LOAD_PERCENT);
    let takes = format!(
        "{} take {}; one such supply may give {}, which is {percent} % of its {}",
        bars(room),
        both(load_ma),
        both(supply.usable().get()),
        supply.rated_ma.show(),
    );
    match others_ma {
        Some(others_ma) if others_ma < load_ma => format!(
            "{takes}. Without it the load would be {} too much.",
            both(load_ma - others_ma)
        ),
        _ => format!("{takes}."),
    }
}

fn watts(voltage: Voltage, ma: i64) -> String {
    let current = Current::new(ma.max(0)).unwrap_or_default();
    let watts = Power::of(voltage, current).watts();
    if watts < 10.0 {
        format!("{watts:.1} W")
    } else {
        format!("{watts:.0} W")
    }
}

fn tell_drivers(used: &mut [Used<'_>]) {
    let all: &[Used<'_>] = used;
    let figures: Vec<String> = (all.iter().enumerate())
        .map(|(at, driver)| {
            if driver.unit.is_some() {
                return String::new();
            }
            let room = room_of(driver);
            let others = (all.iter().enumerate())
                .filter(|(other, it)| *other != at && room_of(it) == room)
                .map(|(_, it)| it);
            driver_words(all, driver, &others.collect::<Vec<_>>())
        })
        .collect();
    for (driver, figures) in used.iter_mut().zip(figures) {
        if !figures.is_empty() {
            add(&mut driver.why, &figures);
        }
    }
}

/// What a driver gives beside what is asked for: outputs, and what it may carry where that is known.
fn driver_words(used: &[Used<'_>], driver: &Used<'_>, others: &[&Used<'_>]) -> String {
    let room = room_of(driver);
    let outputs = |it: &Used<'_>| usize::from(it.spec.outputs);
    let all = used.iter().filter(|it| room_of(it) == room);
    let asked: usize = all.map(|it| it.outputs.len()).sum();
    let left = asked.saturating_sub(others.iter().map(|it| outputs(it)).sum());
    let takes = format!(
        "{} are on {}; one such driver has {}",
        bars(room),
        count(asked),
        outputs(driver)
    );
    if others.is_empty() {
        return format!("{takes}.");
    }
    if left > 0 {
        return format!("{takes}. Without it {} would be missing.", count(left));
    }
    let limit = |it: &Used<'_>| it.spec.whole_limit_ma.map(Current::get);
    let others_ma: Option<i64> = others.iter().map(|it| limit(it)).sum();
    match (load_of(used, room), limit(driver), others_ma) {
        (Some(load_ma), Some(one_ma), Some(others_ma)) if others_ma < load_ma => format!(
            "{takes}. The bars take {}, and it may carry {}: without it the load would be {} too much.",
            amps(load_ma),
            amps(one_ma),
            amps(load_ma - others_ma)
        ),
        _ => format!("{takes}."),
    }
}

fn count(outputs: usize) -> String {
    if outputs == 1 {
        "1 output".to_owned()
    } else {
        format!("{outputs} outputs")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_supply_says_by_how_much_one_would_be_too_little() {
        // By hand: 150 W at 24 V are 6.25 A, four fifths of which are 5 A or 120 W; 6.34 A are 152 W.
        let supply: Supply = serde_json::from_value(serde_json::json!({
            "voltage_mv": 24_000, "rated_ma": 6_250,
        }))
        .unwrap();
        let room = ("", Voltage::new(24_000).unwrap());
        assert_eq!(
            supply_words(room, 6_340, &supply, Some(5_000)),
            "The 24 V bars take 6.34 A (152 W); one such supply may give 5 A (120 W), which is 80 % of \
             its 6.25 A. Without it the load would be 1.34 A (32 W) too much."
        );
        let alone = supply_words(("left", room.1), 300, &supply, None);
        assert!(alone.starts_with("The 24 V bars at left take 0.3 A (7.2 W); one such"));
        assert!(!alone.contains("too much"), "there is no other: {alone}");
        let enough = supply_words(room, 4_000, &supply, Some(5_000));
        assert!(
            !enough.contains("too much"),
            "it is not for the load: {enough}"
        );
    }
}
