//! The printed sheets of a set in one: cautions, bars, cuts, wires, addresses, loads, shopping.

use askama::Template;

use super::{
    Head, Tab, Whole,
    address::{AddressRow, data_words, rows as address_rows},
    cuts::{CutRow, rows as cut_rows, solder},
    head, load,
    power::{Loads, loads},
    short::{MoneyWords, NeedRow, money, row as need_row},
    volts::{VoltsShown, shown},
    wiring::{FrameWires, Run, by_frame, runs},
};
use crate::{
    model::id::DesignId,
    plan::outcome::{CheckState, Serve},
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, page},
    },
};

struct BarRow {
    label: String,
    length: String,
    colours: String,
    served: String,
    output: String,
}

struct CheckRow {
    state: CheckState,
    about: String,
    sentence: String,
    reason: String,
}

#[derive(Template)]
#[template(path = "design/sheet.html")]
struct SheetPage {
    chrome: Chrome,
    head: Head,
    paper: &'static str,
    other: (Link, &'static str),
    picture: String,
    bars: Vec<BarRow>,
    broken: Vec<CheckRow>,
    cuts: Vec<(String, Vec<CutRow>)>,
    solder: Vec<String>,
    frames: Vec<FrameWires>,
    runs: Vec<Run>,
    volts: VoltsShown,
    loads: Loads,
    addresses: Vec<AddressRow>,
    data: Vec<String>,
    needs: Vec<NeedRow>,
    money: MoneyWords,
    printed: String,
}

fn bars(cx: &Cx, whole: &Whole) -> Vec<BarRow> {
    whole
        .plan()
        .bars
        .iter()
        .filter_map(|plan| {
            let bar = whole.bar(plan.bar)?;
            Some(BarRow {
                label: plan.label.clone(),
                length: cx.length(bar.length_um),
                colours: format!(
                    "{}, {}",
                    bar.channels,
                    if bar.diffused { "diffused" } else { "bare" }
                ),
                served: match &plan.serve {
                    Serve::Reuse { tag, .. } => format!("reused: {tag}"),
                    Serve::Build(build) => {
                        format!("to build, {} lit", cx.length(build.lit_um))
                    }
                    Serve::Short { .. } => "SHORT".to_owned(),
                },
                output: plan.output.map_or_else(String::new, |output| {
                    format!(
                        "{}, output {}",
                        whole.driver_name(output.driver),
                        output.output
                    )
                }),
            })
        })
        .collect()
}

/// GET: `all` on A4, or with `?paper=letter` on Letter.
pub async fn get(cx: Cx, Path((id, which)): Path<(DesignId, String)>, form: Form) -> Answer {
    if which != "all" {
        return Err(Trouble::not_found("sheet").or_go(Link::Sheet(id, "all"), "To the sheets"));
    }
    let whole = load::whole(&cx, id).await?;
    let (mut chrome, head) = head(&cx, &whole, Tab::Set);
    chrome.title = format!("Sheets · {}", head.name);
    let letter = form.value("paper") == "letter";
    let broken = whole
        .plan()
        .checks
        .iter()
        .filter(|check| check.state < CheckState::Passed)
        .map(|check| CheckRow {
            state: check.state,
            about: check.about.clone(),
            sentence: check.sentence.clone(),
            reason: whole.reasons.get(&check.key).cloned().unwrap_or_default(),
        })
        .collect();
    Ok(page(&SheetPage {
        chrome,
        paper: if letter { "letter" } else { "a4" },
        other: if letter {
            (Link::Sheet(id, "all"), "On A4")
        } else {
            (Link::Sheet(id, "all?paper=letter"), "On Letter")
        },
        picture: whole.elevation(&cx),
        bars: bars(&cx, &whole),
        broken,
        cuts: cut_rows(&cx, &whole),
        solder: solder(&whole),
        frames: by_frame(&cx, &whole),
        runs: runs(&whole),
        volts: shown(&cx, &whole),
        loads: loads(&cx, &whole),
        addresses: address_rows(&whole),
        data: data_words(&whole),
        needs: whole
            .plan()
            .needs
            .iter()
            .map(|need| need_row(&cx, &whole, need))
            .collect(),
        money: money(&cx, &whole),
        printed: super::day(cx.today),
        head,
    }))
}
