//! What Millpond Hall has: settings, places, parts, suppliers, stock and finished bars.

use super::{Hall, SampleError, length, money, name, note};
use crate::{
    db::{
        self,
        offer::{Offer, Supplier},
        place::NewPlace,
    },
    model::{
        fixture::Condition,
        id::{OfferId, PlaceId, SupplierId, ThingId},
        part::{PartSpec, StockUnit},
        piece::End,
        place::PlaceKind,
        text::Note,
    },
    stock::{
        catalogue,
        change::What,
        make::{About, Assemble, EnterFixture, EnterFrame},
        mount::Mount,
        place,
        receive::{Goods, Pieces, Receive},
    },
};

/// Where things lie.
pub(super) struct Shelves {
    pub(super) rolls: PlaceId,
    pub(super) profiles: PlaceId,
    pub(super) bars: PlaceId,
    pub(super) works: PlaceId,
    pub(super) leads: PlaceId,
    pub(super) sundries: PlaceId,
    /// The frame that stays wired.
    pub(super) back_frame: ThingId,
}

/// The caretaker, who put most things away.
const CARETAKER: &str = "Odile Marsh";
/// The one who lights the sets.
pub(super) const LIGHTS: &str = "Tomas Reed";

const TICKED: &[&str] = &[
    "tape-rgb-24v-10mm",
    "tape-tunable-24v-10mm",
    "tape-white-24v-8mm",
    "profile-2m-frosted",
    "profile-1m-frosted",
    "profile-2m-opal",
    "lead-4-male",
    "lead-4-female",
    "lead-3-male",
    "lead-3-female",
    "lead-2-male",
    "lead-2-female",
    "coupler-4-female-female",
    "block-12-screw",
    "block-2-lever",
    "cable-4-18awg",
    "cable-3-18awg",
    "cable-2-16awg",
    "driver-4x3",
    "driver-2x2",
    "driver-4x1",
    "supply-24v-60w",
    "supply-24v-100w",
    "supply-24v-150w",
    "supply-24v-240w",
    "dmx-cable-2m",
    "dmx-cable-5m",
    "dmx-terminator",
    "dmx-splitter-4",
    "solder",
    "heat-shrink-3mm",
    "heat-shrink-12mm",
    "profile-clip",
    "profile-end-cap",
    "screw-3.5x16",
    "fuse-5a",
    "fuse-10a",
    "bar-label",
];

pub(super) async fn fill(hall: &Hall) -> Result<Shelves, SampleError> {
    settings(hall).await?;
    let act = hall.act(CARETAKER, -400)?;
    let keys: Vec<String> = TICKED.iter().map(|key| (*key).to_owned()).collect();
    catalogue::take_ready_made(&act, &keys).await?;

    let room = add_place(hall, None, "Store room", PlaceKind::Room, 1).await?;
    let stage = add_place(hall, None, "Stage left", PlaceKind::Room, 2).await?;
    let rolls = add_place(hall, Some(room), "Shelf A", PlaceKind::Shelf, 1).await?;
    let works = add_place(hall, Some(room), "Shelf B", PlaceKind::Shelf, 2).await?;
    let profiles = add_place(hall, Some(room), "Long rack", PlaceKind::Shelf, 3).await?;
    let leads = add_place(hall, Some(works), "Lead box", PlaceKind::Box, 1).await?;
    let sundries = add_place(hall, Some(works), "Small parts box", PlaceKind::Box, 2).await?;
    let bars = add_place(hall, Some(stage), "Bar hooks", PlaceKind::Shelf, 1).await?;

    suppliers(hall).await?;
    let frame = EnterFrame {
        about: About {
            note: note("Painted black; its terminal block stays on.")?,
            ..About::new(stage)
        },
        name: name("Back frame")?,
        width_um: length("5 m")?,
        height_um: length("2.6 m")?,
        reason: note("Here since the hall was opened")?,
    };
    let done = act.carry_out(&frame).await?;
    let back_frame = first(&done.things)?;
    let shelves = Shelves {
        rolls,
        profiles,
        bars,
        works,
        leads,
        sundries,
        back_frame,
    };
    lengths(hall, &shelves).await?;
    counts(hall, &shelves).await?;
    units(hall, &shelves).await?;
    fixtures(hall, &shelves).await?;
    Ok(shelves)
}

fn first(things: &[ThingId]) -> Result<ThingId, SampleError> {
    things
        .first()
        .copied()
        .ok_or_else(|| SampleError::Written("a thing that was not made".to_owned()))
}

async fn settings(hall: &Hall) -> Result<(), SampleError> {
    let mut tx = hall.db.write().await?;
    let mut venue = db::venue::lookup(&mut tx).await?;
    venue.name = name("Millpond Hall")?;
    // The hall's own lights.
    "1-96".clone_into(&mut venue.slots_taken);
    venue.usable_offcut_um = length("200 mm")?;
    venue.spare_percent = 5;
    db::venue::change(&mut tx, &venue).await?;
    for who in [CARETAKER, LIGHTS, "Wen Holloway"] {
        db::venue::add_person(&mut tx, &name(who)?).await?;
    }
    tx.commit().await?;
    Ok(())
}

async fn add_place(
    hall: &Hall,
    parent: Option<PlaceId>,
    called: &str,
    kind: PlaceKind,
    position: i64,
) -> Result<PlaceId, SampleError> {
    let new = NewPlace {
        parent,
        name: name(called)?,
        kind,
        position,
        note: Note::default(),
    };
    Ok(place::add(&hall.act(CARETAKER, -400)?, &new).await?)
}

async fn suppliers(hall: &Hall) -> Result<(), SampleError> {
    let sellers = [
        ("Lantern & Wick", 3, 490, Some(12_000)),
        ("Weir Street Electrical", 7, 890, None),
    ];
    // Of each: the part, who sells it, one pack (a count, or the length of a roll), its price.
    let offers: &[(&str, usize, &str, i64)] = &[
        ("tape-rgb-24v-10mm", 0, "5 m", 5_450),
        ("tape-rgb-24v-10mm", 0, "10 m", 9_900),
        ("tape-rgb-24v-10mm", 1, "5 m", 4_980),
        ("tape-tunable-24v-10mm", 0, "5 m", 4_600),
        ("tape-white-24v-8mm", 0, "5 m", 3_150),
        ("profile-2m-frosted", 1, "2 m", 1_180),
        ("profile-1m-frosted", 1, "1 m", 690),
        ("profile-2m-opal", 1, "2 m", 1_420),
        ("lead-4-male", 0, "10", 1_150),
        ("lead-4-female", 0, "10", 1_150),
        ("lead-3-male", 0, "10", 990),
        ("lead-3-female", 0, "10", 990),
        ("block-12-screw", 1, "4", 760),
        ("cable-4-18awg", 1, "25 m", 3_400),
        ("cable-3-18awg", 1, "25 m", 2_750),
        ("cable-2-16awg", 1, "25 m", 2_300),
        ("driver-4x3", 0, "1", 7_900),
        ("driver-2x2", 0, "1", 4_300),
        ("supply-24v-60w", 1, "1", 2_450),
        ("supply-24v-100w", 1, "1", 3_250),
        ("supply-24v-150w", 1, "1", 4_100),
        ("dmx-cable-5m", 0, "1", 1_390),
        ("dmx-cable-2m", 0, "1", 990),
        ("dmx-terminator", 0, "2", 840),
        ("profile-clip", 1, "20", 480),
        ("profile-end-cap", 1, "20", 520),
        ("screw-3.5x16", 1, "200", 560),
        ("bar-label", 1, "50", 350),
    ];
    let mut tx = hall.db.write().await?;
    let mut ids = Vec::new();
    for (who, delivery_days, delivery, free_above) in sellers {
        let supplier = Supplier {
            id: SupplierId(0),
            name: name(who)?,
            delivery_days,
            delivery_minor: money(delivery)?,
            free_above_minor: free_above.map(money).transpose()?,
            note: note("Invented, like everything in this hall.")?,
            retired: false,
            version: 1,
        };
        ids.push(db::offer::add_supplier(&mut tx, &supplier).await?);
    }
    tx.commit().await?;
    for &(key, seller, pack, price) in offers {
        let part = hall.part(key).await?;
        let pack_amount = match part.unit() {
            StockUnit::Each => pack
                .parse()
                .map_err(|_| SampleError::Written(pack.to_owned()))?,
            StockUnit::Micrometres | StockUnit::CutUnits(_) => length(pack)?.get(),
        };
        let offer = Offer {
            id: OfferId(0),
            part: part.id,
            supplier: ids[seller],
            pack_amount,
            price_minor: money(price)?,
            minimum_packs: 1,
            code: String::new(),
            retired: false,
            version: 1,
        };
        let mut tx = hall.db.write().await?;
        db::offer::add(&mut tx, &offer).await?;
        tx.commit().await?;
    }
    Ok(())
}

/// Rolls, reels, bars of profile and offcuts.
async fn lengths(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    let (rolls, long) = (shelves.rolls, shelves.profiles);
    // Of each: how many as bought, or an offcut whose start still carries the factory's lead.
    for (key, to, text, number, batch, days) in [
        ("tape-rgb-24v-10mm", rolls, "5 m", 2, "K7", -210),
        ("tape-rgb-24v-10mm", rolls, "10 m", 1, "K9", -95),
        ("tape-tunable-24v-10mm", rolls, "5 m", 1, "T2", -210),
        ("tape-white-24v-8mm", rolls, "5 m", 1, "", -380),
        ("profile-2m-frosted", long, "2 m", 9, "", -210),
        ("profile-2m-opal", long, "2 m", 3, "", -210),
        ("cable-4-18awg", rolls, "25 m", 1, "", -210),
        ("cable-4-18awg", rolls, "8.4 m", 1, "", -150),
        ("cable-3-18awg", rolls, "25 m", 1, "", -210),
        ("cable-2-16awg", rolls, "25 m", 1, "", -210),
    ] {
        let part = hall.part(key).await?;
        let mut pieces = Pieces::as_bought(&part, length(text)?, number);
        batch.clone_into(&mut pieces.batch);
        let new = Receive::new(part.id, to, Goods::Pieces(pieces));
        hall.act(CARETAKER, days)?.carry_out(&new).await?;
    }
    for (key, to, text, leaded, batch) in [
        ("tape-rgb-24v-10mm", rolls, "2.1 m", true, "K7"),
        ("tape-rgb-24v-10mm", rolls, "1.3 m", true, "K5"),
        ("tape-rgb-24v-10mm", rolls, "800 mm", false, "K5"),
        ("tape-tunable-24v-10mm", rolls, "1.7 m", false, "T1"),
        ("profile-2m-frosted", long, "1.24 m", false, ""),
        ("profile-2m-frosted", long, "640 mm", false, ""),
    ] {
        let part = hall.part(key).await?;
        let mut pieces = Pieces::of_length(&part, length(text)?, 1);
        pieces.offcuts = true;
        batch.clone_into(&mut pieces.batch);
        if let (true, PartSpec::Tape(tape)) = (leaded, &part.spec)
            && let Some(connector) = &tape.roll_start
        {
            pieces.start = End::Lead {
                connector: connector.clone(),
            };
            pieces.joint_offset_units = tape.joints.map(|joints| joints.offset_units.into());
        }
        let new = Receive {
            reason: note("Left over from earlier sets")?,
            ..Receive::new(part.id, to, Goods::Pieces(pieces))
        };
        hall.act(LIGHTS, -140)?.carry_out(&new).await?;
    }
    Ok(())
}

async fn counts(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    let (leads, sundries) = (shelves.leads, shelves.sundries);
    for (key, to, amount) in [
        ("lead-4-male", leads, 12),
        ("lead-4-female", leads, 12),
        ("lead-3-male", leads, 4),
        ("lead-3-female", leads, 4),
        ("coupler-4-female-female", leads, 2),
        ("block-12-screw", sundries, 5),
        ("block-2-lever", sundries, 24),
        ("dmx-cable-2m", leads, 3),
        ("dmx-cable-5m", leads, 2),
        ("dmx-terminator", leads, 2),
        ("profile-clip", sundries, 46),
        ("profile-end-cap", sundries, 28),
        ("screw-3.5x16", sundries, 180),
        ("fuse-5a", sundries, 9),
        ("fuse-10a", sundries, 4),
        ("bar-label", sundries, 35),
    ] {
        receive_count(hall, key, to, amount).await?;
    }
    for (key, text) in [
        ("solder", "18 m"),
        ("heat-shrink-3mm", "6 m"),
        ("heat-shrink-12mm", "2.5 m"),
    ] {
        receive_count(hall, key, sundries, length(text)?.get()).await?;
    }
    // What stays on the frame is reused, held and struck with it.
    let block = hall.id("block-12-screw").await?;
    let mount = Mount {
        what: vec![What::Count {
            part: block,
            from: account(hall, sundries).await?,
            amount: 1,
        }],
        frame: shelves.back_frame,
        reason: note("Stays on the frame")?,
    };
    hall.act(LIGHTS, -200)?.carry_out(&mount).await?;
    Ok(())
}

async fn account(hall: &Hall, place: PlaceId) -> Result<crate::model::id::AccountId, SampleError> {
    let mut tx = hall.db.read().await?;
    db::place::account(&mut tx, place)
        .await?
        .ok_or_else(|| SampleError::Written("a place without an account".to_owned()))
}

async fn receive_count(
    hall: &Hall,
    key: &str,
    to: PlaceId,
    amount: i64,
) -> Result<(), SampleError> {
    let new = Receive::new(hall.id(key).await?, to, Goods::Count(amount));
    hall.act(CARETAKER, -205)?.carry_out(&new).await?;
    Ok(())
}

async fn units(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    for (key, number) in [
        ("driver-4x3", 3),
        ("driver-2x2", 1),
        ("supply-24v-100w", 2),
        ("supply-24v-150w", 1),
        ("supply-24v-60w", 1),
    ] {
        let new = Receive {
            inspect_on: Some(hall.day(120)?),
            ..Receive::new(
                hall.id(key).await?,
                shelves.works,
                Goods::Units {
                    number,
                    tags: Vec::new(),
                    serials: Vec::new(),
                },
            )
        };
        hall.act(CARETAKER, -205)?.carry_out(&new).await?;
    }
    Ok(())
}

/// Bars that were finished in earlier seasons, and two that were made since of this stock.
async fn fixtures(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    const RGB: &str = "tape-rgb-24v-10mm";
    const TUNABLE: &str = "tape-tunable-24v-10mm";
    const FROSTED: &str = "profile-2m-frosted";
    let good = Condition::Good;
    for (tape, lead, lit, condition, says) in [
        (RGB, "lead-4-female", "1.2 m", good, ""),
        (RGB, "lead-4-female", "1.2 m", good, ""),
        (RGB, "lead-4-female", "1.2 m", good, ""),
        (RGB, "lead-4-female", "1.2 m", good, ""),
        (RGB, "lead-4-female", "900 mm", good, ""),
        (
            RGB,
            "lead-4-female",
            "900 mm",
            Condition::Suspect,
            "Blue flickers when the lead is bent",
        ),
        (RGB, "lead-4-female", "1.8 m", good, ""),
        (
            RGB,
            "lead-4-female",
            "600 mm",
            Condition::Dead,
            "Trodden on at the last strike",
        ),
        (TUNABLE, "lead-3-female", "1 m", good, ""),
        (TUNABLE, "lead-3-female", "1 m", good, ""),
    ] {
        let new = EnterFixture {
            about: About {
                condition,
                note: note(says)?,
                ..About::new(shelves.bars)
            },
            make: hall.make(tape, FROSTED, lead, lit).await?,
            batch: if tape == RGB {
                "K5".into()
            } else {
                "T1".into()
            },
            reason: note("Made in earlier seasons")?,
        };
        hall.act(LIGHTS, -190)?.carry_out(&new).await?;
    }
    made(hall, shelves).await
}

/// A bar made of what the cupboard holds: it remembers its tape, its profile and its lead.
async fn made(hall: &Hall, shelves: &Shelves) -> Result<(), SampleError> {
    let act = hall.act(LIGHTS, -130)?;
    let mut inside = Vec::new();
    for (key, text) in [
        ("tape-rgb-24v-10mm", "700 mm"),
        ("profile-2m-frosted", "720 mm"),
    ] {
        let part = hall.part(key).await?;
        let pieces = Pieces {
            offcuts: true,
            batch: if key.starts_with("tape") {
                "K5".into()
            } else {
                String::new()
            },
            ..Pieces::of_length(&part, length(text)?, 1)
        };
        let new = Receive::new(part.id, shelves.rolls, Goods::Pieces(pieces));
        let done = act.carry_out(&new).await?;
        inside.push(What::Thing {
            thing: first(&done.things)?,
        });
    }
    inside.push(What::Count {
        part: hall.id("lead-4-female").await?,
        from: account(hall, shelves.leads).await?,
        amount: 1,
    });
    let new = Assemble {
        about: About::new(shelves.bars),
        make: hall
            .make(
                "tape-rgb-24v-10mm",
                "profile-2m-frosted",
                "lead-4-female",
                "700 mm",
            )
            .await?,
        batch: "K5".into(),
        inside,
        used: vec![What::Count {
            part: hall.id("solder").await?,
            from: account(hall, shelves.sundries).await?,
            amount: length("80 mm")?.get(),
        }],
        design: None,
        reason: note("For the foyer")?,
    };
    act.carry_out(&new).await?;
    Ok(())
}
