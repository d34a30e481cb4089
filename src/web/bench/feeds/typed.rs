//! The fields of the page as a document: a load, a driver or a supply in a line.

use crate::web::bench::lines;
use crate::{
    calc::feeds::{FeedsBody, FeedsDriver, FeedsLoad, FeedsSupply},
    model::part::Isolation,
    units::{Currency, Current, Money, Voltage},
    web::{cx::Cx, form::Form},
};

/// Lines of a list that one may type.
const MOST_LINES: usize = 100;

/// The fields as a document.
pub(super) fn read(cx: &Cx, form: &mut Form) -> Option<FeedsBody> {
    let (unit, currency) = (cx.unit(), cx.venue.currency);
    let loads = form.take("loads", |text| {
        lines(text, MOST_LINES, |line, _| load(line))
    });
    let drivers = form.take("drivers", |text| {
        lines(text, MOST_LINES, |line, _| driver(line, currency))
    });
    let supplies = form.take("supplies", |text| {
        lines(text, MOST_LINES, |line, _| supply(line, currency))
    });
    let feed = if form.value("feed").trim().is_empty() {
        Some(None)
    } else {
        form.length_above_zero("feed", unit).map(Some)
    };
    if loads.as_ref().is_some_and(Vec::is_empty) {
        form.fail(
            "loads",
            "Type at least one line, such as Bar: 2 x 0.6 A, 24 V.",
        );
    }
    if !form.ok() {
        return None;
    }
    Some(FeedsBody {
        loads: loads?,
        drivers: drivers?,
        supplies: supplies?,
        feed_length_m: feed?.map(|length| thousandths(length.get() / 1_000)),
        step_limit: None,
    })
}

fn thousandths(milli: i64) -> f64 {
    // A length or current that was read is far less than this.
    f64::from(i32::try_from(milli).unwrap_or(i32::MAX)) / 1_000.0
}

fn amps(text: &str) -> Result<f64, String> {
    let current = Current::parse(text).map_err(|why| why.to_string())?;
    Ok(thousandths(current.get()))
}

fn volts(text: &str) -> Result<f64, String> {
    let voltage = Voltage::parse(text).map_err(|why| why.to_string())?;
    Ok(thousandths(voltage.get()))
}

fn count<T: std::str::FromStr>(text: &str, what: &str) -> Result<T, String> {
    let count = text.trim().parse();
    count.map_err(|_| format!("“{}” is not a whole number; type {what}.", text.trim()))
}

/// `NAME: word, word` → the name and the words.
fn words<'a>(line: &'a str, such_as: &str) -> Result<(String, Vec<&'a str>), String> {
    let Some((name, rest)) = line.split_once(':') else {
        return Err(format!(
            "type a name, a colon and the rest, such as {such_as}."
        ));
    };
    let words = rest
        .split(',')
        .map(str::trim)
        .filter(|word| !word.is_empty());
    Ok((name.trim().to_owned(), words.collect()))
}

/// What stands after a word that begins so.
fn after<'a>(word: &'a str, begins: &str) -> Option<&'a str> {
    let rest = word.strip_prefix(begins)?;
    rest.starts_with(' ').then(|| rest.trim())
}

const LOAD: &str = "Bar: 2 x 0.6 0.6 0.6 A, 24 V, group arch, in Stage left";

/// A load: how many, what each channel takes, its voltage, its group and its place.
fn load(line: &str) -> Result<FeedsLoad, String> {
    let (name, words) = words(line, LOAD)?;
    let mut channels_a = Vec::new();
    let (mut voltage, mut quantity) = (None, None);
    let (mut group, mut place) = (None, String::new());
    for word in words {
        if let Some(text) = after(word, "group") {
            group = Some(text.to_owned());
        } else if let Some(text) = after(word, "in") {
            text.clone_into(&mut place);
        } else if let Some(currents) = word.strip_suffix('A') {
            let (currents, unit) = match currents.strip_suffix('m') {
                Some(currents) => (currents, "mA"),
                None => (currents, "A"),
            };
            let currents = match currents.split_once(['x', '×']) {
                Some((number, currents)) => {
                    quantity = Some(count(number, "how many before the x")?);
                    currents
                }
                None => currents,
            };
            let each = currents.split_whitespace();
            let each = each.map(|it| amps(&format!("{it} {unit}")));
            channels_a = each.collect::<Result<_, _>>()?;
        } else if word.ends_with('V') {
            voltage = Some(volts(word)?);
        } else {
            return Err(misread(word, LOAD));
        }
    }
    if channels_a.is_empty() {
        return Err(format!(
            "what each channel takes is missing; type it as in {LOAD}."
        ));
    }
    Ok(FeedsLoad {
        name,
        voltage_v: voltage.ok_or_else(|| no_voltage(LOAD))?,
        place,
        channels_a,
        group,
        quantity,
    })
}

fn misread(word: &str, such_as: &str) -> String {
    format!("“{word}” is not understood. Type it as in {such_as}.")
}

fn no_voltage(such_as: &str) -> String {
    format!("its voltage is missing; type it as in {such_as}.")
}

/// How many there are, what one costs and how many can be bought.
#[derive(Default)]
struct Stock {
    on_hand: Option<u32>,
    price: Option<i64>,
    most: Option<u32>,
}

impl Stock {
    /// Whether a word was about stock.
    fn read(&mut self, word: &str, currency: Currency) -> Result<bool, String> {
        if let Some(number) = after(word, "have") {
            self.on_hand = Some(count(number, "how many there are after have")?);
        } else if let Some(sum) = after(word, "at") {
            let sum = Money::parse(sum, &currency).map_err(|why| why.to_string())?;
            self.price = Some(sum.get());
        } else if let Some(number) = after(word, "most") {
            self.most = Some(count(number, "how many can be bought after most")?);
        } else {
            return Ok(false);
        }
        Ok(true)
    }
}

const DRIVER: &str = "Driver: 2+2 of 4, 12 to 24 V, isolated, channel 5 A, output 15 A, inlet 20 A, \
                      whole 30 A, have 1, at 39.00, most 2";

/// A driver: the outputs of each inlet and the channels of an output, its voltage, whether its inlets
/// are isolated, its limits and stock.
fn driver(line: &str, currency: Currency) -> Result<FeedsDriver, String> {
    let (name, words) = words(line, DRIVER)?;
    let (mut outputs, mut voltage, mut stock) = (None, None, Stock::default());
    let mut isolated = Isolation::Unknown;
    let mut limits = [None; 4];
    for word in words {
        let limit = ["channel", "output", "inlet", "whole"]
            .iter()
            .zip(&mut limits)
            .find_map(|(begins, limit)| after(word, begins).map(|text| (limit, text)));
        if let Some((limit, text)) = limit {
            *limit = Some(amps(text)?);
        } else if let Some(known) = Isolation::ALL.iter().find(|it| it.word() == word) {
            isolated = *known;
        } else if let Some((inlets, channels)) = word.split_once(" of ") {
            let inlets = inlets
                .split('+')
                .map(|it| count(it, "the outputs of each inlet, such as 2+2"));
            let inlets = inlets.collect::<Result<Vec<u16>, _>>()?;
            outputs = Some((
                inlets,
                count(channels, "the channels of an output after of")?,
            ));
        } else if word.ends_with('V') {
            voltage = Some(match word.split_once(" to ") {
                Some((least, most)) => [volts(least)?, volts(most)?],
                None => [volts(word)?; 2],
            });
        } else if !stock.read(word, currency)? {
            return Err(misread(word, DRIVER));
        }
    }
    let (inlets, channels_per_output) = outputs.ok_or_else(|| {
        format!(
            "the outputs of its inlets and their channels are missing; type them as in {DRIVER}."
        )
    })?;
    let [voltage_min_v, voltage_max_v] = voltage.ok_or_else(|| no_voltage(DRIVER))?;
    let [
        channel_limit_a,
        output_limit_a,
        inlet_limit_a,
        whole_limit_a,
    ] = limits;
    Ok(FeedsDriver {
        name,
        channels_per_output,
        inlets,
        voltage_min_v,
        voltage_max_v,
        channel_limit_a,
        output_limit_a,
        inlet_limit_a,
        whole_limit_a,
        isolated,
        on_hand: stock.on_hand,
        price_minor: stock.price,
        most: stock.most,
    })
}

const SUPPLY: &str = "Supply: 24 V, 20 A, 80 %, pairs 3, have 1, at 65.00, most 2";

/// A supply: its voltage, its rating, how much of that may be used, its pairs of terminals, its
/// stock.
fn supply(line: &str, currency: Currency) -> Result<FeedsSupply, String> {
    let (name, words) = words(line, SUPPLY)?;
    let (mut voltage, mut rated, mut stock) = (None, None, Stock::default());
    let (mut usable_percent, mut terminal_pairs) = (None, None);
    for word in words {
        if let Some(number) = after(word, "pairs") {
            terminal_pairs = Some(count(number, "how many pairs of terminals after pairs")?);
        } else if let Some(number) = word.strip_suffix('%') {
            usable_percent = Some(count(number, "how many percent may be used")?);
        } else if word.ends_with('V') {
            voltage = Some(volts(word)?);
        } else if word.ends_with('A') {
            rated = Some(amps(word)?);
        } else if !stock.read(word, currency)? {
            return Err(misread(word, SUPPLY));
        }
    }
    Ok(FeedsSupply {
        name,
        voltage_v: voltage.ok_or_else(|| no_voltage(SUPPLY))?,
        rated_a: rated
            .ok_or_else(|| format!("what it is rated at is missing; type it as in {SUPPLY}."))?,
        usable_percent,
        terminal_pairs,
        on_hand: stock.on_hand,
        price_minor: stock.price,
        most: stock.most,
    })
}
