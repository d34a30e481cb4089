//! Shopping over all designs: what is short, by supplier, and the orders that are under way.

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    design::{count_of, day},
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    places::refused,
    settings::offer::pack_words,
};
use crate::{
    model::{
        id::{DesignId, OfferId, PartId, PurchaseId, SupplierId},
        piece::say_amount,
        purchase::{Purchase, PurchaseState, Share},
    },
    plan::{
        answer::Proof,
        basket::Way,
        packs::Aim,
        shopping::{ListLine, Parcel, ShoppingList, Unsold, spares},
    },
    stock::order::{self, Wish},
    units::{Length, Money},
};

struct LineView {
    part: PartId,
    offer: OfferId,
    name: String,
    pack: String,
    cost: String,
    left_over: Option<String>,
    /// Why more is bought than is short; empty where nothing is.
    spare: String,
    on_order: i64,
    designs: Vec<(DesignId, String)>,
    /// The drafts that count on the same of it in the cupboard, so that more may be short.
    same: Sets,
    order_by: String,
    late: bool,
    /// The field of the sets that it is for, and each with how much it needs.
    shares_field: String,
    shares: Vec<String>,
    /// The field of its packs.
    field: String,
    /// What stands in it: the plan's number, or what was typed.
    typed: String,
    errors: Vec<String>,
    ticked: bool,
}

struct ParcelView {
    supplier: SupplierId,
    name: String,
    goods: String,
    delivery: String,
    total: String,
    lines: Vec<LineView>,
}

/// Sets by id and name.
type Sets = Vec<(DesignId, String)>;

/// Something that only those sell who are left out.
struct UnsoldView {
    part: PartId,
    name: String,
    wanted: String,
}

/// Another way to buy.
struct BesideView {
    href: Link,
    what: String,
    cost: Option<String>,
    than: String,
}

/// What all of it costs, and how it is bought.
struct WayView {
    aim: &'static str,
    without: String,
    /// What is asked for that is not the usual.
    said: Option<String>,
    total: Option<String>,
    parcels: String,
    proven: bool,
    bound: Option<String>,
}

struct UnpricedView {
    part: Option<PartId>,
    name: String,
    short: String,
    rolls: String,
    designs: Vec<(DesignId, String)>,
}

struct OrderView {
    id: PurchaseId,
    supplier: String,
    state: &'static str,
    mark: &'static str,
    expected: Option<String>,
    late: bool,
    /// How many of its lines are in, where others are to come.
    partly_in: Option<String>,
    open_lines: usize,
    total: String,
}

#[derive(Template)]
#[template(path = "shopping/list.html")]
struct ShoppingPage {
    chrome: Chrome,
    form: Form,
    way: WayView,
    parcels: Vec<ParcelView>,
    beside: Vec<BesideView>,
    /// The one set that it is for.
    only: Option<(DesignId, String)>,
    /// The same list bought the usual way.
    usual: Link,
    unsold: Vec<UnsoldView>,
    unpriced: Vec<UnpricedView>,
    left_out: Vec<(String, Sets)>,
    /// Each set with its fuses in words.
    fuses: Vec<(DesignId, String, String)>,
    orders: Vec<OrderView>,
    tax: bool,
    /// What the days to order by rest on.
    in_hand: String,
    sets: usize,
    /// Whether two drafts may count on the same things.
    drafts: bool,
    /// What drafts do count on at once: the part, and which they are.
    collide: Vec<(Link, String, Sets)>,
}

/// GET: the list.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, form, StatusCode::OK).await
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let aim = form.value("aim").parse().ok();
    // An address that cannot be read asks for the usual.
    let way = Way::read(aim, form.value("without")).unwrap_or_default();
    // So does one that names no set still to be built.
    let only = form.value("set").parse().ok();
    let wanted = order::wanted(cx.db(), cx.today, &way, only).await?;
    let mut tx = cx.read().await?;
    let orders = crate::db::purchase::list(&mut tx, 50).await?;
    drop(tx);
    let parts = &wanted.parts;
    let ShoppingList {
        parcels, unpriced, ..
    } = &wanted.list;
    let parcels = parcels
        .iter()
        .map(|parcel| parcel_view(cx, &wanted, parcel, &form))
        .collect();
    let unpriced = unpriced
        .iter()
        .map(|short| UnpricedView {
            part: short.part,
            name: short.name.clone(),
            short: short.part.and_then(|id| parts.get(&id)).map_or_else(
                || short.short.to_string(),
                |part| amount_words(part, short.short, cx),
            ),
            rolls: cx.rolls(&short.rolls),
            designs: short.designs.clone(),
        })
        .collect();
    let page = ShoppingPage {
        chrome: cx.chrome(Section::Shopping, "Shopping"),
        form,
        way: way_view(cx, &wanted, &way),
        parcels,
        beside: beside(cx, &wanted),
        usual: way_link(&wanted, &Way::default()),
        only: wanted.only.clone(),
        unsold: wanted
            .list
            .unsold
            .iter()
            .map(|it| UnsoldView {
                part: it.part,
                name: it.name.clone(),
                wanted: unsold_words(cx, parts, it),
            })
            .collect(),
        unpriced,
        left_out: wanted
            .suppliers
            .iter()
            .filter_map(|it| {
                let sets = wanted.list.not_from.get(&it.id)?;
                Some((it.name.to_string(), sets.clone()))
            })
            .collect(),
        fuses: wanted.fuses.iter().map(fuses_view).collect(),
        orders: orders.iter().map(|order| order_view(cx, order)).collect(),
        tax: cx.venue.prices_include_tax,
        in_hand: match cx.venue.order_slack_days {
            0 => "Ordered on its last day, a parcel comes just before the build day.".to_owned(),
            days => format!(
                "Ordered on its last day, a parcel comes with {} in hand before the build day.",
                count_of(days.into(), "day", "days")
            ),
        },
        sets: wanted.sets,
        drafts: wanted.drafts > 1,
        collide: (wanted.same.iter())
            .filter_map(|(part, sets)| {
                let name = wanted.parts.get(part)?.name.to_string();
                Some((Link::Part(*part), name, sets.clone()))
            })
            .collect(),
    };
    Ok(page_with(status, &page))
}

fn parcel_view(cx: &Cx, wanted: &order::Wanted, parcel: &Parcel, form: &Form) -> ParcelView {
    // What was typed belongs to the supplier whose form was sent.
    let form = (form.value("supplier") == parcel.supplier.to_string()).then_some(form);
    let total = parcel.goods_minor.checked_add(parcel.delivery_minor);
    ParcelView {
        supplier: parcel.supplier,
        name: parcel.name.clone(),
        goods: cx.money(parcel.goods_minor),
        delivery: if parcel.delivery_minor == Money::ZERO {
            "free".into()
        } else {
            cx.money(parcel.delivery_minor)
        },
        total: cx.money(total.unwrap_or(parcel.goods_minor)),
        lines: parcel
            .lines
            .iter()
            .map(|line| line_view(cx, wanted, line, form))
            .collect(),
    }
}

fn way_view(cx: &Cx, wanted: &order::Wanted, way: &Way) -> WayView {
    let list = &wanted.list;
    let mut said = Vec::new();
    if way.aim != Aim::Money {
        said.push(way.aim.label().to_owned());
    }
    let left_out = wanted
        .suppliers
        .iter()
        .filter(|it| way.without.contains(&it.id));
    said.extend(left_out.map(|it| format!("nothing from {}", it.name)));
    WayView {
        aim: way.aim.word(),
        without: way.without(),
        said: (!said.is_empty()).then(|| said.join(", ")),
        total: list.cost_minor.map(|cost| cx.money(cost)),
        parcels: count_of(list.parcels.len(), "parcel", "parcels"),
        proven: list.proof.is_proven(),
        bound: match list.proof {
            Proof::Within { bound } => Money::new(bound).ok().map(|bound| cx.money(bound)),
            Proof::Proven | Proof::Open { .. } => None,
        },
    }
}

/// The same list bought another way.
fn way_link(wanted: &order::Wanted, way: &Way) -> Link {
    let aim = (way.aim != Aim::Money).then(|| way.aim.word().to_owned());
    let set = wanted.only.as_ref().map(|(id, _)| id.to_string());
    Link::Shopping.with([
        ("set", set.unwrap_or_default()),
        ("aim", aim.unwrap_or_default()),
        ("without", way.without()),
    ])
}

/// The other ways, with what each costs more or less.
fn beside(cx: &Cx, wanted: &order::Wanted) -> Vec<BesideView> {
    let chosen = wanted.list.cost_minor.map_or(0, Money::get);
    let than = |cost: Money| {
        let more = cost.get() - chosen;
        let by = Money::new(more.abs()).map_or_else(|_| String::new(), |by| cx.money(by));
        match more {
            0 => "the same money".to_owned(),
            1.. => format!("{by} more"),
            _ => format!("{by} less"),
        }
    };
    let list = &wanted.list.beside;
    list.iter()
        .map(|it| BesideView {
            href: way_link(wanted, &it.way),
            what: match &it.without {
                Some((_, name)) => format!("Nothing from {name}"),
                None if it.way.aim == Aim::Parcels => "Fewest parcels".to_owned(),
                None => "Least money".to_owned(),
            },
            cost: it.cost.map(|(cost, parcels)| {
                format!(
                    "{} in {}",
                    cx.money(cost),
                    count_of(parcels, "parcel", "parcels")
                )
            }),
            than: it.cost.map_or_else(String::new, |(cost, _)| than(cost)),
        })
        .collect()
}

fn unsold_words(
    cx: &Cx,
    parts: &std::collections::BTreeMap<PartId, crate::model::part::Part>,
    it: &Unsold,
) -> String {
    match (
        it.roll_um.and_then(|um| Length::new(um).ok()),
        parts.get(&it.part),
    ) {
        (Some(roll), _) => format!("{} × {}", it.needed, cx.length(roll)),
        (None, Some(part)) => amount_words(part, it.needed, cx),
        (None, None) => it.needed.to_string(),
    }
}

/// An amount in the part's stock unit, in words.
pub fn amount_words(part: &crate::model::part::Part, amount: i64, cx: &Cx) -> String {
    say_amount(part.unit(), amount, cx.unit())
}

/// Why more is bought than is short: the venue's spares, in words; empty where there are none.
pub fn spare_words(cx: &Cx, short: i64, say: impl Fn(i64) -> String) -> String {
    let percent = cx.venue.spare_percent;
    let spare = spares(short, percent);
    if spare <= 0 {
        return String::new();
    }
    let rounded = if short * i64::from(percent) % 100 == 0 {
        ""
    } else {
        ", rounded up"
    };
    format!(
        "{} spare ({percent} % of {}{rounded})",
        say(spare),
        say(short)
    )
}

fn packs_field(offer: OfferId) -> String {
    format!("packs-{offer}")
}

fn shares_field(offer: OfferId) -> String {
    format!("for-{offer}")
}

/// The sets of a line as its form sends them, `3:12` for one; `None` where one cannot be read.
fn shares(form: &Form, offer: OfferId) -> Option<Vec<Share>> {
    let share = |text: &str| {
        let (design, amount) = text.split_once(':')?;
        let amount: i64 = amount.parse().ok()?;
        let design: DesignId = design.parse().ok()?;
        (amount > 0).then_some(Share { design, amount })
    };
    form.all(&shares_field(offer)).map(share).collect()
}

fn line_view(cx: &Cx, wanted: &order::Wanted, line: &ListLine, form: Option<&Form>) -> LineView {
    let field = packs_field(line.offer);
    let offer = line.offer.to_string();
    LineView {
        typed: form
            .filter(|form| form.has(&field))
            .map_or_else(|| line.packs.to_string(), |form| form.value(&field).into()),
        errors: form.map_or_else(Vec::new, |form| form.errors(&field).to_vec()),
        ticked: form.is_none_or(|form| form.all("offer").any(|ticked| ticked == offer)),
        field,
        part: line.part,
        offer: line.offer,
        name: line.name.clone(),
        pack: wanted
            .parts
            .get(&line.part)
            .map(|part| pack_words(part, line.pack_amount, cx.unit()))
            .unwrap_or_default(),
        cost: cx.money(line.cost_minor),
        left_over: line.left_over.filter(|left| *left > 0).map(|left| {
            wanted
                .parts
                .get(&line.part)
                .map_or_else(|| left.to_string(), |part| amount_words(part, left, cx))
        }),
        spare: wanted
            .parts
            .get(&line.part)
            .map_or_else(String::new, |part| {
                spare_words(cx, line.spare_of, |amount| amount_words(part, amount, cx))
            }),
        on_order: line.on_order,
        same: wanted.same.get(&line.part).cloned().unwrap_or_default(),
        order_by: day(line.order_by),
        late: line.order_by < cx.today,
        shares_field: shares_field(line.offer),
        shares: line
            .shares
            .iter()
            .map(|share| format!("{}:{}", share.design, share.amount))
            .collect(),
        designs: line.designs.clone(),
    }
}

fn fuses_view(set: &order::SetFuses) -> (DesignId, String, String) {
    let fuses = set.fuses.iter();
    let words: Vec<String> = fuses
        .map(|(fuse, many)| format!("{many} × {fuse}"))
        .collect();
    (set.design, set.name.clone(), words.join(", "))
}

fn order_view(cx: &Cx, order: &Purchase) -> OrderView {
    let waiting = order.state == PurchaseState::Ordered;
    OrderView {
        id: order.id,
        supplier: order.supplier_name.clone(),
        state: order.state.label(),
        mark: match order.state {
            PurchaseState::List => "draft",
            PurchaseState::Ordered => "waiting",
            PurchaseState::Closed => "passed",
            PurchaseState::Cancelled => "cancelled",
        },
        expected: order.expected_on.map(day),
        late: waiting && order.expected_on.is_some_and(|day| day < cx.today),
        partly_in: order.partly_in(),
        open_lines: order
            .lines
            .iter()
            .filter(|line| line.open_packs() > 0)
            .count(),
        total: cx.money(order.total()),
    }
}

/// POST: makes an order of the ticked lines of one supplier.
pub async fn order(cx: Cx, mut form: Form) -> Answer {
    let Some(supplier) = form.id::<SupplierId>("supplier") else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let mut wishes = Vec::new();
    let ticked: Vec<String> = form.all("offer").map(str::to_owned).collect();
    for offer in ticked {
        let Ok(id) = offer.parse::<OfferId>() else {
            continue;
        };
        let packs = form.count(&packs_field(id), 1, 100_000);
        let shares = shares(&form, id);
        if shares.is_none() && form.errors("").is_empty() {
            form.fail(
                "",
                "For which sets a line is cannot be read. Nothing was ordered. Load the list again.",
            );
        }
        if let (Some(packs), Some(shares)) = (packs, shares) {
            wishes.push(Wish {
                offer: id,
                packs,
                shares,
            });
        }
    }
    if wishes.is_empty() && form.ok() {
        form.fail("", "Tick at least one line to order. Nothing was ordered.");
    }
    if !form.ok() {
        if form.errors("").is_empty() {
            form.fail(
                "",
                "Nothing was ordered. What is wrong is said at its line below; what you typed stands there.",
            );
        }
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    match order::place(&cx.act(&form), supplier, &wishes).await {
        Ok(id) => Ok(go_with(
            &Link::Purchase(id),
            &Flash::good("The order is written down. Say when you have sent it."),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, form, status).await
        }
    }
}
