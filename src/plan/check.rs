//! Limits and agreements gathered over the whole plan: one entry for each rule and what it is
//! about, with the bars that it concerns.

use std::collections::{BTreeMap, BTreeSet};

use super::outcome::{Check, CheckState};
use crate::model::{design::Bar, id::BarId};

/// How a rule came out for one pair of parts, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// How it came out.
    pub state: CheckState,
    /// Which two parts, which attribute, which figures.
    pub sentence: String,
    /// What would mend it; empty when passed.
    pub mend: String,
}

impl Finding {
    /// The rule is kept.
    pub fn passed(sentence: impl Into<String>) -> Self {
        Self {
            state: CheckState::Passed,
            sentence: sentence.into(),
            mend: String::new(),
        }
    }

    /// The rule is broken.
    pub fn broken(sentence: impl Into<String>, mend: impl Into<String>) -> Self {
        Self {
            state: CheckState::Broken,
            sentence: sentence.into(),
            mend: mend.into(),
        }
    }

    /// A figure is not known, so the rule is not passed.
    pub fn unknown(sentence: impl Into<String>, mend: impl Into<String>) -> Self {
        Self {
            state: CheckState::Unknown,
            sentence: sentence.into(),
            mend: mend.into(),
        }
    }

    /// Nothing forbids it, but somebody should look.
    pub fn warned(sentence: impl Into<String>, mend: impl Into<String>) -> Self {
        Self {
            state: CheckState::Warned,
            sentence: sentence.into(),
            mend: mend.into(),
        }
    }

    /// Whether the rule is kept.
    pub fn passes(&self) -> bool {
        self.state == CheckState::Passed
    }
}

/// Collects checks by key.
#[derive(Default, Clone)]
pub(super) struct Checks {
    found: BTreeMap<String, (Check, BTreeSet<(BarId, String)>)>,
}

/// Labels named in a check's sentence before the rest is only counted.
const NAMED: usize = 6;

impl Checks {
    /// Adds a finding under `rule:about_key`; the worst of one key stays.
    pub(super) fn add(
        &mut self,
        rule: &str,
        about_key: impl std::fmt::Display,
        about: impl Into<String>,
        finding: Finding,
        bars: impl IntoIterator<Item = (BarId, String)>,
    ) {
        let key = format!("{rule}:{about_key}");
        let check = Check {
            key: key.clone(),
            state: finding.state,
            about: about.into(),
            sentence: finding.sentence,
            mend: finding.mend,
        };
        let entry = self
            .found
            .entry(key)
            .or_insert_with(|| (check.clone(), BTreeSet::new()));
        if check.state < entry.0.state {
            entry.0 = check;
        }
        entry.1.extend(bars);
    }

    /// Adds a finding about one bar.
    pub(super) fn bar(&mut self, rule: &str, bar: &Bar, finding: Finding) {
        let about = bar.label.to_string();
        self.add(rule, format_args!("bar-{}", bar.id), about, finding, []);
    }

    /// All, broken ones first.
    pub(super) fn finish(self) -> Vec<Check> {
        let mut all: Vec<Check> = self
            .found
            .into_values()
            .map(|(mut check, bars)| {
                if !bars.is_empty() {
                    let labels = labels(bars.iter());
                    check.sentence = format!("{} For {labels}.", check.sentence);
                }
                check
            })
            .collect();
        all.sort_by(|a, b| (a.state, &a.key).cmp(&(b.state, &b.key)));
        all
    }
}

/// The first labels of some bars, and how many more there are.
fn labels<'a>(bars: impl ExactSizeIterator<Item = &'a (BarId, String)>) -> String {
    let more = bars.len().saturating_sub(NAMED);
    let first: Vec<&str> = bars.take(NAMED).map(|(_, label)| label.as_str()).collect();
    match more {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

/// Some bars as a sentence of a check names them: `bar 3`, `bars 3, 4`.
pub(super) fn labels_of(bars: &[(BarId, String)]) -> String {
    let word = if bars.len() == 1 { "bar" } else { "bars" };
    format!("{word} {}", labels(bars.iter()))
}

/// A bar as a check names it.
pub(super) fn named(bar: &Bar) -> (BarId, String) {
    (bar.id, bar.label.to_string())
}
