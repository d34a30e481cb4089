use proptest::prelude::*;

use super::*;

fn cells(text: &str) -> Vec<Vec<String>> {
    let table = Table::read(text.as_bytes()).unwrap();
    table.rows.into_iter().map(|row| row.cells).collect()
}

/// The faults as sentences.
fn faults(bytes: &[u8]) -> Vec<String> {
    let faults = Table::read(bytes).unwrap_err();
    faults.shown().iter().map(ToString::to_string).collect()
}

/// The examples of RFC 4180, section 2, rules 1 to 7.
#[test]
fn the_forms_of_the_standard_are_read() {
    let one = vec![vec!["aaa".to_owned(), "bbb".to_owned(), "ccc".to_owned()]];
    for text in [
        "field_name,field_name2,field_name3\r\naaa,bbb,ccc\r\n",
        "field_name,field_name2,field_name3\r\naaa,bbb,ccc",
        "field_name,field_name2,field_name3\r\n\"aaa\",\"bbb\",\"ccc\"\r\n",
    ] {
        assert_eq!(cells(text), one, "{text}");
    }
    assert_eq!(
        cells("1,2,3\r\n\"aaa\",\"b CRLF\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
        [["aaa", "b CRLF\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
    );
    assert_eq!(
        cells("1,2,3\r\n\"aaa\",\"b\"\"bb\",\"ccc\""),
        [["aaa", "b\"bb", "ccc"]]
    );
}

#[test]
fn what_spreadsheets_make_of_it_is_read_too() {
    let read = [["a;b", "2,5"]];
    assert_eq!(cells("x,y\n\"a;b\",\"2,5\"\n"), read);
    assert_eq!(cells("x;y\r\n\"a;b\";2,5\r\n"), read);
    assert_eq!(cells("\u{feff}x\ty\na;b\t2,5\n\t\n\n"), read);
    // A title with a comma in quotes does not make it a file of commas.
    assert_eq!(cells("\"x, or x, or x\";y\na;2\n"), [["a", "2"]]);
    assert_eq!(cells("only\nthis\n"), [["this"]]);
    // A mark for inches inside a cell that nobody quoted.
    assert_eq!(cells("length,part\n7'6\",cable\n"), [["7'6\"", "cable"]]);
}

#[test]
fn titles_are_matched_without_case_spaces_and_unit() {
    let table = Table::read(b" Roll   Lengths (mm),Name,(odd)\n5000,tape,1\n").unwrap();
    let column = &table.columns[0];
    assert_eq!(
        (&*column.title, &*column.name, column.unit.as_deref()),
        ("Roll Lengths (mm)", "roll lengths", Some("mm"))
    );
    assert_eq!(table.find("name"), Some(1));
    assert_eq!(table.find("(odd)"), Some(2));
    assert!(faults(b"name,Name \na,b\n")[0].starts_with("Line 1, column “Name”: This title"));
}

#[test]
fn what_is_wrong_is_named_by_line() {
    assert_eq!(
        faults(b"a,b\n1,2,3\n\n\"x\ny\",2\n1\n"),
        [
            "Line 2: Cells in this row: 3; titles: 2. A cell with a comma in it stands in quotes.",
            "Line 6 (row 5 of the table): Cells in this row: 1; titles: 2. A cell with a comma in it stands in quotes.",
        ]
    );
    assert!(faults(b"a,b\n1,\"2\n3,4\n5,6\n")[0].starts_with("Line 2: A quote opens here"));
    assert!(faults(b"a,b\n1,\"2\" m\n")[0].starts_with("Line 2: Text stands after the quote"));
    assert!(faults(b"a,\nx,y\n")[0].starts_with("Line 2: Cell 2 stands under no title"));
    assert!(faults(b"")[0].starts_with("The file: There is nothing in it"));
    // A cell of nothing but a guarded tab says nothing either.
    assert_eq!(cells("a,b\n,'\t\n1,2\n"), [["1", "2"]]);
    assert!(faults(b"\r\n,,\n")[0].starts_with("The file: There is nothing in it"));
}

#[test]
fn bytes_that_are_not_utf_8_are_named_by_line() {
    // “Gerät” and “Öse” in Latin-1.
    assert_eq!(
        faults(b"name,note\r\nGer\xe4t,good\r\nplain,\xd6se\r\n"),
        [
            "Line 2: Byte 4 of this line (0xE4) is not UTF-8. Save the file as CSV in UTF-8.",
            "Line 3: Byte 7 of this line (0xD6) is not UTF-8. Save the file as CSV in UTF-8.",
        ]
    );
    assert!(faults(b"\xff\xfen\0a\0")[0].contains("UTF-16"));
}

#[test]
fn limits_are_named() {
    let rows = |number: usize| format!("a,b\n{}", "1,2\n".repeat(number));
    assert_eq!(cells(&rows(10_000)).len(), ROW_LIMIT);
    let told = faults(rows(10_001).as_bytes());
    assert!(
        told[0].starts_with("Line 10002: At most 10000 rows"),
        "{told:?}"
    );
    let told = faults(&vec![b'a'; SIZE_LIMIT + 1]);
    assert!(told[0].contains("larger than 2 MiB"), "{told:?}");
    let ragged = Table::read(format!("a,b\n{}", "1\n".repeat(60)).as_bytes()).unwrap_err();
    assert_eq!((ragged.shown().len(), ragged.more()), (FAULT_LIMIT, 10));
}

#[test]
fn formulas_are_made_harmless_and_read_back() {
    for (text, written) in [
        ("=1+1", "'=1+1"),
        ("+49 30", "'+49 30"),
        ("-5", "'-5"),
        ("@sum", "'@sum"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("'=1", "''=1"),
        ("'quoted'", "'quoted'"),
        ("7'6\"", "7'6\""),
        ("", ""),
    ] {
        assert_eq!(harmless(text), written, "{text}");
        assert_eq!(plain(written), text, "{text}");
    }
}

#[test]
fn units_stand_in_the_title_or_in_the_cell() {
    assert_eq!(without_unit("5000 mm, 10000 mm", "mm"), "5000, 10000");
    assert_eq!(without_unit("5 m", "mm"), "5 m");
    assert_eq!(without_unit("3 per 150 mm", "mm"), "3 per 150 mm");
    assert_eq!(without_unit("80 %", "%"), "80");
    assert_eq!(with_unit(" 24 ", "V"), "24 V");
    assert_eq!(with_unit("1 1/2", "in"), "1 1/2 in");
    assert_eq!(with_unit("-3", "mm"), "-3 mm");
    assert_eq!(with_unit("12 V", "V"), "12 V");
    assert_eq!(with_unit("7' 6\"", "ft"), "7' 6\"");
    assert_eq!(with_unit("", "V"), "");
}

/// Texts with everything in them that quoting, parting and formulas are about.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[-=+@'\"\t\r\n,; a-zé]{0,8}",
        any::<String>(),
        Just(String::new()),
    ]
}

proptest! {
    #[test]
    fn what_goes_out_comes_back(
        rows in prop::collection::vec(prop::collection::vec(text(), 3), 0..6),
        mark in any::<bool>(),
    ) {
        let titles = ["one", "two", "three"].map(ToOwned::to_owned);
        let written = write(&titles, &rows, mark);
        let table = Table::read(written.as_bytes()).unwrap();
        let read: Vec<_> = table.rows.into_iter().map(|row| row.cells).collect();
        let kept: Vec<_> = rows
            .into_iter()
            .filter(|row| row.iter().any(|cell| !cell.trim().is_empty()))
            .collect();
        prop_assert_eq!(read, kept);
    }

    #[test]
    fn nothing_that_goes_out_begins_like_a_formula(cell in text()) {
        let rows = vec![vec![cell.clone()]];
        let written = write(&["title".to_owned()], &rows, false);
        let body = written.strip_prefix("title\r\n").unwrap();
        let body = body.strip_prefix('"').unwrap_or(body);
        prop_assert!(!body.starts_with(['=', '+', '-', '@', '\t', '\r']), "{}", body);
        let guarded = harmless(&cell);
        prop_assert_eq!(plain(&guarded), cell);
    }

    /// Whatever is read, each row is where it is said to be.
    #[test]
    fn rows_are_found_as_the_reader_finds_them(text in "[a,;\"\r\n]{0,24}") {
        for separator in [b',', b';'] {
            if let Ok(starts) = scan::rows(&text, separator) {
                let records = csv::ReaderBuilder::new()
                    .delimiter(separator)
                    .has_headers(false)
                    .flexible(true)
                    .from_reader(text.as_bytes())
                    .into_records()
                    .count();
                prop_assert_eq!(starts.len(), records, "{:?}", text);
            }
        }
    }
}
