//! Chance that a seed repeats.

/// A small generator (splitmix64, Steele et al. 2014): the same seed throws the same.
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// One of `0..below`.
    pub(crate) fn below(&mut self, below: u64) -> u64 {
        self.next() % below.max(1)
    }

    /// One of `from..to`.
    pub(crate) fn between(&mut self, from: i64, to: i64) -> i64 {
        let span = u64::try_from(to - from).unwrap();
        from + i64::try_from(self.below(span)).unwrap()
    }

    /// True in `share` of a hundred throws.
    pub(crate) fn percent(&mut self, share: u64) -> bool {
        self.below(100) < share
    }

    pub(crate) fn one_of<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[usize::try_from(self.below(from.len() as u64)).unwrap()]
    }

    pub(crate) fn shuffle<T>(&mut self, all: &mut [T]) {
        for last in (1..all.len()).rev() {
            all.swap(last, usize::try_from(self.below(last as u64 + 1)).unwrap());
        }
    }
}

/// The same number for the same words.
pub(crate) fn hash(words: &str) -> u64 {
    words
        .bytes()
        .fold(0xCBF2_9CE4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3))
}
