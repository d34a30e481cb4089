//! Every limit and agreement: kept, broken or not known, and what would mend it.

use std::collections::{HashMap, hash_map::Entry};

use askama::Template;
use axum::http::StatusCode;

use super::{
    BarList, Head, Tab, Whole, count_of, head, load,
    taken::{self, Taken},
    volts::{VoltsShown, shown},
};
use crate::{
    draw::elevation::Look,
    model::id::{BarId, DesignId},
    plan::{outcome::CheckState, source},
    stock::{self, StockError, design::REASON_LIMIT},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Flash, go_with, page_with},
    },
};

struct Row {
    key: String,
    field: String,
    state: CheckState,
    about: String,
    sentence: String,
    mend: String,
    reason: Option<String>,
    rests_on: &'static str,
    /// Whether somebody else has what was chosen: then no reason is asked for.
    taken: bool,
}

#[derive(Template)]
#[template(path = "design/checks.html")]
struct ChecksPage {
    chrome: Chrome,
    head: Head,
    open: Vec<Row>,
    warned: Vec<Row>,
    passed: Vec<Row>,
    /// How many there are of those.
    kept: usize,
    volts: VoltsShown,
    summary: String,
    /// Bars that nothing serves, on which nothing could be judged.
    unserved: Option<BarList>,
    /// What was chosen and somebody else has.
    taken: Vec<Taken>,
    form: Form,
}

/// What says the same of several things said once, of all of them.
fn gathered(rows: Vec<Row>) -> Vec<Row> {
    let mut gathered: Vec<Row> = Vec::new();
    let mut known: HashMap<(String, String), usize> = HashMap::new();
    for row in rows {
        match known.entry((row.sentence.clone(), row.mend.clone())) {
            Entry::Occupied(same) => {
                let about = &mut gathered[*same.get()].about;
                about.push_str(", ");
                about.push_str(&row.about);
            }
            Entry::Vacant(new) => {
                new.insert(gathered.len());
                gathered.push(row);
            }
        }
    }
    gathered
}

fn show(cx: &Cx, whole: &Whole, form: Form) -> Answer {
    let (chrome, head) = head(cx, whole, Tab::Checks);
    let others = taken::keys(whole);
    let (mut open, mut warned, mut passed) = (Vec::new(), Vec::new(), Vec::new());
    for (at, check) in whole.plan().checks.iter().enumerate() {
        let row = Row {
            key: check.key.clone(),
            field: format!("reason-{at}"),
            state: check.state,
            about: check.about.clone(),
            sentence: check.sentence.clone(),
            mend: check.mend.clone(),
            reason: whole.reasons.get(&check.key).cloned(),
            rests_on: source::rests_on(&check.key),
            taken: others.contains(&check.key),
        };
        match check.state {
            CheckState::Broken | CheckState::Unknown => open.push(row),
            CheckState::Warned => warned.push(row),
            CheckState::Passed => passed.push(row),
        }
    }
    let unexplained = whole.unexplained();
    let (mended, missing): (Vec<_>, Vec<_>) = unexplained
        .into_iter()
        .partition(|check| others.contains(&check.key));
    let (mended, missing) = (mended.len(), missing.len());
    let summary = if whole.plan().checks.is_empty() {
        "There is nothing to check yet: the set has no bar.".to_owned()
    } else if open.is_empty() {
        let kept = count_of(
            passed.len(),
            "limit or agreement is",
            "limits and agreements are",
        );
        if warned.is_empty() {
            format!("None is broken: {kept} kept.")
        } else {
            let look = count_of(warned.len(), "more wants", "more want");
            format!("None is broken: {kept} kept, {look} a look.")
        }
    } else {
        format!(
            "{} broken or not known. {}",
            count_of(
                open.len(),
                "limit or agreement is",
                "limits or agreements are"
            ),
            if mended > 0 {
                "What others have is chosen otherwise before it can be reserved; of the rest each is \
                 mended, or has its written reason."
                    .to_owned()
            } else if missing == 0 {
                "Each has its written reason, which prints on the sheets.".to_owned()
            } else {
                format!(
                    "Mend them, or write down why the set is used all the same: {} still needed before it can be reserved.",
                    count_of(missing, "reason is", "reasons are")
                )
            }
        )
    };
    let unserved: Vec<BarId> = whole
        .plan()
        .bars
        .iter()
        .filter(|plan| whole.look(plan.bar) == Look::Short)
        .map(|plan| plan.bar)
        .collect();
    let status = if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    Ok(page_with(
        status,
        &ChecksPage {
            chrome,
            head,
            open,
            kept: passed.len(),
            warned: gathered(warned),
            passed: gathered(passed),
            volts: shown(cx, whole),
            summary,
            taken: taken::taken(whole),
            unserved: (!unserved.is_empty()).then(|| whole.bar_list(&unserved)),
            form,
        },
    ))
}

/// GET: the checks.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    show(&cx, &load::whole(&cx, id).await?, Form::default())
}

/// POST: writes down why a limit is broken on purpose, or takes the reason back when it is empty.
pub async fn reason(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let key = form.value("key").to_owned();
    let Some(check) = whole.plan().checks.iter().find(|check| check.key == key) else {
        form.fail(
            "",
            "The plan has changed, and this check is no longer in it. Nothing was kept.",
        );
        return show(&cx, &whole, form);
    };
    let about = check.about.clone();
    let reason = form.value("reason").trim().to_owned();
    let count = reason.chars().count();
    if count > REASON_LIMIT {
        form.fail(
            "reason",
            format!("This is {count} characters long; the limit is {REASON_LIMIT}. Shorten it."),
        );
    } else if reason
        .chars()
        .any(|c| c.is_control() && c != '\n' && c != '\r')
    {
        form.fail(
            "reason",
            "This holds a character that cannot be printed. Remove it and try again.",
        );
    } else if reason.is_empty() && !whole.reasons.contains_key(&key) {
        form.fail("reason", "Write down why, in a sentence.");
    }
    if !form.ok() {
        return show(&cx, &whole, form);
    }
    match stock::design::give_reason(&cx.act(&form), id, &key, &reason).await {
        Ok(()) if reason.is_empty() => Ok(go_with(
            &Link::Checks(id),
            &Flash::good(format!("The reason for {about} was taken back.")),
        )),
        Ok(()) => Ok(go_with(
            &Link::Checks(id),
            &Flash::good(format!(
                "The reason for {about} is kept and prints on the sheets."
            )),
        )),
        Err(StockError::Field { message, .. }) => {
            form.fail("reason", message);
            show(&cx, &whole, form)
        }
        Err(why) => Err(why.into()),
    }
}
