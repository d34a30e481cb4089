//! Start addresses with their switches, and the slots of each bar.

use askama::Template;

use crate::web::design::{
    Whole,
    address::{AddressRow, data_words, rows},
};

#[derive(Template)]
#[template(path = "design/sheets/addresses.html")]
struct Addresses {
    drivers: Vec<AddressRow>,
    data: Vec<String>,
}

pub(super) fn body(whole: &Whole) -> askama::Result<String> {
    Addresses {
        drivers: rows(whole),
        data: data_words(whole),
    }
    .render()
}
