//! The log of every change that is no movement: who changed what, from where, before and after.

use askama::Template;
use serde_json::Value;

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
        change_log::{Change, Filter},
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
    ("venue", "the settings"),
    ("person", "a person"),
];

/// A field before and after.
struct Field {
    name: String,
    before: String,
    after: String,
}

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

fn words(value: Option<&Value>) -> String {
    match value {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.chars().take(300).collect(),
        Some(other) => other.to_string().chars().take(300).collect(),
    }
}

fn fields(change: &Change) -> Vec<Field> {
    let object = |side: &Option<Value>| side.as_ref().and_then(Value::as_object).cloned();
    let (before, after) = (object(&change.before), object(&change.after));
    let both = before.is_some() && after.is_some();
    let (before, after) = (before.unwrap_or_default(), after.unwrap_or_default());
    let mut names: Vec<&String> = before.keys().chain(after.keys()).collect();
    names.sort_unstable();
    names.dedup();
    names
        .into_iter()
        .filter(|name| !both || before.get(*name) != after.get(*name))
        .map(|name| Field {
            name: name.replace('_', " "),
            before: words(before.get(name)),
            after: words(after.get(name)),
        })
        .filter(|field| !(field.before.is_empty() && field.after.is_empty()))
        .collect()
}

fn row(cx: &Cx, change: &Change) -> Row {
    let known = OF.iter().find(|(of, _)| *of == change.of);
    let name = |side: &Option<Value>| {
        let side = side.as_ref()?;
        let name = side.get("name").or_else(|| side.get("label"))?;
        name.as_str().map(|name| format!(" ({name})"))
    };
    let named = name(&change.after).or_else(|| name(&change.before));
    let what = match known {
        Some((_, of)) => {
            let did = match (&change.before, &change.after) {
                (None, _) => "added",
                (_, None) => "removed",
                _ => "changed",
            };
            format!("{did} {of}{}", named.unwrap_or_default())
        }
        None => change.of.clone(),
    };
    Row {
        when: moment(change.at_ms, &cx.venue.zone, cx.today),
        who: if change.who.is_empty() {
            "the program itself".to_owned()
        } else {
            change.who.clone()
        },
        address: change.address.clone(),
        what,
        fields: fields(change),
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
        rows: changes.iter().map(|change| row(&cx, change)).collect(),
        kinds: Choice::list(all("anything").into_iter().chain(kinds), form.value("of")),
        people: Choice::list(all("anybody").into_iter().chain(names), form.value("who")),
        older,
        form,
    }))
}
