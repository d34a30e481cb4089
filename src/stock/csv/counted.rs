//! Rows of what is kept by count: a number of a part in a place.

use super::{
    CsvDifference, CsvDoes, CsvRow,
    carry::Want,
    column::Column,
    row::Asked,
    stock::{Compare, Which},
};
use crate::{
    model::{
        attribute::show_length,
        movement::AccountKind,
        part::{Part, StockBy, StockUnit},
    },
    stock::receive::{Goods, Receive},
    units::{Length, LengthUnit},
};

/// An amount as a cell of its column says it.
pub(super) fn show_amount(part: &Part, amount: i64, unit: LengthUnit) -> String {
    match (part.unit(), Length::new(amount)) {
        (StockUnit::Each, _) => amount.to_string(),
        (_, Ok(length)) => show_length(length, unit),
        // More than the longest single length: whole metres and micrometres of it.
        (_, Err(_)) => format!("{}.{:06} m", amount / 1_000_000, amount % 1_000_000),
    }
}

/// What a row does.
pub(super) fn plan(compare: &mut Compare<'_>, asked: &Asked) -> Option<(CsvRow, Want)> {
    let part = compare.part(asked, Column::Part, asked.part.as_deref(), |part| {
        (part.stock_by() != StockBy::Count).then(|| {
            format!(
                "{} is kept {}: each has a row of its own. Say what it is: a piece or a unit.",
                part.name,
                part.stock_by()
            )
        })
    });
    let typed = asked.place.as_deref();
    let Some(typed) = typed else {
        compare.fail(
            asked,
            Column::Place,
            "Say where they are: the path of a place.",
        );
        return None;
    };
    let part = part?;
    let amount = amount(compare, asked, part)?;
    // What is on a stage, lent out or mounted is told, and not changed, by a file.
    if let Some(there) = compare.book.count_at(part.id, typed)
        && there.spot.kind != AccountKind::Place
    {
        if there.amount != amount {
            let message = format!(
                "The book has {} {}. That changes on the page of the set, loan or thing, not by \
                 a file.",
                show_amount(part, there.amount, compare.unit),
                there.spot.words
            );
            compare.fail(asked, Column::Place, message);
            return None;
        }
        let words = there.spot.words.clone();
        compare.once(asked, Which::Count(part.id, words.clone()))?;
        let row = row(
            asked,
            part,
            &words,
            CsvDoes::Unchanged,
            String::new(),
            Vec::new(),
        );
        return Some((row, Want::Nothing));
    }
    let spot = compare.place(asked, typed)?;
    compare.once(asked, Which::Count(part.id, spot.path.clone()))?;
    let booked = spot
        .account
        .map_or(0, |account| compare.book.amount(part.id, account));
    let said = show_amount(part, amount, compare.unit);
    if booked == amount {
        let row = row(
            asked,
            part,
            &spot.path,
            CsvDoes::Unchanged,
            String::new(),
            Vec::new(),
        );
        return Some((row, Want::Nothing));
    }
    if booked == 0 {
        let row = row(asked, part, &spot.path, CsvDoes::New, said, Vec::new());
        let receive = Receive::new(part.id, spot.id, Goods::Count(amount));
        return Some((row, Want::Receive(Box::new(receive), None)));
    }
    let difference = CsvDifference {
        column: column(part).name().to_owned(),
        before: show_amount(part, booked, compare.unit),
        after: said,
    };
    let row = row(
        asked,
        part,
        &spot.path,
        CsvDoes::Counted,
        String::new(),
        vec![difference],
    );
    let want = Want::Correct {
        part: part.id,
        account: spot.account?,
        booked,
        counted: amount,
    };
    Some((row, want))
}

const fn column(part: &Part) -> Column {
    match part.unit() {
        StockUnit::Each => Column::Number,
        _ => Column::Length,
    }
}

fn amount(compare: &mut Compare<'_>, asked: &Asked, part: &Part) -> Option<i64> {
    let length = asked.length.map(Length::get);
    let column = column(part);
    let (typed, other) = match column {
        Column::Number => (asked.number, length.map(|_| Column::Length)),
        _ => (length, asked.number.map(|_| Column::Number)),
    };
    if let Some(other) = other {
        let message = format!(
            "{} is counted by its {}. Leave this empty.",
            part.name,
            column.name()
        );
        compare.fail(asked, other, message);
        return None;
    }
    if typed.is_none() {
        let message = format!("Say how much of {} there is.", part.name);
        compare.fail(asked, column, message);
    }
    typed
}

fn row(
    asked: &Asked,
    part: &Part,
    place: &str,
    does: CsvDoes,
    details: String,
    differences: Vec<CsvDifference>,
) -> CsvRow {
    CsvRow {
        line: asked.at.line,
        name: format!("{}, {place}", part.name),
        does,
        details,
        differences,
    }
}
