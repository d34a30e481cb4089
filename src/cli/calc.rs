//! `calc`: a document in, a document out.

use std::{
    fs,
    io::{self, Read as _},
    path::Path,
    process::ExitCode,
};

use clap::builder::{PossibleValue, PossibleValuesParser};

use super::{Failure, say};
use crate::{
    calc::{
        Kind, answer,
        document::{self, Unread},
    },
    clock::Watch,
};

/// Reads the word for what to calculate.
pub(super) fn kind() -> PossibleValuesParser {
    Kind::ALL
        .iter()
        .map(|kind| PossibleValue::new(kind.word()).help(kind.label()))
        .collect::<Vec<_>>()
        .into()
}

/// Answers the document in a file, or on standard input.
pub(super) fn run(kind: &str, file: &Path) -> Result<ExitCode, Failure> {
    let watch = Watch::start();
    let read = if file == Path::new("-") {
        let mut text = Vec::new();
        io::stdin().read_to_end(&mut text).map(|_| text)
    } else {
        fs::read(file)
    };
    let text = read.map_err(|why| Failure::Unreadable {
        file: file.to_owned(),
        why,
    })?;
    let asked = document::parse(&text).map_err(|why| match why {
        Unread::NotJson(why) => Failure::NotJson {
            file: file.to_owned(),
            why,
        },
        Unread::Refused(why) => why.into(),
    })?;
    let Some(kind) = Kind::ALL.iter().find(|known| known.word() == kind) else {
        unreachable!("clap takes known words only");
    };
    let said = answer(*kind, asked, &|| watch.elapsed())?;
    say(format_args!("{said:#}"));
    Ok(ExitCode::SUCCESS)
}
