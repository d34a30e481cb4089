//! Places named by their paths, and those that a file would make.

use std::collections::HashMap;

use super::{book::Book, parts::key};
use crate::model::{
    id::{AccountId, PlaceId},
    place::PlaceKind,
    text::{Name, Tag},
};

/// A place that a file would make.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NewSpot {
    /// Its path.
    pub path: String,
    /// The place that it is in; below zero where the file makes that too.
    pub parent: Option<PlaceId>,
    pub name: Name,
    pub kind: PlaceKind,
}

/// A place that a row names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spot {
    /// Below zero until it is made.
    pub id: PlaceId,
    /// None until it is made.
    pub account: Option<AccountId>,
    pub path: String,
}

/// Finds places by path.
pub(super) struct Places<'a> {
    book: &'a Book,
    make: bool,
    /// Those to be made, each after the one that it is in.
    pub new: Vec<NewSpot>,
    by_path: HashMap<String, PlaceId>,
}

const PARTED: &str = " / ";

/// How deep places made from a file may lie.
const DEPTH_LIMIT: usize = 8;

impl<'a> Places<'a> {
    pub fn new(book: &'a Book, make: bool) -> Self {
        Self {
            book,
            make,
            new: Vec::new(),
            by_path: HashMap::new(),
        }
    }

    /// The place of a path such as `Store room / Shelf B`.
    pub fn find(&mut self, typed: &str) -> Result<Spot, String> {
        let parts: Vec<&str> = typed.split(PARTED).map(str::trim).collect();
        let path = parts.join(PARTED);
        match self.book.places(&path) {
            [(place, _)] if place.retired => Err(format!(
                "{} is no longer in use. Choose another place.",
                place.path
            )),
            [(place, account)] => Ok(Spot {
                id: place.id,
                account: Some(*account),
                path: place.path.clone(),
            }),
            [] => self.make(&parts, &path),
            _ => Err(format!(
                "Two places go by the path “{path}”. Give one of them another name first."
            )),
        }
    }

    fn make(&mut self, parts: &[&str], path: &str) -> Result<Spot, String> {
        if let Some(id) = self.by_path.get(&key(path)) {
            let known = number_of(*id).and_then(|number| self.new.get(number));
            return Ok(Spot {
                id: *id,
                account: None,
                path: known.map_or_else(|| path.to_owned(), |it| it.path.clone()),
            });
        }
        if elsewhere(path) {
            return Err(format!(
                "“{path}” is no place of the cupboard, and the book does not have it there. \
                 Leave this row out, or name a place."
            ));
        }
        if !self.make {
            return Err(format!(
                "There is no place “{path}”. Mend the path, or have places made that are not there."
            ));
        }
        if parts.len() > DEPTH_LIMIT {
            return Err(format!(
                "This names {} places one inside the other; at most {DEPTH_LIMIT} are made.",
                parts.len()
            ));
        }
        let (name, above) = parts.split_last().ok_or("Name a place.")?;
        let name = Name::parse(name).map_err(|why| format!("A place in “{path}”: {why}"))?;
        let parent = if above.is_empty() {
            None
        } else {
            Some(self.find(&above.join(PARTED))?)
        };
        let kind = match above.len() {
            0 => PlaceKind::Room,
            1 => PlaceKind::Shelf,
            _ => PlaceKind::Box,
        };
        let path = match &parent {
            Some(parent) => format!("{}{PARTED}{name}", parent.path),
            None => name.to_string(),
        };
        let id = id_of(self.new.len());
        self.by_path.insert(key(&path), id);
        self.new.push(NewSpot {
            path: path.clone(),
            parent: parent.map(|parent| parent.id),
            name,
            kind,
        });
        Ok(Spot {
            id,
            account: None,
            path,
        })
    }
}

/// Whether a path is how a file says that something is on a stage, lent out, built in or mounted.
fn elsewhere(path: &str) -> bool {
    let holder = path
        .strip_prefix("in ")
        .or_else(|| path.strip_prefix("on "))
        .is_some_and(|tag| Tag::parse(tag).is_ok_and(|tag| tag.as_str().contains('-')));
    holder || path.starts_with("on stage for ") || path.starts_with("lent to ")
}

/// The id that a place has until it is made.
fn id_of(number: usize) -> PlaceId {
    PlaceId(-1 - i64::try_from(number).unwrap_or(i64::MAX - 1))
}

/// The number of a place that is to be made; `None` for one that is there.
pub(super) fn number_of(id: PlaceId) -> Option<usize> {
    usize::try_from(-1 - id.0).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_that_are_not_there_are_made_from_the_outside_in() {
        let book = Book::default();
        let mut places = Places::new(&book, true);
        let box_2 = places.find("Loft /  Rack 1 / Box 2").unwrap();
        let again = places.find("loft / rack 1 / box 2").unwrap();
        assert_eq!(box_2, again);
        places.find("Loft / Box 3").unwrap();
        let made: Vec<_> = places
            .new
            .iter()
            .map(|place| (&*place.path, place.kind, place.parent.and_then(number_of)))
            .collect();
        assert_eq!(
            made,
            [
                ("Loft", PlaceKind::Room, None),
                ("Loft / Rack 1", PlaceKind::Shelf, Some(0)),
                ("Loft / Rack 1 / Box 2", PlaceKind::Box, Some(1)),
                ("Loft / Box 3", PlaceKind::Shelf, Some(0)),
            ]
        );
    }

    #[test]
    fn what_is_no_place_is_not_made_one() {
        let book = Book::default();
        let mut places = Places::new(&book, true);
        for words in [
            "on stage for Winter",
            "lent to us until 2026-03-01",
            "in F-12",
            "on K-1",
        ] {
            assert!(places.find(words).is_err(), "{words}");
        }
        for name in ["in the loft", "on the left", "Loft / on K-1"] {
            assert!(places.find(name).is_ok(), "{name}");
        }
        assert!(Places::new(&book, false).find("Loft").is_err());
        assert!(places.find("Loft /  / Box").is_err());
        assert!(places.find(&["x"; 1000].join(PARTED)).is_err());
    }
}
