//! A part typed in: new, as a copy of another, or changed; and retiring and deleting it.

use askama::Template;
use axum::http::StatusCode;

use super::{
    at::Path,
    clash::{self, Clash, tick_words},
    cx::Cx,
    error::{Answer, Trouble},
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page, page_with},
};
use crate::{
    db::{self, ReadTx, part::NewPart},
    model::{
        attribute::{self, Attribute, Typed},
        id::PartId,
        part::{Kind, Part, PartSpec},
        text::{NAME_LIMIT, Name, Note},
    },
    stock::{StockError, catalogue},
    units::LengthUnit,
};

/// A field of the form that comes from the table of attributes.
struct Field {
    label: &'static str,
    name: &'static str,
    value: String,
    errors: Vec<String>,
    hint: String,
    need: bool,
    /// What may be chosen, where there is a list.
    choices: Option<Vec<Choice>>,
    /// A list of several things, which wants several lines.
    long: bool,
    /// A whole number.
    number: bool,
}

impl Field {
    fn errors(&self) -> &[String] {
        &self.errors
    }
}

#[derive(Template)]
#[template(path = "part/edit.html")]
struct EditPage {
    chrome: Chrome,
    form: Form,
    action: Link,
    back: Link,
    back_label: String,
    needed: Vec<Field>,
    known: Vec<Field>,
    save: &'static str,
    clash: Option<Clash>,
}

#[derive(Template)]
#[template(path = "part/kinds.html")]
struct KindsPage {
    chrome: Chrome,
    kinds: Vec<(Link, Kind, &'static str)>,
}

/// What a kind is, for whoever has to choose one.
const fn kind_in_words(kind: Kind) -> &'static str {
    match kind {
        Kind::Tape => "LED tape on rolls, cut at its marks",
        Kind::Profile => "the channel that tape lies in, with its cover",
        Kind::Lead => "a plug or socket with bare wires",
        Kind::Coupler => "joins two plugs, or changes male to female",
        Kind::Block => "screws or levers that join wires",
        Kind::Cable => "wire on reels",
        Kind::Driver => "dims the colours, set by DMX",
        Kind::Supply => "makes low voltage from the mains",
        Kind::Data => "DMX cables, terminators, splitters",
        Kind::Sundry => "solder, heat-shrink, clips, screws, fuses, labels",
    }
}

/// What the form is for.
enum Purpose {
    New(Kind),
    Change(PartId),
}

impl Purpose {
    fn page(self, cx: &Cx, form: Form, fields: Vec<Field>, clash: Option<Clash>) -> EditPage {
        let (needed, known) = fields.into_iter().partition(|field| field.need);
        let (action, back, back_label, save, title) = match self {
            Self::New(kind) => (
                Link::PartNew(kind.word()),
                Link::CupboardKind(kind.word()),
                "Cupboard".to_owned(),
                "Add to the catalogue",
                format!("New {kind}"),
            ),
            Self::Change(id) => (
                Link::PartEdit(id),
                Link::Part(id),
                "Back to the part".to_owned(),
                "Save",
                format!("Change {}", form.value("name")),
            ),
        };
        EditPage {
            chrome: cx.chrome(Section::Cupboard, title),
            form,
            action,
            back,
            back_label,
            needed,
            known,
            save,
            clash,
        }
    }
}

/// The fields of a kind as the form holds them.
async fn fields(tx: &mut ReadTx, kind: Kind, form: &Form) -> Result<Vec<Field>, Trouble> {
    let mut fields = Vec::new();
    for attribute in attribute::of(kind) {
        let value = form.value(attribute.name);
        fields.push(Field {
            label: attribute.label,
            name: attribute.name,
            value: value.to_owned(),
            errors: form.errors(attribute.name).to_vec(),
            hint: hint(attribute),
            need: attribute.need,
            choices: choices(tx, attribute, value).await?,
            long: matches!(
                attribute.typed,
                Typed::Channels | Typed::Inlets | Typed::Connector
            ),
            number: matches!(attribute.typed, Typed::Count { .. }),
        });
    }
    Ok(fields)
}

fn hint(attribute: &Attribute) -> String {
    let mut hint = attribute.meaning.to_owned();
    if !attribute.hint.is_empty() {
        hint = format!("{hint} {}.", attribute.hint.trim_end_matches('.'));
    }
    if let Some((_, word)) = attribute.only_where {
        hint = format!("Only for a {word}. {hint}");
    }
    hint
}

async fn choices(
    tx: &mut ReadTx,
    attribute: &Attribute,
    value: &str,
) -> Result<Option<Vec<Choice>>, Trouble> {
    let mut pairs: Vec<(String, String)> = match (attribute.typed, attribute.typed.choices()) {
        (Typed::Part(kind), _) => db::part::list(tx, Some(kind), true)
            .await?
            .into_iter()
            .map(|part| (part.id.to_string(), part.name.to_string()))
            .collect(),
        // What is read is what is shown, so that a form filled from a part has it chosen.
        (_, Some(words)) => words
            .into_iter()
            .map(|(_, read)| (read.clone(), read))
            .collect(),
        (_, None) => return Ok(None),
    };
    // An empty text stands for `unknown`, which need not be offered twice.
    pairs.retain(|pair| pair.1 != "unknown");
    let value = if value == "unknown" { "" } else { value };
    let empty = match (attribute.need, attribute.typed) {
        (true, _) => "choose",
        (false, Typed::Part(_)) => "any",
        (false, _) => "unknown",
    };
    pairs.insert(0, (String::new(), empty.to_owned()));
    Ok(Some(Choice::list(pairs, value)))
}

/// The form's fields filled from a part.
fn filled(part: &Part, unit: LengthUnit) -> Form {
    let mut form = Form::filled([
        ("name", part.name.as_str()),
        ("code", &part.code),
        ("note", part.note.as_str()),
    ]);
    if part.typical {
        form.set("typical", "on");
    }
    form.set("version", part.version.to_string());
    for shown in attribute::show(&part.spec, unit) {
        form.set(shown.attribute.name, shown.text);
    }
    form
}

/// What the form says of a part, if nothing is wrong with it.
struct Typing {
    name: Name,
    code: String,
    spec: PartSpec,
    typical: bool,
    note: Note,
}

fn read(form: &mut Form, kind: Kind, unit: LengthUnit) -> Option<Typing> {
    let name = form.name("name");
    let note = form.note("note");
    let code = form.take("code", |text| {
        let text = text.trim();
        if text.chars().count() > NAME_LIMIT {
            Err(format!("A code has at most {NAME_LIMIT} characters."))
        } else if text.chars().any(char::is_control) {
            Err("This holds a character that cannot be printed. Remove it.".to_owned())
        } else {
            Ok(text.to_owned())
        }
    });
    let typical = form.ticked("typical");
    let spec = attribute::parse(kind, unit, |attribute| form.value(attribute.name));
    let spec = spec.map_err(|errors| {
        for error in errors {
            form.fail(error.field, error.message);
        }
    });
    Some(Typing {
        name: name?,
        code: code?,
        spec: spec.ok()?,
        typical,
        note: note?,
    })
}

/// What went wrong beside its field, or as trouble of its own.
fn fail(form: &mut Form, why: StockError) -> Result<StatusCode, Trouble> {
    match why {
        StockError::Field { field, message } => {
            form.fail(&field, message);
            Ok(StatusCode::UNPROCESSABLE_ENTITY)
        }
        why if why.refusal().is_some() => {
            form.fail("", why);
            Ok(StatusCode::CONFLICT)
        }
        why => Err(why.into()),
    }
}

async fn new_page(cx: &Cx, kind: Kind, form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let fields = fields(&mut tx, kind, &form).await?;
    let shown = Purpose::New(kind).page(cx, form, fields, None);
    Ok(page_with(status, &shown))
}

/// GET: the form of a kind, or the kinds to choose from.
pub async fn get_new(cx: Cx, form: Form) -> Answer {
    match form.value("kind").parse::<Kind>() {
        Ok(kind) => new_page(&cx, kind, Form::default(), StatusCode::OK).await,
        Err(_) => Ok(page(&KindsPage {
            chrome: cx.chrome(Section::Cupboard, "What kind of part?"),
            kinds: Kind::ALL
                .iter()
                .map(|kind| (Link::PartNew(kind.word()), *kind, kind_in_words(*kind)))
                .collect(),
        })),
    }
}

/// The kind that the address of a new part names.
#[derive(serde::Deserialize)]
pub struct Asked {
    kind: Option<String>,
}

/// POST: adds the part.
pub async fn post_new(
    cx: Cx,
    axum::extract::Query(asked): axum::extract::Query<Asked>,
    mut form: Form,
) -> Answer {
    let Some(kind) = asked.kind.and_then(|kind| kind.parse::<Kind>().ok()) else {
        return Err(
            Trouble::not_found("kind of part").or_go(Link::PartNew(""), "To the kinds of parts")
        );
    };
    let Some(typing) = read(&mut form, kind, cx.unit()) else {
        return new_page(&cx, kind, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let new = NewPart {
        name: typing.name,
        code: typing.code,
        spec: typing.spec,
        typical: typing.typical,
        ready_made: None,
        note: typing.note,
    };
    match catalogue::add(&cx.act(&form), &new).await {
        Ok(id) => Ok(go_with(
            &Link::Part(id),
            &Flash::good(format!(
                "{} is in the catalogue. Put in what you have of it.",
                new.name
            )),
        )),
        Err(why) => {
            let status = fail(&mut form, why)?;
            new_page(&cx, kind, form, status).await
        }
    }
}

async fn find(tx: &mut ReadTx, id: PartId) -> Result<Part, Trouble> {
    db::part::lookup(tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("part").or_go(Link::Cupboard, "To the cupboard"))
}

/// GET: the form of a new part, filled in from another.
pub async fn get_copy(cx: Cx, Path(id): Path<PartId>) -> Answer {
    let part = find(&mut cx.read().await?, id).await?;
    let kind = part.spec.kind();
    let mut form = filled(&part, cx.unit());
    let name: String = format!("{} (copy)", part.name)
        .chars()
        .take(NAME_LIMIT)
        .collect();
    form.set("name", name);
    new_page(&cx, kind, form, StatusCode::OK).await
}

async fn change_page(
    cx: &Cx,
    part: &Part,
    form: Form,
    status: StatusCode,
    clash: Option<Clash>,
) -> Answer {
    let kind = part.spec.kind();
    let mut tx = cx.read().await?;
    let fields = fields(&mut tx, kind, &form).await?;
    let shown = Purpose::Change(part.id).page(cx, form, fields, clash);
    Ok(page_with(status, &shown))
}

/// GET: the form filled in.
pub async fn get_edit(cx: Cx, Path(id): Path<PartId>) -> Answer {
    let part = find(&mut cx.read().await?, id).await?;
    let form = filled(&part, cx.unit());
    change_page(&cx, &part, form, StatusCode::OK, None).await
}

/// POST: saves, unless somebody else did meanwhile.
pub async fn post_edit(cx: Cx, Path(id): Path<PartId>, mut form: Form) -> Answer {
    let stored = find(&mut cx.read().await?, id).await?;
    let kind = stored.spec.kind();
    let version = form.count("version", 1, i64::MAX);
    let typing = read(&mut form, kind, cx.unit());
    let (Some(version), Some(typing)) = (version, typing) else {
        return change_page(&cx, &stored, form, StatusCode::UNPROCESSABLE_ENTITY, None).await;
    };
    let part = Part {
        id,
        name: typing.name,
        code: typing.code,
        spec: typing.spec,
        typical: typing.typical,
        note: typing.note,
        retired: stored.retired,
        version,
    };
    match catalogue::change(&cx.act(&form), &part).await {
        Ok(()) => Ok(go_with(
            &Link::Part(id),
            &Flash::good(format!("{} was changed.", part.name)),
        )),
        Err(StockError::Changed) => {
            let stored = find(&mut cx.read().await?, id).await?;
            let now = filled(&stored, cx.unit());
            let clash = Clash::meet(&mut form, &now, &clashing(kind), |name, value| match name {
                "typical" => tick_words(value),
                _ => value.to_owned(),
            });
            let status = StatusCode::PRECONDITION_FAILED;
            change_page(&cx, &stored, form, status, Some(clash)).await
        }
        Err(why) => {
            let status = fail(&mut form, why)?;
            change_page(&cx, &stored, form, status, None).await
        }
    }
}

/// The fields of a kind's form.
fn clashing(kind: Kind) -> Vec<clash::Field> {
    let before = [("name", "Name"), ("code", "Code"), ("note", "Notes")];
    let own = attribute::of(kind).iter().map(|a| (a.name, a.label));
    let last = [("typical", "Typical figures")];
    before.into_iter().chain(own).chain(last).collect()
}

/// POST: retires the part, or offers it again.
pub async fn post_retire(cx: Cx, Path(id): Path<PartId>, form: Form) -> Answer {
    let retired = form.value("retired") == "1";
    catalogue::retire(&cx.act(&form), id, retired).await?;
    Ok(go_with(
        &Link::Part(id),
        &Flash::good(if retired {
            "The part is retired: no new set uses it. What there is of it stays in the book."
        } else {
            "The part is offered again."
        }),
    ))
}

/// POST: deletes the part, unless something uses it.
pub async fn post_delete(cx: Cx, Path(id): Path<PartId>, form: Form) -> Answer {
    match catalogue::remove(&cx.act(&form), id).await {
        Ok((name, kind)) => Ok(go_with(
            &Link::CupboardKind(kind.word()),
            &Flash::good(format!("{name} is no longer in the catalogue.")),
        )),
        Err(why) if why.refusal().is_some() => {
            Ok(go_with(&Link::Part(id), &Flash::stop(why.to_string())))
        }
        Err(why) => Err(Trouble::from(why).or_go(Link::Part(id), "To the part")),
    }
}
