//! Numbers that look random and are always the same: the draws of a simulation whose result must be repeatable.
//!
//! Own code, and not a crate's: the same seed must give the same bytes for as long as files are kept.
//!
//! Source: splitmix64, Steele, Lea and Flood, OOPSLA 2014; Box and Muller, Annals of Mathematical Statistics 29
//! (1958) 610.

/// A source of draws.
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
    /// The second of a pair of normal draws.
    spare: Option<f64>,
}

impl Random {
    /// The draws of this seed.
    pub fn new(seed: u64) -> Self {
        Self { state: seed, spare: None }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even over 0 to 1, neither end included.
    pub fn uniform(&mut self) -> f64 {
        // 53 bits and a half: never 0, never 1.
        ((self.next() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: the reference implementation of splitmix64, its first three numbers from seed 1234567.
    #[test]
    fn the_first_numbers_are_those_of_the_reference() {
        let mut random = Random::new(1_234_567);
        let numbers = [random.next(), random.next(), random.next()];
        assert_eq!(
            numbers,
            [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]
        );
    }

    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let mut random = Random::new(7);
        let count = 200_000;
        let normal: Vec<f64> = (0..count).map(|_| random.normal()).collect();
        let uniform: Vec<f64> = (0..count).map(|_| random.uniform()).collect();
        let mean = |values: &[f64], power: i32| {
            values.iter().map(|value| value.powi(power)).sum::<f64>() / f64::from(count)
        };
        // Five standard errors of each.
        assert!(mean(&normal, 1).abs() < 5.0 / f64::from(count).sqrt());
        assert!((mean(&normal, 2) - 1.0).abs() < 5.0 * (2.0 / f64::from(count)).sqrt());
        assert!((mean(&normal, 4) - 3.0).abs() < 5.0 * (96.0 / f64::from(count)).sqrt());
        assert!((mean(&uniform, 1) - 0.5).abs() < 5.0 * (1.0 / 12.0 / f64::from(count)).sqrt());
        assert!((mean(&uniform, 2) - 1.0 / 3.0).abs() < 5.0 * (4.0 / 45.0 / f64::from(count)).sqrt());
    }
}
