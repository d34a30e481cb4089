//! POST: takes a set from one state to another.

use super::load;
use crate::{
    model::{design::State, id::DesignId},
    stock::{self, StockError},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Flash, FlashKind, go_with},
    },
};

/// POST: the change of state that a button asks for.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let back = Link::Design(id);
    let Ok(to) = form.value("to").parse::<State>() else {
        return Err(Trouble::new(
            axum::http::StatusCode::UNPROCESSABLE_ENTITY,
            "This button names no state that a set can have. Nothing was changed.",
        )
        .or_go(back, "To the set"));
    };
    let version = form.value("version").parse().unwrap_or(0);
    match stock::state::go(&cx.act(&form), id, version, to).await {
        Ok(gone) => {
            let mut text = format!("The set is {to} now.");
            let kind = if gone.missing.is_empty() {
                FlashKind::Good
            } else {
                text.push_str(" Not there to go along: ");
                text.push_str(&gone.missing.join("; "));
                FlashKind::Warn
            };
            let to_page = match to {
                State::Building => Link::Build(id),
                _ => back,
            };
            Ok(go_with(
                &to_page,
                &Flash {
                    kind,
                    text,
                    undoes: None,
                    toward: None,
                    lines: Vec::new(),
                },
            ))
        }
        Err(StockError::NotFound("set")) => Err(load::no_design()),
        Err(StockError::Changed) => Err(load::changed(&back)),
        Err(why) => Err(Trouble::from(why).or_go(back, "To the set")),
    }
}
