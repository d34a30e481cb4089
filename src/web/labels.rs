//! Labels: which things and places get one, on which paper, and the papers themselves.

use askama::Template;
use axum::http::{HeaderMap, StatusCode, header};

use super::{
    cupboard::thing_line,
    cx::Cx,
    error::{Answer, Trouble},
    form::{Choice, Form},
    guard,
    link::Link,
    page::{Chrome, Section, page_with},
    show::{PAGE, Pager, counted},
};
use crate::{
    db::{self, ReadTx, place::PlaceNode, thing::ThingFilter},
    draw::label::{Label, papers},
    model::{
        id::{PlaceId, ThingId},
        label::LabelPaper,
        place::Place,
        thing::{Thing, ThingKind},
    },
};

/// The most labels printed at once.
const MOST: usize = 600;

/// What may be listed, by its word in the address.
const LISTED: [(&str, &str, Option<ThingKind>); 5] = [
    ("fixtures", "finished bars", Some(ThingKind::Fixture)),
    ("pieces", "rolls and offcuts", Some(ThingKind::Piece)),
    ("units", "drivers and supplies", Some(ThingKind::Unit)),
    ("frames", "frames", Some(ThingKind::Frame)),
    ("places", "places", None),
];

struct Row {
    id: i64,
    href: Link,
    tag: String,
    name: String,
    sub: String,
    ticked: bool,
}

#[derive(Template)]
#[template(path = "labels/pick.html")]
struct PickPage {
    chrome: Chrome,
    form: Form,
    here: Link,
    print: Link,
    settings: Link,
    base: String,
    amiss: Option<&'static str>,
    kinds: Vec<Choice>,
    kind: &'static str,
    at: Vec<Choice>,
    /// The same list with nothing ticked, or with everything.
    none: Link,
    every: Link,
    plural: &'static str,
    field: &'static str,
    rows: Vec<Row>,
    pager: Option<Pager>,
    said: String,
}

#[derive(Template)]
#[template(path = "labels/papers.html")]
struct PapersPage {
    chrome: Chrome,
    form: Form,
    page: &'static str,
    here: Link,
    back: Link,
    settings: Link,
    base: String,
    amiss: Option<&'static str>,
    said: String,
    kinds: Vec<Choice>,
    things: Vec<i64>,
    places: Vec<i64>,
    papers: Vec<String>,
}

/// The address that codes begin with, and what is amiss with it.
fn base(cx: &Cx, headers: &HeaderMap) -> (String, Option<&'static str>) {
    if cx.venue.label_base.is_empty() {
        let host = headers
            .get(header::HOST)
            .and_then(|host| host.to_str().ok())
            .unwrap_or("127.0.0.1");
        let amiss = "No address for labels is set, so the codes carry the one that this page was \
                     opened under. Another machine or phone may not reach it.";
        return (format!("http://{host}"), Some(amiss));
    }
    let base = cx.venue.label_base.clone();
    let host = base.split_once("://").map_or("", |(_, host)| host);
    let amiss = (!guard::is_ours(&cx.app, host)).then_some(
        "Tapewright does not answer to this address as it was started: see that it listens on the \
         network and was told this name with --host, before the labels are stuck on.",
    );
    (base, amiss)
}

async fn rows(
    cx: &Cx,
    tx: &mut ReadTx,
    form: &Form,
    places: &[PlaceNode],
    kind: Option<ThingKind>,
    (offset, most): (i64, i64),
) -> Result<Vec<Row>, Trouble> {
    let at: Option<PlaceId> = form.value("at").parse().ok();
    let ticked = |field: &str, id: i64| {
        form.all(field).any(|one| one == id.to_string()) || !form.has("ticked")
    };
    let Some(kind) = kind else {
        return Ok(places
            .iter()
            .filter(|node| at.is_none_or(|at| node.place.id == at || node.place.parent == Some(at)))
            .skip(usize::try_from(offset).unwrap_or(usize::MAX))
            .take(usize::try_from(most).unwrap_or(usize::MAX))
            .map(|node| Row {
                id: node.place.id.0,
                href: Link::Place(node.place.id),
                tag: node.place.name.to_string(),
                name: node.place.kind.to_string(),
                ticked: ticked("place", node.place.id.0),
                sub: node.place.path.clone(),
            })
            .collect());
    };
    let filter = ThingFilter {
        kind: Some(kind),
        place: at,
        // A piece that is built into a fixture has no label any more.
        loose: kind == ThingKind::Piece,
        ..ThingFilter::default()
    };
    Ok(db::thing::list(tx, &filter, offset, most)
        .await?
        .into_iter()
        .map(|thing| Row {
            id: thing.id.0,
            href: Link::Thing(thing.id),
            tag: thing.tag.to_string(),
            name: thing_line(cx, &thing),
            ticked: ticked("thing", thing.id.0),
            sub: thing.place.words,
        })
        .collect())
}

/// What a label says below the tag, the most telling first.
fn words(cx: &Cx, thing: &Thing) -> Vec<String> {
    let length = thing.amount.length().map(|length| cx.length(length));
    let (volts, name) = volts_apart(&thing.name);
    let first: Vec<String> = length.into_iter().chain(volts).collect();
    [first.join(", "), name]
        .into_iter()
        .filter(|line| !line.is_empty())
        .collect()
}

/// The volts in a name, and the name without them: what burns a fixture stands first on its label.
fn volts_apart(name: &str) -> (Option<String>, String) {
    let words: Vec<&str> = name.split_whitespace().collect();
    let found = words
        .windows(2)
        .position(|pair| pair[1].trim_end_matches(',') == "V" && pair[0].parse::<f64>().is_ok());
    let Some(at) = found else {
        return (None, name.to_owned());
    };
    let mut before = words[..at].join(" ");
    if words[at + 1].ends_with(',') && at > 0 && at + 2 < words.len() {
        before.push(',');
    }
    let rest = std::iter::once(before.as_str()).chain(words[at + 2..].iter().copied());
    let rest: Vec<&str> = rest.filter(|word| !word.is_empty()).collect();
    (Some(format!("{} V", words[at])), rest.join(" "))
}

/// What the form lists: its word, what it is called, and its kind where it is a thing.
fn listed(form: &Form) -> (&'static str, &'static str, Option<ThingKind>) {
    LISTED
        .into_iter()
        .find(|(word, ..)| *word == form.value("kind"))
        .unwrap_or(LISTED[0])
}

/// GET: what gets a label, and on which paper.
pub async fn get(cx: Cx, headers: HeaderMap, form: Form) -> Answer {
    pick(&cx, &headers, form, StatusCode::OK).await
}

async fn pick(cx: &Cx, headers: &HeaderMap, form: Form, status: StatusCode) -> Answer {
    let (kind, plural, thing_kind) = listed(&form);
    let (number, offset) = Pager::asked(&form);
    let mut tx = cx.read().await?;
    let places = db::place::list(&mut tx, false).await?;
    let page = (offset, PAGE + 1);
    let mut rows = rows(cx, &mut tx, &form, &places, thing_kind, page).await?;
    drop(tx);
    let most = usize::try_from(PAGE).unwrap_or(usize::MAX);
    let more = rows.len() > most;
    rows.truncate(most);
    let list = |page: String, ticked: &str| {
        Link::Labels.with([
            ("kind", kind.to_owned()),
            ("at", form.value("at").to_owned()),
            ("page", page),
            ("ticked", ticked.to_owned()),
        ])
    };
    let pager = Pager::new(number, rows.len(), more, |page| list(page, ""));
    let (base, amiss) = base(cx, headers);
    Ok(page_with(
        status,
        &PickPage {
            chrome: cx.chrome(Section::Cupboard, "Labels"),
            here: Link::Labels,
            print: Link::LabelPapers,
            settings: Link::Settings,
            base,
            amiss,
            kinds: Choice::list(LISTED.iter().map(|(word, label, _)| (*word, *label)), kind),
            kind,
            at: Choice::list(
                std::iter::once((String::new(), "Anywhere".to_owned())).chain(
                    places
                        .iter()
                        .map(|node| (node.place.id.to_string(), node.place.path.clone())),
                ),
                form.value("at"),
            ),
            none: list(number.to_string(), "on"),
            every: list(number.to_string(), ""),
            plural,
            field: if thing_kind.is_some() {
                "thing"
            } else {
                "place"
            },
            said: if rows.is_empty() {
                format!("No {plural} there.")
            } else {
                counted(rows.len(), "label to choose from", "labels to choose from")
            },
            rows,
            pager,
            form,
        },
    ))
}

/// GET: the papers of what was ticked, to print.
pub async fn print(cx: Cx, headers: HeaderMap, mut form: Form) -> Answer {
    let mut things: Vec<ThingId> = form.all("thing").filter_map(|id| id.parse().ok()).collect();
    let mut places: Vec<PlaceId> = form.all("place").filter_map(|id| id.parse().ok()).collect();
    if form.ticked("all") {
        let mut tx = cx.read().await?;
        let (_, _, kind) = listed(&form);
        let most = i64::try_from(MOST + 1).unwrap_or(i64::MAX);
        let nodes = db::place::list(&mut tx, false).await?;
        let all = rows(&cx, &mut tx, &form, &nodes, kind, (0, most)).await?;
        if kind.is_some() {
            things = all.iter().map(|row| ThingId(row.id)).collect();
        } else {
            places = all.iter().map(|row| PlaceId(row.id)).collect();
        }
    }
    let number = things.len() + places.len();
    if number == 0 {
        form.fail("", "Nothing is ticked. Tick at least one line.");
    } else if number > MOST {
        let why = format!("These are more than {MOST} labels. Choose a place, or tick fewer.");
        form.fail("", why);
    }
    if !form.ok() {
        form.set("ticked", "on");
        return pick(&cx, &headers, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let usual = LabelPaper::usual(cx.unit());
    form.fill(&[("paper", usual.word()), ("first", "1")]);
    let paper = form.word::<LabelPaper>("paper");
    let each = paper.unwrap_or(usual).grid().labels();
    let first = if each == 1 && form.value("first").trim() != "1" {
        let why = "This paper holds one label, and there is no other to begin at. Type 1.";
        form.fail("first", why);
        None
    } else {
        form.count("first", 1, i64::try_from(each).unwrap_or(1))
    };
    let (base, amiss) = base(&cx, &headers);
    let labels = labels(&cx, &things, &places, &base).await?;
    let drawn = match (paper, first) {
        (Some(paper), Some(first)) => {
            papers(paper, usize::try_from(first - 1).unwrap_or(0), &labels)
        }
        _ => Vec::new(),
    };
    let status = if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    Ok(page_with(
        status,
        &PapersPage {
            chrome: cx.chrome(Section::Cupboard, "Labels to print"),
            page: paper.map_or("", LabelPaper::page),
            here: Link::LabelPapers,
            back: Link::Labels.with([
                ("kind", form.value("kind").to_owned()),
                ("at", form.value("at").to_owned()),
            ]),
            settings: Link::Settings,
            base,
            amiss,
            said: match drawn.len() {
                // Paper or place was refused.
                0 => format!(
                    "{}, not laid out: set right what is marked below.",
                    counted(labels.len(), "label", "labels")
                ),
                many => format!(
                    "{} on {}.",
                    counted(labels.len(), "label", "labels"),
                    counted(many, "paper", "papers")
                ),
            },
            kinds: Choice::list(
                LabelPaper::ALL.iter().map(|one| (one.word(), one.label())),
                form.value("paper"),
            ),
            things: things.iter().map(|id| id.0).collect(),
            places: places.iter().map(|id| id.0).collect(),
            papers: drawn,
            form,
        },
    ))
}

/// Where a place is, if it is in another.
fn above(place: &Place) -> Option<String> {
    let above = place.path.strip_suffix(place.name.as_str())?;
    let above = above.trim_end_matches(" / ");
    (!above.is_empty()).then(|| format!("in {above}"))
}

/// The labels of things, then those of places.
async fn labels(
    cx: &Cx,
    things: &[ThingId],
    places: &[PlaceId],
    base: &str,
) -> Result<Vec<Label>, Trouble> {
    let mut tx = cx.read().await?;
    let found = db::thing::list_by_id(&mut tx, things).await?;
    let nodes = db::place::list(&mut tx, true).await?;
    drop(tx);
    let venue = cx.venue.name.to_string();
    let of_things = found.iter().map(|thing| Label {
        tag: thing.tag.to_string(),
        lines: words(cx, thing)
            .into_iter()
            .chain(std::iter::once(venue.clone()))
            .collect(),
        address: format!("{base}{}", Link::ThingTag(thing.tag.to_string())),
    });
    let of_places = nodes
        .iter()
        .filter(|node| places.contains(&node.place.id))
        .map(|node| Label {
            tag: node.place.name.to_string(),
            lines: above(&node.place)
                .into_iter()
                .chain(std::iter::once(venue.clone()))
                .collect(),
            address: format!("{base}{}", Link::Place(node.place.id)),
        });
    Ok(of_things.chain(of_places).collect())
}

#[cfg(test)]
mod tests {
    use super::volts_apart;

    #[test]
    fn volts_are_taken_out_of_a_name() {
        let apart = |name| {
            let (volts, rest) = volts_apart(name);
            (volts.unwrap_or_default(), rest)
        };
        let both = |volts: &str, rest: &str| (volts.to_owned(), rest.to_owned());
        assert_eq!(apart("RGBW 24 V, diffused"), both("24 V", "RGBW, diffused"));
        assert_eq!(apart("White tape 12 V"), both("12 V", "White tape"));
        assert_eq!(apart("24 V tape"), both("24 V", "tape"));
        assert_eq!(apart("Model V tape"), both("", "Model V tape"));
    }
}
