//! Attributes as columns of a CSV table: title, unit in the title, cells.

use super::{
    Attribute, Typed,
    typed::{Reading, items},
};
use crate::{
    model::csv::{with_unit, without_unit},
    units::LengthUnit,
};

impl Typed {
    /// The unit that figures of a column share, to stand in its title.
    const fn unit(self, unit: LengthUnit) -> Option<&'static str> {
        match self {
            Self::Length | Self::Lengths | Self::Pitch => Some(unit.as_str()),
            Self::Width => Some(LengthUnit::Mm.as_str()),
            Self::Voltage => Some("V"),
            Self::Current => Some("A"),
            Self::PowerPerLength => Some("W/m"),
            Self::Resistance => Some("Ω/m"),
            Self::Frequency => Some("Hz"),
            Self::Percent => Some("%"),
            _ => None,
        }
    }
}

impl Attribute {
    /// Its column in CSV, without a unit.
    pub fn column(&self) -> String {
        self.label.to_lowercase()
    }

    /// Its column's title: with the unit that bare figures in it take.
    pub fn title(&self, unit: LengthUnit) -> String {
        match self.typed.unit(unit) {
            Some(unit) => format!("{} ({unit})", self.column()),
            None => self.column(),
        }
    }

    /// What [`super::show`] says, as a cell under [`Attribute::title`].
    pub fn cell(&self, shown: &str, unit: LengthUnit) -> String {
        match self.typed.unit(unit) {
            Some(unit) => without_unit(shown, unit),
            None => shown.to_owned(),
        }
    }

    /// Whether a title may name this unit: one that the attribute's figures can be read in.
    pub fn takes_unit(&self, unit: &str) -> bool {
        let reading = Reading {
            unit: LengthUnit::Mm,
            by_length: false,
        };
        self.typed.unit(LengthUnit::Mm).is_some()
            && !unit.is_empty()
            && !unit.contains(|c: char| c.is_ascii_digit())
            && self.typed.parse(&format!("1 {unit}"), reading).is_ok()
    }

    /// A cell as [`super::parse`] reads it: a bare figure takes the title's unit, or the venue's
    /// where the title names none.
    pub fn text(&self, cell: &str, titled: Option<&str>, unit: LengthUnit) -> String {
        let own = self.typed.unit(unit);
        match (self.typed, own.map(|own| titled.unwrap_or(own))) {
            (_, None) => cell.to_owned(),
            (Typed::Lengths, Some(unit)) => {
                let items: Vec<String> = items(cell).map(|item| with_unit(item, unit)).collect();
                items.join("; ")
            }
            (_, Some(unit)) => with_unit(cell, unit),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::model::{attribute, part::Kind, ready_made};

    /// One file may hold parts of all kinds: a title means one unit in all of them.
    #[test]
    fn a_column_of_several_kinds_has_one_title() {
        for unit in LengthUnit::ALL {
            let mut titles: BTreeMap<String, String> = BTreeMap::new();
            for attribute in Kind::ALL.iter().flat_map(|kind| attribute::of(*kind)) {
                let title = attribute.title(unit);
                let known = titles.entry(attribute.column()).or_insert(title.clone());
                assert_eq!(*known, title);
            }
        }
    }

    #[test]
    fn every_ready_made_part_is_read_back_from_its_cells() {
        for unit in LengthUnit::ALL {
            for part in ready_made::all() {
                let cells: BTreeMap<&str, String> = attribute::show(&part.spec, unit)
                    .into_iter()
                    .map(|shown| {
                        let cell = shown.attribute.cell(&shown.text, unit);
                        let title = shown.attribute.title(unit);
                        let titled = title.strip_suffix(')').and_then(|it| it.rsplit_once(" ("));
                        let text = shown.attribute.text(&cell, titled.map(|it| it.1), unit);
                        (shown.attribute.name, text)
                    })
                    .collect();
                let read = attribute::parse(part.spec.kind(), unit, |attribute| {
                    cells.get(attribute.name).map_or("", String::as_str)
                });
                assert_eq!(read.as_ref(), Ok(&part.spec), "{}", part.name);
            }
        }
    }

    #[test]
    fn a_title_may_name_another_unit_of_the_same_kind() {
        let find = |kind, name: &str| attribute::of(kind).iter().find(|a| a.name == name).unwrap();
        let run = find(Kind::Tape, "longest_run_um");
        assert!(run.takes_unit("in") && run.takes_unit("ft"));
        assert!(!run.takes_unit("V") && !run.takes_unit("furlongs") && !run.takes_unit(""));
        assert_eq!(run.text("7.5", Some("ft"), LengthUnit::Mm), "7.5 ft");
        assert_eq!(run.text("7.5", None, LengthUnit::Cm), "7.5 cm");
        assert!(find(Kind::Tape, "voltage_mv").takes_unit("V"));
        assert!(!find(Kind::Tape, "voltage_mv").takes_unit("mm"));
        assert!(!find(Kind::Tape, "coating").takes_unit("V"));
    }
}
