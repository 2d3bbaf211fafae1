//! Numbers as a person writes them: as many digits as the uncertainty warrants, and a true minus sign.

/// Decimals that show two digits of this uncertainty, at most 6; 2 when it is zero or unknown.
pub fn decimals_for(uncertainty: f64) -> usize {
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return 2;
    }
    (1.0 - uncertainty.log10().floor()).clamp(0.0, 6.0) as usize
}

/// The value with this many decimals, a true minus sign, and no minus before zero.
pub fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let is_zero = text.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    if value < 0.0 && !is_zero { format!("−{text}") } else { text }
}

/// The same, with a plus sign where it is above zero.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = plain(value, decimals);
    let is_zero = text.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    if value > 0.0 && !is_zero { format!("+{text}") } else { text }
}

/// `−0.142 ± 0.029`: both to the digits that the uncertainty warrants.
pub fn with_uncertainty(value: f64, uncertainty: f64) -> String {
    let decimals = decimals_for(uncertainty);
    format!("{} ± {}", plain(value, decimals), plain(uncertainty, decimals))
}

/// A size as short as it is exact to a thousandth: `8`, `2.5`, `10.125`.
pub fn size(mm: f64) -> String {
    let text = plain(mm, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Degrees of freedom: whole where they are, one decimal where they are few and not whole.
pub fn degrees(dof: f64) -> String {
    let decimals = if dof < 20.0 && (dof - dof.round()).abs() > 0.05 { 1 } else { 0 };
    plain(dof, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_uncertainty_sets_the_digits() {
        assert_eq!(with_uncertainty(0.14213, 0.0291), "0.142 ± 0.029");
        assert_eq!(with_uncertainty(-0.14213, 0.29), "−0.14 ± 0.29");
        assert_eq!(with_uncertainty(12.3, 4.1), "12.3 ± 4.1");
        assert_eq!(with_uncertainty(0.9967, 0.00012), "0.99670 ± 0.00012");
        assert_eq!(with_uncertainty(1.0, f64::NAN), "1.00 ± NaN");
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(plain(-0.001, 2), "0.00");
        assert_eq!(signed(0.001, 2), "0.00");
        assert_eq!(signed(0.01, 2), "+0.01");
    }

    #[test]
    fn degrees_of_freedom_are_whole_where_they_can_be() {
        assert_eq!(degrees(2.0), "2");
        assert_eq!(degrees(3.44), "3.4");
        assert_eq!(degrees(68.4), "68");
    }

    #[test]
    fn a_size_is_short() {
        assert_eq!(size(8.0), "8");
        assert_eq!(size(2.50), "2.5");
        assert_eq!(size(100.0), "100");
        assert_eq!(size(10.125), "10.125");
    }
}
