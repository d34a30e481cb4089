//! DMX512 slots: those that the venue's other lights use, and runs that are free.
//!
//! A universe has 512 slots, 1 to 512; a device of n slots starts at 1 to 513 − n and its slots
//! are consecutive (ANSI E1.11).

use std::collections::BTreeSet;

/// Slots of one universe (ANSI E1.11).
pub const SLOTS: u16 = 512;

/// Slots that are never given out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Taken(BTreeSet<u16>);

/// Why a list of slots cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TakenError {
    /// Not a number or a range.
    #[error("“{0}” is not a slot or a range of slots. Type such as 1-96, 200.")]
    Unreadable(String),
    /// Beyond the universe.
    #[error("{0} is not a DMX slot; slots are 1 to 512.")]
    Outside(u32),
    /// The wrong way round.
    #[error("{0}-{1} runs backwards. Type {1}-{0}.")]
    Backwards(u16, u16),
}

impl Taken {
    /// Reads `1-96, 200`; nothing typed is nothing taken.
    pub fn parse(text: &str) -> Result<Self, TakenError> {
        let mut slots = BTreeSet::new();
        for item in text
            .split([',', ';', '\n'])
            .map(str::trim)
            .filter(|item| !item.is_empty())
        {
            let unreadable = || TakenError::Unreadable(item.chars().take(40).collect());
            let mut ends = item.splitn(2, ['-', '–']).map(|end| {
                let slot: u32 = end.trim().parse().map_err(|_| unreadable())?;
                match u16::try_from(slot) {
                    Ok(slot) if (1..=SLOTS).contains(&slot) => Ok(slot),
                    _ => Err(TakenError::Outside(slot)),
                }
            });
            let from = ends.next().ok_or_else(unreadable)??;
            let to = ends.next().transpose()?.unwrap_or(from);
            if from > to {
                return Err(TakenError::Backwards(from, to));
            }
            slots.extend(from..=to);
        }
        Ok(Self(slots))
    }

    /// Whether a slot is taken.
    pub fn holds(&self, slot: u16) -> bool {
        self.0.contains(&slot)
    }

    /// Takes `slots` consecutive slots from `start`; `false`, and nothing taken, if one of them is
    /// taken already or beyond the universe.
    pub fn take(&mut self, start: u16, slots: u16) -> bool {
        let Some(end) = start.checked_add(slots) else {
            return false;
        };
        if start == 0 || end > SLOTS + 1 || (start..end).any(|slot| self.holds(slot)) {
            return false;
        }
        self.0.extend(start..end);
        true
    }

    /// The lowest start of so many free consecutive slots.
    pub fn first_free(&self, slots: u16) -> Option<u16> {
        let last = (SLOTS + 1).checked_sub(slots)?;
        (1..=last).find(|start| (*start..start + slots).all(|slot| !self.holds(slot)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_and_single_slots_are_read() {
        let taken = Taken::parse("1-96, 200").unwrap();
        assert!(taken.holds(1) && taken.holds(96) && taken.holds(200));
        assert!(!taken.holds(97) && !taken.holds(199));
        assert_eq!(Taken::parse(" ").unwrap(), Taken::default());
    }

    #[test]
    fn what_cannot_be_read_says_what_to_type() {
        assert_eq!(
            Taken::parse("1-x"),
            Err(TakenError::Unreadable("1-x".into()))
        );
        assert_eq!(Taken::parse("0"), Err(TakenError::Outside(0)));
        assert_eq!(Taken::parse("500-513"), Err(TakenError::Outside(513)));
        assert_eq!(Taken::parse("9-4"), Err(TakenError::Backwards(9, 4)));
        assert_eq!(Taken::parse("-5"), Err(TakenError::Unreadable("-5".into())));
    }

    #[test]
    fn a_device_of_n_slots_starts_at_1_to_513_less_n() {
        // ANSI E1.11.
        let mut taken = Taken::default();
        assert!(!taken.take(0, 1) && !taken.take(513, 1) && !taken.take(482, 32));
        assert!(taken.take(481, 32));
        assert_eq!(taken.first_free(480), Some(1));
        assert_eq!(taken.first_free(481), None);
        assert_eq!(
            Taken::parse("1-96, 200").unwrap().first_free(104),
            Some(201)
        );
    }
}
