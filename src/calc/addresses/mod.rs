//! DMX512 start addresses round slots that are taken: [`AddressesBody`] in, [`AddressesAnswer`] out.

mod asked;
mod said;

pub use asked::{AddressSetting, AddressesBody, AddressesDriver};
pub use said::{AddressedDriver, AddressesAnswer, AddressesLine};

use super::Refused;

pub(super) const EXAMPLES: &[&str] = &[
    include_str!("examples/round-taken.json"),
    include_str!("examples/kept.json"),
    include_str!("examples/two-universes.json"),
];

/// Checks the question, and gives out addresses.
pub fn answer(asked: &AddressesBody) -> Result<AddressesAnswer, Refused> {
    let (taken, leaders) = asked.check()?;
    AddressesAnswer::new(asked, &taken, &leaders)
}
