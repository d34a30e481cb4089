//! Why the plan chose so: the set planned again with one thing otherwise, and both plans side by
//! side. Worked out when it is asked, so that the pages of the plan stay quick.

use std::collections::BTreeMap;

use askama::Template;

use super::{Head, Tab, Whole, count_of, head, load, off_words, shopping::spare, toll};
use crate::{
    model::{
        fixture::Make,
        id::{BarId, DesignId, OfferId, PartId, ThingId},
        part::StockUnit,
        piece::length_of,
    },
    plan::{
        Plan,
        input::{Freedom, SpareFixture},
        other::{Other, Tally},
        outcome::{BarPlan, Becomes, CutSource, Joint, PieceCut, Serve},
        reuse::why_not,
    },
    stock::planned,
    units::Money,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        link::Link,
        page::{Chrome, page},
    },
};

/// Other ways that one page works out.
const MOST_WAYS: usize = 6;

/// One bar, or one part, under both plans.
struct Row {
    what: String,
    href: Option<Link>,
    now: String,
    then: String,
}

/// A button that makes the choice.
struct Act {
    action: Link,
    fields: Vec<(&'static str, String)>,
    label: String,
}

/// One other way.
struct Way {
    title: String,
    /// What it costs beside the plan, in words.
    costs: String,
    /// What it does not change, in words.
    same: String,
    rows: Vec<Row>,
    act: Option<Act>,
}

#[derive(Template)]
#[template(path = "design/why.html")]
struct WhyPage {
    chrome: Chrome,
    head: Head,
    title: String,
    /// How it is planned, as sentences.
    now: Vec<String>,
    ways: Vec<Way>,
    /// What is said where there is no other way.
    none: String,
    back: (Link, &'static str),
    /// Heads of the columns: what the rows are of, and the other way.
    heads: (&'static str, &'static str),
}

fn settled(whole: &Whole, back: Link) -> Trouble {
    let state = whole.design().state;
    Trouble::new(
        axum::http::StatusCode::CONFLICT,
        format!("A {state} set keeps its plan; what another way would cost is not worked out."),
    )
    .or_go(back, "Back to the plan")
}

/// What is soldered at the two ends, in words.
fn solder_words(start: Joint, end: Joint) -> String {
    let count = |joint: Joint| [start, end].iter().filter(|it| **it == joint).count();
    let mut words = Vec::new();
    let (tinned, mark, lead) = (
        count(Joint::Tinned),
        count(Joint::Mark),
        count(Joint::FactoryLead),
    );
    if tinned > 0 {
        words.push(count_of(
            tinned,
            "solder joint on a pre-tinned mark",
            "solder joints on pre-tinned marks",
        ));
    }
    if mark > 0 {
        words.push(count_of(
            mark,
            "solder joint on another cut mark",
            "solder joints on other cut marks",
        ));
    }
    if lead > 0 {
        let used = count_of(lead, "factory lead is used", "factory leads are used");
        if words.is_empty() {
            return format!("no soldering: {used}");
        }
        words.push(used);
    }
    if words.is_empty() {
        "nothing to solder".to_owned()
    } else {
        words.join(", ")
    }
}

fn source_words(cx: &Cx, cut: &PieceCut) -> String {
    match &cut.source {
        CutSource::Piece { tag, .. } => tag.to_string(),
        CutSource::Buy { roll_um, nth, .. } => {
            format!("a new {} no. {nth}", cx.length(*roll_um))
        }
    }
}

/// From what, and with what soldering, a bar's length of a part is cut.
fn cut_words(cx: &Cx, plan: &Plan, part: PartId, bar: BarId) -> Option<String> {
    let cuts = plan.cuts.iter().filter(|cut| cut.part == part);
    for cut in cuts {
        for segment in &cut.segments {
            if let Becomes::Bar {
                bar: of,
                start,
                end,
            } = segment.becomes
                && of == bar
            {
                let from = format!("cut from {}", source_words(cx, cut));
                return Some(match (start, end) {
                    (Joint::None, Joint::None) => from,
                    _ => format!("{from}, {}", solder_words(start, end)),
                });
            }
        }
    }
    None
}

fn serve_words(cx: &Cx, whole: &Whole, plan: &Plan, bar: &BarPlan) -> String {
    match &bar.serve {
        Serve::Reuse { tag, .. } => format!("served by {tag}"),
        Serve::Short { .. } => "short".to_owned(),
        Serve::Build(build) => {
            let cut = cut_words(cx, plan, build.tape, bar.bar);
            let cut = cut.unwrap_or_else(|| "built".to_owned());
            format!("{cut} ({})", whole.part_name(build.tape))
        }
    }
}

/// Scrap and usable offcuts of a plan's cuts: how long all scrap is, and how many offcuts are kept.
fn rests(whole: &Whole, plan: &Plan) -> (i64, usize) {
    let (mut scrap_um, mut offcuts) = (0_i64, 0);
    for cut in &plan.cuts {
        let part = whole.part(cut.part);
        let unit = part.map_or(StockUnit::Micrometres, crate::model::part::Part::unit);
        for segment in &cut.segments {
            match segment.becomes {
                Becomes::Scrap => {
                    let length = length_of(unit, segment.to - segment.from, 0);
                    scrap_um = scrap_um.saturating_add(length.get());
                }
                Becomes::Offcut => offcuts += 1,
                Becomes::Bar { .. } | Becomes::Extra { .. } | Becomes::Feed => {}
            }
        }
    }
    (scrap_um, offcuts)
}

/// What the other way costs, and what decided where it costs the same.
fn costs(cx: &Cx, whole: &Whole, other: &Plan) -> (String, String) {
    let (now, then) = (Tally::of(whole.plan()), Tally::of(other));
    let apart = toll::apart(cx, &then, &now);
    let known = toll::known(&now, &then);
    if !apart.is_empty() {
        return (
            format!("The other way: {}.", apart.join(", ")),
            known.to_owned(),
        );
    }
    let scrap = |um: i64| {
        crate::units::Length::new(um).map_or_else(|_| "much".to_owned(), |length| cx.length(length))
    };
    let (before, after) = (rests(whole, whole.plan()), rests(whole, other));
    (
        "The other way costs as much money and as much soldering.".to_owned(),
        format!(
            "Scrap: {} as planned, {} the other way; offcuts kept: {} and {}. {known}",
            scrap(before.0),
            scrap(after.0),
            before.1,
            after.1
        ),
    )
}

/// The bars that are served otherwise under the other plan.
fn changed_bars(cx: &Cx, whole: &Whole, other: &Plan, part: Option<PartId>) -> Vec<Row> {
    let id = whole.design().id;
    let then: BTreeMap<BarId, &BarPlan> = other.bars.iter().map(|bar| (bar.bar, bar)).collect();
    let words = |plan: &Plan, bar: &BarPlan| {
        part.and_then(|part| cut_words(cx, plan, part, bar.bar))
            .unwrap_or_else(|| serve_words(cx, whole, plan, bar))
    };
    whole
        .plan()
        .bars
        .iter()
        .filter_map(|bar| {
            let now = words(whole.plan(), bar);
            let then = words(other, then.get(&bar.bar)?);
            (now != then).then(|| Row {
                what: format!("Bar {}", bar.label),
                href: Some(Link::Bar(id, bar.bar)),
                now,
                then,
            })
        })
        .collect()
}

/// GET: why a roll or an offcut is cut, and what the set costs where it is left alone.
pub async fn piece(cx: Cx, Path((id, thing)): Path<(DesignId, ThingId)>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let back = Link::Cuts(id);
    if !whole.is_open() {
        return Err(settled(&whole, back));
    }
    let cut = whole
        .plan()
        .cuts
        .iter()
        .find(|cut| matches!(&cut.source, CutSource::Piece { thing: of, .. } if *of == thing));
    let Some(cut) = cut else {
        return Err(Trouble::not_found("cut of this set").or_go(back, "To the cuts"));
    };
    let (tag, part) = (source_words(&cx, cut), cut.part);
    let now = cut
        .segments
        .iter()
        .filter_map(|segment| {
            let show = whole.amount(&cx, Some(part), segment.to - segment.from);
            Some(match segment.becomes {
                Becomes::Bar { bar, start, end } => {
                    let solder = match (start, end) {
                        (Joint::None, Joint::None) => String::new(),
                        _ => format!(": {}", solder_words(start, end)),
                    };
                    format!("Bar {} is cut from {tag}{solder}.", whole.bar_label(bar))
                }
                Becomes::Extra { .. } => format!("{show} of {tag} is for an extra line."),
                Becomes::Feed => format!("{show} of {tag} feeds a driver."),
                Becomes::Offcut => format!("{show} is left over and kept."),
                Becomes::Scrap => return None,
            })
        })
        .collect();
    let plans = planned::other_ways(whole.planned(), vec![Other::LeavingAlone(thing)]).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Cuts);
    let version = head.version.to_string();
    let ways = plans
        .iter()
        .flatten()
        .map(|other| {
            let (costs, same) = costs(&cx, &whole, other);
            Way {
                title: format!("Without {tag}"),
                costs,
                same,
                rows: changed_bars(&cx, &whole, other, Some(part)),
                act: Some(Act {
                    action: Link::Pins(id),
                    fields: vec![
                        ("version", version.clone()),
                        ("page", "cuts".to_owned()),
                        ("thing", thing.to_string()),
                        ("do", "leave".to_owned()),
                    ],
                    label: format!("Leave {tag} alone"),
                }),
            }
        })
        .collect();
    Ok(page(&WhyPage {
        chrome,
        head,
        title: format!("Why {tag} is cut"),
        now,
        ways,
        none: String::new(),
        back: (Link::Cuts(id), "All cuts"),
        heads: ("Bar", "Without it"),
    }))
}

/// Fixtures that are alike as far as a plan sees, each kind once, with the tags of all.
fn kinds<'a>(
    spares: impl Iterator<Item = &'a SpareFixture>,
) -> Vec<(&'a SpareFixture, Vec<String>)> {
    let mut kinds: Vec<(&SpareFixture, Vec<String>)> = Vec::new();
    for spare in spares {
        let alike = |make: &Make| *make == spare.fixture.make;
        let tag = spare.fixture.tag.to_string();
        match kinds.iter_mut().find(|(of, _)| alike(&of.fixture.make)) {
            Some((_, tags)) => tags.push(tag),
            None => kinds.push((spare, vec![tag])),
        }
    }
    kinds
}

/// What is tried for one bar, with its title and button.
fn tried(cx: &Cx, whole: &Whole, id: BarId) -> Vec<(Other, String, Option<Act>)> {
    let (design, plan) = (whole.design(), whole.plan());
    let (Some(bar), Some(served)) = (whole.bar(id), whole.bar_plan(id)) else {
        return Vec::new();
    };
    let pick = |what: &str, fixture: ThingId, label: String| Act {
        action: Link::ReusePick(design.id),
        fields: vec![
            ("version", design.version.to_string()),
            ("bar", id.to_string()),
            ("fixture", fixture.to_string()),
            ("do", what.to_owned()),
        ],
        label,
    };
    let now = match &served.serve {
        Serve::Reuse { fixture, tag, .. } => Some((*fixture, tag.to_string())),
        Serve::Build(_) | Serve::Short { .. } => None,
    };
    let mut tried = Vec::new();
    if let Some((fixture, tag)) = &now {
        let title = format!("Without {tag}");
        tried.push((Other::LeavingAlone(*fixture), title, None));
    }
    let taken = |thing: ThingId| {
        let mut bars = design.bars.iter();
        bars.any(|other| other.id != id && other.fixture == Some(thing))
            || design.left_alone.iter().any(|it| it.thing == thing)
            || now.as_ref().is_some_and(|(fixture, _)| *fixture == thing)
    };
    let spares = whole.input().stock.fixtures.iter();
    let fits = spares.filter(|spare| !taken(spare.fixture.id));
    let fits = fits.filter(|spare| why_not(bar, spare, cx.unit()).is_none());
    for (spare, tags) in kinds(fits) {
        let fixture = &spare.fixture;
        let off = fixture.make.lit_um.get() - bar.length_um.get();
        let title = format!("With {}: {}", tags.join(" or "), off_words(cx, off));
        let act = pick("pin", fixture.id, format!("Take {}", fixture.tag));
        tried.push((Other::Choosing(id, fixture.id), title, Some(act)));
    }
    for miss in plan.near_misses.iter().filter(|miss| miss.bar == id) {
        let Some(spare) = whole.fixture(miss.fixture) else {
            continue;
        };
        let length = cx.length(spare.fixture.make.lit_um);
        let title = format!("With {}, if the bar were {length}", miss.tag);
        let act = pick(
            "fit",
            miss.fixture,
            format!("Make it {length} and take {}", miss.tag),
        );
        tried.push((Other::Fitting(id, miss.fixture), title, Some(act)));
    }
    tried.truncate(MOST_WAYS);
    tried
}

/// GET: why a bar is served as it is, and what each other fixture would cost.
pub async fn bar(cx: Cx, Path((id, bar)): Path<(DesignId, BarId)>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let back = Link::Reuse(id);
    let Some(served) = whole.bar_plan(bar) else {
        return Err(Trouble::not_found("bar").or_go(back, "To the fixtures"));
    };
    if !whole.is_open() {
        return Err(settled(&whole, back));
    }
    let mut now = vec![format!(
        "Bar {} is {}.",
        served.label,
        serve_words(&cx, &whole, whole.plan(), served)
    )];
    now.extend((!served.why.is_empty()).then(|| served.why.clone()));
    let tried = tried(&cx, &whole, bar);
    let asked = tried.iter().map(|(other, ..)| other.clone()).collect();
    let plans = planned::other_ways(whole.planned(), asked).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Reuse);
    let ways = tried
        .into_iter()
        .zip(&plans)
        .filter_map(|((_, title, act), plan)| {
            let plan = plan.as_ref()?;
            let (costs, same) = costs(&cx, &whole, plan);
            let rows = changed_bars(&cx, &whole, plan, None);
            let act = act.filter(|_| head.editable);
            Some(Way {
                title,
                costs,
                same,
                rows,
                act,
            })
        })
        .collect();
    let free = |spare: &&SpareFixture| spare.freedom == Freedom::Free;
    let spares = whole.input().stock.fixtures.iter().filter(free).count();
    Ok(page(&WhyPage {
        chrome,
        title: format!("Why bar {} is served so", served.label),
        now,
        ways,
        none: format!(
            "No other fixture fits this bar, nor would one if the bar were a little different: {} \
             looked at.",
            count_of(spares, "free fixture was", "free fixtures were")
        ),
        back: (Link::Reuse(id), "All fixtures"),
        heads: ("Bar", "The other way"),
        head,
    }))
}

/// What is bought of each part under both plans, where that differs.
fn changed_packs(cx: &Cx, whole: &Whole, other: &Plan) -> Vec<Row> {
    let words = |plan: &Plan| -> BTreeMap<(Option<PartId>, String), String> {
        let short = plan.needs.iter().filter(|need| need.short > 0);
        short
            .map(|need| {
                let packs: Vec<String> = need
                    .buy
                    .iter()
                    .map(|buy| {
                        format!(
                            "{} × {} from {}, {}",
                            buy.packs,
                            whole.pack_words(cx, need.part, buy.pack_amount),
                            buy.supplier_name,
                            cx.money(buy.cost_minor)
                        )
                    })
                    .collect();
                let words = if packs.is_empty() {
                    "to buy, without a price".to_owned()
                } else {
                    packs.join("; ")
                };
                ((need.part, need.name.clone()), words)
            })
            .collect()
    };
    let (now, then) = (words(whole.plan()), words(other));
    let mut keys: Vec<_> = now.keys().chain(then.keys()).cloned().collect();
    keys.sort();
    keys.dedup();
    let nothing = || "nothing to buy".to_owned();
    keys.into_iter()
        .filter_map(|key| {
            let now = now.get(&key).cloned().unwrap_or_else(nothing);
            let then = then.get(&key).cloned().unwrap_or_else(nothing);
            (now != then).then(|| Row {
                what: key.1,
                href: key.0.map(Link::Part),
                now,
                then,
            })
        })
        .collect()
}

/// GET: why these packs are bought, and what the next best costs.
pub async fn offer(cx: Cx, Path((id, offer)): Path<(DesignId, OfferId)>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let back = Link::DesignShopping(id);
    if !whole.is_open() {
        return Err(settled(&whole, back));
    }
    let needs = whole.plan().needs.iter();
    let bought = needs
        .flat_map(|need| need.buy.iter().map(move |buy| (need, buy)))
        .find(|(_, buy)| buy.offer == offer);
    let Some((need, buy)) = bought else {
        return Err(Trouble::not_found("pack on this list").or_go(back, "To the shopping list"));
    };
    let pack = whole.pack_words(&cx, need.part, buy.pack_amount);
    let delivery = whole.plan().cost.delivery_minor;
    let mut now = vec![
        format!(
            "{} × {pack} of {} are bought from {} for {}.",
            buy.packs,
            need.name,
            buy.supplier_name,
            cx.money(buy.cost_minor)
        ),
        format!(
            "The whole list costs {}{}.",
            cx.money(whole.plan().cost.planned_minor),
            if delivery == Money::ZERO {
                String::new()
            } else {
                format!(", {} of it for deliveries", cx.money(delivery))
            }
        ),
    ];
    let spare = spare(&cx, &whole, need, buy);
    if !spare.is_empty() {
        now.push(format!("Among them: {spare}, as it is set at Settings."));
    }
    let asked = vec![Other::NotBuying(offer), Other::NotBuyingFrom(buy.supplier)];
    let plans = planned::other_ways(whole.planned(), asked).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Shopping);
    let leave = Act {
        action: Link::Pins(id),
        fields: vec![
            ("version", head.version.to_string()),
            ("page", "shopping".to_owned()),
            ("supplier", buy.supplier.to_string()),
            ("do", "not-from".to_owned()),
        ],
        label: format!("Buy nothing from {} for this set", buy.supplier_name),
    };
    let titles = [
        (format!("Without this offer: {pack}"), None),
        (format!("Nothing from {}", buy.supplier_name), Some(leave)),
    ];
    let ways = titles
        .into_iter()
        .zip(&plans)
        .filter_map(|((title, act), plan)| {
            let plan = plan.as_ref()?;
            let (costs, same) = costs(&cx, &whole, plan);
            let rows = changed_packs(&cx, &whole, plan);
            Some(Way {
                title,
                costs,
                same,
                rows,
                act,
            })
        })
        .collect();
    Ok(page(&WhyPage {
        chrome,
        head,
        title: format!("Why these packs of {}", need.name),
        now,
        ways,
        none: String::new(),
        back: (Link::DesignShopping(id), "The whole list"),
        heads: ("Part", "The other way"),
    }))
}

/// What a near miss would save, for the page Reuse: the words of each, in their order.
pub async fn savings(cx: &Cx, whole: &Whole) -> Result<Vec<String>, Trouble> {
    let misses = whole.plan().near_misses.iter().take(MOST_WAYS);
    let asked = misses.map(|miss| Other::Fitting(miss.bar, miss.fixture));
    let plans = planned::other_ways(whole.planned(), asked.collect()).await?;
    let now = Tally::of(whole.plan());
    let words = plans.iter().map(|plan| {
        let Some(plan) = plan else {
            return String::new();
        };
        let then = Tally::of(plan);
        let apart = toll::apart(cx, &then, &now);
        let known = toll::known(&now, &then);
        if apart.is_empty() {
            format!("It would save nothing. {known}")
        } else {
            format!("Then: {}. {known}", apart.join(", "))
        }
    });
    Ok(words.collect())
}
