//! What one is most likely to do with a thing whose label was scanned: at most three buttons, one
//! tap each.

use crate::{
    db::{self, ReadTx},
    model::{
        fixture::Condition,
        movement::AccountKind,
        thing::{Thing, ThingKind},
    },
    stock::strike::Back,
    web::{error::Trouble, link::Link},
};

/// What a button does.
pub enum Tap {
    /// Opens a page.
    Go(Link),
    /// Leads to a form of this page, by its id.
    Here(&'static str),
    /// Sends a form with these fields.
    Send(Link, Vec<(&'static str, String)>),
}

/// One button.
pub struct Likely {
    pub tap: Tap,
    pub label: String,
    /// Its class: `main` for the likeliest.
    pub kind: &'static str,
}

impl Likely {
    /// Whether it marks the thing so.
    pub fn marks(&self, condition: Condition) -> bool {
        let Tap::Send(_, fields) = &self.tap else {
            return false;
        };
        fields
            .iter()
            .any(|(name, value)| *name == "condition" && value == condition.word())
    }

    /// Whether it leads to what could stand in for the thing.
    pub const fn swaps(&self) -> bool {
        matches!(self.tap, Tap::Go(Link::ThingSwap(_)))
    }
}

fn go(link: Link, label: impl Into<String>) -> Likely {
    Likely {
        tap: Tap::Go(link),
        label: label.into(),
        kind: "",
    }
}

fn send(link: Link, fields: Vec<(&'static str, String)>, label: impl Into<String>) -> Likely {
    Likely {
        tap: Tap::Send(link, fields),
        label: label.into(),
        kind: "",
    }
}

/// Puts it back where it lay last, or says what else brings it home.
async fn back(tx: &mut ReadTx, thing: &Thing) -> Result<Option<Likely>, Trouble> {
    let home = db::stage::last_place(tx, thing.id).await?;
    let to = |place: &crate::model::place::Place| vec![("to", place.id.to_string())];
    Ok(match (thing.place.kind, home) {
        (AccountKind::Design, Some(home)) => thing.place.design.map(|design| {
            let mut fields = to(&home);
            fields.push(("thing", thing.id.to_string()));
            fields.push(("how", Back::Good.word().to_owned()));
            send(
                Link::StrikeLine(design),
                fields,
                format!("Back into {}", home.path),
            )
        }),
        (AccountKind::Design, None) => thing
            .place
            .design
            .map(|design| go(Link::Strike(design), "Bring it back")),
        (AccountKind::Loan, Some(home)) => Some(send(
            Link::ThingGiveBack(thing.id),
            to(&home),
            format!("It came back, into {}", home.path),
        )),
        (AccountKind::Lost, Some(home)) => Some(send(
            Link::ThingMove(thing.id),
            to(&home),
            format!("Found: back into {}", home.path),
        )),
        _ => None,
    })
}

/// The likely buttons, the likeliest first.
pub async fn likely(tx: &mut ReadTx, thing: &Thing) -> Result<Vec<Likely>, Trouble> {
    let mut all: Vec<Likely> = back(tx, thing).await?.into_iter().collect();
    if !thing.owned() {
        return Ok(first_main(all));
    }
    let fixture = thing.kind == ThingKind::Fixture;
    let mark = |condition: Condition, label: &str| {
        send(
            Link::ThingMark(thing.id),
            vec![("condition", condition.word().to_owned())],
            label,
        )
    };
    if thing.condition == Condition::Good {
        let lies = thing.place.kind == AccountKind::Place;
        if fixture && lies {
            all.push(go(Link::ThingInto(thing.id), "Put it into a set"));
        } else if thing.kind == ThingKind::Piece && lies {
            all.push(go(Link::ThingCut(thing.id), "Cut it"));
        }
        let bad = mark(Condition::Suspect, "Mark it suspect");
        if lies {
            let elsewhere = Likely {
                tap: Tap::Here("move-it"),
                label: "Put it elsewhere".to_owned(),
                kind: "",
            };
            // What does no harm stands first: the first is the one that catches the eye.
            if all.is_empty() {
                all.extend([elsewhere, bad]);
            } else {
                all.extend([bad, elsewhere]);
            }
        } else {
            all.push(bad);
            if fixture {
                all.push(go(Link::ThingSwap(thing.id), "What could replace it"));
            }
        }
    } else {
        if fixture {
            if serves(tx, thing).await? {
                all.insert(0, go(Link::ThingSwap(thing.id), "What replaces it"));
            }
            all.push(go(Link::ThingApart(thing.id), "Win its parts back"));
        }
        all.push(mark(Condition::Good, "It is good again"));
    }
    all.truncate(3);
    Ok(first_main(all))
}

/// Whether a set still has it, or counts on it: once it was swapped out there is nothing to replace.
async fn serves(tx: &mut ReadTx, thing: &Thing) -> Result<bool, Trouble> {
    if thing.place.kind == AccountKind::Design {
        return Ok(true);
    }
    let held = db::reservation::list_on_thing(tx, thing.id).await?;
    let broken = db::reservation::list_broken_on_thing(tx, thing.id).await?;
    Ok(!held.is_empty() || !broken.is_empty())
}

fn first_main(mut all: Vec<Likely>) -> Vec<Likely> {
    if let Some(first) = all.first_mut() {
        first.kind = "main";
    }
    all
}
