//! A strip for a row of a table: what a size must keep as a band, and over it where 95 % of prints lie.
//!
//! Where the bought parts differ, a paler band behind it shows where half of them and more still fit.

/// Where the band, the interval and the mean lie on a strip of width 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strip {
    /// Left end and width of the band of limits.
    pub band: [f64; 2],
    /// Left end and width of the paler band.
    pub half_fit: Option<[f64; 2]>,
    /// Left end and width of the interval of prints.
    pub prints: [f64; 2],
    /// The mean print.
    pub mean: f64,
}

impl Strip {
    /// A strip that shows all of them, with a tenth of its width free at either end.
    ///
    /// `None` when they have no width at all.
    pub fn new(limits: [f64; 2], half_fit: Option<[f64; 2]>, prints: [f64; 2], mean: f64) -> Option<Self> {
        let widest = half_fit.unwrap_or(limits);
        let from = limits[0].min(prints[0]).min(widest[0]);
        let to = limits[1].max(prints[1]).max(widest[1]);
        let scale = 80.0 / (to - from);
        // To a tenth, which is what a picture shows.
        let tenth = |value: f64| (value * 10.0).round() / 10.0;
        let at = |value: f64| tenth(10.0 + (value - from) * scale);
        let span = |[low, high]: [f64; 2]| [at(low), tenth((high - low) * scale)];
        scale.is_finite().then(|| Self {
            band: span(limits),
            half_fit: half_fit.map(span),
            prints: span(prints),
            mean: at(mean),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wider_of_the_two_fills_the_strip() {
        let strip = Strip::new([8.0, 8.2], None, [8.05, 8.15], 8.1).unwrap();
        assert_eq!(strip, Strip { band: [10.0, 80.0], half_fit: None, prints: [30.0, 40.0], mean: 50.0 });
        let off = Strip::new([8.1, 8.2], None, [8.0, 8.1], 8.05).unwrap();
        assert_eq!(off, Strip { band: [50.0, 40.0], half_fit: None, prints: [10.0, 40.0], mean: 30.0 });
        assert_eq!(Strip::new([8.0, 8.0], None, [8.0, 8.0], 8.0), None);
        let nut = Strip::new([5.55, 5.65], Some([5.45, 5.75]), [5.53, 5.67], 5.6).unwrap();
        assert_eq!((nut.half_fit, nut.band[0]), (Some([10.0, 80.0]), 36.7));
    }
}
