//! Things that come in by a file.

use super::{factory, named, row};
use crate::{
    model::{
        attribute::show_length,
        describe::fixture_name,
        fixture::{Condition, Fed, Make},
        part::{Kind, Part, PartSpec, StockBy, Tape},
        text::Note,
    },
    stock::{
        csv::{
            CsvDoes, CsvRow,
            carry::Want,
            column::Column,
            place::Spot,
            row::{Asked, EndAsked, show_end},
            stock::{Compare, sold},
        },
        make::{About, EnterFixture, EnterFrame},
        receive::{Goods, Pieces, Receive, THING_LIMIT},
    },
    units::Length,
};

/// How many like ones a row without a tag adds.
fn number(compare: &mut Compare<'_>, asked: &Asked) -> Option<usize> {
    let number = usize::try_from(asked.number.unwrap_or(1)).unwrap_or(0);
    if (1..=THING_LIMIT).contains(&number) {
        return Some(number);
    }
    let message = format!("Type 1 to {THING_LIMIT} like ones, or leave it empty for one.");
    compare.fail(asked, Column::Number, message);
    None
}

pub(super) fn piece(
    compare: &mut Compare<'_>,
    asked: &Asked,
    spot: Option<Spot>,
) -> Option<(CsvRow, Want)> {
    let part = compare.part(asked, Column::Part, asked.part.as_deref(), |part| {
        (part.stock_by() != StockBy::Length)
            .then(|| format!("{} is kept {}, not in pieces.", part.name, part.stock_by()))
    });
    let number = number(compare, asked);
    let length = asked.length.filter(|length| *length > Length::ZERO);
    if length.is_none() {
        compare.fail(
            asked,
            Column::Length,
            "Type the length of the piece, above zero.",
        );
    }
    let (part, number, length, spot) = (part?, number?, length?, spot?);
    // What is as long as it is sold comes as from the shop, as far as the row does not say.
    let new = sold(part).contains(&length);
    let mut pieces = if new {
        Pieces::as_bought(part, length, number)
    } else {
        Pieces::of_length(part, length, number)
    };
    let (start, stop) = factory(part);
    let ends = [
        (Column::Start, &asked.start, start, &mut pieces.start),
        (Column::End, &asked.end, stop, &mut pieces.end),
    ];
    for (column, typed, factory, end) in ends {
        match (typed, factory) {
            (None, _) => {}
            (Some(EndAsked::Is(typed)), _) => *end = typed.clone(),
            (Some(EndAsked::Factory), Some(factory)) => *end = factory,
            (Some(EndAsked::Factory), None) => {
                let message = format!("{} comes without a lead here. Type bare.", part.name);
                compare.fail(asked, column, message);
                return None;
            }
        }
    }
    let tape = part.spec.kind() == Kind::Tape;
    if let Some(joint) = asked.first_joint {
        if joint.is_some() && !tape {
            compare.fail(
                asked,
                Column::FirstJoint,
                "Only tape has joints. Leave this empty.",
            );
            return None;
        }
        pieces.joint_offset_units = joint;
    }
    pieces.batch = asked.batch.clone().unwrap_or_default();
    pieces.tags = asked.tag.iter().cloned().collect();
    pieces.offcuts = !new;
    let mut details = show_length(length, compare.unit);
    if number > 1 {
        details = format!("{number} of {details}");
    }
    if tape {
        let (start, end) = (show_end(&pieces.start), show_end(&pieces.end));
        details = format!("{details}, start: {start}; end: {end}");
        if let Some(units) = pieces.joint_offset_units {
            details = format!("{details}; first joint after {units}");
        }
    }
    Some(new_row(asked, part, &spot, &details, Goods::Pieces(pieces)))
}

pub(super) fn unit(
    compare: &mut Compare<'_>,
    asked: &Asked,
    spot: Option<Spot>,
) -> Option<(CsvRow, Want)> {
    let part = compare.part(asked, Column::Part, asked.part.as_deref(), |part| {
        (part.stock_by() != StockBy::Unit)
            .then(|| format!("{} is kept {}, not by unit.", part.name, part.stock_by()))
    });
    let number = number(compare, asked);
    let (part, number, spot) = (part?, number?, spot?);
    if number > 1 && (asked.serial.is_some() || asked.address.is_some()) {
        let message = "One maker's number and one address are for one unit. Give each a row.";
        compare.fail(asked, Column::Number, message);
        return None;
    }
    let goods = Goods::Units {
        number,
        tags: asked.tag.iter().cloned().collect(),
        serials: asked.serial.iter().cloned().collect(),
    };
    let details = if number > 1 {
        format!("{number} units")
    } else {
        "a unit".to_owned()
    };
    Some(new_row(asked, part, &spot, &details, goods))
}

fn new_row(asked: &Asked, part: &Part, spot: &Spot, details: &str, goods: Goods) -> (CsvRow, Want) {
    let mut row = row(
        asked,
        named(asked.tag.as_ref(), part.name.as_str()),
        CsvDoes::New,
    );
    let condition = asked.condition.unwrap_or(Condition::Good);
    row.details = said(details, condition, spot);
    let receive = Receive {
        condition,
        note: asked.note.clone().unwrap_or_default(),
        inspect_on: asked.inspect_on,
        ..Receive::new(part.id, spot.id, goods)
    };
    (row, Want::Receive(Box::new(receive), asked.address))
}

fn said(details: &str, condition: Condition, spot: &Spot) -> String {
    match condition {
        Condition::Good => format!("{details}, to {}", spot.path),
        condition => format!("{details}, {condition}, to {}", spot.path),
    }
}

fn about(asked: &Asked, spot: &Spot) -> About {
    About {
        tag: asked.tag.clone(),
        to: spot.id,
        condition: asked.condition.unwrap_or(Condition::Good),
        note: asked.note.clone().unwrap_or_default(),
        inspect_on: asked.inspect_on,
    }
}

pub(super) fn fixture(
    compare: &mut Compare<'_>,
    asked: &Asked,
    spot: Option<Spot>,
) -> Option<(CsvRow, Want)> {
    let of_kind = |kind: Kind| {
        move |part: &Part| {
            (part.spec.kind() != kind).then(|| format!("{} is no {kind}.", part.name))
        }
    };
    let mut wrong = false;
    let mut named_part = |compare: &mut Compare<'_>, column, name: &Option<String>, kind| {
        name.as_deref().and_then(|name| {
            let found = compare
                .part(asked, column, Some(name), of_kind(kind))
                .cloned();
            wrong |= found.is_none();
            found
        })
    };
    let tape = named_part(compare, Column::Part, &asked.part, Kind::Tape);
    let profile = named_part(compare, Column::Profile, &asked.profile, Kind::Profile);
    let spec = tape.as_ref().and_then(|part| match &part.spec {
        PartSpec::Tape(tape) => Some(tape),
        _ => None,
    });
    let colours = asked
        .colours
        .clone()
        .or_else(|| spec.and_then(Tape::colours));
    let voltage = asked.voltage.or_else(|| spec.map(|tape| tape.voltage_mv));
    let length = asked.length.filter(|length| *length > Length::ZERO);
    if length.is_none() {
        compare.fail(asked, Column::Length, "Type the lit length, above zero.");
    }
    for (column, missing) in [
        (Column::Colours, colours.is_none()),
        (Column::Voltage, voltage.is_none()),
    ] {
        if missing {
            compare.fail(
                asked,
                column,
                "Type this, or name the tape in the column “part”.",
            );
        }
    }
    let (lit_um, channels, voltage_mv, spot) = (length?, colours?, voltage?, spot?);
    if wrong {
        return None;
    }
    let covered = profile.as_ref().is_some_and(
        |part| matches!(&part.spec, PartSpec::Profile(profile) if profile.diffuser.diffuses()),
    );
    let make = Make {
        tape: tape.map(|part| part.id),
        profile: profile.map(|part| part.id),
        channels,
        voltage_mv,
        lit_um,
        diffused: asked.diffused.unwrap_or(covered),
        fed: asked.fed.unwrap_or(Fed::OneEnd),
        connector: asked.connector.clone(),
    };
    let name = fixture_name(&make);
    let mut row = row(asked, named(asked.tag.as_ref(), &name), CsvDoes::New);
    let about = about(asked, &spot);
    let length = show_length(lit_um, compare.unit);
    row.details = said(
        &format!("{length}, fed {}", make.fed),
        about.condition,
        &spot,
    );
    let enter = EnterFixture {
        about,
        make,
        batch: asked.batch.clone().unwrap_or_default(),
        reason: Note::default(),
    };
    Some((row, Want::Fixture(Box::new(enter))))
}

pub(super) fn frame(
    compare: &mut Compare<'_>,
    asked: &Asked,
    spot: Option<Spot>,
) -> Option<(CsvRow, Want)> {
    if asked.name.is_none() {
        compare.fail(asked, Column::Name, "Type the frame's name.");
    }
    for (column, missing) in [
        (Column::Width, asked.width.is_none()),
        (Column::Height, asked.height.is_none()),
    ] {
        if missing {
            compare.fail(asked, column, "Type the frame's size.");
        }
    }
    let (name, width_um, height_um, spot) =
        (asked.name.clone()?, asked.width?, asked.height?, spot?);
    let mut row = row(
        asked,
        named(asked.tag.as_ref(), name.as_str()),
        CsvDoes::New,
    );
    let about = about(asked, &spot);
    row.details = said("a frame", about.condition, &spot);
    let enter = EnterFrame {
        about,
        name,
        width_um,
        height_um,
        reason: Note::default(),
    };
    Some((row, Want::Frame(Box::new(enter))))
}
