//! Where the rows of a CSV text begin, whether its quotes close, and what parts its cells.

use super::fault::{At, Faults};

/// Where a row begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Start {
    /// Its line, from 1.
    pub line: usize,
    /// Its row, from 1; empty lines are rows too, as in a spreadsheet.
    pub row: usize,
}

/// What may part cells, the usual one first.
const SEPARATORS: [u8; 3] = [b',', b';', b'\t'];

/// Of comma, semicolon and tab the one that the first row with anything in it has most often
/// outside of quotes.
pub fn separator(text: &str) -> u8 {
    let mut quoted = false;
    let mut counts = [0_usize; SEPARATORS.len()];
    for byte in text.trim_start_matches(['\r', '\n']).bytes() {
        match byte {
            b'"' => quoted = !quoted,
            b'\r' | b'\n' if !quoted => break,
            _ if quoted => {}
            byte => {
                if let Some(at) = SEPARATORS.iter().position(|one| *one == byte) {
                    counts[at] += 1;
                }
            }
        }
    }
    let most = counts.iter().max().copied().unwrap_or(0);
    let at = counts.iter().position(|count| *count == most).unwrap_or(0);
    SEPARATORS[at]
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    RowStart,
    CellStart,
    Bare,
    Quoted,
    /// After a quote inside quotes: the end of the cell, or the first half of a doubled quote.
    Closed,
}

/// The beginnings of all rows that are not empty lines. RFC 4180 wants quotes round a whole cell:
/// one that never closes, or text after one that closed, would make another table of the rest.
pub fn rows(text: &str, separator: u8) -> Result<Vec<Start>, Faults> {
    let mut starts = Vec::new();
    let mut faults = Faults::default();
    let (mut state, mut line, mut row) = (State::RowStart, 1, 1);
    let mut opened = Start { line, row };
    let mut after_cr = false;
    for byte in text.bytes() {
        let half_of_crlf = after_cr && byte == b'\n';
        after_cr = byte == b'\r';
        if half_of_crlf {
            continue;
        }
        let line_ends = matches!(byte, b'\r' | b'\n');
        if state == State::RowStart && !line_ends {
            starts.push(Start { line, row });
            state = State::CellStart;
        }
        let at = Start { line, row };
        if line_ends {
            line += 1;
        }
        state = match (state, byte) {
            (State::Quoted, b'"') => State::Closed,
            (State::Quoted, _) | (State::Closed, b'"') => State::Quoted,
            (_, b'\r' | b'\n') => {
                row += 1;
                State::RowStart
            }
            (_, byte) if byte == separator => State::CellStart,
            (State::CellStart, b'"') => {
                opened = at;
                State::Quoted
            }
            (State::Closed, _) => {
                faults.add(
                    place(at),
                    "Text stands after the quote that ends a cell. Put quotes round the whole \
                     cell, and write a quote inside it twice.",
                );
                State::Bare
            }
            _ => State::Bare,
        };
    }
    if state == State::Quoted {
        faults.add(
            place(opened),
            "A quote opens here and never closes. Put one at the end of the cell, and write a \
             quote inside it twice.",
        );
    }
    faults.or(starts)
}

const fn place(start: Start) -> At {
    At {
        line: start.line,
        row: start.row,
        column: None,
    }
}
