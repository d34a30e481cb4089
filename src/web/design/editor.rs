//! What the elevation's editor begins with: the set as data, the grid, the running answer.

use serde::Serialize;

use super::{Whole, backdrop, count_of, short::money};
use crate::{
    draw::float,
    model::{
        design::{Bar, Frame},
        part::Kind,
        text::Name,
    },
    plan::other::Tally,
    units::{Length, LengthUnit, Power},
    web::cx::{Cx, nobody_said},
};

/// One figure of the running answer.
pub struct Figure {
    /// What it is.
    pub label: String,
    /// The figure.
    pub value: String,
}

/// What stands beside the drawing: what the set asks for, as it is stored now.
pub struct Answer {
    /// The figures.
    pub figures: Vec<Figure>,
    /// What more there is to say, if anything.
    pub more: Vec<String>,
}

/// The running answer of a set.
pub fn answer(cx: &Cx, whole: &Whole) -> Answer {
    let counts = whole.counts();
    let tally = Tally::of(whole.plan());
    let money = money(cx, whole);
    let figure = |label: &str, value: String| Figure {
        label: label.to_owned(),
        value,
    };
    let mut figures = vec![figure("bars reused", counts.reused.to_string())];
    if counts.built > 0 {
        figures.push(figure("bars built", counts.built.to_string()));
    }
    figures.push(figure("bars to build", counts.build.to_string()));
    figures.push(figure("bars short", counts.short.to_string()));
    figures.push(figure("parts short", whole.short_needs().to_string()));
    figures.push(figure("tape to buy", tape_to_buy(cx, whole)));
    figures.push(figure("ends to solder", tally.soldered.to_string()));
    figures.push(figure("at full", watts(whole)));
    figures.push(figure("to buy in all", money.alone));
    let mut more = Vec::new();
    if money.unpriced > 0 {
        let parts = money.unpriced;
        more.push(format!(
            "{} without a price",
            count_of(parts, "part", "parts")
        ));
    }
    if tally.not_kept > 0 {
        more.push(count_of(
            tally.not_kept,
            "limit is broken or not known",
            "limits are broken or not known",
        ));
    }
    if let Some(budget) = money.budget {
        more.push(format!("budget {budget}"));
    }
    Answer { figures, more }
}

/// The rolls of tape to buy, end to end.
fn tape_to_buy(cx: &Cx, whole: &Whole) -> String {
    let plan = whole.plan();
    let tapes = plan.needs.iter().filter(|need| {
        let part = need.part.and_then(|id| whole.part(id));
        part.is_some_and(|part| part.spec.kind() == Kind::Tape)
    });
    let um: i64 = tapes
        .map(|need| {
            let bought = need.buy.iter();
            let bought: i64 = bought
                .map(|buy| i64::from(buy.packs).saturating_mul(buy.pack_amount))
                .fold(0, i64::saturating_add);
            let unpriced = need.unpriced.iter();
            unpriced
                .map(|rolls| i64::from(rolls.rolls).saturating_mul(rolls.roll_um.get()))
                .fold(bought, i64::saturating_add)
        })
        .fold(0, i64::saturating_add);
    Length::new(um).map_or_else(|_| "more than 1 km".to_owned(), |length| cx.length(length))
}

/// What all bars take together; a bar of unknown power makes the sum a least.
fn watts(whole: &Whole) -> String {
    let bars = &whole.plan().bars;
    let known = bars.iter().filter_map(|bar| bar.power_mw);
    let sum = known.map(Power::get).fold(0, i64::saturating_add);
    let words = Power::new(sum).map_or_else(|why| why.to_string(), Power::show);
    if bars.iter().any(|bar| bar.power_mw.is_none()) {
        format!("{words} and what is not known")
    } else {
        words
    }
}

#[derive(Serialize)]
struct Unit {
    name: &'static str,
    um: i64,
    metric: bool,
}

type BarData = (i64, String, i64, i64, i64, i32, &'static str, i64);

/// The set as the editor's script reads it.
#[derive(Serialize)]
struct Data {
    design: i64,
    version: i64,
    who: Name,
    unit: Unit,
    grid: Vec<(i64, String)>,
    /// Id, label, left end along and up, length, angle, look, frame.
    bars: Vec<BarData>,
    /// Id, label, left and lower edge, width, height.
    frames: Vec<(i64, String, i64, i64, i64, i64)>,
    picture: Option<Picture>,
}

/// The picture that lies under it.
#[derive(Serialize)]
struct Picture {
    href: String,
    x: i64,
    y: i64,
    w: i64,
    h: i64,
    px: (u32, u32),
    opacity: f64,
    class: &'static str,
}

fn picture(whole: &Whole) -> Option<Picture> {
    let picture = whole.picture.as_ref()?;
    let drawn = backdrop::drawn(whole.design().id, picture);
    Some(Picture {
        px: (picture.looks.width_px, picture.looks.height_px),
        opacity: float(drawn.opacity) / 100.0,
        class: if drawn.print {
            "backdrop printed"
        } else {
            "backdrop"
        },
        x: drawn.x_um,
        y: drawn.y_um,
        w: drawn.width_um,
        h: drawn.height_um,
        href: drawn.href,
    })
}

/// Steps of the grid, in the venue's own unit, with their words.
pub fn grid(unit: LengthUnit) -> Vec<(i64, String)> {
    let steps: &[i64] = if unit.metric() {
        &[10_000, 50_000, 100_000, 250_000, 500_000, 1_000_000]
    } else {
        &[12_700, 25_400, 76_200, 152_400, 304_800, 914_400]
    };
    let words = steps
        .iter()
        .filter_map(|um| Some((*um, Length::new(*um).ok()?.show(unit))));
    words.chain([(0, "off".to_owned())]).collect()
}

/// A usual step of copies, as a plain number of the venue's unit.
pub fn usual_step(unit: LengthUnit) -> String {
    match unit {
        LengthUnit::Mm => "300",
        LengthUnit::Cm => "30",
        LengthUnit::M => "0.3",
        LengthUnit::In => "12",
        LengthUnit::Ft => "1",
    }
    .to_owned()
}

/// The set as JSON that may stand in a page.
pub fn data(cx: &Cx, whole: &Whole) -> String {
    let design = whole.design();
    let unit = cx.unit();
    let bar = |bar: &Bar| {
        (
            bar.id.0,
            bar.label.to_string(),
            bar.x_um.get(),
            bar.y_um.get(),
            bar.length_um.get(),
            bar.angle_mdeg,
            whole.look(bar.id).word(),
            bar.frame.map_or(0, |frame| frame.0),
        )
    };
    let frame = |frame: &Frame| {
        (
            frame.id.0,
            frame.label.to_string(),
            frame.x_um.get(),
            frame.y_um.get(),
            frame.width_um.get(),
            frame.height_um.get(),
        )
    };
    let data = Data {
        design: design.id.0,
        version: design.version,
        who: cx.who.clone().unwrap_or_else(nobody_said),
        unit: Unit {
            name: unit.as_str(),
            um: unit.um(),
            metric: unit.metric(),
        },
        grid: grid(unit),
        bars: design.bars.iter().map(bar).collect(),
        frames: design.frames.iter().map(frame).collect(),
        picture: picture(whole),
    };
    // A label may hold what would end the element that this stands in.
    serde_json::to_string(&data)
        .unwrap_or_default()
        .replace('<', "\\u003c")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_has_steps_of_the_own_unit_and_can_be_off() {
        let words = |unit| {
            grid(unit)
                .into_iter()
                .map(|(_, word)| word)
                .collect::<Vec<_>>()
        };
        assert_eq!(words(LengthUnit::Mm)[..2], ["10 mm", "50 mm"]);
        assert_eq!(words(LengthUnit::Ft)[..4], ["0.5\"", "1\"", "3\"", "6\""]);
        for unit in LengthUnit::ALL {
            assert_eq!(grid(unit).last(), Some(&(0, "off".to_owned())));
        }
    }
}
