//! "What have I got?": all stock by kind, with one field to find a thing; on the first page with
//! what needs attention above it.

use askama::Template;

use super::{
    cx::Cx,
    error::{Answer, Trouble},
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Section, page},
    search,
    show::{PAGE, Pager, Shown, counted, day, gone_mark, total},
    start::{self, Step},
};
use crate::{
    db::{
        self,
        overview::ComingSet,
        part::{PartFilter, PartStock},
    },
    model::{
        design::State,
        id::{PartId, PlaceId},
        part::{Kind, StockBy},
        thing::Thing,
    },
    units::Date,
};

/// One part in the list.
struct Row {
    href: Link,
    name: String,
    sub: String,
    amount: Shown,
    /// State and word.
    marks: Vec<(&'static str, String)>,
}

/// A choice above the list.
pub struct Chip {
    pub href: Link,
    pub label: String,
    pub current: bool,
}

/// One line of what needs attention.
struct Notice {
    /// State as in the style sheet.
    state: &'static str,
    word: String,
    text: String,
    href: Link,
}

/// A thing that the typed words find.
pub struct Found {
    pub href: Link,
    pub tag: String,
    pub name: String,
    pub place: String,
    /// What became of it, if it is there no more: how to show it, in a word.
    pub gone: Option<(&'static str, &'static str)>,
}

#[derive(Template)]
#[template(path = "cupboard/list.html")]
struct CupboardPage {
    chrome: Chrome,
    home: bool,
    notices: Vec<Notice>,
    empty: bool,
    action: Link,
    search: Link,
    places_link: Link,
    csv_link: Link,
    start: Link,
    design_new: Link,
    form: Form,
    typed: String,
    kind: String,
    chips: Vec<Chip>,
    places: Vec<Choice>,
    states: Vec<Choice>,
    narrowed: bool,
    rows: Vec<Row>,
    found: Vec<Found>,
    /// Where all of them are, if these are only the first.
    found_more: Option<Link>,
    pager: Option<Pager>,
    said: String,
    adds: Vec<(Link, &'static str)>,
}

/// GET: the first page.
pub async fn home(cx: Cx, form: Form) -> Answer {
    show(&cx, &form, true).await
}

/// GET: the cupboard with its filters.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, &form, false).await
}

async fn show(cx: &Cx, form: &Form, home: bool) -> Answer {
    let base = || if home { Link::Home } else { Link::Cupboard };
    let typed = form.value("q").trim().to_owned();
    let kind: Option<Kind> = form.value("kind").parse().ok();
    let place: Option<PlaceId> = form.value("place").parse().ok();
    let state = form.value("state");
    let (number, offset) = Pager::asked(form);
    let filter = PartFilter {
        kind,
        typed: typed.clone(),
        retired: false,
        in_stock: false,
        place,
        bad: state == "bad",
        held_on: (state == "held").then_some(cx.today),
    };
    let mut tx = cx.read().await?;
    let mut stock = db::part::list_stock(&mut tx, &filter, offset, PAGE + 1).await?;
    let more = stock.len() > usize::try_from(PAGE).unwrap_or(usize::MAX);
    stock.truncate(usize::try_from(PAGE).unwrap_or(usize::MAX));
    let ids: Vec<PartId> = stock.iter().map(|one| one.part.id).collect();
    let held = db::overview::held_on(&mut tx, &ids, cx.today).await?;
    let sorts = db::overview::count_sorts(&mut tx).await?;
    let empty = sorts == db::overview::Sorts::default();
    let (found, found_more) = if typed.is_empty() {
        (Vec::new(), None)
    } else {
        found(cx, &mut tx, &typed).await?
    };
    let narrowed = place.is_some() || !state.is_empty();
    // The first page offers them only once it is narrowed.
    let places = if home && !narrowed {
        Vec::new()
    } else {
        db::place::list(&mut tx, false).await?
    };
    let notices = if home {
        notices(cx, &mut tx).await?
    } else {
        Vec::new()
    };
    drop(tx);

    let kind_word = kind.map_or("", Kind::word);
    let fields = |kind: &str, page: String| {
        [
            ("q", typed.clone()),
            ("kind", kind.to_owned()),
            ("place", form.value("place").to_owned()),
            ("state", state.to_owned()),
            ("page", page),
        ]
    };
    let pager = Pager::new(number, stock.len(), more, |page| {
        base().with(fields(kind_word, page))
    });
    let chips = std::iter::once(Chip {
        href: base().with(fields("", String::new())),
        label: "All".to_owned(),
        current: kind.is_none(),
    })
    .chain(sorts.parts.iter().map(|(each, parts)| Chip {
        href: base().with(fields(each.word(), String::new())),
        label: format!("{each} {parts}"),
        current: kind == Some(*each),
    }))
    .chain(
        [("finished bars", sorts.fixtures), ("frames", sorts.frames)]
            .into_iter()
            .filter(|(_, number)| *number > 0)
            .map(|(label, number)| Chip {
                href: Link::Fixtures,
                label: format!("{label} {number}"),
                current: false,
            }),
    )
    .collect();
    let parts = stock.len();
    // What is no kind of part stands above them all, where nothing narrows the list.
    let whole = kind.is_none() && typed.is_empty() && !narrowed && number == 1;
    let made = [("Finished bars", sorts.fixtures), ("Frames", sorts.frames)]
        .into_iter()
        .filter(|(_, number)| whole && *number > 0)
        .map(|(name, number)| Row {
            href: Link::Fixtures,
            name: name.to_owned(),
            sub: "each with its tag".to_owned(),
            amount: Shown {
                value: number.to_string(),
                unit: "",
            },
            marks: Vec::new(),
        });
    let rows: Vec<Row> = made
        .chain(
            stock
                .iter()
                .map(|one| row(cx, one, held.get(&one.part.id).copied().unwrap_or(0))),
        )
        .collect();
    let title = if home { "What have I got?" } else { "Cupboard" };
    Ok(page(&CupboardPage {
        chrome: cx.chrome(Section::Cupboard, title),
        home,
        notices,
        empty,
        action: base(),
        search: Link::Search(typed.clone()),
        start: Link::Start,
        design_new: Link::DesignNew,
        said: if found.is_empty() {
            counted(parts, "kind of part", "kinds of part")
        } else {
            format!(
                "{} and {}",
                counted(parts, "kind of part", "kinds of part"),
                counted(found.len(), "thing", "things")
            )
        },
        form: Form::default(),
        typed: typed.clone(),
        kind: kind_word.to_owned(),
        chips,
        places: Choice::list(
            std::iter::once((String::new(), "Anywhere".to_owned())).chain(
                places
                    .iter()
                    .map(|node| (node.place.id.to_string(), node.place.path.clone())),
            ),
            form.value("place"),
        ),
        states: Choice::list(
            [
                ("", "In any state"),
                ("held", "Held today"),
                ("bad", "Suspect or dead"),
            ],
            state,
        ),
        narrowed,
        rows,
        found,
        found_more,
        pager,
        places_link: Link::Places,
        csv_link: Link::Csv,
        adds: vec![
            (Link::ReadyMade, "Tick ready-made parts"),
            (Link::TakeIn, "Type what you have"),
            (Link::PartNew(""), "Type a part"),
            (Link::FixtureNew, "Enter a finished bar"),
            (Link::FrameNew, "Enter a frame"),
        ],
    }))
}

fn row(cx: &Cx, one: &PartStock, held: i64) -> Row {
    let unit = one.part.unit();
    let show = |amount| total(cx.unit(), unit, amount).to_string();
    let out = one.on_stage + one.lent;
    // What stands on a stage is still held; only the rest of the hold lies in the cupboard.
    let held_here = (held - one.on_stage).clamp(0, one.in_places);
    let bad = match one.part.stock_by() {
        StockBy::Unit => one.bad_things,
        StockBy::Count | StockBy::Length => 0,
    };
    let free = (one.in_places - held_here - bad).max(0);
    let mut marks = Vec::new();
    if free > 0 && free != one.in_places {
        marks.push(("free", format!("{} free", show(free))));
    }
    if held_here > 0 {
        marks.push(("held", format!("{} held", show(held_here))));
    }
    if out > 0 {
        marks.push(("out", format!("{} out", show(out))));
    }
    if one.inside > 0 {
        marks.push(("build", format!("{} built in", show(one.inside))));
    }
    if one.bad_things > 0 {
        marks.push(("suspect", format!("{} bad", one.bad_things)));
    }
    let lies = match (&one.only_place, one.places) {
        (Some(place), _) => place.clone(),
        (None, 0) => "none in the cupboard".to_owned(),
        (None, places) => format!("in {places} places"),
    };
    let pieces = match one.part.stock_by() {
        StockBy::Length if one.things_in_places > 0 => {
            format!(", {}", counted(one.things_in_places, "piece", "pieces"))
        }
        _ => String::new(),
    };
    Row {
        href: Link::Part(one.part.id),
        name: one.part.name.to_string(),
        sub: format!("{}{pieces} · {lies}", one.part.spec.kind()),
        amount: total(cx.unit(), unit, one.in_places),
        marks,
    }
}

/// How many things stand above the parts.
const MOST_FOUND: i64 = 8;

/// Things that the typed words find: the first of them, and where the others are.
async fn found(
    cx: &Cx,
    tx: &mut db::ReadTx,
    typed: &str,
) -> Result<(Vec<Found>, Option<Link>), Trouble> {
    let mut things = db::search::list_things(tx, typed, 0, MOST_FOUND + 1).await?;
    let most = usize::try_from(MOST_FOUND).unwrap_or(usize::MAX);
    let more = (things.len() > most).then(|| search::all_things(typed));
    things.truncate(most);
    let found = things.into_iter().map(|thing| {
        let gone = gone_mark(&thing);
        Found {
            href: Link::Thing(thing.id),
            tag: thing.tag.to_string(),
            name: thing_line(cx, &thing),
            place: match gone {
                Some(_) => String::new(),
                None => thing.place.words,
            },
            gone,
        }
    });
    Ok((found.collect(), more))
}

/// A thing in a line: its name, and its length where it has one.
pub fn thing_line(cx: &Cx, thing: &Thing) -> String {
    match thing.amount.length() {
        Some(length) => format!("{}, {}", thing.name, cx.length(length)),
        None => thing.name.clone(),
    }
}

async fn notices(cx: &Cx, tx: &mut db::ReadTx) -> Result<Vec<Notice>, Trouble> {
    let mut notices = Vec::new();
    if let Some(step) = start::next(tx, &cx.venue).await?
        && step > Step::Tape
    {
        notices.push(Notice {
            state: "waiting",
            word: "the first hour".to_owned(),
            text: format!("Go on where you were: {}.", step.words()),
            href: Link::Start,
        });
    }
    let today = cx.today;
    let soon = |days: i64| {
        today
            .checked_add(jiff::Span::new().days(days))
            .unwrap_or(today)
    };
    let when = |date: Date| day(date, today);
    for set in db::overview::list_coming_sets(tx, 4).await? {
        if set.broken > 0 {
            notices.push(Notice {
                state: "broken",
                word: counted(set.broken, "broken hold", "broken holds"),
                text: format!(
                    "{}: something it held is gone. Plan it again before {}.",
                    set.name,
                    when(set.build_on)
                ),
                href: Link::Design(set.id),
            });
        }
        notices.push(coming(&set, today));
    }
    for loan in db::overview::list_loans_due(tx, soon(7), 5).await? {
        let (state, word) = if loan.on < today {
            ("warned", "overdue")
        } else {
            ("out", "due back")
        };
        notices.push(Notice {
            state,
            word: word.to_owned(),
            text: format!(
                "{} is with {} until {}.",
                loan.tag,
                loan.with,
                when(loan.on)
            ),
            href: Link::Thing(loan.id),
        });
    }
    for thing in db::overview::list_inspections_due(tx, soon(14), 5).await? {
        notices.push(Notice {
            state: if thing.on < today {
                "warned"
            } else {
                "waiting"
            },
            word: "inspect".to_owned(),
            text: format!("{} is due for inspection on {}.", thing.tag, when(thing.on)),
            href: Link::Thing(thing.id),
        });
    }
    for order in db::overview::list_open_deliveries(tx, 4).await? {
        let late = order.expected_on.is_some_and(|on| on < today);
        notices.push(Notice {
            state: if late { "warned" } else { "waiting" },
            word: if late { "late" } else { "on its way" }.to_owned(),
            text: match order.expected_on {
                Some(on) => format!(
                    "{} from {}, expected {}.",
                    counted(order.packs, "pack", "packs"),
                    order.supplier,
                    when(on)
                ),
                None => format!(
                    "{} from {}; no day was said.",
                    counted(order.packs, "pack", "packs"),
                    order.supplier
                ),
            },
            href: Link::Purchase(order.id),
        });
    }
    Ok(notices)
}

fn coming(set: &ComingSet, today: Date) -> Notice {
    let when = |date: Date| day(date, today);
    let (state, word, text, href) = match set.state {
        State::Standing if set.strike_on < today => (
            "warned",
            "not struck",
            format!(
                "{} should have come down on {}.",
                set.name,
                when(set.strike_on)
            ),
            Link::Strike(set.id),
        ),
        State::Standing => (
            "standing",
            "standing",
            format!("{} comes down on {}.", set.name, when(set.strike_on)),
            Link::Strike(set.id),
        ),
        State::Building => (
            "building",
            "building",
            format!("{} goes in on {}.", set.name, when(set.get_in)),
            Link::Build(set.id),
        ),
        _ => (
            "reserved",
            "reserved",
            format!(
                "{}: build from {}, goes in on {}.",
                set.name,
                when(set.build_on),
                when(set.get_in)
            ),
            Link::Design(set.id),
        ),
    };
    Notice {
        state,
        word: word.to_owned(),
        text,
        href,
    }
}
