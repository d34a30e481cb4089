//! Sheets that people carry to the bench and the stage: each alone, or all of them as one pack.
//!
//! A sheet bears a mark, worked out from all that it says. Who holds an old print types the mark, or
//! scans its code, and learns whether it is still right.

use std::fmt::Write as _;

use askama::Template;
use axum::http::StatusCode;

use super::{Head, Tab, Whole, day, head, load};
use crate::{
    db,
    draw::qr,
    model::{id::DesignId, text::words},
    units::LengthUnit,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, page, page_with},
        show::moment,
    },
};

use limits::Limit;
use mark::{MARK, fixed, mark};

mod addresses;
pub mod cards;
mod cost;
mod cuts;
mod held;
mod limits;
mod loads;
mod mark;
mod packing;
mod shopping;
mod strike;
mod wiring;

words! {
    /// A sheet of a set.
    Sheet {
        /// What is cut from which roll.
        Cuts = "cuts", "Cut list";
        /// A card for each new fixture.
        Cards = "cards", "Assembly cards";
        /// Wires, terminals, crossings.
        Wiring = "wiring", "Wiring";
        /// Drivers, supplies, fuses, volts.
        Loads = "loads", "Loads and fuses";
        /// Start addresses and switches.
        Addresses = "addresses", "Addresses";
        /// For whoever approves the money.
        Cost = "cost", "Cost, for approval";
        /// What to buy where.
        Shopping = "shopping", "Shopping list";
        /// What is fetched from which place.
        Packing = "packing", "Packing list by place";
        /// What comes back.
        Strike = "strike", "Strike checklist";
    }
}

impl Sheet {
    /// What it is for, as a sentence.
    const fn what_for(self) -> &'static str {
        match self {
            Self::Cuts => "Roll by roll, each cut drawn and counted from the marked end.",
            Self::Cards => "One for each bar that is built: cut, solder, assemble, wire, test.",
            Self::Wiring => "Supply to driver to bar, wire by wire, crossings marked; by frame.",
            Self::Loads => "What feeds what, how full it is, which fuse; volts along the bars.",
            Self::Addresses => "Start address and switches of each driver, slots of each bar.",
            Self::Cost => "A page to sign: budget, plan, what is ordered and paid.",
            Self::Shopping => "By supplier, with boxes to tick.",
            Self::Packing => "What is fetched from which shelf, with boxes to tick.",
            Self::Strike => "What comes down, where it goes, in what condition.",
        }
    }

    /// Whether it goes to the same hands as the sheet before it in the pack.
    const fn goes_along(self) -> bool {
        matches!(self, Self::Loads | Self::Addresses)
    }

    /// Whether wires are touched by it.
    const fn wires(self) -> bool {
        matches!(
            self,
            Self::Cards | Self::Wiring | Self::Loads | Self::Addresses | Self::Strike
        )
    }
}

/// What a sheet says, and what of it its mark is worked out from, where that is not the text itself.
struct Body {
    html: String,
    counts: Option<String>,
}

impl Body {
    /// Whether it is but a sentence, such as that nothing is short.
    fn is_bare(&self) -> bool {
        let parts = ["<table", "<ul", "<ol", "<figure", "class=\"card\""];
        !parts.iter().any(|part| self.html.contains(part))
    }

    fn mark(&self) -> String {
        match &self.counts {
            Some(counts) => mark(counts),
            None => mark(&fixed(&self.html)),
        }
    }
}

/// Papers that sheets are laid out for.
const PAPERS: [(&str, &str); 2] = [("a4", "A4"), ("letter", "Letter")];

/// The paper that was asked for, or the one that goes with the venue's unit.
fn paper(cx: &Cx, form: &Form) -> &'static str {
    let usual = match cx.unit() {
        LengthUnit::In | LengthUnit::Ft => "letter",
        LengthUnit::Mm | LengthUnit::Cm | LengthUnit::M => "a4",
    };
    PAPERS
        .iter()
        .map(|(word, _)| *word)
        .find(|word| *word == form.value("paper"))
        .unwrap_or(usual)
}

/// What one sheet says, without its head.
async fn body(cx: &Cx, whole: &Whole, sheet: Sheet) -> Result<Body, Trouble> {
    // These two list what is there just now, and so change with every step that is ticked: their
    // marks go by what the plan holds, which ends with the plan and not with the work.
    let counts = match sheet {
        Sheet::Packing | Sheet::Strike => {
            Some(format!("{}\n{}", sheet.word(), held::counts(whole)))
        }
        _ => None,
    };
    let text = match sheet {
        Sheet::Cuts => cuts::body(cx, whole),
        Sheet::Cards => cards::body(cx, whole),
        Sheet::Wiring => wiring::body(cx, whole),
        Sheet::Loads => loads::body(cx, whole),
        Sheet::Addresses => addresses::body(whole),
        Sheet::Cost => cost::body(cx, whole),
        Sheet::Shopping => shopping::body(cx, whole),
        Sheet::Packing => packing::body(cx, whole).await?,
        Sheet::Strike => strike::body(cx, whole).await?,
    };
    let html = text.map_err(|why| {
        tracing::error!(%why, "a sheet's template failed");
        Trouble::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "This sheet could not be laid out: see the log. Nothing was changed.",
        )
    })?;
    Ok(Body { html, counts })
}

/// A sheet, ready to print.
struct Laid {
    sheet: Sheet,
    /// Whether it may stand below the sheet before it in the pack, where the page has room for all of it.
    follows: bool,
    body: String,
    mark: String,
    /// The code of the address that tells whether it is still right.
    code: Option<qr::Code>,
}

#[derive(Template)]
#[template(path = "design/sheets/page.html")]
struct SheetPage {
    chrome: Chrome,
    head: Head,
    paper: &'static str,
    other: (Link, String),
    sheets: Vec<Laid>,
    limits: Vec<Limit>,
    /// The sheet that has the limits in full; those behind it in the pack only count them.
    full: Option<Sheet>,
    printed: String,
}

impl SheetPage {
    /// The sheet of the pack that has the limits in full, where it is not this one.
    fn elsewhere(&self, sheet: Sheet) -> Option<&'static str> {
        self.full.filter(|full| *full != sheet).map(Sheet::label)
    }
}

#[derive(Template)]
#[template(path = "design/sheets/list.html")]
struct ListPage {
    chrome: Chrome,
    head: Head,
    rows: Vec<(Link, Sheet)>,
    all: Link,
    papers: Vec<(Link, &'static str, bool)>,
    /// Whether sheets bear a code to scan, for which the venue's address must be known.
    coded: bool,
    form: Form,
}

impl ListPage {
    /// Where the mark stands; sheets without an address have no code.
    const fn mark_hint(&self) -> &'static str {
        if self.coded {
            "Six letters and figures at the top of every page; or scan its code"
        } else {
            "Six letters and figures at the top of every page"
        }
    }
}

#[derive(Template)]
#[template(path = "design/sheets/print.html")]
struct PrintPage {
    chrome: Chrome,
    head: Head,
    mark: String,
    rows: Vec<PrintRow>,
}

/// What became of one sheet that bore the mark.
struct PrintRow {
    sheet: Sheet,
    link: Link,
    first: String,
    /// The mark that it bears now, where that is another one.
    now: Option<String>,
}

/// Notes the marks that are shown; a book that cannot be written shows its sheets all the same.
async fn remember(cx: &Cx, id: DesignId, laid: &[Laid]) {
    let work = async {
        let mut tx = cx.db().read().await?;
        let mut new = Vec::new();
        for one in laid {
            if !db::print::known(&mut tx, id, one.sheet.word(), &one.mark).await? {
                new.push(one);
            }
        }
        drop(tx);
        if new.is_empty() {
            return Ok(());
        }
        let mut tx = cx.db().write().await?;
        let now_ms = cx.app.clock().now_ms();
        for one in new {
            db::print::add(&mut tx, id, one.sheet.word(), &one.mark, now_ms).await?;
        }
        tx.commit_quietly().await
    };
    let done: Result<(), db::DbError> = work.await;
    if let Err(why) = done {
        tracing::warn!(%why, "the marks of printed sheets were not noted");
    }
}

async fn laid(cx: &Cx, whole: &Whole, sheets: &[Sheet]) -> Result<Vec<Laid>, Trouble> {
    let id = whole.design().id;
    let base = cx.venue.label_base.trim_end_matches('/');
    let mut all = Vec::with_capacity(sheets.len());
    for &sheet in sheets {
        let body = body(cx, whole, sheet).await?;
        let mark = body.mark();
        let code = (!base.is_empty())
            .then(|| qr::code(&format!("{base}{}", Link::Print(id, mark.clone()))))
            .flatten();
        all.push(Laid {
            sheet,
            follows: sheet.goes_along() || body.is_bare(),
            body: body.html,
            mark,
            code,
        });
    }
    Ok(all)
}

/// GET: which sheets there are.
pub async fn list(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    show_list(&cx, id, form).await
}

async fn show_list(cx: &Cx, id: DesignId, form: Form) -> Answer {
    let whole = load::whole(cx, id).await?;
    let (mut chrome, head) = head(cx, &whole, Tab::Beside);
    chrome.title = format!("Sheets · {}", head.name);
    let paper = paper(cx, &form);
    let status = if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let with = |link: Link, word: &str| link.with([("paper", word.to_owned())]);
    let list = ListPage {
        chrome,
        coded: !cx.venue.label_base.is_empty(),
        rows: Sheet::ALL
            .iter()
            .map(|sheet| (with(Link::Sheet(id, sheet.word()), paper), *sheet))
            .collect(),
        all: with(Link::Sheet(id, "all"), paper),
        papers: PAPERS
            .iter()
            .map(|(word, name)| (with(Link::Sheets(id), word), *name, *word == paper))
            .collect(),
        head,
        form,
    };
    Ok(page_with(status, &list))
}

/// GET: one sheet, or all of them.
pub async fn get(cx: Cx, Path((id, which)): Path<(DesignId, String)>, form: Form) -> Answer {
    let wanted: Vec<Sheet> = match (which.as_str(), which.parse::<Sheet>()) {
        ("all", _) => Sheet::ALL.to_vec(),
        (_, Ok(sheet)) => vec![sheet],
        _ => return Err(Trouble::not_found("sheet").or_go(Link::Sheets(id), "To the sheets")),
    };
    let whole = load::whole(&cx, id).await?;
    let sheets = laid(&cx, &whole, &wanted).await?;
    remember(&cx, id, &sheets).await;
    let (mut chrome, head) = head(&cx, &whole, Tab::Beside);
    let word = match &wanted[..] {
        [one] => one.word(),
        _ => "all",
    };
    chrome.title = match &wanted[..] {
        [one] => format!("{} · {}", one.label(), head.name),
        _ => format!("All sheets · {}", head.name),
    };
    let paper = paper(&cx, &form);
    let (other, name) = PAPERS
        .iter()
        .find(|(other, _)| *other != paper)
        .unwrap_or(&PAPERS[0]);
    Ok(page(&SheetPage {
        chrome,
        paper,
        other: (
            Link::Sheet(id, word).with([("paper", (*other).to_owned())]),
            format!("On {name}"),
        ),
        sheets,
        limits: limits::limits(&whole),
        full: wanted.iter().copied().find(|sheet| sheet.wires()),
        printed: day(cx.today),
        head,
    }))
}

/// GET: the mark of a print, typed.
pub async fn ask(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let typed: String = form
        .value("mark")
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| c.to_ascii_uppercase())
        .take(MARK)
        .collect();
    if typed.len() < MARK {
        form.fail(
            "mark",
            "Type all six letters and figures that stand after “Mark” at the top of the page.",
        );
        return show_list(&cx, id, form).await;
    }
    Ok(crate::web::page::go(&Link::Print(id, typed)))
}

/// GET: whether a print is still right.
pub async fn print(cx: Cx, Path((id, mark)): Path<(DesignId, String)>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let prints = db::print::list(&mut *cx.read().await?, id, &mark).await?;
    let mut rows = Vec::new();
    for print in prints {
        let Ok(sheet) = print.sheet.parse::<Sheet>() else {
            continue;
        };
        let now = body(&cx, &whole, sheet).await?.mark();
        rows.push(PrintRow {
            sheet,
            link: Link::Sheet(id, sheet.word()),
            first: moment(print.first_ms, &cx.venue.zone, cx.today),
            now: (now != mark).then_some(now),
        });
    }
    let (mut chrome, head) = head(&cx, &whole, Tab::Beside);
    chrome.title = format!("Print {mark} · {}", head.name);
    Ok(page(&PrintPage {
        chrome,
        head,
        mark,
        rows,
    }))
}

/// Words in a row, such as the labels of bars.
fn listed(words: impl IntoIterator<Item = String>) -> String {
    let mut text = String::new();
    for word in words {
        let comma = if text.is_empty() { "" } else { ", " };
        // Writing to a string cannot fail.
        let _ = write!(text, "{comma}{word}");
    }
    text
}
