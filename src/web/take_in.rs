//! What a venue has already: one field a part, all put into one place at once.

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    error::Answer,
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Section, go_with, page_with},
    places::refused,
    show::{counted, told},
    start::{Step, Steps},
    thing::place_choices,
};
use crate::{
    db,
    model::{
        id::{PartId, PlaceId},
        part::{Kind, Part, StockBy, StockUnit},
    },
    stock::{
        change::AMOUNT_LIMIT,
        receive::{Goods, Pieces, THING_LIMIT},
        take_in::{TakeIn, Where, field_of},
    },
    units::{Length, LengthUnit},
};

/// How the stock of a part is typed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Asked {
    /// A whole number of it, or of tagged units.
    Number,
    /// One length.
    Length,
    /// The lengths of its pieces.
    Pieces,
}

fn asked(part: &Part) -> Asked {
    match part.stock_by() {
        StockBy::Length => Asked::Pieces,
        StockBy::Count if part.unit() == StockUnit::Micrometres => Asked::Length,
        StockBy::Count | StockBy::Unit => Asked::Number,
    }
}

struct Row {
    field: String,
    name: String,
    hint: String,
    value: String,
    errors: Vec<String>,
}

struct Group {
    kind: Kind,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "take_in.html")]
struct TakeInPage {
    chrome: Chrome,
    form: Form,
    groups: Vec<Group>,
    /// An example of lengths as a venue with this unit types them.
    such: &'static str,
    places: Vec<Choice>,
    /// Whether there is no place yet.
    no_place: bool,
    /// The steps of the first hour, where this page is one of them.
    steps: Option<Steps>,
}

/// Whether this page is a step of the first hour.
fn in_first_hour(form: &Form) -> bool {
    form.value("start") == "yes"
}

/// A length as it is typed the shortest: what is sold by the metre has no round number of feet.
fn plainly(length: Length, unit: LengthUnit) -> String {
    let own = length.show(unit);
    let metres = length.show(LengthUnit::M);
    if !unit.metric() && metres.len() < own.len() {
        metres
    } else {
        own
    }
}

/// A round length in the venue's unit, for an example: 1 m or 3 ft.
fn round_one(cx: &Cx) -> String {
    if cx.unit().metric() {
        cx.exact(Length::mm(1_000))
    } else {
        "3 ft".to_owned()
    }
}

fn hint(cx: &Cx, part: &Part) -> String {
    match asked(part) {
        Asked::Number if part.stock_by() == StockBy::Unit => "how many; each gets a tag".to_owned(),
        Asked::Number => "how many".to_owned(),
        Asked::Length => format!("how much, such as {}", round_one(cx)),
        Asked::Pieces => {
            let sold: Vec<String> = part
                .spec
                .sold_um()
                .iter()
                .map(|length| plainly(*length, cx.unit()))
                .collect();
            let first = sold.first().cloned().unwrap_or_else(|| round_one(cx));
            let sold = if sold.is_empty() {
                String::new()
            } else {
                format!("; sold in {}", sold.join(", "))
            };
            format!("each piece, such as 2 x {first}{sold}")
        }
    }
}

async fn show(cx: &Cx, mut form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let parts = db::part::list(&mut tx, None, false).await?;
    let places = place_choices(&mut tx, form.value("to")).await?;
    drop(tx);
    if places.is_empty() && !form.has("room") {
        form.set("room", "Store room");
    }
    let mut groups: Vec<Group> = Vec::new();
    for part in &parts {
        let field = field_of(part.id);
        let row = Row {
            name: part.name.to_string(),
            hint: hint(cx, part),
            value: form.value(&field).to_owned(),
            errors: form.errors(&field).to_vec(),
            field,
        };
        let kind = part.spec.kind();
        match groups.iter_mut().find(|group| group.kind == kind) {
            Some(group) => group.rows.push(row),
            None => groups.push(Group {
                kind,
                rows: vec![row],
            }),
        }
    }
    groups.sort_by_key(|group| group.kind);
    Ok(page_with(
        status,
        &TakeInPage {
            chrome: cx.chrome(Section::Cupboard, "What do you have?"),
            groups,
            such: cx.unit().such("2 x 5 m, 1.3 m", "2 x 16 ft, 4 ft 3 in"),
            no_place: places.is_empty(),
            places,
            steps: in_first_hour(&form).then(|| Step::Have.list()),
            form,
        },
    ))
}

/// Digits on both sides of a comma: it parts decimals for one reader and pieces for another.
fn comma_between_digits(text: &str) -> Option<String> {
    let digit = |c: &char| c.is_ascii_digit();
    let (at, _) = text.match_indices(',').find(|(at, _)| {
        text[..*at].chars().next_back().is_some_and(|c| digit(&c))
            && text[at + 1..].chars().next().is_some_and(|c| digit(&c))
    })?;
    let before: Vec<char> = text[..at].chars().rev().take_while(digit).collect();
    let after = text[at + 1..].chars().take_while(digit);
    Some(before.into_iter().rev().chain([',']).chain(after).collect())
}

/// A number without a unit that is far less than anybody keeps of the part: the unit was meant to be
/// the larger one, more likely than not.
fn doubtful(typed: &str, length: Length, bare: LengthUnit, sold: &[Length]) -> Option<String> {
    let typed = typed.trim();
    let has_unit = !typed.chars().all(|c| c.is_ascii_digit() || c == '.');
    let hundredth = sold.iter().min().map_or(0, |shortest| shortest.get() / 100);
    if has_unit || length.get() >= hundredth.max(Length::mm(100).get()) {
        return None;
    }
    Some(match bare {
        LengthUnit::Mm | LengthUnit::Cm => {
            format!("Did you mean {typed} m? Type {typed} m or {typed} {bare}.")
        }
        LengthUnit::In => format!("Did you mean {typed} ft? Type {typed} ft or {typed} in."),
        LengthUnit::M | LengthUnit::Ft => {
            format!("That is very short. Type {typed} {bare} if it is meant.")
        }
    })
}

/// A bare whole number that is no likely length of the part: a number of pieces was meant, more likely
/// than not.
fn pieces_meant(typed: &str, length: Length, bare: LengthUnit, sold: &[Length]) -> Option<String> {
    let pieces: usize = typed.trim().parse().ok()?;
    let (first, longest) = (sold.first()?, sold.iter().max()?);
    let shortest = sold.iter().min()?;
    let far = length > *longest || length.get() < shortest.get() / 10;
    if !far || pieces > THING_LIMIT {
        return None;
    }
    let word = if pieces == 1 { "piece" } else { "pieces" };
    let larger = match bare {
        LengthUnit::Mm | LengthUnit::Cm => format!("{pieces} m or {pieces} {bare}"),
        LengthUnit::In => format!("{pieces} ft or {pieces} in"),
        LengthUnit::M | LengthUnit::Ft => format!("{pieces} {bare}"),
    };
    Some(format!(
        "{pieces} {word}? Type {pieces} x {}. One piece of that length? Type {larger}.",
        plainly(*first, bare)
    ))
}

/// Reads `2 x 5 m, 1.3 m`: numbers of pieces and the length of each, of a part that is sold in the
/// lengths given.
fn read_pieces(
    text: &str,
    bare: LengthUnit,
    sold: &[Length],
) -> Result<Vec<(usize, Length)>, String> {
    let most = || format!("At most {THING_LIMIT} pieces are put in at once. Type fewer.");
    let mut read: Vec<(usize, Length)> = Vec::new();
    if let Some(both) = comma_between_digits(text) {
        return Err(format!(
            "“{both}” may be one length or two. Type {} for one, or a blank after the comma for two.",
            both.replace(',', ".")
        ));
    }
    for item in text.split([',', ';', '\n']).map(str::trim) {
        if item.is_empty() {
            continue;
        }
        let times = item
            .split_once(['x', 'X', '×', '*'])
            .and_then(|(number, length)| Some((number.trim().parse::<usize>().ok()?, length)));
        let (number, typed) = times.unwrap_or((1, item));
        let length = Length::parse(typed.trim(), bare).map_err(|why| format!("“{item}”: {why}"))?;
        if length == Length::ZERO || number == 0 {
            return Err(format!("“{item}”: type a length and a number above zero."));
        }
        let meant = times
            .is_none()
            .then(|| pieces_meant(typed, length, bare, sold))
            .flatten();
        if let Some(doubt) = meant.or_else(|| doubtful(typed, length, bare, sold)) {
            return Err(doubt);
        }
        if number > THING_LIMIT {
            return Err(most());
        }
        read.push((number, length));
    }
    if read.iter().map(|(number, _)| number).sum::<usize>() > THING_LIMIT {
        return Err(most());
    }
    Ok(read)
}

/// A piece as long as what is sold is a new roll, with its factory ends; any other is an offcut.
fn piece(part: &Part, number: usize, length: Length) -> Goods {
    Goods::Pieces(match part.spec.sold_as(length) {
        Some(sold) => Pieces::as_bought(part, sold, number),
        None => Pieces {
            offcuts: true,
            ..Pieces::of_length(part, length, number)
        },
    })
}

/// What was typed for one part.
fn read(form: &mut Form, cx: &Cx, part: &Part) -> Vec<Goods> {
    let field = field_of(part.id);
    if form.value(&field).trim().is_empty() {
        return Vec::new();
    }
    match asked(part) {
        Asked::Number if part.stock_by() == StockBy::Unit => {
            let most = i64::try_from(THING_LIMIT).unwrap_or(i64::MAX);
            let number = form.count(&field, 1, most);
            let number = number.and_then(|number| usize::try_from(number).ok());
            number
                .map(|number| Goods::Units {
                    number,
                    tags: Vec::new(),
                    serials: Vec::new(),
                })
                .into_iter()
                .collect()
        }
        Asked::Number => {
            let amount = form.count(&field, 1, AMOUNT_LIMIT);
            amount.map(Goods::Count).into_iter().collect()
        }
        Asked::Length => {
            let amount = form.length_above_zero(&field, cx.unit());
            let doubt =
                amount.and_then(|length| doubtful(form.value(&field), length, cx.unit(), &[]));
            if let Some(doubt) = doubt {
                form.fail(&field, doubt);
            }
            amount
                .map(|length| Goods::Count(length.get()))
                .into_iter()
                .collect()
        }
        Asked::Pieces => form
            .take(&field, |text| {
                read_pieces(text, cx.unit(), part.spec.sold_um())
            })
            .unwrap_or_default()
            .into_iter()
            .map(|(number, length)| piece(part, number, length))
            .collect(),
    }
}

/// The place that was chosen, or the room that was typed.
fn read_where(form: &mut Form) -> Option<Where> {
    if form.value("room").trim().is_empty() {
        if form.value("to").is_empty() {
            form.fail("room", "Type the name of the room where these things lie.");
            return None;
        }
        return form.id::<PlaceId>("to").map(Where::Place);
    }
    form.name("room").map(Where::NewRoom)
}

/// GET: a field for each part of the catalogue.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, form, StatusCode::OK).await
}

/// POST: puts everything that was typed into stock, or nothing.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let parts = db::part::list(&mut *cx.read().await?, None, false).await?;
    let mut goods: Vec<(PartId, Goods)> = Vec::new();
    let mut kinds = 0_usize;
    for part in &parts {
        let some = read(&mut form, &cx, part);
        kinds += usize::from(!some.is_empty());
        goods.extend(some.into_iter().map(|one| (part.id, one)));
    }
    let to = read_where(&mut form);
    let reason = form.note("reason");
    if form.ok() && goods.is_empty() {
        form.fail(
            "",
            "Type how much there is of at least one part; fields of what you have not stay empty.",
        );
    }
    let (true, Some(to), Some(reason)) = (form.ok(), to, reason) else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let change = TakeIn { to, goods, reason };
    match cx.act(&form).carry_out(&change).await {
        Ok(done) => {
            let said = format!("{} put into stock.", counted(kinds, "part", "parts"));
            let (on, said) = if in_first_hour(&form) {
                (Link::DesignNew, format!("{said} Now the first set."))
            } else {
                (Link::Home, said)
            };
            Ok(go_with(&on, &told(&said, &done)))
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, form, status).await
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(list: &[(usize, Length)]) -> Vec<(usize, i64)> {
        list.iter()
            .map(|(number, length)| (*number, length.get() / 1_000))
            .collect()
    }

    #[test]
    fn pieces_are_read_one_by_one_or_as_so_many_alike() {
        let read = |text| read_pieces(text, LengthUnit::Mm, &[]).map(|list| mm(&list));
        assert_eq!(read("5 m").unwrap(), [(1, 5_000)]);
        assert_eq!(
            read("2 x 5 m, 1.3m;800").unwrap(),
            [(2, 5_000), (1, 1_300), (1, 800)]
        );
        assert_eq!(read("3×7'6\"").unwrap(), [(3, 2_286)]);
        assert_eq!(read(" , ").unwrap(), []);
        for wrong in [
            "x 5 m",
            "2 x",
            "0 x 5 m",
            "-1 m",
            "0",
            "501 x 1 m",
            "300 x 1 m, 300 x 1 m",
            "2 m, 1,2 m",
            "1000,2000",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
        assert!(
            read("3 x 2 m, 1,2 m")
                .unwrap_err()
                .contains("Type 1.2 for one")
        );
    }

    #[test]
    fn a_bare_number_far_below_what_is_sold_is_asked_about() {
        let reels = [Length::mm(25_000), Length::mm(50_000)];
        let read = |text, bare| read_pieces(text, bare, &reels).map(|list| mm(&list));
        assert_eq!(
            read("2 x 25", LengthUnit::Mm),
            Err("Did you mean 25 m? Type 25 m or 25 mm.".to_owned())
        );
        assert_eq!(
            read("2 x 8", LengthUnit::In),
            Err("Did you mean 8 ft? Type 8 ft or 8 in.".to_owned())
        );
        assert!(read("0.2", LengthUnit::M).is_err());
        // What has a unit is taken as typed, and so is what may well be an offcut.
        assert_eq!(
            read("25 mm, 2500", LengthUnit::Mm),
            Ok(vec![(1, 25), (1, 2_500)])
        );
        assert_eq!(read("25", LengthUnit::Ft), Ok(vec![(1, 7_620)]));
    }

    #[test]
    fn a_bare_number_that_is_no_length_of_the_part_is_asked_about_as_a_number_of_pieces() {
        let bars = [Length::mm(2_000)];
        let read = |text, bare| read_pieces(text, bare, &bars).map(|list| mm(&list));
        assert_eq!(
            read("6", LengthUnit::Cm),
            Err(
                "6 pieces? Type 6 x 200 cm. One piece of that length? Type 6 m or 6 cm.".to_owned()
            )
        );
        assert_eq!(
            read("10", LengthUnit::Ft),
            Err("10 pieces? Type 10 x 2 m. One piece of that length? Type 10 ft.".to_owned())
        );
        for meant in ["180", "10 ft", "6 x 200", "1.5 m"] {
            assert!(read(meant, LengthUnit::Cm).is_ok(), "{meant}");
        }
    }
}
