//! Start addresses of the drivers, and the slot of each colour of each bar.

use askama::Template;

use super::{Head, Tab, Whole, count_of, head, load};
use crate::{
    draw::{Picture, switches, wiring::wire_class},
    model::{
        channel::Role,
        csv,
        id::DesignId,
        part::{AddressBy, PartSpec},
    },
    plan::{
        address::switches_on,
        outcome::{BarPlan, DataPlan, DriverPlan, SlotRef},
        source::{self, Source},
        wire::terminals_for,
    },
    web::{
        at::Path,
        csv::file::answer,
        cx::Cx,
        error::Answer,
        link::Link,
        page::{Chrome, page},
    },
};

/// A driver with its address.
pub struct AddressRow {
    /// What it is called.
    pub name: String,
    /// Its tag and page.
    pub unit: Option<(Link, String)>,
    /// Its start address, in words.
    pub address: String,
    /// The slots that it takes.
    pub slots: String,
    /// How the address is set.
    pub set: String,
    /// Its nine switches, where it has them and they can show it.
    pub switches: Option<Picture>,
    /// Where it may start.
    pub start: Option<Source>,
    /// Its bars with the slot of each colour: output, bar, colour class, colour, slot.
    pub bars: Vec<BarSlots>,
}

/// A bar with the slot of each of its colours.
pub struct BarSlots {
    /// The output.
    pub output: u16,
    /// The bar.
    pub label: String,
    /// Its control group.
    pub group: String,
    /// Class of the colour, colour, slot.
    pub slots: Vec<(&'static str, String, u16)>,
}

#[derive(Template)]
#[template(path = "design/addresses.html")]
struct AddressPage {
    chrome: Chrome,
    head: Head,
    drivers: Vec<AddressRow>,
    data: Vec<String>,
    file: Link,
    line: Source,
    taken: String,
}

fn list(numbers: &[u16]) -> String {
    numbers
        .iter()
        .map(u16::to_string)
        .collect::<Vec<_>>()
        .join(", ")
}

fn switch_words(number: u16) -> String {
    match switches_on(number) {
        None => {
            format!(
                "{number} cannot be set with nine switches, whose most is 511; use another address"
            )
        }
        Some(on) if on.is_empty() => "all nine switches off".to_owned(),
        Some(on) => {
            let off: Vec<u16> = (1..=9).filter(|k| !on.contains(k)).collect();
            if off.is_empty() {
                "all nine switches on".to_owned()
            } else {
                format!("on: {}; off: {}", list(&on), list(&off))
            }
        }
    }
}

/// How a start address is set on a device, in words.
pub fn setting(by: AddressBy, start: u16) -> String {
    match by {
        AddressBy::Switches => switch_words(start),
        AddressBy::SwitchesLessOne => format!(
            "this device's switches show the address less one ({}): {}",
            start.saturating_sub(1),
            switch_words(start.saturating_sub(1))
        ),
        AddressBy::Menu => format!("menu: set {start}"),
        AddressBy::Rdm => format!("over the data line (RDM): set {start}"),
        AddressBy::Unknown => "how this device's address is set is not noted".to_owned(),
    }
}

/// The switches of a device, drawn.
fn drawn(by: AddressBy, start: u16) -> Option<Picture> {
    let number = match by {
        AddressBy::Switches => start,
        AddressBy::SwitchesLessOne => start.checked_sub(1)?,
        _ => return None,
    };
    Some(switches::draw(number, &switches_on(number)?))
}

fn slot_words(slot: SlotRef) -> String {
    format!("{} in universe {}", slot.slot, slot.universe)
}

/// The slot of each colour of a bar: the colours lie in the order of the driver's terminals, or
/// where that is not known in the order of the bar's own colours.
fn slots(whole: &Whole, driver: &DriverPlan, plan: &BarPlan) -> Vec<(&'static str, String, u16)> {
    let Some(first) = plan.slot else {
        return Vec::new();
    };
    let Some(bar) = whole.bar(plan.bar) else {
        return Vec::new();
    };
    let terminals = match whole.part(driver.part).map(|part| &part.spec) {
        Some(PartSpec::Driver(driver)) => driver.terminals.as_ref(),
        _ => None,
    };
    let order: Vec<Role> = match terminals {
        Some(terminals) => terminals_for(terminals, &bar.channels)
            .list()
            .iter()
            .copied()
            .filter(|role| *role != Role::Common)
            .collect(),
        None => bar
            .channels
            .list()
            .iter()
            .map(|channel| Role::Colour(*channel))
            .collect(),
    };
    order
        .iter()
        .zip(first.slot..)
        .filter_map(|(role, slot)| match role {
            Role::Colour(channel) if bar.channels.list().contains(channel) => {
                Some((wire_class(*role), channel.label().to_owned(), slot))
            }
            _ => None,
        })
        .collect()
}

/// Every driver with its address and bars.
pub fn rows(whole: &Whole) -> Vec<AddressRow> {
    whole
        .plan()
        .drivers
        .iter()
        .enumerate()
        .map(|(at, driver)| {
            let spec = match whole.part(driver.part).map(|part| &part.spec) {
                Some(PartSpec::Driver(driver)) => Some(driver),
                _ => None,
            };
            let by = spec.map_or(AddressBy::Unknown, |driver| driver.address_by);
            let mut bars: Vec<BarSlots> = whole
                .plan()
                .bars
                .iter()
                .filter_map(|plan| {
                    let output = plan.output.filter(|output| output.driver == at)?;
                    Some(BarSlots {
                        output: output.output,
                        label: plan.label.clone(),
                        group: whole
                            .bar(plan.bar)
                            .map_or_else(String::new, |bar| bar.group.clone()),
                        slots: slots(whole, driver, plan),
                    })
                })
                .collect();
            bars.sort_by_key(|bar| bar.output);
            AddressRow {
                name: format!(
                    "{} · {}",
                    whole.driver_name(at),
                    whole.part_name(driver.part)
                ),
                unit: driver
                    .unit
                    .as_ref()
                    .map(|(thing, tag)| (Link::Thing(*thing), tag.to_string())),
                address: driver
                    .address
                    .map_or_else(|| "no free run of slots is left".to_owned(), slot_words),
                slots: driver.address.map_or_else(String::new, |start| {
                    format!(
                        "{} to {}",
                        start.slot,
                        start.slot.saturating_add(driver.slots).saturating_sub(1)
                    )
                }),
                set: driver
                    .address
                    .map_or_else(String::new, |start| setting(by, start.slot)),
                switches: driver.address.and_then(|start| drawn(by, start.slot)),
                start: spec.map(source::start_address),
                bars,
            }
        })
        .collect()
}

/// The data chain in words.
pub fn data_words(whole: &Whole) -> Vec<String> {
    let data = &whole.plan().data;
    let count = |count: u32, one: &str, many: &str| {
        count_of(usize::try_from(count).unwrap_or(usize::MAX), one, many)
    };
    vec![
        count(data.cables, "data cable", "data cables"),
        count(data.splitters, "splitter", "splitters"),
        count(data.terminators, "terminator", "terminators"),
    ]
}

/// The data chain as one wires it, in a line; `None` where no driver is planned.
pub fn data_line(whole: &Whole) -> Option<String> {
    chain_line(&whole.plan().data)
}

fn chain_line(data: &DataPlan) -> Option<String> {
    let count = |count: u32, one: &str, many: &str| {
        count_of(usize::try_from(count).unwrap_or(usize::MAX), one, many)
    };
    let splitters = match data.splitters {
        0 => String::new(),
        many => format!(
            " and into {}, where a line is full",
            count(many, "splitter", "splitters")
        ),
    };
    (data.cables > 0).then(|| {
        format!(
            "Data: {}, one into each driver{splitters}: from the lighting desk to the first, and on \
             from driver to driver. A terminator at the end of each line: {}",
            count(data.cables, "DMX cable", "DMX cables"),
            count(data.terminators, "terminator", "terminators"),
        )
    })
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Addresses);
    Ok(page(&AddressPage {
        chrome,
        drivers: rows(&whole),
        data: data_words(&whole),
        file: Link::AddressesFile(id),
        line: source::line_loads(),
        taken: cx.venue.slots_taken.clone(),
        head,
    }))
}

/// GET: every slot as a spreadsheet: one row for each colour of each bar.
pub async fn file(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let titles = [
        "driver", "universe", "start", "output", "bar", "colour", "slot", "set",
    ]
    .map(str::to_owned);
    let mut lines = Vec::new();
    for (row, driver) in rows(&whole).iter().zip(&whole.plan().drivers) {
        let Some(start) = driver.address else {
            continue;
        };
        for bar in &row.bars {
            for (_, colour, slot) in &bar.slots {
                lines.push(vec![
                    row.name.clone(),
                    start.universe.to_string(),
                    start.slot.to_string(),
                    bar.output.to_string(),
                    bar.label.clone(),
                    colour.clone(),
                    slot.to_string(),
                    row.set.clone(),
                ]);
            }
        }
    }
    let text = csv::write(&titles, &lines, true);
    Ok(answer(&format!("addresses-{id}"), text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn switches_add_up_to_the_address() {
        // Common practice, no source: 1 = only switch 1; 257 = switches 1 and 9; 511 is the most.
        assert_eq!(switches_on(1), Some(vec![1]));
        assert_eq!(switches_on(257), Some(vec![1, 9]));
        assert_eq!(switches_on(511).map(|on| on.len()), Some(9));
        assert_eq!(switches_on(512), None);
        for number in 0..=511_u16 {
            let on = switches_on(number).unwrap();
            assert_eq!(on.iter().map(|k| 1 << (k - 1)).sum::<u16>(), number);
        }
        assert!(setting(AddressBy::SwitchesLessOne, 1).contains("all nine switches off"));
        assert!(setting(AddressBy::Switches, 512).contains("cannot"));
        assert!(setting(AddressBy::SwitchesLessOne, 512).contains("all nine switches on"));
    }

    #[test]
    fn the_data_line_counts_cables_splitters_and_terminators() {
        let line = |cables, splitters, terminators| {
            chain_line(&DataPlan {
                cables,
                splitters,
                terminators,
            })
        };
        assert_eq!(line(0, 0, 0), None);
        let one = line(1, 0, 1).unwrap();
        assert!(
            one.starts_with("Data: 1 DMX cable, one into each driver:"),
            "{one}"
        );
        assert!(
            one.ends_with("at the end of each line: 1 terminator"),
            "{one}"
        );
        let many = line(41, 1, 2).unwrap();
        assert!(many.starts_with("Data: 41 DMX cables, "), "{many}");
        assert!(many.contains(" and into 1 splitter, "), "{many}");
        assert!(many.ends_with(": 2 terminators"), "{many}");
    }
}
