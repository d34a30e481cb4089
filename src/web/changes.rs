//! The log of every change that is no movement: who changed what, from where, before and after.

mod words;

use askama::Template;
use serde_json::Value;

use self::words::{Field, Names, fields};
use super::{
    cx::Cx,
    error::Answer,
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Section, page},
    show::moment,
};
use crate::{
    db::{
        self,
        change_log::{Change, Filter, Referred},
    },
    model::id::ChangeId,
};

/// Entries of one page.
const PAGE: u32 = 50;

/// The tables whose changes are written down, with what a row of each is called.
const OF: &[(&str, &str)] = &[
    ("part", "a part"),
    ("offer", "a price"),
    ("supplier", "a supplier"),
    ("place", "a place"),
    ("design", "a set"),
    ("design_frame", "a frame of a set"),
    ("bar", "a bar of a set"),
    ("design_extra", "an extra line of a set"),
    ("design_left_alone", "a thing that a set leaves alone"),
    ("design_not_from", "a supplier that a set does not buy from"),
    ("limit_reason", "a reason for a broken limit"),
    ("purchase", "an order"),
    ("purchase_line", "a line of an order"),
    ("purchase_share", "a set that a line of an order is for"),
    ("venue", "the settings"),
    ("person", "a person"),
];

struct Row {
    when: String,
    who: String,
    address: String,
    what: String,
    fields: Vec<Field>,
}

#[derive(Template)]
#[template(path = "changes.html")]
struct ChangesPage {
    chrome: Chrome,
    rows: Vec<Row>,
    kinds: Vec<Choice>,
    people: Vec<Choice>,
    older: Option<Link>,
    form: Form,
}

fn row(cx: &Cx, known: &Names, change: &Change) -> Row {
    let of_table = OF.iter().find(|(of, _)| *of == change.of);
    let name = |side: &Option<Value>| {
        let side = side.as_ref()?;
        let name = side.get("name").or_else(|| side.get("label"))?;
        name.as_str().map(str::to_owned)
    };
    let set = [&change.after, &change.before]
        .into_iter()
        .flatten()
        .find_map(|side| known.called(Referred::Set, side.get("design_id")?.as_i64()?));
    let referred = [
        ("part_id", Referred::Part),
        ("thing_id", Referred::Thing),
        ("supplier_id", Referred::Supplier),
        ("purchase_id", Referred::Order),
    ];
    // A price or a line has no name of its own: it is called after what it is of.
    let after_its_own = || {
        let sides = [&change.after, &change.before].into_iter().flatten();
        sides.into_iter().find_map(|side| {
            let id = |column: &str| side.get(column)?.as_i64();
            let mut of = referred.iter();
            of.find_map(|(column, of)| known.called(*of, id(column)?))
        })
    };
    let named = name(&change.after)
        .or_else(|| name(&change.before))
        .or_else(after_its_own);
    let what = match of_table {
        Some((_, of)) => {
            let did = match (&change.before, &change.after) {
                (None, _) => "added",
                (_, None) => "removed",
                _ => "changed",
            };
            match (named, set) {
                (Some(name), Some(set)) => format!("{did} {of} ({name} of {set})"),
                (Some(name), None) | (None, Some(name)) => format!("{did} {of} ({name})"),
                (None, None) => format!("{did} {of}"),
            }
        }
        None => change.of.clone(),
    };
    Row {
        // What the program wrote by itself as it began has no moment.
        when: if change.at_ms == 0 {
            "as the book was begun".to_owned()
        } else {
            moment(change.at_ms, &cx.venue.zone, cx.today)
        },
        who: if change.who.is_empty() {
            "the program itself".to_owned()
        } else {
            change.who.clone()
        },
        address: change.address.clone(),
        what,
        fields: fields(cx, known, change),
    }
}

/// GET: the log of changes.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let some = |name: &str| {
        let value = form.value(name).trim();
        (!value.is_empty()).then(|| value.to_owned())
    };
    let filter = Filter {
        of: some("of"),
        who: some("who"),
        before: form.value("before").parse().ok().map(ChangeId),
    };
    let mut tx = cx.read().await?;
    let changes = db::change_log::list(&mut tx, &filter, PAGE).await?;
    let called = Names::of(&mut tx, &changes).await?;
    let people = db::venue::list_people(&mut tx).await?;
    drop(tx);
    let full = changes.len() == PAGE as usize;
    let older = changes.last().filter(|_| full).map(|last| {
        Link::Changes.with([
            ("of", filter.of.clone().unwrap_or_default()),
            ("who", filter.who.clone().unwrap_or_default()),
            ("before", last.id.to_string()),
        ])
    });
    let all = |words: &str| [(String::new(), words.to_owned())];
    let kinds = OF
        .iter()
        .map(|(of, words)| ((*of).to_owned(), (*words).to_owned()));
    let names = people
        .iter()
        .map(|name| (name.to_string(), name.to_string()));
    Ok(page(&ChangesPage {
        chrome: cx.chrome(Section::Log, "Changes"),
        rows: changes
            .iter()
            .map(|change| row(&cx, &called, change))
            .collect(),
        kinds: Choice::list(all("anything").into_iter().chain(kinds), form.value("of")),
        people: Choice::list(all("anybody").into_iter().chain(names), form.value("who")),
        older,
        form,
    }))
}
