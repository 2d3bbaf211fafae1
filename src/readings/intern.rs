//! Texts to small numbers: equal texts get the same number, counted from 0 in order of appearance.
//!
//! A readings sheet repeats the same few names a million times, so a row costs one hash and one
//! comparison. The hash is the multiply-and-rotate one that compilers use for their symbol tables;
//! it does not resist an attacker, who could only make his own file slow to read.

/// Scatters `word` into `hash`; the best bits are the highest.
pub(super) fn mix(hash: u64, word: u64) -> u64 {
    // An odd number with well spread bits: 2^64 divided by pi, made odd.
    (hash.rotate_left(5) ^ word).wrapping_mul(0x517c_c1b7_2722_0a95)
}

/// The hash of a text.
fn hash_of(text: &[u8]) -> u64 {
    let (words, rest) = text.as_chunks::<8>();
    let hash = words.iter().fold(text.len() as u64, |hash, word| mix(hash, u64::from_le_bytes(*word)));
    match text.last_chunk::<8>() {
        _ if rest.is_empty() => hash,
        // Reading the last eight bytes again is cheaper than gathering the few that are left.
        Some(last) => mix(hash, u64::from_le_bytes(*last)),
        None => mix(hash, rest.iter().fold(0, |word, byte| word << 8 | u64::from(*byte))),
    }
}

/// Texts and their numbers.
#[derive(Debug, Default)]
pub(super) struct Interner {
    /// A power of two of slots: 0 is free, otherwise a number plus one. At most half are taken.
    slots: Vec<u32>,
    /// All texts, one behind the other.
    texts: Vec<u8>,
    /// Where each text ends, and its hash.
    known: Vec<(usize, u64)>,
}

impl Interner {
    /// The number of this text, and whether it is new.
    pub(super) fn number(&mut self, text: &[u8]) -> (usize, bool) {
        if self.known.len() * 2 >= self.slots.len() {
            self.grow();
        }
        let hash = hash_of(text);
        let mut slot = self.first_slot(hash);
        loop {
            match self.slots[slot] {
                0 => break,
                taken => {
                    let number = taken as usize - 1;
                    if self.known[number].1 == hash && self.text(number) == Some(text) {
                        return (number, false);
                    }
                }
            }
            slot = (slot + 1) & (self.slots.len() - 1);
        }
        self.texts.extend_from_slice(text);
        self.known.push((self.texts.len(), hash));
        self.slots[slot] = self.known.len() as u32;
        (self.known.len() - 1, true)
    }

    /// The text with this number.
    pub(super) fn text(&self, number: usize) -> Option<&[u8]> {
        let end = self.known.get(number)?.0;
        let start = if number == 0 { 0 } else { self.known[number - 1].0 };
        self.texts.get(start..end)
    }

    fn first_slot(&self, hash: u64) -> usize {
        (hash >> (64 - self.slots.len().trailing_zeros())) as usize
    }

    fn grow(&mut self) {
        let size = (self.slots.len() * 2).max(64);
        self.slots = vec![0; size];
        for number in 0..self.known.len() {
            let mut slot = self.first_slot(self.known[number].1);
            while self.slots[slot] != 0 {
                slot = (slot + 1) & (size - 1);
            }
            self.slots[slot] = number as u32 + 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_texts_get_one_number_and_different_texts_different_ones() {
        let mut interner = Interner::default();
        let texts: Vec<String> = (0..5000).map(|n| format!("{}{n}", "x".repeat(n % 20))).collect();
        for (expected, text) in texts.iter().enumerate() {
            assert_eq!(interner.number(text.as_bytes()), (expected, true));
        }
        for (expected, text) in texts.iter().enumerate() {
            assert_eq!(interner.number(text.as_bytes()), (expected, false));
            assert_eq!(interner.text(expected), Some(text.as_bytes()));
        }
        assert_eq!(interner.number(b""), (5000, true));
        assert_eq!(interner.number(b""), (5000, false));
    }
}
