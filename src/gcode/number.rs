//! One decimal formatter for every number in a program.

/// Appends a number with at most `decimals` decimals, trailing zeros cut, never
/// `-0`. Rounds half away from zero on the scaled value.
///
/// The value must be finite and below 1e9 in size: the planner's coordinates are.
pub fn push(out: &mut String, value: f64, decimals: u32) {
    let scale = 10_i64.pow(decimals);
    let whole = scaled(value, decimals);
    if whole < 0 {
        out.push('-');
    }
    let whole = whole.unsigned_abs();
    let scale = scale.unsigned_abs();
    let mut buffer = itoa::Buffer::new();
    out.push_str(buffer.format(whole / scale));
    let mut rest = whole % scale;
    if rest > 0 {
        let mut width = decimals as usize;
        while rest.is_multiple_of(10) {
            rest /= 10;
            width -= 1;
        }
        let digits = buffer.format(rest);
        out.push('.');
        for _ in digits.len()..width {
            out.push('0');
        }
        out.push_str(digits);
    }
}

/// The value in units of the last decimal.
pub fn scaled(value: f64, decimals: u32) -> i64 {
    assert!(value.is_finite() && value.abs() < 1e9, "the number {value} cannot be written");
    #[expect(clippy::cast_precision_loss, reason = "a power of ten below 2^53")]
    let scale = 10_i64.pow(decimals) as f64;
    #[expect(clippy::cast_possible_truncation, reason = "checked above")]
    let whole = (value * scale).round() as i64;
    whole
}

/// The value as it will be read back.
pub fn rounded(value: f64, decimals: u32) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "below 2^53 for what is written")]
    let (whole, scale) = (scaled(value, decimals) as f64, 10_i64.pow(decimals) as f64);
    whole / scale
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(v: f64, d: u32) -> String {
        let mut s = String::new();
        push(&mut s, v, d);
        s
    }

    #[test]
    fn numbers_are_short_and_exact() {
        let cases = [
            (0.0, 3, "0"),
            (-0.0001, 3, "0"),
            (1.5, 3, "1.5"),
            (-12.0405, 3, "-12.041"),
            (0.007, 3, "0.007"),
            (100.0, 5, "100"),
            (2.00001, 5, "2.00001"),
        ];
        for (v, d, want) in cases {
            assert_eq!(text(v, d), want, "{v} to {d} decimals");
        }
    }
}
