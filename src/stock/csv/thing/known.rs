//! Things that the book knows: a file may move, mark and note them; what they are stays.

use super::{factory, named, row};
use crate::{
    model::{id::PartId, movement::AccountKind, piece::End},
    stock::{
        change,
        csv::{
            CsvDifference, CsvDoes, CsvRow,
            book::{Known, More},
            carry::{Tagged, Want},
            column::{Column, Sheet},
            parts::key,
            place::Spot,
            row::{Asked, EndAsked},
            stock::{Compare, cells},
        },
        mark::{EditMore, EditThing},
    },
    units::Length,
};

/// What a row of it does.
pub(super) fn plan(
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
        let gone = match thing.place.kind {
            AccountKind::Bench => "cut up or taken apart",
            _ => &thing.place.words,
        };
        let message = format!(
            "{tag} is not there any more in the book: {gone}. Look at its page, or give this \
             another tag."
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

/// Whether a cell says another value than the book; an empty one says nothing.
fn other<T: PartialEq>(typed: Option<&T>, stored: &T) -> bool {
    typed.is_some_and(|typed| typed != stored)
}

/// Columns in which a row says another thing than the book, of those that a file can't change.
fn differs(known: &Known, asked: &Asked, compare: &Compare<'_>) -> Vec<Column> {
    let name_differs = |typed: &Option<String>, id: Option<PartId>| {
        let stored = id.and_then(|id| compare.book.parts.get(&id));
        typed
            .as_ref()
            .is_some_and(|typed| stored.is_none_or(|part| key(part.name.as_str()) != key(typed)))
    };
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
