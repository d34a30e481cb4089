//! Sets of bars as one number, for tables of very many of them.

use std::hash::{BuildHasherDefault, Hasher};

use super::pattern::Counts;

/// Multiplies and shifts: quick, and the same everywhere.
#[derive(Default)]
pub(super) struct Mixing(u64);

impl Hasher for Mixing {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 29)
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_u64(byte.into());
        }
    }

    fn write_u64(&mut self, value: u64) {
        self.0 = (self.0.rotate_left(23) ^ value).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }

    fn write_u128(&mut self, value: u128) {
        self.write_u64(u64::try_from(value & u128::from(u64::MAX)).unwrap_or(0));
        self.write_u64(u64::try_from(value >> 64).unwrap_or(0));
    }
}

/// Hashes so.
pub(super) type Mixed = BuildHasherDefault<Mixing>;

/// Bars by kind side by side in one number, each with a bit above it that stays clear.
#[derive(Debug)]
pub(super) struct Packing {
    shift: Vec<u32>,
    guards: u128,
    /// All that is wanted.
    pub demand: u128,
}

impl Packing {
    /// `None` where the number would be too long.
    pub fn new(demand: &[u32]) -> Option<Self> {
        let mut packing = Self {
            shift: Vec::with_capacity(demand.len()),
            guards: 0,
            demand: 0,
        };
        let mut at = 0;
        for &many in demand {
            let bits = u32::BITS - many.leading_zeros();
            if at + bits + 1 > u128::BITS {
                return None;
            }
            packing.shift.push(at);
            packing.demand |= u128::from(many) << at;
            packing.guards |= 1 << (at + bits);
            at += bits + 1;
        }
        Some(packing)
    }

    pub fn pack(&self, counts: &[u32]) -> u128 {
        counts
            .iter()
            .zip(&self.shift)
            .fold(0, |key, (&count, &shift)| key | u128::from(count) << shift)
    }

    /// One bar of a kind.
    pub fn one(&self, kind: usize) -> u128 {
        1 << self.shift[kind]
    }

    pub fn unpack(&self, key: u128) -> Counts {
        let ends = self.shift.iter().skip(1).copied().chain([u128::BITS]);
        self.shift
            .iter()
            .zip(ends)
            .map(|(&from, to)| {
                let count = key >> from & (u128::MAX >> (u128::BITS - (to - from)));
                u32::try_from(count).unwrap_or(u32::MAX)
            })
            .collect()
    }

    /// Whether no more of any kind than wanted is in the sum of two sets of which that is true.
    pub fn fits(&self, key: u128) -> bool {
        ((self.demand | self.guards) - key) & self.guards == self.guards
    }
}
