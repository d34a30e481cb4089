//! What is noted about a thing beside its stock: notes, inspection, a driver's address, a frame's
//! name and size, what a finished bar is.

use askama::Template;
use axum::http::StatusCode;

use super::lookup;
use crate::{
    db::{self, fixture::FixtureAt},
    model::{
        id::ThingId,
        part::Kind,
        thing::{OwnedFrame, Thing, ThingKind, Unit},
    },
    stock::{
        StockError,
        mark::{EditMore, EditThing, made_here},
    },
    units::{Length, parse_date},
    web::{
        at::Path,
        clash::{Clash, Field, tick_words},
        cx::Cx,
        error::Answer,
        fixtures::new::{LookChoices, between_marks, choices, look, look_fields},
        form::Form,
        link::Link,
        page::{Chrome, Flash, FlashKind, Section, go_with, page_with},
        places::refused,
    },
};

#[derive(Template)]
#[template(path = "thing/edit.html")]
struct EditPage {
    chrome: Chrome,
    form: Form,
    back: Link,
    tag: String,
    driver: bool,
    unit: bool,
    frame: bool,
    /// What a finished bar can be.
    look: Option<LookChoices>,
    clash: Option<Clash>,
}

struct Stored {
    thing: Thing,
    unit: Option<Unit>,
    frame: Option<OwnedFrame>,
    fixture: Option<FixtureAt>,
    made_here: bool,
}

impl Stored {
    async fn load(cx: &Cx, id: ThingId) -> Result<Self, super::Trouble> {
        let mut tx = cx.read().await?;
        let thing = lookup(&mut tx, id).await?;
        let (mut unit, mut frame, mut fixture) = (None, None, None);
        match thing.kind {
            ThingKind::Unit => unit = db::thing::lookup_unit(&mut tx, id).await?,
            ThingKind::Frame => frame = db::thing::lookup_frame(&mut tx, id).await?,
            ThingKind::Fixture => fixture = db::fixture::lookup(&mut tx, id).await?,
            ThingKind::Piece => {}
        }
        let made_here = fixture.is_some() && made_here(&mut tx, id).await?;
        Ok(Self {
            thing,
            unit,
            frame,
            fixture,
            made_here,
        })
    }

    /// Name, label and value of each field, as a form holds them.
    fn fields(&self, cx: &Cx) -> Vec<(&'static str, &'static str, String)> {
        let mut fields = vec![
            ("note", "Notes", self.thing.note.as_str().to_owned()),
            (
                "inspect_on",
                "Inspect by",
                self.thing
                    .inspect_on
                    .map_or_else(String::new, |day| day.to_string()),
            ),
        ];
        if let Some(unit) = &self.unit {
            fields.push((
                "address",
                "DMX start address",
                unit.address
                    .map_or_else(String::new, |address| address.to_string()),
            ));
            fields.push(("serial", "Maker's number", unit.serial.clone()));
        }
        if let Some(frame) = &self.frame {
            fields.push(("name", "Name", frame.name.to_string()));
            fields.push(("width_um", "Width", cx.exact(frame.width_um)));
            fields.push(("height_um", "Height", cx.exact(frame.height_um)));
        }
        if let Some(at) = &self.fixture {
            fields.extend(look_fields(cx, at));
        }
        fields
    }

    fn filled(&self, fields: &[(&'static str, &'static str, String)]) -> Form {
        let filled = fields.iter().filter(|(_, _, value)| !value.is_empty());
        let mut form = Form::filled(filled.map(|(name, _, value)| (*name, value.clone())));
        form.set("version", self.thing.version.to_string());
        form
    }
}

async fn show(cx: &Cx, id: ThingId, typed: Option<Form>, status: StatusCode) -> Answer {
    let stored = Stored::load(cx, id).await?;
    let fields = stored.fields(cx);
    let changed = status == StatusCode::PRECONDITION_FAILED;
    let now = stored.filled(&fields);
    let mut form = typed.unwrap_or_else(|| now.clone());
    let clash = if changed {
        let parts = match &stored.fixture {
            Some(_) => db::part::list(&mut *cx.read().await?, None, true).await?,
            None => Vec::new(),
        };
        let labels: Vec<Field> = fields
            .iter()
            .map(|(name, label, _)| (*name, *label))
            .collect();
        let clash = Clash::meet(&mut form, &now, &labels, |name, value| match name {
            "tape" | "profile" => parts
                .iter()
                .find(|part| part.id.to_string() == value)
                .map_or_else(|| value.to_owned(), |part| part.name.to_string()),
            "diffused" => tick_words(value),
            _ => value.to_owned(),
        });
        Some(clash)
    } else {
        None
    };
    let look = match &stored.fixture {
        Some(_) => Some(LookChoices {
            made_here: stored.made_here,
            ..choices(&mut *cx.read().await?, &form).await?
        }),
        None => None,
    };
    Ok(page_with(
        status,
        &EditPage {
            chrome: cx.chrome(Section::Cupboard, format!("Notes on {}", stored.thing.tag)),
            back: Link::Thing(id),
            tag: stored.thing.tag.to_string(),
            driver: stored.thing.part_kind == Some(Kind::Driver),
            unit: stored.unit.is_some(),
            frame: stored.frame.is_some(),
            look,
            clash,
            form,
        },
    ))
}

/// GET: the form.
pub async fn get(cx: Cx, Path(id): Path<ThingId>) -> Answer {
    show(&cx, id, None, StatusCode::OK).await
}

/// POST: saves what is noted.
pub async fn post(cx: Cx, Path(id): Path<ThingId>, mut form: Form) -> Answer {
    let stored = Stored::load(&cx, id).await?;
    let note = form.note("note");
    let inspect_on = form.optional("inspect_on", parse_date);
    let mut remark = None;
    let more = if stored.unit.is_some() {
        let address = form.optional("address", |text| {
            text.trim()
                .parse::<u16>()
                .ok()
                .filter(|address| (1..=512).contains(address))
                .ok_or("A DMX start address is a whole number from 1 to 512.")
        });
        let serial = form.take("serial", |text| {
            if text.chars().count() > 120 {
                Err("The limit is 120 characters. Shorten it.")
            } else {
                Ok(text.trim().to_owned())
            }
        });
        address
            .zip(serial)
            .map(|(address, serial)| EditMore::Unit { address, serial })
    } else if stored.frame.is_some() {
        let name = form.name("name");
        let size = |form: &mut Form, field| {
            form.optional(field, |text| Length::parse(text, cx.unit()))
                .map(Option::unwrap_or_default)
        };
        let (width, height) = (size(&mut form, "width_um"), size(&mut form, "height_um"));
        name.zip(width.zip(height))
            .map(|(name, (width_um, height_um))| EditMore::Frame {
                name,
                width_um,
                height_um,
            })
    } else if let Some(was) = &stored.fixture {
        let was = &was.fixture.make;
        let look = look(&cx, &mut form).await?;
        if let Some((make, _)) = &look
            && (make.lit_um, make.tape) != (was.lit_um, was.tape)
        {
            remark = between_marks(&cx, make).await?;
        }
        look.map(|(make, batch)| EditMore::Fixture { make, batch })
    } else {
        Some(EditMore::Nothing)
    };
    let (Some(note), Some(inspect_on), Some(more)) = (note, inspect_on, more) else {
        return show(&cx, id, Some(form), StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let change = EditThing {
        thing: id,
        version: form.value("version").parse().unwrap_or(-1),
        note,
        inspect_on,
        more,
    };
    match cx.act(&form).carry_out(&change).await {
        Ok(_) => {
            let mut flash = Flash::good("The notes were saved.");
            if let Some(remark) = remark {
                flash.kind = FlashKind::Warn;
                flash.text = format!("{} {remark}", flash.text);
            }
            Ok(go_with(&Link::Thing(id), &flash))
        }
        Err(StockError::Changed) => {
            show(&cx, id, Some(form), StatusCode::PRECONDITION_FAILED).await
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, id, Some(form), status).await
        }
    }
}
