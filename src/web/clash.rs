//! Two people change one thing at once: who sends last sees what both did, field by field, and
//! chooses. Nothing is overwritten unseen.
//!
//! A form carries what stood in it when it was opened (`was`), so that a field that only the other
//! changed is taken over, one that only this person changed is kept, and only one that both changed
//! is asked about. What is chosen comes back as `take` with the field's name.

use super::form::Form;

/// A field of a form: its name, and its label for people.
pub type Field = (&'static str, &'static str);

/// A field that only the other changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Label.
    pub label: &'static str,
    /// When this form was opened.
    pub was: String,
    /// As it is stored now, and as it stands in the form from now on.
    pub stored: String,
}

/// A field that both changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Both {
    /// Its name in the form.
    pub name: &'static str,
    /// Label.
    pub label: &'static str,
    /// When this form was opened; empty where that is not known.
    pub was: String,
    /// As it is stored now.
    pub stored: String,
    /// As this person typed it; it stands in the form until they choose otherwise.
    pub typed: String,
}

/// What two people did to one thing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Clash {
    /// What only the other changed.
    pub taken: Vec<Taken>,
    /// What both changed.
    pub both: Vec<Both>,
}

impl Clash {
    /// Brings a form that was refused together with what is stored `now` (filled in as a form, its
    /// version included). `words` turns a field's value into what people read.
    pub fn meet(
        form: &mut Form,
        now: &Form,
        fields: &[Field],
        words: impl Fn(&str, &str) -> String,
    ) -> Self {
        let was = form.opened_with();
        let mut clash = Self::default();
        for (name, label) in fields {
            let (typed, stored) = (form.value(name).trim(), now.value(name).trim());
            if typed == stored {
                continue;
            }
            let was = was.as_ref().map(|was| was.value(name).trim());
            let shown = |value: &str| words(name, value);
            if was == Some(typed) {
                clash.taken.push(Taken {
                    label,
                    was: shown(typed),
                    stored: shown(stored),
                });
                let stored = stored.to_owned();
                form.set(name, stored);
            } else if was != Some(stored) {
                clash.both.push(Both {
                    name,
                    label,
                    was: was.map_or_else(String::new, shown),
                    stored: shown(stored),
                    typed: shown(typed),
                });
            }
        }
        form.set("version", now.value("version"));
        form.reopen(now);
        clash
    }

    /// Whether the two changed nothing that the other would have to know of.
    pub fn is_none(&self) -> bool {
        self.taken.is_empty() && self.both.is_empty()
    }
}

/// A ticked box in words.
pub fn tick_words(value: &str) -> String {
    let on = !matches!(value, "" | "0" | "no" | "off" | "false");
    if on { "yes" } else { "no" }.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIELDS: &[Field] = &[
        ("name", "Name"),
        ("note", "Notes"),
        ("days", "Days"),
        ("retired", "Retired"),
    ];

    fn opened(values: &[(&str, &str)]) -> Form {
        Form::filled(values.iter().copied())
    }

    /// What a browser sends: the fields of the form with what it was opened with.
    fn sent(opened: &Form, changes: &[(&str, &str)]) -> Form {
        let mut form = opened.clone();
        form.set("was", opened.was());
        for (name, value) in changes {
            form.set(name, *value);
        }
        form
    }

    fn stored(values: &[(&str, &str)], version: &str) -> Form {
        let mut form = opened(values);
        form.set("version", version);
        form
    }

    #[test]
    fn each_field_is_merged_by_who_changed_it() {
        let first = [("name", "Rope & Co"), ("note", "old"), ("days", "3")];
        let mut form = sent(&stored(&first, "1"), &[("days", "5"), ("name", "Ropes")]);
        let now = [
            ("name", "Rope and Co"),
            ("note", "new"),
            ("days", "3"),
            ("retired", "on"),
        ];
        let words = |name: &str, value: &str| match name {
            "retired" => tick_words(value),
            _ => value.to_owned(),
        };
        let clash = Clash::meet(&mut form, &stored(&now, "2"), FIELDS, words);
        let taken: Vec<_> = (clash.taken.iter())
            .map(|one| (one.label, one.was.as_str(), one.stored.as_str()))
            .collect();
        assert_eq!(taken, [("Notes", "old", "new"), ("Retired", "no", "yes")]);
        assert_eq!(clash.both.len(), 1);
        assert_eq!(clash.both[0].was, "Rope & Co");
        assert_eq!(clash.both[0].stored, "Rope and Co");
        assert_eq!(clash.both[0].typed, "Ropes");
        // Mine stay, theirs are taken over, and the next sending is over what is stored now.
        let values = ["name", "note", "days", "retired", "version"].map(|name| form.value(name));
        assert_eq!(values, ["Ropes", "new", "5", "on", "2"]);

        // The other's is taken by a tick; what was taken over can still be typed over.
        form.set("take", "name");
        form.set("note", "mine after all");
        form.settle();
        let values = ["name", "note", "days"].map(|name| form.value(name));
        assert_eq!(values, ["Rope and Co", "mine after all", "5"]);
        assert!(!form.has("take"));
    }

    #[test]
    fn what_changes_a_third_time_is_met_again() {
        let first = [("name", "a")];
        let mut form = sent(&stored(&first, "1"), &[("name", "mine")]);
        let words = |_: &str, value: &str| value.to_owned();
        let clash = Clash::meet(&mut form, &stored(&[("name", "b")], "2"), FIELDS, words);
        assert_eq!(clash.both[0].was, "a");
        let clash = Clash::meet(&mut form, &stored(&[("name", "b")], "3"), FIELDS, words);
        assert!(clash.is_none());
        let clash = Clash::meet(&mut form, &stored(&[("name", "c")], "4"), FIELDS, words);
        assert_eq!(
            (clash.both[0].was.as_str(), form.value("name")),
            ("b", "mine")
        );
    }

    #[test]
    fn without_what_it_was_opened_with_everything_that_differs_is_asked() {
        let mut form = opened(&[("name", "x"), ("days", "3")]);
        let words = |_: &str, value: &str| value.to_owned();
        let now = stored(&[("name", "y"), ("days", "3"), ("note", "n")], "2");
        let clash = Clash::meet(&mut form, &now, FIELDS, words);
        assert!(clash.taken.is_empty());
        let names: Vec<_> = clash.both.iter().map(|one| one.name).collect();
        assert_eq!(names, ["name", "note"]);
    }
}
