//! What one plan asks beside another, in words.

use super::count_of;
use crate::{plan::other::Tally, units::Money, web::cx::Cx};

/// `1 more bar is short`, `2 bars fewer are short`; nothing where there is no difference.
fn bars(more: i64, is: &str, are: &str) -> Option<String> {
    let count = usize::try_from(more.unsigned_abs()).unwrap_or(usize::MAX);
    let verb = if count == 1 { is } else { are };
    match more {
        0 => None,
        1.. => Some(format!(
            "{} {verb}",
            count_of(count, "more bar", "more bars")
        )),
        _ => Some(format!(
            "{} {verb}",
            count_of(count, "bar fewer", "bars fewer")
        )),
    }
}

/// `2 more ends to solder`, `1 end fewer to solder`.
fn counted(more: i64, one: &str, many: &str, what: &str) -> Option<String> {
    let count = usize::try_from(more.unsigned_abs()).unwrap_or(usize::MAX);
    let word = if count == 1 { one } else { many };
    match more {
        0 => None,
        1.. => Some(format!("{count} more {word} {what}")),
        _ => Some(format!("{count} {word} fewer {what}")),
    }
}

fn more(one: usize, other: usize) -> i64 {
    let signed = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
    signed(one) - signed(other)
}

/// What one plan asks that the other does not, most important first; empty where they ask the same.
pub fn apart(cx: &Cx, one: &Tally, other: &Tally) -> Vec<String> {
    let money = one.money.get() - other.money.get();
    let sum = Money::new(money.abs()).map_or_else(|_| String::new(), |sum| cx.money(sum));
    let unpriced = i64::from(one.unpriced) - i64::from(other.unpriced);
    // What has no price is in neither sum.
    let rest = if unpriced == 0 {
        ""
    } else {
        " of what has one"
    };
    let solder = more(one.soldered, other.soldered);
    [
        bars(more(one.short, other.short), "is short", "are short"),
        counted(unpriced, "part", "parts", "to buy without a price"),
        match money {
            0 => None,
            1.. => Some(format!("{sum} more to buy{rest}")),
            _ => Some(format!("{sum} less to buy{rest}")),
        },
        counted(solder, "end", "ends", "to solder"),
        counted(
            more(one.on_marks, other.on_marks),
            "end",
            "ends",
            "to solder on a mark without pre-tinned pads",
        )
        .filter(|_| solder == 0),
        bars(more(one.built, other.built), "to build", "to build"),
        counted(
            more(one.not_kept, other.not_kept),
            "limit",
            "limits",
            "broken or not known",
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// What is known of the two plans being the best of their kind.
pub fn known(one: &Tally, other: &Tally) -> &'static str {
    if one.proven && other.proven {
        "Both plans are proven least."
    } else {
        "Not both plans are proven least: the search was stopped before it had tried everything."
    }
}
