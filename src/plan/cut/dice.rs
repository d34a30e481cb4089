//! Numbers without pattern, the same on every machine.

/// A fixed sequence (G. Marsaglia, *Xorshift RNGs*, Journal of Statistical Software 8, 2003).
#[derive(Debug, Clone)]
pub(super) struct Dice(u64);

impl Default for Dice {
    fn default() -> Self {
        Self(0x9E37_79B9_7F4A_7C15)
    }
}

impl Dice {
    pub fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from((self.0 >> 16) % (limit.max(1) as u64)).unwrap_or(0)
    }
}
