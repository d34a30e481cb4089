//! Designs: the list of sets, and the pages of one.

use std::{
    collections::BTreeMap,
    fmt::{self, Display},
    sync::Arc,
};

use axum::{Router, extract::DefaultBodyLimit};

use super::{
    cx::Cx,
    link::Link,
    page::{Chrome, Section},
    route::{both, get, post},
};
use crate::{
    app::App,
    db::{backdrop::Backdrop, design::KeptPlan},
    draw::elevation::{self, DrawnBar, DrawnFrame, Look},
    model::{
        design::{Bar, Design, State},
        id::{BarId, DesignId, PartId, ThingId},
        part::{Part, StockUnit},
        piece::say_amount,
        text::Tag,
        thing::Thing,
    },
    plan::{
        Input, Plan,
        input::SpareFixture,
        outcome::{BarPlan, Check, CheckState, Serve},
    },
    stock::{dates::may_change, planned::Planned},
    units::{Current, Date, Length},
};

pub mod address;
pub mod arrange;
pub mod backdrop;
pub mod bar;
pub mod bars;
pub mod build;
pub mod checks;
pub mod copy;
pub mod cuts;
pub mod dates;
pub mod edit;
mod editor;
mod feeds;
pub mod frames;
mod into;
pub mod list;
pub mod lit;
mod load;
mod marks;
pub mod new;
pub mod one;
mod ordered;
pub mod pins;
pub mod power;
pub mod reserve;
pub mod reuse;
mod runs;
pub mod sheets;
pub mod shopping;
pub mod short;
pub mod show_day;
pub mod state;
pub mod strike;
pub mod suits;
pub mod swap;
mod taken;
mod toll;
pub mod trade;
mod volts;
pub mod why;
pub mod wiring;

/// With more drivers, supplies or cut pieces than this, each is folded up to a line.
const MOST_OPEN: usize = 12;

/// The routes of designs.
pub fn routes() -> Router<App> {
    Router::new()
        .route("/designs", get(list::get))
        .route("/designs/new", both(new::get, new::post))
        .route("/designs/{id}", get(one::get))
        .route("/designs/{id}/edit", both(edit::get, edit::post))
        .route("/designs/{id}/copy", both(copy::get, copy::post))
        .route("/designs/{id}/dates", both(dates::get, dates::post))
        .route("/designs/{id}/bars", get(bars::get))
        .route("/designs/{id}/bars/add", post(bars::add))
        .route("/designs/{id}/bars/arrange", post(arrange::post))
        .route("/designs/{id}/bars/undo", post(arrange::undo))
        .route(
            "/designs/{id}/backdrop",
            post(backdrop::post).layer(DefaultBodyLimit::max(backdrop::BODY_LIMIT)),
        )
        .route("/designs/{id}/backdrop/place", post(backdrop::place))
        .route("/designs/{id}/backdrop/scale", post(backdrop::scale))
        .route("/designs/{id}/backdrop/remove", post(backdrop::remove))
        .route("/designs/{id}/backdrop/{digest}", get(backdrop::get))
        .route("/designs/{id}/bars/{bar}", both(bar::get, bar::post))
        .route("/designs/{id}/bars/{bar}/remove", post(bar::remove))
        .route("/designs/{id}/frames/add", post(frames::add))
        .route(
            "/designs/{id}/frames/{frame}",
            both(frames::get, frames::post),
        )
        .route("/designs/{id}/frames/{frame}/remove", post(frames::remove))
        .route("/designs/{id}/extras/add", post(frames::add_extra))
        .route(
            "/designs/{id}/extras/{extra}/remove",
            post(frames::remove_extra),
        )
        .route("/designs/{id}/lit", get(lit::get))
        .route("/designs/{id}/reuse", get(reuse::get))
        .route("/designs/{id}/reuse/pick", post(reuse::pick))
        .route("/designs/{id}/reuse/why/{bar}", get(why::bar))
        .route("/designs/{id}/pins", post(pins::post))
        .route("/designs/{id}/suits", both(suits::get, suits::post))
        .route("/designs/{id}/cuts", get(cuts::get))
        .route("/designs/{id}/cuts/why/{thing}", get(why::piece))
        .route("/designs/{id}/wiring", get(wiring::get))
        .route("/designs/{id}/power", get(power::get))
        .route("/designs/{id}/addresses", get(address::get))
        .route("/designs/{id}/addresses.csv", get(address::file))
        .route("/designs/{id}/checks", get(checks::get))
        .route("/designs/{id}/checks/reason", post(checks::reason))
        .route("/designs/{id}/shortfall", get(short::get))
        .route("/designs/{id}/shopping", get(shopping::get))
        .route("/designs/{id}/shopping/why/{offer}", get(why::offer))
        .route("/designs/{id}/build", get(build::get))
        .route("/designs/{id}/build/{step}", post(build::post))
        .route("/designs/{id}/state", both(state::get, state::post))
        .route("/designs/{id}/strike", get(strike::get))
        .route("/designs/{id}/strike/line", post(strike::line))
        .route("/designs/{id}/strike/rest", post(strike::rest))
        .route("/things/{id}/swap", both(swap::get, swap::post))
        .route("/things/{id}/into", get(into::get))
        .route(
            "/designs/{id}/show-day",
            both(show_day::get, show_day::post),
        )
        .route("/designs/{id}/reserve", both(reserve::get, reserve::post))
        .route("/designs/{id}/sheets", get(sheets::list))
        .route("/designs/{id}/sheets/{sheet}", get(sheets::get))
        .route("/designs/{id}/print", get(sheets::ask))
        .route("/designs/{id}/print/{mark}", get(sheets::print))
}

/// A design with everything that its pages show.
#[derive(Debug, Clone)]
pub struct Whole {
    planned: Arc<Planned>,
    /// The plan that it was reserved by, once building has begun.
    kept: Option<KeptPlan>,
    /// Reasons given for broken limits, by the key of the check.
    pub reasons: BTreeMap<String, String>,
    /// What it held and is gone, in words.
    pub broken: Vec<String>,
    /// What a standing set holds and has not with it.
    pub away: Vec<Thing>,
    /// How the plan that its pages show differs from the one that is held, in words.
    pub not_held: Vec<String>,
    /// The finished bars that serve, or served, once building has begun.
    pub serving: BTreeMap<BarId, (ThingId, Tag)>,
    /// The picture that is laid under its elevation.
    pub picture: Option<Backdrop>,
    /// The orders that may serve it.
    orders: ordered::Orders,
}

/// How many bars come by each way.
#[derive(Debug, Clone, Copy, Default)]
pub struct Counts {
    /// Fixtures from the cupboard.
    pub reused: usize,
    /// Built already.
    pub built: usize,
    /// To be built.
    pub build: usize,
    /// Served by nothing.
    pub short: usize,
}

/// A day as people say it, such as `Sat 5 Dec 2026`.
pub fn day(date: Date) -> String {
    date.strftime("%a %-d %b %Y").to_string()
}

/// A number of things with the right form of the word.
pub fn count_of(count: usize, one: &str, many: &str) -> String {
    if count == 1 {
        format!("1 {one}")
    } else {
        format!("{count} {many}")
    }
}

/// How many things are short, and how many of them are on order.
pub fn short_words(short: usize, coming: usize) -> String {
    match coming {
        0 => format!("{short} short"),
        all if all == short => format!("{short} short, on order"),
        some => format!("{short} short, {some} of them on order"),
    }
}

/// A current, or that it is not known.
pub fn amps(current: Option<Current>) -> String {
    current.map_or_else(|| "not known".to_owned(), Current::show)
}

/// How full something is, in whole percent, at most 999.
pub fn percent(load: Current, limit: Current) -> i64 {
    if limit == Current::ZERO {
        return 999;
    }
    (load.get() * 100 / limit.get()).min(999)
}

/// The labels of some bars, told together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BarList(pub Vec<String>);

impl BarList {
    /// The word before them in a sentence.
    pub const fn word(&self) -> &'static str {
        if self.0.len() == 1 { "bar" } else { "bars" }
    }

    /// The word before them at the head of one.
    pub const fn head(&self) -> &'static str {
        if self.0.len() == 1 { "Bar" } else { "Bars" }
    }
}

impl Display for BarList {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.join(", "))
    }
}

impl Whole {
    /// What the plan is made from, the design included.
    pub fn input(&self) -> &Input {
        &self.planned.input
    }

    /// The plan: the one that it was reserved by once building has begun, else a new one.
    pub fn plan(&self) -> &Plan {
        self.kept
            .as_ref()
            .map_or(&*self.planned.plan, |kept| &kept.plan)
    }

    /// Whether the plan is made anew from what is there now, so that one can ask what another way
    /// would cost; a plan that is built by is not.
    pub fn is_open(&self) -> bool {
        self.kept.is_none() && self.design().state.editable()
    }

    /// The new plan with what it was made from.
    pub fn planned(&self) -> &Arc<Planned> {
        &self.planned
    }

    /// The digest of the new plan, which a reservation must name.
    pub fn digest(&self) -> &str {
        &self.planned.digest
    }

    /// The design.
    pub fn design(&self) -> &Design {
        &self.planned.input.design
    }

    /// A part of the catalogue.
    pub fn part(&self, id: PartId) -> Option<&Part> {
        self.input().parts.iter().find(|part| part.id == id)
    }

    /// Its name.
    pub fn part_name(&self, id: PartId) -> String {
        self.part(id).map_or_else(
            || "a part that is gone".to_owned(),
            |part| part.name.to_string(),
        )
    }

    /// An amount of a part as people read it: a length, or a count.
    pub fn amount(&self, cx: &Cx, part: Option<PartId>, amount: i64) -> String {
        let unit = part.and_then(|id| self.part(id)).map(Part::unit);
        say_amount(unit.unwrap_or(StockUnit::Each), amount, cx.unit())
    }

    /// A bar by its id.
    pub fn bar(&self, id: BarId) -> Option<&Bar> {
        self.design().bars.iter().find(|bar| bar.id == id)
    }

    /// The label of a bar.
    pub fn bar_label(&self, id: BarId) -> String {
        self.bar(id)
            .map_or_else(|| "a bar".to_owned(), |bar| bar.label.to_string())
    }

    /// The labels of some bars.
    pub fn bar_list(&self, ids: &[BarId]) -> BarList {
        BarList(ids.iter().map(|id| self.bar_label(*id)).collect())
    }

    /// How a bar is served.
    pub fn bar_plan(&self, id: BarId) -> Option<&BarPlan> {
        self.plan().bars.iter().find(|plan| plan.bar == id)
    }

    /// A fixture of the house.
    pub fn fixture(&self, id: ThingId) -> Option<&SpareFixture> {
        self.input()
            .stock
            .fixtures
            .iter()
            .find(|spare| spare.fixture.id == id)
    }

    /// The name of a frame of the design; empty for none.
    pub fn frame_label(&self, bar: &Bar) -> String {
        bar.frame
            .and_then(|id| self.design().frames.iter().find(|frame| frame.id == id))
            .map_or_else(String::new, |frame| frame.label.to_string())
    }

    /// How many bars are reused, built, to build, short.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for bar in &self.plan().bars {
            *match self.look(bar.bar) {
                Look::Reused => &mut counts.reused,
                Look::Built => &mut counts.built,
                Look::Build => &mut counts.build,
                Look::Short => &mut counts.short,
            } += 1;
        }
        counts
    }

    /// What becomes of a bar, or has become of it.
    pub fn look(&self, id: BarId) -> Look {
        match self.bar_plan(id).map(|plan| &plan.serve) {
            Some(Serve::Reuse { .. }) => Look::Reused,
            _ if self.serving.contains_key(&id) => Look::Built,
            Some(Serve::Build(_)) => Look::Build,
            Some(Serve::Short { .. }) | None => Look::Short,
        }
    }

    /// The fixture that serves a bar: the one that does since a swap or since it was built, else
    /// the one that is planned.
    pub fn served_by(&self, id: BarId) -> Option<(ThingId, Tag)> {
        let planned = || match self.bar_plan(id).map(|plan| &plan.serve) {
            Some(Serve::Reuse { fixture, tag, .. }) => Some((*fixture, tag.clone())),
            _ => None,
        };
        self.serving.get(&id).cloned().or_else(planned)
    }

    /// Checks that are broken or not known and have no written reason yet.
    pub fn unexplained(&self) -> Vec<&Check> {
        self.plan()
            .checks
            .iter()
            .filter(|check| check.state <= CheckState::Unknown)
            .filter(|check| !self.reasons.contains_key(&check.key))
            .collect()
    }

    /// Needs that are short; of a set that is over nothing is.
    pub fn short_needs(&self) -> usize {
        if self.design().state.is_over() {
            return 0;
        }
        self.plan()
            .needs
            .iter()
            .filter(|need| need.short > 0)
            .count()
    }

    /// The set drawn from the front, each bar leading to its page.
    pub fn elevation(&self, cx: &Cx) -> String {
        let design = self.design();
        let bars: Vec<_> = design
            .bars
            .iter()
            .map(|bar| DrawnBar {
                label: bar.label.to_string(),
                x_um: bar.x_um,
                y_um: bar.y_um,
                length_um: bar.length_um,
                angle_mdeg: bar.angle_mdeg,
                look: self.look(bar.id),
                href: Some(Link::Bar(design.id, bar.id).to_string()),
            })
            .collect();
        let frames: Vec<_> = design
            .frames
            .iter()
            .map(|frame| DrawnFrame {
                label: frame.label.to_string(),
                x_um: frame.x_um,
                y_um: frame.y_um,
                width_um: frame.width_um,
                height_um: frame.height_um,
            })
            .collect();
        let under = (self.picture.as_ref()).map(|picture| backdrop::drawn(design.id, picture));
        elevation::svg(&bars, &frames, under.as_ref(), cx.unit())
    }
}

/// How far a fixture's lit length is from what is wanted, in words.
pub fn off_words(cx: &Cx, off_um: i64) -> String {
    let by =
        |um: i64| Length::new(um).map_or_else(|_| "far".to_owned(), |length| cx.length(length));
    match off_um {
        0 => "just as long".to_owned(),
        more if more > 0 => format!("{} longer", by(more)),
        less => format!("{} shorter", by(less.saturating_neg())),
    }
}

/// The pages of one design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "named as the pages")]
pub enum Tab {
    /// Beside its pages: the question of a reservation, the strike, the sheets.
    Beside,
    Set,
    Bars,
    Reuse,
    Cuts,
    Wiring,
    Power,
    Addresses,
    Checks,
    Short,
    Shopping,
    Build,
    ShowDay,
}

/// One entry of the design's own navigation.
#[derive(Debug, Clone)]
pub struct TabItem {
    /// Where it leads.
    pub href: Link,
    /// Its word.
    pub label: &'static str,
    /// Whether it is this page.
    pub current: bool,
    /// Kind of the state shown beside it.
    pub mark: Option<&'static str>,
    /// What the mark says.
    pub word: String,
}

/// What stands above every page of one design.
#[derive(Debug, Clone)]
pub struct Head {
    /// The design.
    pub id: DesignId,
    /// Its name.
    pub name: String,
    /// Its state.
    pub state: State,
    /// Its dates in words.
    pub dates: String,
    /// Its version, which forms carry.
    pub version: i64,
    /// Whether bars and dates can be changed now, by who reads.
    pub editable: bool,
    /// Whether its dates can be changed by themselves now, by who reads.
    pub redates: bool,
    /// Its pages.
    pub tabs: Vec<TabItem>,
    /// What it held and is gone.
    pub broken: Vec<String>,
    /// How the plan differs from what is held.
    pub not_held: Vec<String>,
    /// Whether it can be planned again and held anew.
    pub replans: bool,
    /// Where it is planned again and held anew.
    pub reserve: Link,
}

impl Head {
    /// Whether the page is none of the design's own, but beside them.
    fn beside(&self) -> bool {
        !self.tabs.iter().any(|item| item.current)
    }
}

/// The frame and the head of a page of one design.
pub fn head(cx: &Cx, whole: &Whole, tab: Tab) -> (Chrome, Head) {
    let design = whole.design();
    let id = design.id;
    let short_bars = if design.state.is_over() {
        0
    } else {
        whole.counts().short
    };
    let item = |of: Tab, href: Link, label: &'static str| TabItem {
        href,
        label,
        current: of == tab,
        mark: None,
        word: String::new(),
    };
    let mut tabs = vec![
        item(Tab::Set, Link::Design(id), "The set"),
        item(Tab::Bars, Link::Bars(id), "Bars"),
        item(Tab::Reuse, Link::Reuse(id), "Reuse"),
        item(Tab::Cuts, Link::Cuts(id), "Cuts"),
        item(Tab::Wiring, Link::Wiring(id), "Wiring"),
        item(Tab::Power, Link::Power(id), "Power"),
        item(Tab::Addresses, Link::Addresses(id), "Addresses"),
        item(Tab::Checks, Link::Checks(id), "Checks"),
        item(Tab::Short, Link::Short(id), "Shortfall"),
        item(Tab::Shopping, Link::DesignShopping(id), "Shopping"),
        item(Tab::Build, Link::Build(id), "Build"),
        item(Tab::ShowDay, Link::ShowDay(id), "Show day"),
    ];
    let broken = whole
        .plan()
        .checks
        .iter()
        .filter(|check| check.state <= CheckState::Unknown)
        .count();
    if broken > 0 {
        tabs[7].mark = Some("broken");
        tabs[7].word = format!("{broken} broken or not known");
    }
    let short = whole.short_needs() + short_bars;
    if short > 0 {
        let coming = whole.short_on_order(cx);
        tabs[8].mark = Some(if coming == short { "waiting" } else { "short" });
        tabs[8].word = short_words(short, coming);
    }
    let title = match tab {
        Tab::Set | Tab::Beside => design.name.to_string(),
        _ => format!(
            "{} · {}",
            tabs.iter()
                .find(|item| item.current)
                .map_or("", |item| item.label),
            design.name
        ),
    };
    let chrome = cx.chrome(Section::Designs, title);
    let head = Head {
        id,
        name: design.name.to_string(),
        state: design.state,
        dates: format!(
            "build {}, get-in {}, strike {}",
            day(design.dates.build_on()),
            day(design.dates.get_in()),
            day(design.dates.strike_on())
        ),
        version: design.version,
        editable: design.state.editable() && chrome.keeps(),
        redates: may_change(design.state) && chrome.keeps(),
        tabs,
        broken: whole.broken.clone(),
        not_held: whole.not_held.clone(),
        replans: matches!(design.state, State::Draft | State::Reserved),
        reserve: Link::DesignReserve(id),
    };
    (chrome, head)
}
