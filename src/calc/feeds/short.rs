//! Why a load is not fed: the attribute that nothing meets, in words.

use super::{
    milli,
    question::{Asked, Limits, Line},
};
use crate::plan::driven::Stock;

/// Whether there is one, or one can be bought.
fn had(stock: &Stock) -> bool {
    stock.shelf > 0 || stock.buy.is_some_and(|buy| buy.most != Some(0))
}

fn amps(ma: i64) -> String {
    format!("{} A", milli::whole(ma))
}

/// Why a load of a line is not fed. `proven` says whether as many loads as can be are.
pub(super) fn why(asked: &Asked<'_>, line: &Line<'_>, proven: bool) -> String {
    driver_amiss(asked, line)
        .or_else(|| supply_amiss(asked, line))
        .unwrap_or_else(|| {
            if proven {
                "By itself it could be fed; what is on hand and can be bought does not feed more \
                 loads at once."
                    .to_owned()
            } else {
                "By itself it could be fed; no way to feed it beside the others was found before \
                 the search was stopped."
                    .to_owned()
            }
        })
}

/// Goes through what a driver must be: where none is left, that is why.
fn driver_amiss(asked: &Asked<'_>, line: &Line<'_>) -> Option<String> {
    type Limit = fn(&Limits) -> Option<i64>;
    if asked.limits.is_empty() {
        return Some("No driver is listed.".to_owned());
    }
    let volts = milli::whole(line.voltage_mv);
    let mut left: Vec<usize> = (0..asked.limits.len())
        .filter(|&at| asked.limits[at].works_at(line))
        .collect();
    if left.is_empty() {
        return Some(format!("No driver works at {volts} V."));
    }
    let wanted = line.channels.len();
    let most = left.iter().map(|&at| asked.limits[at].channels).max();
    left.retain(|&at| asked.limits[at].channels >= wanted);
    if left.is_empty() {
        return Some(format!(
            "It has {wanted} channels; the outputs of drivers for {volts} V have at most {}.",
            most.unwrap_or(0)
        ));
    }
    let limits: [(&str, i64, Limit); 4] = [
        ("one channel", line.fullest_ma(), |it| it.channel_ma),
        ("an output", line.total_ma(), |it| it.output_ma),
        ("an inlet", line.total_ma(), |it| it.inlet_ma),
        ("the whole", line.total_ma(), |it| it.whole_ma),
    ];
    for (what, ma, limit) in limits {
        let most = left.iter().filter_map(|&at| limit(&asked.limits[at])).max();
        left.retain(|&at| limit(&asked.limits[at]).is_none_or(|most| ma <= most));
        if left.is_empty() {
            return Some(format!(
                "It takes {} on {what} of a driver; those that suit it otherwise carry at most {}.",
                amps(ma),
                amps(most.unwrap_or(0))
            ));
        }
    }
    left.retain(|&at| had(&asked.question.drivers[at].stock));
    left.is_empty()
        .then(|| "Of the drivers that could carry it none is on hand or can be bought.".to_owned())
}

/// The same for a supply.
fn supply_amiss(asked: &Asked<'_>, line: &Line<'_>) -> Option<String> {
    let room = (asked.rooms).binary_search(&(line.place, line.voltage_mv));
    let volts = milli::whole(line.voltage_mv);
    let mut left = asked.question.supplies.clone();
    left.retain(|supply| room.is_ok_and(|room| supply.rooms[room]));
    if left.is_empty() {
        return Some(format!("No supply gives {volts} V."));
    }
    let most = left.iter().map(|supply| supply.usable_ma).max();
    left.retain(|supply| line.total_ma() <= supply.usable_ma);
    if left.is_empty() {
        return Some(format!(
            "It takes {}; a supply of {volts} V may be loaded with {} at most.",
            amps(line.total_ma()),
            amps(most.unwrap_or(0))
        ));
    }
    left.retain(|supply| had(&supply.stock));
    left.is_empty()
        .then(|| "Of the supplies that could feed it none is on hand or can be bought.".to_owned())
}
