//! Whatever people, programs and files send: nothing panics, nothing hangs, nothing grows without
//! end, and what is read is shown as something that reads as the same.
//!
//! The short form runs with the other tests. The long form is started by hand:
//!
//! ```sh
//! FUZZ_CASES=100000 cargo test --release --test fuzz
//! ```
#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

use std::{
    io::Cursor,
    time::{Duration, Instant},
};

use image::{ImageFormat, Rgb, RgbImage};
use proptest::{prelude::*, test_runner::TestCaseError};
use serde_json::{Map, Value, json};
use tapewright::{
    calc,
    clock::Clock,
    db::{Db, archive},
    model::{
        channel::{Channels, RoleOrder},
        csv::{Table, harmless, plain},
        label::label_base,
        picture::pixels::clean,
        text::{Name, Note, Tag},
    },
    plan::address::Taken,
    sample,
    stock::csv::{self, Subject},
    units::{
        ConductorSize, Currency, Current, CutPitch, Length, LengthUnit, Money, Power, SignedLength,
        Strand, Voltage, parse_date,
    },
    web::form::Form,
};

/// So many of each, unless `FUZZ_CASES` says another number.
fn cases(usual: u32) -> ProptestConfig {
    let asked = std::env::var("FUZZ_CASES");
    let asked = asked.ok().and_then(|cases| cases.parse().ok());
    ProptestConfig {
        cases: asked.unwrap_or(usual),
        // A failure is told by the value it was found with; nothing is written beside the sources.
        failure_persistence: None,
        max_shrink_iters: 2000,
        ..ProptestConfig::default()
    }
}

/// What somebody might type into a field for a figure, and anything else.
fn typed() -> impl Strategy<Value = String> {
    let word = prop_oneof![
        "[0-9]{1,25}",
        "[0-9]{0,4}[.,][0-9]{0,12}",
        "[0-9]{1,3}[ -][0-9]{1,2}/[0-9]{1,2}",
        r#"(mm|cm|m|in|ft|'|"|″|′|km|V|A|W|mA|mV|kW|/m|%|°|EUR|USD|JPY|€|AWG|mm2|mm²|MHz|x|×|e9|E-3|inf|NaN|-|\+|−|RGB|RGBW|WW|CW)"#,
        r"[ \t\u{a0}\u{2009}\u{200b}\u{feff}]",
        any::<char>().prop_map(String::from),
    ];
    prop_oneof![
        4 => prop::collection::vec(word, 0..8).prop_map(|words| words.concat()),
        1 => any::<String>(),
        1 => "[0-9]{1,30}",
        1 => "[-+=@\t\r|].{0,20}",
    ]
}

proptest! {
    #![proptest_config(cases(1500))]

    #[test]
    fn figures_that_read_are_shown_as_what_reads_the_same(text in typed(), at in 0..LengthUnit::ALL.len()) {
        let unit = LengthUnit::ALL[at];
        if let Ok(length) = Length::parse(&text, unit) {
            // Shown rounded to what a tape measure shows: reading that again shows the same.
            for shown_in in LengthUnit::ALL {
                let shown = length.show(shown_in);
                let again = Length::parse(&shown, unit);
                prop_assert!(again.is_ok(), "{text:?} is shown as {shown:?}, which does not read");
                prop_assert_eq!(again.unwrap().show(shown_in), shown);
            }
        }
        if let Ok(length) = SignedLength::parse(&text, unit) {
            let shown = length.show(unit);
            prop_assert_eq!(SignedLength::parse(&shown, unit).map(|l| l.show(unit)), Ok(shown.clone()), "{}", shown);
        }
        if let Ok(pitch) = CutPitch::parse(&text, unit) {
            let shown = pitch.show(unit);
            prop_assert!(CutPitch::parse(&shown, unit).is_ok(), "{text:?} is shown as {shown:?}");
        }
        macro_rules! quantity {
            ($($kind:ty),*) => {$(
                if let Ok(value) = <$kind>::parse(&text) {
                    let shown = value.show();
                    prop_assert_eq!(<$kind>::parse(&shown).map(<$kind>::show).ok(), Some(shown));
                }
            )*};
        }
        quantity!(Voltage, Current, Power);
        for code in ["EUR", "JPY", "KWD"] {
            let currency = Currency::parse(code).unwrap();
            if let Ok(sum) = Money::parse(&text, &currency) {
                prop_assert_eq!(Money::parse(&sum.show(&currency), &currency), Ok(sum));
            }
        }
        if let Ok(day) = parse_date(&text) {
            prop_assert_eq!(parse_date(&day.to_string()), Ok(day));
        }
    }

    #[test]
    fn words_that_read_are_shown_as_what_reads_the_same(text in typed()) {
        if let Ok(name) = Name::parse(&text) {
            prop_assert_eq!(Name::parse(name.as_str()).map(|n| n.to_string()), Ok(name.to_string()));
        }
        if let Ok(note) = Note::parse(&text) {
            prop_assert!(Note::parse(note.as_str()).is_ok());
        }
        if let Ok(tag) = Tag::parse(&text) {
            prop_assert_eq!(Tag::parse(&tag.to_string()).map(|t| t.to_string()), Ok(tag.to_string()));
        }
        if let Ok(channels) = text.parse::<Channels>() {
            prop_assert_eq!(channels.to_string().parse::<Channels>().ok(), Some(channels));
        }
        if let Ok(order) = text.parse::<RoleOrder>() {
            prop_assert_eq!(order.to_string().parse::<RoleOrder>().ok(), Some(order));
        }
        if let Ok(size) = text.parse::<ConductorSize>() {
            prop_assert_eq!(size.to_string().parse::<ConductorSize>().ok(), Some(size));
        }
        let _ = text.parse::<Strand>();
        let _ = Currency::parse(&text);
        let _ = Taken::parse(&text);
        let _ = label_base(&text);
        let cell = harmless(&text);
        prop_assert_eq!(plain(&cell), text.as_str());
        prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell:?}");
    }

    #[test]
    fn forms_are_read_or_refused(bytes in prop_oneof![
        prop::collection::vec(any::<u8>(), 0..300),
        "([a-z]{0,3}(=|&|%|%4|%41|%00|%ff|\\+|was=|take=){0,3}){0,40}".prop_map(String::into_bytes),
    ]) {
        if let Ok(mut form) = Form::decode(&bytes) {
            form.settle();
            let again = Form::decode(form.was().as_bytes());
            prop_assert!(again.is_ok());
        }
    }

    #[test]
    fn pictures_are_known_by_what_is_in_them(
        begins in prop_oneof![
            Just(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec()),
            Just(b"\xff\xd8\xff\xe0".to_vec()),
            Just(b"RIFF\0\0\0\0WEBPVP8 ".to_vec()),
            Just(Vec::new()),
        ],
        rest in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let bytes = [begins, rest].concat();
        prop_assert!(clean(&bytes).is_err());
    }
}

/// A small picture as a file.
fn picture(format: ImageFormat) -> Vec<u8> {
    let pixels = RgbImage::from_fn(40, 24, |x, y| {
        let shade = |it: u32| u8::try_from(it % 256).unwrap();
        Rgb([shade(x * 6), shade(y * 10), shade(x * y)])
    });
    let mut file = Cursor::new(Vec::new());
    pixels.write_to(&mut file, format).unwrap();
    file.into_inner()
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn pictures_that_were_tampered_with_are_kept_clean_or_refused(
        photo in any::<bool>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        cut in prop::option::of(any::<prop::sample::Index>()),
        tail in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let mut bytes = picture(if photo { ImageFormat::Jpeg } else { ImageFormat::Png });
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        bytes.extend(tail);
        if let Ok(kept) = clean(&bytes) {
            let (width, height) = (kept.looks.width_px, kept.looks.height_px);
            prop_assert!(width >= 16 && height >= 16);
            let again = image::load_from_memory(&kept.bytes).unwrap();
            prop_assert_eq!((again.width(), again.height()), (width, height));
        }
    }
}

/// Draws from a seed, so that a case is told by one number.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        // SplitMix64 (Steele, Lea, Flood 2014).
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let z = z ^ (z >> 31);
        usize::try_from(z % u64::try_from(sides.max(1)).unwrap()).unwrap()
    }

    fn value(&mut self) -> Value {
        match self.roll(16) {
            0 => json!(0),
            1 => json!(-1),
            2 => json!(1),
            3 => json!(i64::MAX),
            4 => json!(i64::MIN),
            5 => json!(u64::MAX),
            6 => json!(1e300),
            7 => json!(0.5),
            8 => json!(4_294_967_296_i64),
            9 => json!(1_000_000_000_000_i64),
            10 => Value::Null,
            11 => json!(""),
            12 => json!("x".repeat(5000)),
            13 => json!("\u{0}\u{202e}é"),
            14 => json!([]),
            _ => json!({"a": [{"b": [[[[[[[[1]]]]]]]]}]}),
        }
    }

    /// Changes one place of a document.
    fn change(&mut self, value: &mut Value) {
        let inner = match value {
            Value::Object(map) => map.len(),
            Value::Array(all) => all.len(),
            _ => 0,
        };
        // Deeper more often than here.
        if inner > 0 && self.roll(6) > 0 {
            let at = self.roll(inner);
            let inside = match value {
                Value::Object(map) => map.values_mut().nth(at),
                Value::Array(all) => all.get_mut(at),
                _ => None,
            };
            if let Some(inside) = inside {
                return self.change(inside);
            }
        }
        match value {
            Value::Object(map) => self.change_object(map),
            Value::Array(all) => match self.roll(4) {
                0 => all.clear(),
                1 => all.push(self.value()),
                2 => {
                    // Many of the same: lists have an end.
                    let more = all.first().cloned().unwrap_or(Value::Null);
                    let times = [2, 40, 700][self.roll(3)];
                    all.extend(std::iter::repeat_n(more, times));
                }
                _ => {
                    if !all.is_empty() {
                        let at = self.roll(all.len());
                        all.remove(at);
                    }
                }
            },
            Value::Number(number) if self.roll(2) == 0 => {
                let was = number.as_i64().unwrap_or(0);
                let by = [-1, 1, 7, 1000][self.roll(4)];
                *value = match self.roll(3) {
                    0 => json!(was.saturating_add(by)),
                    1 => json!(was.saturating_mul(by)),
                    _ => json!(was.saturating_neg()),
                };
            }
            other => *other = self.value(),
        }
    }

    fn change_object(&mut self, map: &mut Map<String, Value>) {
        let names: Vec<String> = map.keys().cloned().collect();
        match self.roll(4) {
            0 => {
                map.insert("unknown".to_owned(), self.value());
            }
            1 if !names.is_empty() => {
                map.remove(&names[self.roll(names.len())]);
            }
            _ if !names.is_empty() => {
                let new = self.value();
                map.insert(names[self.roll(names.len())].clone(), new);
            }
            _ => {}
        }
    }
}

/// Far longer than any document may take, on any machine: what passes it would never end.
const FOR_EVER: Duration = Duration::from_mins(1);

fn answered(kind: calc::Kind, asked: Value) -> Result<(), TestCaseError> {
    let began = Instant::now();
    let told = asked.to_string();
    let said = calc::answer(kind, asked, &|| began.elapsed());
    let told: String = told.chars().take(3000).collect();
    prop_assert!(
        began.elapsed() < FOR_EVER,
        "{} took too long: {}",
        kind,
        told
    );
    match said {
        Ok(said) => prop_assert!(said.is_object()),
        Err(why) => {
            prop_assert!(!why.detail.is_empty());
            prop_assert!(why.pointer.is_empty() || why.pointer.starts_with('/'));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(250))]

    #[test]
    fn calculators_answer_or_refuse_any_document(seed: u64) {
        let mut dice = Dice(seed);
        for kind in calc::Kind::ALL {
            let examples = kind.examples();
            let mut asked = examples[dice.roll(examples.len())].asked.clone();
            for _ in 0..=dice.roll(3) {
                dice.change(&mut asked);
            }
            if *kind == calc::Kind::Cuts && let Some(asked) = asked.as_object_mut() {
                asked.insert("time_limit_ms".to_owned(), json!(20));
            }
            answered(*kind, asked)?;
        }
    }
}

/// Changes some bytes of a file.
fn mutilate(dice: &mut Dice, bytes: &mut Vec<u8>) {
    const STRANGE: [&[u8]; 12] = [
        b"\"",
        b"\"\"",
        b",",
        b";",
        b"\t",
        b"\r",
        b"\r\n",
        b"\0",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b"=1+1",
        b"-99999999999999999999",
    ];
    for _ in 0..=dice.roll(4) {
        let at = dice.roll(bytes.len() + 1);
        match dice.roll(4) {
            0 => bytes.truncate(at),
            1 => {
                let until = (at + dice.roll(40)).min(bytes.len());
                bytes.drain(at..until);
            }
            2 => {
                let copied = bytes[at..(at + dice.roll(200)).min(bytes.len())].to_vec();
                let to = dice.roll(bytes.len() + 1);
                bytes.splice(to..to, copied);
            }
            _ => {
                let strange = STRANGE[dice.roll(STRANGE.len())];
                bytes.splice(at..at, strange.iter().copied());
            }
        }
    }
}

/// The sample's book, to read files against.
async fn book(folder: &std::path::Path) -> Db {
    let db = Db::open(folder).await.unwrap();
    let clock = Clock::at(jiff::civil::date(2026, 3, 5));
    assert!(sample::fill(&db, &clock).await.unwrap());
    db
}

#[test]
fn any_file_of_rows_is_read_or_refused() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let db = runtime.block_on(book(folder.path()));
    let (parts, stock) = runtime.block_on(async {
        let mut tx = db.read().await.unwrap();
        let unit = LengthUnit::Mm;
        let parts = csv::parts_out(&mut tx, None, unit, false, false)
            .await
            .unwrap();
        let stock = csv::stock_out(&mut tx, None, unit, false, false)
            .await
            .unwrap();
        (parts.into_bytes(), stock.into_bytes())
    });
    proptest!(cases(120), |(seed: u64, of_parts: bool)| {
        let mut bytes = if of_parts { parts.clone() } else { stock.clone() };
        mutilate(&mut Dice(seed), &mut bytes);
        if let Ok(table) = Table::read(&bytes) {
            let width = table.columns.len();
            prop_assert!(table.rows.iter().all(|row| row.cells.len() == width));
        }
        let file = csv::File {
            subject: if of_parts { Subject::Parts } else { Subject::Stock { make_places: true } },
            bytes: &bytes,
            unit: LengthUnit::Mm,
        };
        if let Err(why) = runtime.block_on(csv::dry_run(&db, &file)) {
            let database = matches!(why, csv::ImportError::Stock(tapewright::stock::StockError::Db(_)));
            prop_assert!(!database, "{why}");
        }
    });
    runtime.block_on(db.close());
}

#[test]
fn any_archive_is_read_or_refused_and_leaves_no_half_book() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.zip");
    let whole = runtime.block_on(async {
        let db = book(&folder.path().join("data")).await;
        archive::write(db.file(), &file, "2026-03-05")
            .await
            .unwrap();
        db.close().await;
        std::fs::read(&file).unwrap()
    });
    proptest!(cases(25), |(seed: u64)| {
        let mut bytes = whole.clone();
        mutilate(&mut Dice(seed), &mut bytes);
        std::fs::write(&file, &bytes).unwrap();
        let target = folder.path().join("into");
        let read = runtime.block_on(archive::read(&file, &target));
        let left = std::fs::read_dir(&target).map_or(0, Iterator::count);
        match read {
            Ok(_) => prop_assert!(target.join(Db::FILE).is_file()),
            Err(why) => {
                prop_assert!(!why.to_string().is_empty());
                prop_assert_eq!(left, 0, "{}", why);
            }
        }
        let _ = std::fs::remove_dir_all(&target);
    });
}
