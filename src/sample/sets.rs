//! Millpond Hall's sets: one struck last season, one reserved, one still a draft.

use super::{
    Hall, SampleError,
    cupboard::{LIGHTS, Shelves},
    length, money, name, note,
};
use crate::{
    db,
    model::{
        design::{Bar, Choices, Design, Frame, State},
        fixture::Fed,
        id::{BarId, DesignId, FrameId},
        text::Note,
    },
    stock::{
        StockError, build,
        design::{self, Basics, Edit},
        planned,
        reserve::{self, Outcome},
        state,
        strike::{self, Back, CheckIn, CheckWhat, OutWhat},
    },
    units::{ShowDates, SignedLength},
};

pub(super) async fn fill(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    lantern_evening(hall, shelves).await?;
    let dance = spring_dance(hall, shelves).await?;
    reserve(hall, dance, -3).await?;
    midsummer_play(hall).await
}

/// Like bars of a set, before they are told apart.
struct Like<'a> {
    colours: &'a str,
    length: &'a str,
    /// Left ends, in millimetres from the left and above the floor.
    at: &'a [(i64, i64)],
    degrees: i32,
    group: &'a str,
    cable: &'a str,
}

async fn choices(hall: &Hall) -> Result<Choices, SampleError> {
    Ok(Choices {
        lead: Some(hall.id("lead-4-female").await?),
        cable: Some(hall.id("cable-4-18awg").await?),
        block: Some(hall.id("block-12-screw").await?),
        driver: Some(hall.id("driver-4x3").await?),
        supply: None,
    })
}

async fn add(
    hall: &Hall,
    days: i64,
    basics: Basics,
    edits: &[Edit],
) -> Result<DesignId, SampleError> {
    let act = hall.act(LIGHTS, days)?;
    let id = design::add(&act, &basics, &[]).await?;
    design::change(&act, id, 1, edits).await?;
    Ok(id)
}

async fn lookup(hall: &Hall, id: DesignId) -> Result<Design, SampleError> {
    let mut tx = hall.db.read().await?;
    let found = db::design::lookup(&mut tx, id).await?;
    Ok(found.ok_or(StockError::NotFound("set"))?)
}

fn mm(mm: i64) -> Result<SignedLength, SampleError> {
    SignedLength::from_um(mm * 1000).map_err(|why| SampleError::Written(why.to_string()))
}

fn bars(like: &[Like<'_>], frame: Option<FrameId>) -> Result<Vec<Bar>, SampleError> {
    let mut bars = Vec::new();
    for like in like {
        for &(x, y) in like.at {
            bars.push(Bar {
                id: BarId(0),
                label: name(&(bars.len() + 1).to_string())?,
                length_um: length(like.length)?,
                shorter_um: length("20 mm")?,
                longer_um: length("10 mm")?,
                channels: like
                    .colours
                    .parse()
                    .map_err(|_| SampleError::Written(like.colours.to_owned()))?,
                voltage_mv: None,
                diffused: true,
                fed: Fed::OneEnd,
                frame,
                x_um: mm(x)?,
                y_um: mm(y)?,
                angle_mdeg: like.degrees * 1000,
                group: like.group.to_owned(),
                feed_place: String::new(),
                cable_um: length(like.cable)?,
                tape: None,
                profile: None,
                fixture: None,
            });
        }
    }
    Ok(bars)
}

fn dates(hall: &Hall, build: i64, get_in: i64, strike: i64) -> Result<ShowDates, SampleError> {
    ShowDates::new(hall.day(build)?, hall.day(get_in)?, hall.day(strike)?)
        .map_err(|why| SampleError::Written(why.to_string()))
}

/// Six bars that stood last season: reserved, built, stood, struck, each step as it was done then.
async fn lantern_evening(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    let basics = Basics {
        name: name("Lantern evening")?,
        dates: dates(hall, -75, -73, -66)?,
        budget_minor: Some(money(12_000)?),
        note: Note::default(),
        choices: choices(hall).await?,
    };
    let like = [
        Like {
            colours: "RGB",
            length: "1.2 m",
            at: &[(0, 900), (1_400, 1_100), (2_800, 1_100), (4_200, 900)],
            degrees: 0,
            group: "lanterns",
            cable: "4 m",
        },
        Like {
            colours: "RGB",
            length: "1.1 m",
            at: &[(1_400, 2_000), (2_900, 2_000)],
            degrees: 0,
            group: "moon",
            cable: "5 m",
        },
    ];
    let id = add(hall, -82, basics, &[Edit::AddBars(bars(&like, None)?)]).await?;
    reserve(hall, id, -80).await?;

    go(hall, id, -75, State::Building).await?;
    let steps = {
        let mut tx = hall.db.read().await?;
        db::design::list_steps(&mut tx, id).await?
    };
    let bench = hall.act(LIGHTS, -75)?;
    for step in steps {
        build::tick(&bench, step.id).await?;
    }
    go(hall, id, -73, State::Standing).await?;

    let out = {
        let mut tx = hall.db.read().await?;
        strike::list(&mut tx, id).await?
    };
    let act = hall.act("Wen Holloway", -66)?;
    for line in out {
        let what = match &line.what {
            OutWhat::Thing(thing) => CheckWhat::Thing {
                thing: thing.id,
                how: Back::Good,
            },
            OutWhat::Count { part, amount, .. } => CheckWhat::Count {
                part: *part,
                back: *amount,
                lost: 0,
            },
        };
        let check_in = CheckIn {
            design: id,
            what,
            to: Some(line.came_from.unwrap_or(shelves.bars)),
            reason: Note::default(),
        };
        act.carry_out(&check_in).await?;
    }
    go(hall, id, -66, State::Struck).await
}

async fn go(hall: &Hall, id: DesignId, days: i64, to: State) -> Result<(), SampleError> {
    let version = lookup(hall, id).await?.version;
    state::go(&hall.act(LIGHTS, days)?, id, version, to).await?;
    Ok(())
}

/// Eight bars on the frame that the hall owns.
async fn spring_dance(hall: &Hall, shelves: &Shelves) -> Result<DesignId, SampleError> {
    let basics = Basics {
        name: name("Tea dance")?,
        dates: dates(hall, 12, 14, 18)?,
        budget_minor: Some(money(15_000)?),
        note: note("Band in front of the frame; keep the middle clear.")?,
        choices: choices(hall).await?,
    };
    let frame = Frame {
        id: FrameId(0),
        label: name("Back frame")?,
        x_um: mm(0)?,
        y_um: mm(300)?,
        width_um: length("5 m")?,
        height_um: length("2.6 m")?,
        thing: Some(shelves.back_frame),
    };
    let id = add(hall, -20, basics, &[Edit::AddFrame(frame)]).await?;
    let design = lookup(hall, id).await?;
    let frame = design.frames.first().map(|frame| frame.id);
    let like = [
        Like {
            colours: "RGB",
            length: "1.2 m",
            at: &[(400, 500), (1_600, 500), (3_400, 500), (4_600, 500)],
            degrees: 90,
            group: "uprights",
            cable: "3 m",
        },
        Like {
            colours: "RGB",
            length: "900 mm",
            at: &[(300, 2_600), (3_800, 2_600)],
            degrees: 0,
            group: "top",
            cable: "4 m",
        },
        Like {
            colours: "RGB",
            length: "1.8 m",
            at: &[(300, 400), (2_900, 400)],
            degrees: 0,
            group: "foot",
            cable: "2 m",
        },
    ];
    let act = hall.act(LIGHTS, -20)?;
    design::change(
        &act,
        id,
        design.version,
        &[Edit::AddBars(bars(&like, frame)?)],
    )
    .await?;
    Ok(id)
}

/// Twelve bars in two systems, still being thought about: more than the cupboard gives.
async fn midsummer_play(hall: &Hall) -> Result<(), SampleError> {
    let basics = Basics {
        name: name("Midsummer play")?,
        dates: dates(hall, 45, 48, 56)?,
        budget_minor: Some(money(40_000)?),
        note: Note::default(),
        choices: Choices::default(),
    };
    let like = [
        Like {
            colours: "RGB",
            length: "1.5 m",
            at: &[
                (0, 200),
                (900, 200),
                (1_800, 200),
                (4_200, 200),
                (5_100, 200),
                (6_000, 200),
            ],
            degrees: 75,
            group: "reeds",
            cable: "4 m",
        },
        Like {
            colours: "tunable white",
            length: "1 m",
            at: &[
                (0, 2_400),
                (1_100, 2_500),
                (2_200, 2_600),
                (3_300, 2_600),
                (4_400, 2_500),
                (5_500, 2_400),
            ],
            degrees: 0,
            group: "sky",
            cable: "5 m",
        },
    ];
    add(hall, -1, basics, &[Edit::AddBars(bars(&like, None)?)]).await?;
    Ok(())
}

/// Holds what the plan shows.
async fn reserve(hall: &Hall, id: DesignId, days: i64) -> Result<(), SampleError> {
    let act = hall.act(LIGHTS, days)?;
    let planned = planned::plan_now(&hall.db, id, act.today).await?;
    let version = planned.input.design.version;
    match reserve::reserve(&act, id, version, &planned.digest).await? {
        Outcome::Reserved { .. } => Ok(()),
        Outcome::Changed { .. } => Err(SampleError::Written("a plan that changed".to_owned())),
    }
}
