//! Parts and stock out to a spreadsheet and in from one: the files, what one would do, and doing
//! it.

use askama::Template;
use axum::{http::StatusCode, response::Response};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};

use super::{
    cx::Cx,
    error::{Answer, Trouble},
    form::Form,
    link::Link,
    page::{Chrome, Flash, Section, go_with, page, page_with},
    show::counted,
};
use crate::{
    model::{
        csv::{FAULT_LIMIT, Faults, ROW_LIMIT, SIZE_LIMIT},
        part::Kind,
    },
    stock::csv::{
        CsvDifference, CsvDoes, CsvOutcome, File, ImportError, Preview, Sheet, Subject, dry_run,
        read_in,
    },
};

pub mod file;
pub mod upload;

use upload::Upload;

/// The largest text that comes back in its field to be mended there, in bytes.
const MENDED_LIMIT: usize = 200 * 1024;
/// The most rows of each sort that a dry run shows one by one.
const SHOWN: usize = 200;

/// The most holds that the message afterwards tells of.
const TOLD: usize = 3;

/// A file that can be taken, and the same with nothing but titles.
struct Offer {
    label: &'static str,
    file: Link,
    titles: Link,
}

/// One of the two forms.
struct Entry {
    /// What the file is about: `parts` or `stock`.
    what: &'static str,
    title: &'static str,
    hint: &'static str,
    text: String,
    errors: Vec<String>,
    places: bool,
}

impl Entry {
    fn errors(&self) -> &[String] {
        &self.errors
    }
}

/// What is wrong with a file.
struct Wrong {
    told: String,
    /// Where, and what.
    rows: Vec<(String, String)>,
    more: usize,
}

#[derive(Template)]
#[template(path = "csv/page.html")]
struct CsvPage {
    chrome: Chrome,
    parts: Vec<Offer>,
    stock: Vec<Offer>,
    entries: Vec<Entry>,
    wrong: Option<Wrong>,
    /// For fields whose faults stand elsewhere.
    none: Vec<String>,
    rows: usize,
    mib: usize,
    fault_limit: usize,
}

fn offers(cx: &Cx, form: &Form, wrong: Option<Wrong>) -> CsvPage {
    let offer = |link: Link, label, field, word: &str| Offer {
        label,
        file: link.clone().with([(field, word.to_owned())]),
        titles: link.with([(field, word.to_owned()), ("titles", "1".to_owned())]),
    };
    let part = |kind: &Kind| offer(Link::CsvParts, kind.label(), "kind", kind.word());
    let sheet = |sheet: &Sheet| {
        let label = match sheet {
            Sheet::Counted => "what is counted",
            Sheet::Piece => "pieces by length",
            Sheet::Unit => "drivers and supplies",
            Sheet::Fixture => "fixtures",
            Sheet::Frame => "frames",
        };
        offer(Link::CsvStock, label, "what", sheet.word())
    };
    let chrome = cx.chrome(Section::Settings, "Spreadsheets");
    let entry = |what, title, hint| {
        let mine = form.value("what") == what;
        Entry {
            what,
            title,
            hint,
            text: if mine { form.value("text") } else { "" }.to_owned(),
            errors: if mine { form.errors("file") } else { &[] }.to_vec(),
            places: mine && form.ticked("places"),
        }
    };
    CsvPage {
        parts: Kind::ALL
            .iter()
            .map(part)
            .chain([offer(Link::CsvParts, "all kinds in one", "kind", "")])
            .collect(),
        stock: std::iter::once(offer(Link::CsvStock, "all of it", "what", ""))
            .chain(Sheet::ALL.iter().map(sheet))
            .collect(),
        entries: vec![
            entry(
                "parts",
                "Parts",
                "Found by their names. A column that is left out changes nothing; an empty cell \
                 empties what the book says.",
            ),
            entry(
                "stock",
                "Stock",
                "What has a tag is found by it, what is counted by part and place. Nothing is \
                 taken away by a row that is missing.",
            ),
        ],
        wrong,
        none: Vec::new(),
        rows: ROW_LIMIT,
        mib: SIZE_LIMIT / (1024 * 1024),
        fault_limit: FAULT_LIMIT,
        chrome,
    }
}

/// A row of the dry run.
struct Seen {
    line: usize,
    name: String,
    details: String,
    differences: Vec<CsvDifference>,
}

/// Rows that do the same, as far as they are shown.
struct Group {
    rows: Vec<Seen>,
    more: usize,
}

#[derive(Template)]
#[template(path = "csv/dry_run.html")]
struct DryRunPage {
    chrome: Chrome,
    what: &'static str,
    stale: bool,
    nothing: bool,
    figures: Vec<(&'static str, usize)>,
    new: Group,
    changed: Group,
    counted: Group,
    places: Vec<String>,
    unchanged: usize,
    /// The file, to be sent along.
    data: String,
    make_places: bool,
    seen: String,
    before: Link,
}

fn group(preview: &Preview, does: CsvDoes) -> Group {
    let rows = || preview.rows.iter().filter(move |row| row.does == does);
    Group {
        rows: rows()
            .take(SHOWN)
            .map(|row| Seen {
                line: row.line,
                name: row.name.clone(),
                details: row.details.clone(),
                differences: row.differences.clone(),
            })
            .collect(),
        more: rows().count().saturating_sub(SHOWN),
    }
}

fn dry_run_page(
    cx: &Cx,
    subject: Subject,
    bytes: &[u8],
    preview: &Preview,
    stale: bool,
) -> Response {
    let (what, before) = match subject {
        Subject::Parts => ("parts", Link::CsvParts),
        Subject::Stock { .. } => ("stock", Link::CsvStock),
    };
    let figures = [
        CsvDoes::New,
        CsvDoes::Changed,
        CsvDoes::Counted,
        CsvDoes::Unchanged,
    ]
    .into_iter()
    .map(|does| (does.label(), preview.count(does)))
    .filter(|(_, count)| *count > 0)
    .collect();
    let page = DryRunPage {
        chrome: cx.chrome(Section::Settings, "What this file would do"),
        what,
        stale,
        nothing: preview.is_nothing(),
        figures,
        new: group(preview, CsvDoes::New),
        changed: group(preview, CsvDoes::Changed),
        counted: group(preview, CsvDoes::Counted),
        places: preview.places.clone(),
        unchanged: preview.count(CsvDoes::Unchanged),
        data: URL_SAFE_NO_PAD.encode(bytes),
        make_places: matches!(subject, Subject::Stock { make_places: true }),
        seen: preview.digest(),
        before,
    };
    let status = if stale {
        StatusCode::PRECONDITION_FAILED
    } else {
        StatusCode::OK
    };
    page_with(status, &page)
}

/// GET: what can be taken out, and the forms to read a file in.
pub async fn get(cx: Cx) -> Answer {
    Ok(page(&offers(&cx, &Form::default(), None)))
}

fn subject(form: &Form) -> Result<Subject, Trouble> {
    match form.value("what") {
        "parts" => Ok(Subject::Parts),
        "stock" => Ok(Subject::Stock {
            make_places: form.ticked("places"),
        }),
        _ => Err(Trouble::not_found("kind of file").or_go(Link::Csv, "To reading files")),
    }
}

/// The page again with what is wrong; a text that is not too long stands in its field.
fn refused(cx: &Cx, mut form: Form, bytes: &[u8], faults: &Faults) -> Response {
    if bytes.len() <= MENDED_LIMIT
        && let Ok(text) = std::str::from_utf8(bytes)
    {
        form.set("text", text.trim_start_matches('\u{feff}'));
    }
    let rows = faults
        .shown()
        .iter()
        .map(|fault| (fault.at.to_string(), fault.message.clone()))
        .collect();
    let wrong = Wrong {
        told: format!(
            "Nothing was read in. {} to be mended:",
            counted(faults.count(), "thing is", "things are")
        ),
        rows,
        more: faults.more(),
    };
    page_with(
        StatusCode::UNPROCESSABLE_ENTITY,
        &offers(cx, &form, Some(wrong)),
    )
}

fn not_read(
    cx: &Cx,
    form: Form,
    subject: Subject,
    bytes: &[u8],
    why: ImportError,
) -> Result<Response, Trouble> {
    match why {
        ImportError::Faults(faults) => Ok(refused(cx, form, bytes, &faults)),
        ImportError::Stale(preview) => Ok(dry_run_page(cx, subject, bytes, &preview, true)),
        ImportError::Stock(why) => {
            Err(Trouble::from(why).or_go(Link::Csv, "Back to reading files"))
        }
    }
}

/// POST: the dry run.
pub async fn post(cx: Cx, upload: Upload) -> Answer {
    let Upload { mut form, file } = upload;
    let subject = subject(&form)?;
    let pasted = form.value("text").to_owned();
    let bytes = match (file, pasted.trim().is_empty()) {
        (Some(_), false) => {
            form.fail(
                "file",
                "This is a file and rows as well. Take one of them away.",
            );
            return Ok(page_with(
                StatusCode::UNPROCESSABLE_ENTITY,
                &offers(&cx, &form, None),
            ));
        }
        (Some(file), true) => file,
        (None, false) => pasted.into_bytes(),
        (None, true) => {
            form.fail("file", "Choose a file, or paste its rows below.");
            return Ok(page_with(
                StatusCode::UNPROCESSABLE_ENTITY,
                &offers(&cx, &form, None),
            ));
        }
    };
    let asked = File {
        subject,
        bytes: &bytes,
        unit: cx.unit(),
    };
    match dry_run(cx.db(), &asked).await {
        Ok(preview) => Ok(dry_run_page(&cx, subject, &bytes, &preview, false)),
        Err(why) => not_read(&cx, form, subject, &bytes, why),
    }
}

/// POST: what the dry run said, unless it would now be something else.
pub async fn post_do(cx: Cx, upload: Upload) -> Answer {
    let form = upload.form;
    let subject = subject(&form)?;
    let bytes = URL_SAFE_NO_PAD.decode(form.value("data")).map_err(|_| {
        Trouble::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "The file did not arrive whole. Nothing was changed. Choose it again.",
        )
        .or_go(Link::Csv, "To reading files")
    })?;
    let asked = File {
        subject,
        bytes: &bytes,
        unit: cx.unit(),
    };
    match read_in(&cx.act(&form), &asked, Some(form.value("seen"))).await {
        Ok(outcome) => Ok(done(subject, &outcome)),
        Err(why) => not_read(&cx, form, subject, &bytes, why),
    }
}

/// Says what was done, and how it is undone.
fn done(subject: Subject, outcome: &CsvOutcome) -> Response {
    let mut said: Vec<String> = [
        (outcome.new, "new"),
        (outcome.changed, "changed"),
        (outcome.counted, "corrected by count"),
        (outcome.unchanged, "as it was"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, word)| format!("{count} {word}"))
    .collect();
    if !outcome.places.is_empty() {
        said.push(counted(outcome.places.len(), "place made", "places made"));
    }
    let said = format!("The file was read in: {}.", said.join(", "));
    let mut touched = String::new();
    for hold in outcome.touched.iter().take(TOLD) {
        touched.push(' ');
        touched.push_str(&hold.words);
    }
    if outcome.touched.len() > TOLD {
        let more = outcome.touched.len() - TOLD;
        touched = format!("{touched} And {more} more holds were touched: see the sets.");
    }
    let (to, undo) = match (subject, outcome.movements.as_slice()) {
        (Subject::Parts, _) | (_, []) => (Link::Cupboard, String::new()),
        (_, [_]) => (
            Link::Log,
            " It is one movement: undo it here, or later in the log.".to_owned(),
        ),
        (_, [first, .., last]) => (
            Link::Log,
            format!(
                " To take it back, undo its {} movements below, from {last} down to {first}.",
                outcome.movements.len()
            ),
        ),
    };
    let text = format!("{said}{undo}{touched}");
    let mut flash = if touched.is_empty() {
        Flash::good(text)
    } else {
        Flash::warn(text)
    };
    if let [only] = outcome.movements.as_slice() {
        flash = flash.undo(*only);
    }
    go_with(&to, &flash)
}
