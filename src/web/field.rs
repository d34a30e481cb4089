//! Fields of forms, as `templates/parts/field.html` calls them. What a template calls is written into
//! it anew at every place where it is called, and compiled there; so each field is made here, once.

use std::fmt::Display;

use askama::Template;

use super::form::Choice;

/// What is typed into or chosen.
enum Input {
    Text { auto: String },
    Secret { auto: String, digits: bool },
    Length,
    Number { unit: String },
    Date,
    Area { rows: String },
    Select { options: Vec<Choice> },
    Check { checked: bool },
    Stepper { unit: String },
}

/// A yes or no, however often it is referred to.
pub trait Says {
    /// Which.
    fn says(&self) -> bool;
}

impl Says for bool {
    fn says(&self) -> bool {
        *self
    }
}

impl<T: Says + ?Sized> Says for &T {
    fn says(&self) -> bool {
        (**self).says()
    }
}

/// A field, before it is known what it takes.
#[derive(Template)]
#[template(path = "parts/input.html")]
pub struct Field {
    label: String,
    name: String,
    value: String,
    errors: Vec<String>,
    hint: String,
    need: bool,
    id: String,
    input: Input,
}

/// What all fields have, in the order in which the macros take it.
pub fn field(
    label: impl Display,
    name: impl Display,
    value: impl Display,
    errors: impl AsRef<[String]>,
    hint: impl Display,
    need: impl Says,
    id: impl Display,
) -> Field {
    Field {
        label: label.to_string(),
        name: name.to_string(),
        value: value.to_string(),
        errors: errors.as_ref().to_vec(),
        hint: hint.to_string(),
        need: need.says(),
        id: id.to_string(),
        input: Input::Length,
    }
}

impl Field {
    /// Ids of what is said of it: its messages, its hint.
    fn described(&self) -> String {
        let errors = (!self.errors.is_empty()).then(|| format!("{}-error", self.id));
        let hint = (!self.hint.is_empty()).then(|| format!("{}-hint", self.id));
        let ids: Vec<String> = errors.into_iter().chain(hint).collect();
        ids.join(" ")
    }

    fn html(mut self, input: Input) -> String {
        self.input = input;
        self.render().unwrap_or_else(|why| {
            tracing::error!(%why, name = self.name, "a field could not be written");
            String::new()
        })
    }

    /// One line.
    pub fn text(self, auto: impl Display) -> String {
        let auto = auto.to_string();
        self.html(Input::Text { auto })
    }

    /// A password, or a PIN of digits.
    pub fn secret(self, auto: impl Display, digits: impl Says) -> String {
        let (auto, digits) = (auto.to_string(), digits.says());
        self.html(Input::Secret { auto, digits })
    }

    /// A length.
    pub fn length(self) -> String {
        self.html(Input::Length)
    }

    /// A figure with its unit after it.
    pub fn number(self, unit: impl Display) -> String {
        let unit = unit.to_string();
        self.html(Input::Number { unit })
    }

    /// A day.
    pub fn date(self) -> String {
        self.html(Input::Date)
    }

    /// Several lines.
    pub fn area(self, rows: impl Display) -> String {
        let rows = rows.to_string();
        self.html(Input::Area { rows })
    }

    /// A choice.
    pub fn select(self, options: impl AsRef<[Choice]>) -> String {
        let options = options.as_ref().to_vec();
        self.html(Input::Select { options })
    }

    /// A box to tick.
    pub fn check(self, checked: impl Says) -> String {
        let checked = checked.says();
        self.html(Input::Check { checked })
    }

    /// A number between − and +.
    pub fn stepper(self, unit: impl Display) -> String {
        let unit = unit.to_string();
        self.html(Input::Stepper { unit })
    }
}
