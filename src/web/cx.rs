//! The one extractor of pages: who, the venue, the day, the database.

use std::sync::Arc;

use axum::{
    extract::FromRequestParts,
    http::{HeaderMap, header, request::Parts},
};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use sha2::{Digest as _, Sha256};

use super::{
    error::Trouble,
    form::Form,
    gate::Signed,
    page::{Chrome, Flash, Section, hex},
};
use crate::{
    app::{App, Now},
    db::{Db, ReadTx},
    model::{text::Name, venue::Venue},
    plan::outcome::UnpricedRolls,
    stock::{Act, Press},
    units::{Date, Length, LengthUnit, Money},
};

/// The cookie that says who works in this browser.
pub const WHO_COOKIE: &str = "who";

/// What a handler knows of its request.
#[derive(Debug, Clone)]
pub struct Cx {
    /// The service.
    pub app: App,
    /// Who works in this browser, if it was said.
    pub who: Option<Name>,
    /// The venue's settings.
    pub venue: Arc<Venue>,
    /// The venue's calendar day.
    pub today: Date,
    /// Who is signed in, where people sign in.
    pub signed: Option<Signed>,
    behind: Option<String>,
    path: String,
    flash: Option<Flash>,
}

/// The value of a cookie.
pub fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value)
}

/// A name as a cookie's value.
pub fn who_to_cookie(name: &Name) -> String {
    URL_SAFE_NO_PAD.encode(name.as_str())
}

/// The name of a cookie's value.
pub fn who_from_cookie(value: &str) -> Option<Name> {
    Name::parse(&String::from_utf8(URL_SAFE_NO_PAD.decode(value).ok()?).ok()?).ok()
}

impl FromRequestParts<App> for Cx {
    type Rejection = Trouble;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Trouble> {
        let now = match parts.extensions.remove::<Now>() {
            Some(now) => now,
            None => app.now().await?,
        };
        let signed = parts.extensions.get::<Signed>().cloned();
        Ok(Self {
            app: app.clone(),
            who: match &signed {
                Some(signed) => Some(signed.who.clone()),
                None => cookie(&parts.headers, WHO_COOKIE).and_then(who_from_cookie),
            },
            signed,
            venue: now.venue,
            today: now.today,
            behind: now.behind,
            path: parts.uri.path().to_owned(),
            flash: cookie(&parts.headers, Flash::COOKIE).and_then(Flash::from_cookie),
        })
    }
}

impl Cx {
    /// The database.
    pub fn db(&self) -> &Db {
        self.app.db()
    }

    /// Begins to read.
    pub async fn read(&self) -> Result<ReadTx, Trouble> {
        Ok(self.app.db().read().await?)
    }

    /// The frame of a page. The message of the last change is shown once: the layer in
    /// [`super::router`] takes its cookie back with the page.
    pub fn chrome(&self, section: Section, title: impl Into<String>) -> Chrome {
        let mut chrome = Chrome::bare(section, title);
        self.venue.name.as_str().clone_into(&mut chrome.venue);
        chrome.who = self.who.as_ref().map(Name::to_string);
        chrome.role = self.signed.as_ref().map(|signed| signed.role);
        chrome.flash.clone_from(&self.flash);
        chrome.behind.clone_from(&self.behind);
        chrome
    }

    /// Who acts, when, under the form's key.
    pub fn act(&self, form: &Form) -> Act {
        let key = form.value("press");
        let press = (8..=200).contains(&key.len()).then(|| Press {
            key: key.to_owned(),
            request: digest(&self.path, form),
        });
        Act {
            db: self.db().clone(),
            who: self.who.clone().unwrap_or_else(nobody_said),
            now_ms: self.app.clock().now_ms(),
            today: self.today,
            press,
        }
    }

    /// The unit that lengths are shown in.
    pub fn unit(&self) -> LengthUnit {
        self.venue.length_unit
    }

    /// A length as the venue reads it.
    pub fn length(&self, length: Length) -> String {
        length.say(self.venue.length_unit)
    }

    /// A length in the venue's unit for a field that is read back: exact.
    pub fn exact(&self, length: Length) -> String {
        length.typed(self.venue.length_unit)
    }

    /// Rolls to buy without a price: `2 × 5000 mm, 1 × 10000 mm`.
    pub fn rolls(&self, rolls: &[UnpricedRolls]) -> String {
        let words: Vec<String> = rolls
            .iter()
            .map(|it| format!("{} × {}", it.rolls, it.roll_um.say_sold(self.unit())))
            .collect();
        words.join(", ")
    }

    /// A sum as the venue reads it.
    pub fn money(&self, money: Money) -> String {
        money.show(&self.venue.currency)
    }
}

/// What the log says where nobody said who they are.
pub fn nobody_said() -> Name {
    Name::parse("somebody").unwrap_or_else(|_| unreachable!("a plain word is a name"))
}

fn digest(path: &str, form: &Form) -> String {
    let mut hash = Sha256::new();
    hash.update(path);
    for (name, value) in form.pairs().filter(|(name, _)| *name != "press") {
        hash.update([0]);
        hash.update(name);
        hash.update([1]);
        hash.update(value);
    }
    hex(&hash.finalize())
}
