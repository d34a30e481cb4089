//! Rows of what has a tag: pieces, units, fixtures, frames.

use super::{
    CsvDoes, CsvRow,
    carry::Want,
    column::{Column, Sheet},
    row::Asked,
    stock::{Compare, Which},
};
use crate::model::{
    part::{Part, PartSpec},
    piece::End,
    text::Tag,
};

mod known;
mod new;

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
            return known::plan(compare, asked, sheet, known);
        }
    }
    let spot = if let Some(typed) = asked.place.as_deref() {
        compare.place(asked, typed)
    } else {
        let message = "Say where it is: the path of a place.";
        compare.fail(asked, Column::Place, message);
        None
    };
    match sheet {
        Sheet::Piece => new::piece(compare, asked, spot),
        Sheet::Unit => new::unit(compare, asked, spot),
        Sheet::Fixture => new::fixture(compare, asked, spot),
        Sheet::Frame => new::frame(compare, asked, spot),
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

/// What the factory puts on the ends of a new roll.
fn factory(part: &Part) -> (Option<End>, Option<End>) {
    let PartSpec::Tape(tape) = &part.spec else {
        return (None, None);
    };
    let lead = |connector: &Option<_>| connector.clone().map(|connector| End::Lead { connector });
    (lead(&tape.roll_start), lead(&tape.roll_end))
}
