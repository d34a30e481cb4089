use super::*;
use crate::{
    model::{
        ready_made,
        text::{Name, Note},
    },
    stock::csv::{CsvDoes, rows},
};

fn part(id: i64, name: &str, kind: Kind) -> Part {
    let like = ready_made::all()
        .iter()
        .find(|part| part.spec.kind() == kind)
        .unwrap();
    Part {
        id: PartId(id),
        name: Name::parse(name).unwrap(),
        code: String::new(),
        spec: like.spec.clone(),
        typical: false,
        note: Note::default(),
        retired: false,
        version: 1,
    }
}

fn book(parts: &[Part], moved: &[i64]) -> Book {
    Book {
        parts: parts
            .iter()
            .map(|part| (key(part.name.as_str()), part.clone()))
            .collect(),
        names: parts
            .iter()
            .map(|part| (part.id, part.name.to_string()))
            .collect(),
        moved: moved.iter().copied().map(PartId).collect(),
    }
}

fn planned(text: &str, book: &Book) -> Result<Vec<Planned<Want>>, Vec<String>> {
    let table = Table::read(text.as_bytes()).unwrap();
    plan(&table, book, LengthUnit::Mm)
        .map_err(|faults| faults.shown().iter().map(ToString::to_string).collect())
}

fn does(text: &str, book: &Book) -> Vec<CsvDoes> {
    let planned = planned(text, book).unwrap();
    rows(&planned).iter().map(|row| row.does).collect()
}

#[test]
fn a_part_is_found_by_its_name_whatever_its_case() {
    let book = book(&[part(7, "Tail", Kind::Lead)], &[]);
    assert_eq!(does("name\ntail\n", &book), [CsvDoes::Unchanged]);
    assert_eq!(does("name,code\nTAIL,T-1\n", &book), [CsvDoes::Changed]);
    assert_eq!(
        planned("name,kind\ntail,tape\n", &book).err().unwrap(),
        [
            "Line 2, column “kind”: Tail is a lead in the catalogue, and a part's kind stays. Give this one another name."
        ]
    );
}

#[test]
fn an_empty_cell_empties_and_a_missing_column_leaves() {
    let mut tail = part(7, "Tail", Kind::Lead);
    tail.code = "T-1".into();
    let book = book(&[tail], &[]);
    let change = planned("name,code\nTail,\n", &book).unwrap().remove(0);
    let Want::Change(changed) = change.want else {
        panic!("it changes");
    };
    assert_eq!(changed.code, "");
    assert_eq!(changed.spec, book.parts["tail"].spec);
}

#[test]
fn the_pitch_of_tape_stays_once_there_was_any() {
    let tape = part(3, "Tape", Kind::Tape);
    let text = "name,cut pitch (mm)\nTape,61.7\n";
    assert_eq!(
        does(text, &book(std::slice::from_ref(&tape), &[])),
        [CsvDoes::Changed]
    );
    let refused = planned(text, &book(&[tape], &[3])).err().unwrap();
    assert!(refused[0].starts_with("Line 2, column “cut pitch (mm)”: There is stock"));
}

#[test]
fn yes_and_no_are_read_as_people_type_them() {
    for (text, read) in [("Yes", true), ("x", true), ("", false), ("NO", false)] {
        assert_eq!(yes(text), Ok(read), "{text}");
    }
    assert!(yes("perhaps").is_err());
}
