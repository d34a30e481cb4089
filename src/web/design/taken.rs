//! What was chosen by hand for a set and somebody else has on its days: no written reason helps there.

use super::Whole;
use crate::{
    model::{fixture::Condition, id::ThingId, text::Tag},
    plan::input::Freedom,
    web::link::Link,
};

/// So many things of one sentence are named.
const NAMED: usize = 6;

/// Things that were chosen and are not free, for one and the same reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The things, at most [`NAMED`].
    pub things: Vec<(Link, String)>,
    /// How many there are.
    pub count: usize,
    /// Who has them and until when, in words.
    pub why: String,
}

impl Taken {
    /// What stands between the named things and the reason.
    pub fn link_words(&self) -> String {
        let more = match self.count.saturating_sub(self.things.len()) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let verb = if self.count == 1 { "is" } else { "are" };
        format!("{more} {verb} not free: ")
    }
}

/// One choice that cannot be had.
struct Choice<'a> {
    /// The key of the check that says so.
    key: String,
    thing: ThingId,
    tag: &'a Tag,
    why: &'a str,
}

fn choices(whole: &Whole) -> Vec<Choice<'_>> {
    if !whole.is_open() {
        return Vec::new();
    }
    let bars = whole.design().bars.iter().filter_map(|bar| {
        let spare = whole.fixture(bar.fixture?)?;
        let Freedom::Not(why) = &spare.freedom else {
            return None;
        };
        // One that is bad is said so, whoever has it.
        (spare.fixture.condition == Condition::Good).then(|| Choice {
            key: format!("chosen:bar-{}", bar.id),
            thing: spare.fixture.id,
            tag: &spare.fixture.tag,
            why,
        })
    });
    let frames = whole.design().frames.iter().filter_map(|frame| {
        let mut all = whole.input().stock.frames.iter();
        let spare = all.find(|spare| Some(spare.thing) == frame.thing)?;
        let Freedom::Not(why) = &spare.freedom else {
            return None;
        };
        Some(Choice {
            key: format!("frame:frame-{}", frame.id),
            thing: spare.thing,
            tag: &spare.tag,
            why,
        })
    });
    bars.chain(frames).collect()
}

/// The keys of the checks that only another choice mends.
pub fn keys(whole: &Whole) -> Vec<String> {
    choices(whole).into_iter().map(|one| one.key).collect()
}

/// What is chosen and not free, said once for each reason.
pub fn taken(whole: &Whole) -> Vec<Taken> {
    gathered(
        choices(whole)
            .into_iter()
            .map(|one| (Link::Thing(one.thing), one.tag.to_string(), one.why)),
    )
}

fn gathered<'a>(all: impl Iterator<Item = (Link, String, &'a str)>) -> Vec<Taken> {
    let mut gathered: Vec<Taken> = Vec::new();
    for (link, tag, why) in all {
        let thing = (link, tag);
        let Some(same) = gathered.iter_mut().find(|one| one.why == why) else {
            gathered.push(Taken {
                things: vec![thing],
                count: 1,
                why: why.to_owned(),
            });
            continue;
        };
        same.count += 1;
        if same.things.len() < NAMED {
            same.things.push(thing);
        }
    }
    gathered
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_one_set_has_is_said_once() {
        let all = (1..=9).map(|number| {
            let why = if number == 4 { "lent" } else { "held" };
            (Link::Thing(ThingId(number)), format!("F-{number}"), why)
        });
        let said = gathered(all);
        assert_eq!(said.len(), 2);
        assert_eq!((said[0].count, said[0].things.len()), (8, NAMED));
        assert_eq!(said[0].link_words(), " and 2 more are not free: ");
        assert_eq!(said[1].things[0].1, "F-4");
        assert_eq!(said[1].link_words(), " is not free: ");
    }
}
