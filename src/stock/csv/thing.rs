//! Rows of what has a tag: pieces, units, fixtures, frames.

use super::{
    CsvDifference, CsvDoes, CsvRow,
    book::{Known, More},
    carry::{Tagged, Want},
    column::{Column, Sheet},
    parts::key,
    place::Spot,
    row::{Asked, EndAsked, show_end},
    stock::{Compare, Which, cells, sold},
};
use crate::{
    model::{
        fixture::{Condition, Fed, Make},
        movement::AccountKind,
        part::{Kind, Part, PartSpec, StockBy, Tape},
        piece::End,
        text::{Note, Tag},
    },
    stock::{
        change,
        make::{About, EnterFixture, EnterFrame},
        mark::{EditMore, EditThing},
        receive::{Goods, Pieces, Receive, THING_LIMIT},
    },
    units::Length,
};

/// What a row does.
pub(super) fn plan(
    compare: &mut Compare<'_>,
    asked: &Asked,
    sheet: Sheet,
) -> Option<(CsvRow, Want)> {
    if let Some(tag) = &asked.tag {
        compare.once(asked, Which::Tag(tag.clone()))?;
        if let Some(number) = asked.number.filter(|number| *number != 1) {
            let message = format!("{tag} is one thing, not {number}. Leave the number empty.");
            compare.fail(asked, Column::Number, message);
            return None;
        }
        if let Some(known) = compare.book.thing(tag) {
            return found(compare, asked, sheet, known);
        }
    }
    let spot = match asked.place.as_deref() {
        Some(typed) => compare.place(asked, typed),
        None => {
            compare.fail(
                asked,
                Column::Place,
                "Say where it is: the path of a place.",
            );
            None
        }
    };
    match sheet {
        Sheet::Piece => piece(compare, asked, spot),
        Sheet::Unit => unit(compare, asked, spot),
        Sheet::Fixture => fixture(compare, asked, spot),
        Sheet::Frame => frame(compare, asked, spot),
        Sheet::Counted => None,
    }
}

fn row(asked: &Asked, name: String, does: CsvDoes) -> CsvRow {
    CsvRow {
        line: asked.at.line,
        name,
        does,
        details: String::new(),
        differences: Vec::new(),
    }
}

fn named(tag: Option<&Tag>, name: &str) -> String {
    match tag {
        Some(tag) => format!("{tag}, {name}"),
        None => name.to_owned(),
    }
}

/// A thing that the book knows: it may move, be marked and be noted; what it is stays.
fn found(
    compare: &mut Compare<'_>,
    asked: &Asked,
    sheet: Sheet,
    known: &Known,
) -> Option<(CsvRow, Want)> {
    let thing = &known.thing;
    let tag = &thing.tag;
    let said = cells(known, compare.book, compare.unit);
    let stored = |column: Column| said.get(&column).cloned().unwrap_or_default();
    if stored(Column::What) != sheet.word() {
        let message = format!(
            "{tag} is a {} in the book. Give this another tag.",
            thing.kind
        );
        compare.fail(asked, Column::Tag, message);
        return None;
    }
    // Its receipt was undone: it may come in again.
    let again = thing.place.kind == AccountKind::World;
    if !again && !thing.owned() {
        let message = format!(
            "{tag} is not there any more in the book: {}. Find it again on its page, or give this \
             another tag.",
            thing.place.words
        );
        compare.fail(asked, Column::Tag, message);
        return None;
    }
    let mut same = true;
    for column in differs(known, asked, compare) {
        let message = format!(
            "{tag} has “{}” here in the book, and what a thing is does not change by a file. \
             Change it on its page, or give this another tag.",
            stored(column)
        );
        compare.fail(asked, column, message);
        same = false;
    }
    let to = place(compare, asked, known, again);
    let (true, Ok(to)) = (same, to) else {
        return None;
    };
    let mut differences = Vec::new();
    let mut differ = |column: Column, before: String, after: String| {
        differences.push(CsvDifference {
            column: column.name().to_owned(),
            before,
            after,
        });
    };
    if let Some(to) = &to
        && !again
    {
        differ(Column::Place, stored(Column::Place), to.path.clone());
    }
    let mark = asked.condition.filter(|it| *it != thing.condition);
    if let Some(condition) = mark {
        let before = stored(Column::Condition);
        differ(Column::Condition, before, condition.label().to_owned());
    }
    let edit = edit(compare, asked, known, &stored, &mut differ);
    let does = match (again, differences.is_empty()) {
        (true, _) => CsvDoes::New,
        (false, true) => CsvDoes::Unchanged,
        (false, false) => CsvDoes::Changed,
    };
    let mut row = row(asked, named(Some(tag), &thing.name), does);
    row.differences = differences;
    if again {
        let path = to.as_ref().map_or("", |to| &to.path);
        row.details = format!("back to {path}: its receipt was undone");
    }
    let want = Want::Tagged(Box::new(Tagged {
        thing: thing.id,
        moved: change::moved(thing),
        from: thing.place.account,
        again,
        to,
        mark,
        edit,
    }));
    let want = if does == CsvDoes::Unchanged {
        Want::Nothing
    } else {
        want
    };
    Some((row, want))
}

/// Columns in which a row says another thing than the book, of those that a file can't change.
fn differs(known: &Known, asked: &Asked, compare: &Compare<'_>) -> Vec<Column> {
    let name_differs = |typed: &Option<String>, id: Option<crate::model::id::PartId>| {
        let stored = id.and_then(|id| compare.book.parts.get(&id));
        typed
            .as_ref()
            .is_some_and(|typed| stored.is_none_or(|part| key(part.name.as_str()) != key(typed)))
    };
    fn other<T: PartialEq>(typed: Option<&T>, stored: &T) -> bool {
        typed.is_some_and(|typed| typed != stored)
    }
    let thing = &known.thing;
    let part = thing.part.and_then(|id| compare.book.parts.get(&id));
    let end = |typed: &Option<EndAsked>, stored: &End, factory: Option<End>| match typed {
        None => false,
        Some(EndAsked::Is(end)) => end != stored,
        Some(EndAsked::Factory) => factory.as_ref() != Some(stored),
    };
    let found = match &known.more {
        More::Piece(piece) => {
            let (start, stop) = part.map_or((None, None), factory);
            vec![
                (Column::Part, name_differs(&asked.part, thing.part)),
                (
                    Column::Length,
                    other(
                        asked.length.as_ref(),
                        &thing.amount.length().unwrap_or(Length::ZERO),
                    ),
                ),
                (Column::Start, end(&asked.start, &piece.start, start)),
                (Column::End, end(&asked.end, &piece.end, stop)),
                (
                    Column::FirstJoint,
                    other(asked.first_joint.as_ref(), &piece.joint_offset_units),
                ),
                (Column::Batch, other(asked.batch.as_ref(), &piece.batch)),
            ]
        }
        More::Unit(_) => vec![(Column::Part, name_differs(&asked.part, thing.part))],
        More::Fixture(at) => {
            let make = &at.fixture.make;
            let connector = asked.connector.as_ref();
            vec![
                (Column::Part, name_differs(&asked.part, make.tape)),
                (Column::Profile, name_differs(&asked.profile, make.profile)),
                (Column::Length, other(asked.length.as_ref(), &make.lit_um)),
                (
                    Column::Colours,
                    other(asked.colours.as_ref(), &make.channels),
                ),
                (
                    Column::Voltage,
                    other(asked.voltage.as_ref(), &make.voltage_mv),
                ),
                (
                    Column::Diffused,
                    other(asked.diffused.as_ref(), &make.diffused),
                ),
                (Column::Fed, other(asked.fed.as_ref(), &make.fed)),
                (
                    Column::Connector,
                    connector.is_some() && connector != make.connector.as_ref(),
                ),
                (Column::Batch, other(asked.batch.as_ref(), &at.batch)),
            ]
        }
        More::Frame(frame) => vec![
            (Column::Name, other(asked.name.as_ref(), &frame.name)),
            (Column::Width, other(asked.width.as_ref(), &frame.width_um)),
            (
                Column::Height,
                other(asked.height.as_ref(), &frame.height_um),
            ),
        ],
    };
    found
        .into_iter()
        .filter_map(|(column, differs)| differs.then_some(column))
        .collect()
}

/// Where the thing is to go, if it is to; `Err` where that is refused.
fn place(
    compare: &mut Compare<'_>,
    asked: &Asked,
    known: &Known,
    again: bool,
) -> Result<Option<Spot>, ()> {
    let thing = &known.thing;
    let Some(typed) = asked.place.as_deref() else {
        if again {
            compare.fail(
                asked,
                Column::Place,
                "Say where it is: the path of a place.",
            );
            return Err(());
        }
        return Ok(None);
    };
    if key(typed) == key(&thing.place.words) {
        return Ok(None);
    }
    if !again && thing.place.kind != AccountKind::Place {
        let message = if known.built_in {
            format!(
                "{} is built {}. Take that apart first.",
                thing.tag, thing.place.words
            )
        } else {
            format!(
                "{} is {} in the book. Bring it back on its page first: a file moves only what \
                 lies in a place.",
                thing.tag, thing.place.words
            )
        };
        compare.fail(asked, Column::Place, message);
        return Err(());
    }
    let spot = compare.place(asked, typed).ok_or(())?;
    Ok(Some(spot).filter(|spot| spot.account != Some(thing.place.account)))
}

/// Notes, the day of inspection, a unit's address and number: what is edited without a movement.
fn edit(
    compare: &Compare<'_>,
    asked: &Asked,
    known: &Known,
    stored: &impl Fn(Column) -> String,
    differ: &mut impl FnMut(Column, String, String),
) -> Option<EditThing> {
    let thing = &known.thing;
    let mut edit = EditThing {
        thing: thing.id,
        version: thing.version,
        note: thing.note.clone(),
        inspect_on: thing.inspect_on,
        more: EditMore::Nothing,
    };
    let mut edited = false;
    let mut changed = |column: Column, after: String| {
        let before = stored(column);
        let changes = compare.titles.has(column) && before != after;
        if changes {
            differ(column, before, after);
            edited = true;
        }
        changes
    };
    if let More::Unit(unit) = &known.more {
        let (mut address, mut serial) = (unit.address, unit.serial.clone());
        let typed = asked.address.map(|address| address.to_string());
        if changed(Column::Address, typed.unwrap_or_default()) {
            address = asked.address;
        }
        let typed = asked.serial.clone().unwrap_or_default();
        if changed(Column::Serial, typed.clone()) {
            serial = typed;
        }
        edit.more = EditMore::Unit { address, serial };
    }
    let typed = asked.inspect_on.map(|day| day.to_string());
    if changed(Column::InspectOn, typed.unwrap_or_default()) {
        edit.inspect_on = asked.inspect_on;
    }
    let note = asked.note.clone().unwrap_or_default();
    if changed(Column::Note, note.as_str().to_owned()) {
        edit.note = note;
    }
    edited.then_some(edit)
}

/// What the factory puts on the ends of a new roll.
fn factory(part: &Part) -> (Option<End>, Option<End>) {
    let PartSpec::Tape(tape) = &part.spec else {
        return (None, None);
    };
    let lead = |connector: &Option<_>| connector.clone().map(|connector| End::Lead { connector });
    (lead(&tape.roll_start), lead(&tape.roll_end))
}

/// How many like ones a row without a tag adds.
fn number(compare: &mut Compare<'_>, asked: &Asked) -> Option<usize> {
    let number = usize::try_from(asked.number.unwrap_or(1)).unwrap_or(0);
    if (1..=THING_LIMIT).contains(&number) {
        return Some(number);
    }
    let message = format!("Type 1 to {THING_LIMIT} like ones, or leave it empty for one.");
    compare.fail(asked, Column::Number, message);
    None
}

fn piece(compare: &mut Compare<'_>, asked: &Asked, spot: Option<Spot>) -> Option<(CsvRow, Want)> {
    let part = compare.part(asked, Column::Part, asked.part.as_deref(), |part| {
        (part.stock_by() != StockBy::Length)
            .then(|| format!("{} is kept {}, not in pieces.", part.name, part.stock_by()))
    });
    let number = number(compare, asked);
    let length = asked.length.filter(|length| *length > Length::ZERO);
    if length.is_none() {
        compare.fail(
            asked,
            Column::Length,
            "Type the length of the piece, above zero.",
        );
    }
    let (part, number, length, spot) = (part?, number?, length?, spot?);
    // What is as long as it is sold comes as from the shop, as far as the row does not say.
    let new = sold(part).contains(&length);
    let mut pieces = if new {
        Pieces::as_bought(part, length, number)
    } else {
        Pieces::of_length(part, length, number)
    };
    let (start, stop) = factory(part);
    let ends = [
        (Column::Start, &asked.start, start, &mut pieces.start),
        (Column::End, &asked.end, stop, &mut pieces.end),
    ];
    for (column, typed, factory, end) in ends {
        match (typed, factory) {
            (None, _) => {}
            (Some(EndAsked::Is(typed)), _) => *end = typed.clone(),
            (Some(EndAsked::Factory), Some(factory)) => *end = factory,
            (Some(EndAsked::Factory), None) => {
                let message = format!("{} comes without a lead here. Type bare.", part.name);
                compare.fail(asked, column, message);
                return None;
            }
        }
    }
    let tape = part.spec.kind() == Kind::Tape;
    if let Some(joint) = asked.first_joint {
        if joint.is_some() && !tape {
            compare.fail(
                asked,
                Column::FirstJoint,
                "Only tape has joints. Leave this empty.",
            );
            return None;
        }
        pieces.joint_offset_units = joint;
    }
    pieces.batch = asked.batch.clone().unwrap_or_default();
    pieces.tags = asked.tag.iter().cloned().collect();
    pieces.offcuts = !new;
    let mut details = crate::model::attribute::show_length(length, compare.unit);
    if number > 1 {
        details = format!("{number} of {details}");
    }
    if tape {
        let (start, end) = (show_end(&pieces.start), show_end(&pieces.end));
        details = format!("{details}, start: {start}; end: {end}");
        if let Some(units) = pieces.joint_offset_units {
            details = format!("{details}; first joint after {units}");
        }
    }
    Some(new_row(asked, part, &spot, &details, Goods::Pieces(pieces)))
}

fn unit(compare: &mut Compare<'_>, asked: &Asked, spot: Option<Spot>) -> Option<(CsvRow, Want)> {
    let part = compare.part(asked, Column::Part, asked.part.as_deref(), |part| {
        (part.stock_by() != StockBy::Unit)
            .then(|| format!("{} is kept {}, not by unit.", part.name, part.stock_by()))
    });
    let number = number(compare, asked);
    let (part, number, spot) = (part?, number?, spot?);
    if number > 1 && (asked.serial.is_some() || asked.address.is_some()) {
        let message = "One maker's number and one address are for one unit. Give each a row.";
        compare.fail(asked, Column::Number, message);
        return None;
    }
    let goods = Goods::Units {
        number,
        tags: asked.tag.iter().cloned().collect(),
        serials: asked.serial.iter().cloned().collect(),
    };
    let details = if number > 1 {
        format!("{number} units")
    } else {
        "a unit".to_owned()
    };
    Some(new_row(asked, part, &spot, &details, goods))
}

fn new_row(asked: &Asked, part: &Part, spot: &Spot, details: &str, goods: Goods) -> (CsvRow, Want) {
    let mut row = row(
        asked,
        named(asked.tag.as_ref(), part.name.as_str()),
        CsvDoes::New,
    );
    let condition = asked.condition.unwrap_or(Condition::Good);
    row.details = said(details, condition, spot);
    let receive = Receive {
        condition,
        note: asked.note.clone().unwrap_or_default(),
        inspect_on: asked.inspect_on,
        ..Receive::new(part.id, spot.id, goods)
    };
    (row, Want::Receive(Box::new(receive), asked.address))
}

fn said(details: &str, condition: Condition, spot: &Spot) -> String {
    match condition {
        Condition::Good => format!("{details}, to {}", spot.path),
        condition => format!("{details}, {condition}, to {}", spot.path),
    }
}

fn about(asked: &Asked, spot: &Spot) -> About {
    About {
        tag: asked.tag.clone(),
        to: spot.id,
        condition: asked.condition.unwrap_or(Condition::Good),
        note: asked.note.clone().unwrap_or_default(),
        inspect_on: asked.inspect_on,
    }
}

fn fixture(compare: &mut Compare<'_>, asked: &Asked, spot: Option<Spot>) -> Option<(CsvRow, Want)> {
    let of_kind = |kind: Kind| {
        move |part: &Part| {
            (part.spec.kind() != kind).then(|| format!("{} is no {kind}.", part.name))
        }
    };
    let mut wrong = false;
    let mut named_part = |compare: &mut Compare<'_>, column, name: &Option<String>, kind| {
        name.as_deref().and_then(|name| {
            let found = compare
                .part(asked, column, Some(name), of_kind(kind))
                .cloned();
            wrong |= found.is_none();
            found
        })
    };
    let tape = named_part(compare, Column::Part, &asked.part, Kind::Tape);
    let profile = named_part(compare, Column::Profile, &asked.profile, Kind::Profile);
    let spec = tape.as_ref().and_then(|part| match &part.spec {
        PartSpec::Tape(tape) => Some(tape),
        _ => None,
    });
    let colours = asked
        .colours
        .clone()
        .or_else(|| spec.and_then(Tape::colours));
    let voltage = asked.voltage.or_else(|| spec.map(|tape| tape.voltage_mv));
    let length = asked.length.filter(|length| *length > Length::ZERO);
    if length.is_none() {
        compare.fail(asked, Column::Length, "Type the lit length, above zero.");
    }
    for (column, missing) in [
        (Column::Colours, colours.is_none()),
        (Column::Voltage, voltage.is_none()),
    ] {
        if missing {
            compare.fail(
                asked,
                column,
                "Type this, or name the tape in the column “part”.",
            );
        }
    }
    let (lit_um, channels, voltage_mv, spot) = (length?, colours?, voltage?, spot?);
    if wrong {
        return None;
    }
    let covered = profile.as_ref().is_some_and(
        |part| matches!(&part.spec, PartSpec::Profile(profile) if profile.diffuser.diffuses()),
    );
    let make = Make {
        tape: tape.map(|part| part.id),
        profile: profile.map(|part| part.id),
        channels,
        voltage_mv,
        lit_um,
        diffused: asked.diffused.unwrap_or(covered),
        fed: asked.fed.unwrap_or(Fed::OneEnd),
        connector: asked.connector.clone(),
    };
    let name = crate::model::describe::fixture_name(&make);
    let mut row = row(asked, named(asked.tag.as_ref(), &name), CsvDoes::New);
    let about = about(asked, &spot);
    let length = crate::model::attribute::show_length(lit_um, compare.unit);
    row.details = said(
        &format!("{length}, fed {}", make.fed),
        about.condition,
        &spot,
    );
    let enter = EnterFixture {
        about,
        make,
        batch: asked.batch.clone().unwrap_or_default(),
        reason: Note::default(),
    };
    Some((row, Want::Fixture(Box::new(enter))))
}

fn frame(compare: &mut Compare<'_>, asked: &Asked, spot: Option<Spot>) -> Option<(CsvRow, Want)> {
    if asked.name.is_none() {
        compare.fail(asked, Column::Name, "Type the frame's name.");
    }
    for (column, missing) in [
        (Column::Width, asked.width.is_none()),
        (Column::Height, asked.height.is_none()),
    ] {
        if missing {
            compare.fail(asked, column, "Type the frame's size.");
        }
    }
    let (name, width_um, height_um, spot) =
        (asked.name.clone()?, asked.width?, asked.height?, spot?);
    let mut row = row(
        asked,
        named(asked.tag.as_ref(), name.as_str()),
        CsvDoes::New,
    );
    let about = about(asked, &spot);
    row.details = said("a frame", about.condition, &spot);
    let enter = EnterFrame {
        about,
        name,
        width_um,
        height_um,
        reason: Note::default(),
    };
    Some((row, Want::Frame(Box::new(enter))))
}
