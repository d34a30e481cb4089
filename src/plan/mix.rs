//! Bars that are seen side by side: whites of different colour temperature, or different batches
//! of tape, in one frame.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    book::Book,
    check::{Checks, Finding, named},
    load::Load,
};
use crate::model::{channel::Channel, id::FrameId};

/// Warns of mixtures, frame by frame; bars on no frame count as one.
pub(super) fn check(book: &Book<'_>, loads: &[Load<'_>], checks: &mut Checks) {
    let mut frames: BTreeMap<Option<FrameId>, Vec<&Load<'_>>> = BTreeMap::new();
    for load in loads {
        frames.entry(load.bar.frame).or_default().push(load);
    }
    for (frame, members) in frames {
        let label = frame
            .and_then(|id| book.input.design.frames.iter().find(|frame| frame.id == id))
            .map_or_else(
                || "Bars on no frame".to_owned(),
                |frame| frame.label.to_string(),
            );
        let mixes = if frame.is_some() { "mixes" } else { "mix" };
        let key = frame.map_or_else(|| "none".to_owned(), |id| id.to_string());
        let mut whites: BTreeMap<Channel, BTreeSet<u16>> = BTreeMap::new();
        let mut batches: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for load in &members {
            let Some((id, tape)) = load.tape else {
                continue;
            };
            for channel in &tape.channels {
                if let Some(kelvin) = channel.kelvin {
                    whites.entry(channel.channel).or_default().insert(kelvin);
                }
            }
            if !load.batch.is_empty() {
                batches
                    .entry(book.name(id))
                    .or_default()
                    .insert(load.batch.clone());
            }
        }
        for (channel, kelvins) in whites.iter().filter(|(_, kelvins)| kelvins.len() > 1) {
            let list: Vec<String> = kelvins.iter().map(|kelvin| format!("{kelvin} K")).collect();
            let finding = Finding::warned(
                format!("{label} {mixes} {channel} of {}.", list.join(" and ")),
                "Use one tape throughout, or put them where they are not compared.",
            );
            let who = members.iter().map(|load| named(load.bar));
            checks.add(
                "whites",
                format_args!("frame-{key}:{}", channel.word()),
                &label,
                finding,
                who,
            );
        }
        for (tape, list) in batches.iter().filter(|(_, list)| list.len() > 1) {
            let list: Vec<&str> = list.iter().map(String::as_str).collect();
            let finding = Finding::warned(
                format!("{label} {mixes} batches {} of {tape}.", list.join(", ")),
                "Batches can differ in colour: compare them lit, or use one.",
            );
            checks.add(
                "batches",
                format_args!("frame-{key}:{tape}"),
                &label,
                finding,
                [],
            );
        }
    }
}
