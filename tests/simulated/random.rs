//! Repeatable random numbers: the same seed gives the same printers on every machine.

/// SplitMix64 (Steele, Lea and Flood 2014) with normal deviates by Box and Muller.
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Between 0 and 1, neither included.
    pub fn uniform(&mut self) -> f64 {
        ((self.bits() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        mean + sd * radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// Drawn again until within the limits.
    pub fn clipped(&mut self, mean: f64, sd: f64, low: f64, high: f64) -> f64 {
        loop {
            let value = self.normal(mean, sd);
            if (low..=high).contains(&value) {
                return value;
            }
        }
    }
}
