//! What to buy in which packs, and where, by plain fields, or by the document of
//! `tapewright calc packs`.

use askama::Template;

use super::{away, lines, pasted, refuse, status, sum};
use crate::{
    calc::packs::{
        self, PacksAnswer, PacksBody, PacksOffer, PacksParcel, PacksSupplier, PacksWant, PacksWay,
    },
    plan::packs::Aim,
    units::{Currency, Money},
    web::{
        cx::Cx,
        design::count_of,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Section, page_with},
    },
};

/// What stands in the fields at first, invented.
const FIRST: [(&str, &str); 4] = [
    ("suppliers", "Weir Street, 5.90, 50.00\nFerry Lane, 4.50"),
    ("wants", "leads, 12\nclips, 40"),
    (
        "offers",
        "leads, Weir Street, 5, 6.50\nleads, Ferry Lane, 1, 1.60\nclips, Weir Street, 20, 4.80\nclips, Ferry Lane, 50, 9.00",
    ),
    ("aim", "money"),
];

/// Lines of a list that one may type.
const MOST_LINES: usize = 200;

/// One line of a parcel.
struct Line {
    want: String,
    packs: String,
    cost: String,
}

/// What one supplier sends.
struct Parcel {
    supplier: String,
    lines: Vec<Line>,
    goods: String,
    delivery: String,
}

/// Another way to buy.
struct Beside {
    what: String,
    cost: String,
}

/// A question, answered.
struct Answered {
    total: String,
    known: String,
    parcels: Vec<Parcel>,
    left_over: Vec<String>,
    short: Vec<String>,
    beside: Vec<Beside>,
    /// What is offered and not wanted.
    aside: Vec<String>,
    document: String,
}

#[derive(Template)]
#[template(path = "bench/packs.html")]
struct PacksPage {
    chrome: Chrome,
    form: Form,
    aims: Vec<Choice>,
    answered: Option<Answered>,
}

fn show(cx: &Cx, form: Form, answered: Option<Answered>) -> Answer {
    let status = status(&form);
    let aims = Aim::ALL.iter().map(|aim| (*aim, aim.label()));
    let page = PacksPage {
        chrome: cx.chrome(Section::Bench, "Packs to buy"),
        aims: Choice::list(aims, form.value("aim")),
        form,
        answered,
    };
    Ok(page_with(status, &page))
}

/// GET: the fields, with the answer where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked = form.has("wants");
    form.fill(&FIRST);
    if !asked {
        return show(&cx, form, None);
    }
    let (body, aside) = read(cx.venue.currency, &mut form).unzip();
    let answered = answer(&cx, &mut form, body, field_of).await;
    let answered = answered.map(|answered| Answered {
        aside: aside.unwrap_or_default(),
        ..answered
    });
    show(&cx, form, answered)
}

/// POST: a document instead of the fields.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    for (field, first) in FIRST {
        form.set(field, first);
    }
    let body = pasted::<PacksBody>(&mut form);
    let answered = answer(&cx, &mut form, body, |_| "document").await;
    show(&cx, form, answered)
}

fn field_of(pointer: &str) -> &'static str {
    if pointer.starts_with("/suppliers") {
        "suppliers"
    } else if pointer.starts_with("/only_suppliers") {
        "only"
    } else if pointer.contains("/offers") {
        "offers"
    } else {
        "wants"
    }
}

/// What stands between commas, the last words left out where they are not typed.
fn words<const N: usize>(line: &str) -> Result<[&str; N], String> {
    let mut words = [""; N];
    for (at, word) in line.split(',').enumerate() {
        match words.get_mut(at) {
            Some(place) => *place = word.trim(),
            None => return Err(format!("“{}” is one thing too many.", word.trim())),
        }
    }
    Ok(words)
}

fn sum_of(text: &str, currency: Currency) -> Result<i64, String> {
    let sum = Money::parse(text, &currency).map_err(|why| why.to_string())?;
    Ok(sum.get())
}

fn count<T: std::str::FromStr>(text: &str, what: &str) -> Result<T, String> {
    let count = text.parse();
    count.map_err(|_| format!("“{text}” is not a whole number; type {what}."))
}

/// `Weir Street, 5.90, 50.00`: a name, what a delivery costs, from which sum on it is free.
fn supplier(line: &str, currency: Currency) -> Result<PacksSupplier, String> {
    let [name, delivery, free] = words(line)?;
    Ok(PacksSupplier {
        name: name.to_owned(),
        delivery_minor: match delivery {
            "" => 0,
            sum => sum_of(sum, currency)?,
        },
        free_from_minor: match free {
            "" => None,
            sum => Some(sum_of(sum, currency)?),
        },
    })
}

/// `leads, 12`: what is wanted and how much.
fn want(line: &str) -> Result<PacksWant, String> {
    let [name, needed] = words(line)?;
    Ok(PacksWant {
        name: name.to_owned(),
        needed: count(needed, "how much is wanted, such as leads, 12")?,
        offers: Vec::new(),
    })
}

/// `leads, Weir Street, 5, 6.50, 2`: what, who sells it, what a pack holds, what it costs, and the
/// fewest that are sold at once.
fn offer(line: &str, currency: Currency) -> Result<(String, PacksOffer), String> {
    let [want, supplier, pack, price, least] = words(line)?;
    let offer = PacksOffer {
        supplier: supplier.to_owned(),
        pack: count(
            pack,
            "what a pack holds, such as leads, Weir Street, 5, 6.50",
        )?,
        price_minor: sum_of(price, currency)?,
        minimum_packs: match least {
            "" => None,
            least => Some(count(least, "the fewest packs that are sold")?),
        },
    };
    Ok((want.to_owned(), offer))
}

/// The fields as a document, and what is offered and not wanted.
fn read(currency: Currency, form: &mut Form) -> Option<(PacksBody, Vec<String>)> {
    let suppliers = form.take("suppliers", |text| {
        lines(text, MOST_LINES, |line, _| supplier(line, currency))
    });
    let wants = form.take("wants", |text| {
        lines(text, MOST_LINES, |line, _| want(line))
    });
    let offers = form.take("offers", |text| {
        lines(text, MOST_LINES, |line, _| offer(line, currency))
    });
    let aim = form.word::<Aim>("aim");
    if wants.as_ref().is_some_and(Vec::is_empty) {
        form.fail("wants", "Type at least one line, such as leads, 12.");
    }
    let (suppliers, mut wants, offers) = (suppliers?, wants?, offers?);
    let mut aside = Vec::new();
    for (name, offer) in offers {
        if let Some(want) = wants.iter_mut().find(|want| want.name == name) {
            want.offers.push(offer);
        } else if !aside.contains(&name) {
            aside.push(name);
        }
    }
    let only: Vec<String> = form
        .value("only")
        .split(',')
        .map(str::trim)
        .filter(|name| !name.is_empty())
        .map(str::to_owned)
        .collect();
    let aim = aim?;
    let body = PacksBody {
        suppliers,
        wants,
        aim,
        only_suppliers: (!only.is_empty()).then_some(only),
    };
    form.ok().then_some((body, aside))
}

/// Answers away from what serves pages.
async fn answer(
    cx: &Cx,
    form: &mut Form,
    body: Option<PacksBody>,
    field: impl Fn(&str) -> &'static str,
) -> Option<Answered> {
    let (body, said) = away(body?, |body, _| packs::answer(body)).await;
    match said {
        Ok(said) => Some(answered(cx, &body, &said)),
        Err(why) => {
            refuse(form, &why, field);
            None
        }
    }
}

fn parcel(cx: &Cx, parcel: &PacksParcel) -> Parcel {
    Parcel {
        supplier: parcel.supplier.clone(),
        lines: parcel
            .lines
            .iter()
            .map(|line| Line {
                want: line.want.clone(),
                packs: if line.pack == 1 {
                    line.packs.to_string()
                } else {
                    format!("{} × pack of {}", line.packs, line.pack)
                },
                cost: sum(cx, line.cost_minor),
            })
            .collect(),
        goods: sum(cx, parcel.goods_minor),
        delivery: if parcel.delivery_minor == 0 {
            "free".to_owned()
        } else {
            sum(cx, parcel.delivery_minor)
        },
    }
}

fn answered(cx: &Cx, body: &PacksBody, said: &PacksAnswer) -> Answered {
    Answered {
        total: sum(cx, said.cost_minor),
        known: if said.proven {
            match body.aim {
                Aim::Money => "No other mix of packs costs less.".to_owned(),
                Aim::Parcels => "Fewer parcels can’t do it.".to_owned(),
            }
        } else {
            format!(
                "The best found; it cannot cost less than {}.",
                sum(cx, said.cost_bound_minor)
            )
        },
        parcels: said.parcels.iter().map(|it| parcel(cx, it)).collect(),
        left_over: said
            .left_over
            .iter()
            .map(|it| format!("{} of {}", it.amount, it.want))
            .collect(),
        short: said
            .short
            .iter()
            .map(|it| format!("{} of {}: {}", it.needed, it.want, it.why))
            .collect(),
        beside: said
            .beside
            .iter()
            .map(|it| Beside {
                what: match (&it.way, &it.supplier) {
                    (PacksWay::Without, Some(supplier)) => format!("Nothing from {supplier}"),
                    (PacksWay::FewestParcels, _) => "Fewest parcels".to_owned(),
                    _ => "Least money".to_owned(),
                },
                cost: match (it.cost_minor, it.parcels) {
                    (Some(cost), Some(parcels)) => {
                        let parcels = count_of(parcels, "parcel", "parcels");
                        format!("{} in {parcels}", sum(cx, cost))
                    }
                    (Some(cost), None) => sum(cx, cost),
                    (None, _) => "not everything can be bought so".to_owned(),
                },
            })
            .collect(),
        aside: Vec::new(),
        document: serde_json::to_string_pretty(body).unwrap_or_default(),
    }
}
