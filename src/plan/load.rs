//! What each served bar is to the driver that feeds it: colours, voltage, currents, connector.

use super::{book::Book, build::Builds, input::SpareFixture, outcome::Joint};
use crate::{
    model::{
        channel::{Channel, Channels},
        connector::Connector,
        design::Bar,
        fixture::Fed,
        id::PartId,
        part::{PartSpec, Polarity, Tape},
    },
    units::{Length, Voltage},
};

/// Currents and power of a bar with everything at full, at its nominal voltage, rounded up to
/// whole milliamps and milliwatts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Draw {
    pub(super) channels: Vec<(Channel, i64)>,
    pub(super) total_ma: i64,
    pub(super) power_mw: i64,
}

/// Power per metre × length / voltage, colour by colour; `None` where a colour's power is not
/// known.
pub(super) fn draw(tape: &Tape, lit: Length) -> Option<Draw> {
    let voltage = i128::from(tape.voltage_mv.get());
    if voltage == 0 {
        return None;
    }
    let mut channels = Vec::new();
    let (mut total_ma, mut power) = (0, 0);
    for channel in &tape.channels {
        let mw_um = i128::from(channel.power_mw_per_m?.get()) * i128::from(lit.get());
        // mW·µm/m ÷ 1,000,000 is mW; mW ÷ mV is A, and 1000 times that mA.
        let ma = i64::try_from(ceil(mw_um, voltage * 1_000)).ok()?;
        channels.push((channel.channel, ma));
        total_ma += ma;
        power += mw_um;
    }
    Some(Draw {
        channels,
        total_ma,
        power_mw: i64::try_from(ceil(power, 1_000_000)).ok()?,
    })
}

fn ceil(of: i128, by: i128) -> i128 {
    (of + by - 1) / by
}

/// A served bar.
pub(super) struct Load<'a> {
    pub(super) bar: &'a Bar,
    pub(super) channels: &'a Channels,
    pub(super) voltage: Voltage,
    /// Its tape, if it is in the catalogue.
    pub(super) tape: Option<(PartId, &'a Tape)>,
    pub(super) lit: Length,
    pub(super) draw: Option<Draw>,
    pub(super) batch: String,
    /// What it ends in; for a bar to be soldered this is settled later.
    pub(super) connector: Option<Connector>,
    /// Ends on which a lead is to be soldered; `None` for a fixture of the cupboard.
    pub(super) to_solder: Option<i64>,
    /// The fixture's tag, for one of the cupboard.
    pub(super) tag: Option<String>,
}

impl Load<'_> {
    /// Ends that are fed.
    pub(super) fn ends(&self) -> i64 {
        match self.bar.fed {
            Fed::OneEnd => 1,
            Fed::BothEnds => 2,
        }
    }

    /// The name of its tape in sentences.
    pub(super) fn tape_name(&self, book: &Book<'_>) -> String {
        match (&self.tape, &self.tag) {
            (Some((id, _)), _) => book.name(*id),
            (None, Some(tag)) => format!("the tape of {tag}"),
            (None, None) => "the tape".to_owned(),
        }
    }

    /// Names its tape in keys.
    pub(super) fn tape_key(&self) -> String {
        match &self.tape {
            Some((id, _)) => format!("part-{id}"),
            None => format!("bar-{}", self.bar.id),
        }
    }

    pub(super) fn polarity(&self) -> Option<Polarity> {
        self.tape.and_then(|(_, tape)| tape.common)
    }

    pub(super) fn total_ma(&self) -> Option<i64> {
        self.draw.as_ref().map(|draw| draw.total_ma)
    }
}

/// Every bar that a fixture serves or that is to be built, by id.
pub(super) fn loads<'a>(
    book: &Book<'a>,
    served: &[(&'a Bar, Option<&'a SpareFixture>)],
    builds: &Builds,
) -> Vec<Load<'a>> {
    let tape_of = |id: PartId| match book.part(id).map(|part| &part.spec) {
        Some(PartSpec::Tape(tape)) => Some((id, tape)),
        _ => None,
    };
    let mut all = Vec::new();
    for &(bar, spare) in served {
        if let Some(spare) = spare {
            let make = &spare.fixture.make;
            let tape = make.tape.and_then(tape_of);
            all.push(Load {
                bar,
                channels: &make.channels,
                voltage: make.voltage_mv,
                tape,
                lit: make.lit_um,
                draw: tape.and_then(|(_, tape)| draw(tape, make.lit_um)),
                batch: spare.batch.clone(),
                connector: make.connector.clone(),
                to_solder: None,
                tag: Some(spare.fixture.tag.to_string()),
            });
        } else if let Some(built) = builds.built.get(&bar.id)
            && let Some((id, tape)) = tape_of(built.tape)
        {
            let given = &built.tape_given;
            let solder = [given.start, given.end]
                .into_iter()
                .filter(|joint| matches!(joint, Joint::Tinned | Joint::Mark))
                .count();
            all.push(Load {
                bar,
                channels: &bar.channels,
                voltage: tape.voltage_mv,
                tape: Some((id, tape)),
                lit: built.lit,
                draw: draw(tape, built.lit),
                batch: given.batch.clone(),
                connector: given.factory.clone(),
                to_solder: Some(i64::try_from(solder).unwrap_or(0)),
                tag: None,
            });
        }
    }
    all
}
