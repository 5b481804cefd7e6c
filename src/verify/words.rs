//! One line of a program becomes words and comments.
//!
//! T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter -
//! Version 3*, NISTIR 6556, 2000, section 3.3: white space and case carry no
//! meaning outside comments, a number has no exponent, a comment closes on its
//! line and holds no other, a line has at most 256 characters. Differs in: the
//! letter `E` (what a head feeds) and comments from `;` to the end of the line
//! are read, as printer controllers commonly do; parameters (`#`) and expressions
//! (`[ ]`) are refused, and so is a checksum (`*`).

use std::fmt;
use std::ops::Range;

/// Longest line, bytes (NISTIR 6556, 3.3).
pub const LONGEST_LINE: usize = 256;

/// A letter and its number, as `X12.5`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Word {
    /// Upper case.
    pub letter: u8,
    /// The number.
    pub value: f64,
}

/// A line, taken apart. Kept from line to line, so that reading allocates nothing.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// Words in the order written, without the line's number.
    pub words: Vec<Word>,
    /// Its number, an `N` word before all others.
    pub number: Option<f64>,
    /// A lone percent sign.
    pub percent: bool,
    /// Byte ranges of the comments, without their marks.
    pub comments: Vec<Range<usize>>,
    /// It starts with `/`: an operator may skip it.
    pub deletable: bool,
    /// Comments in parentheses stand here.
    pub parentheses: bool,
    /// A comment after a semicolon stands here.
    pub semicolon: bool,
}

impl Line {
    /// The number of the first word with a letter.
    pub fn word(&self, letter: u8) -> Option<f64> {
        self.words.iter().find(|w| w.letter == letter).map(|w| w.value)
    }

    /// Some word has this letter.
    pub fn has(&self, letter: u8) -> bool {
        self.words.iter().any(|w| w.letter == letter)
    }
}

/// Why a line cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineFault {
    /// More than [`LONGEST_LINE`] bytes; how many at least.
    TooLong(usize),
    /// A byte that is not text.
    Byte(u8),
    /// A character that starts no word.
    Character(u8),
    /// A letter without a number.
    NoNumber(u8),
    /// A number with two points or a sign inside it.
    BadNumber(u8),
    /// A comment that does not close on its line.
    Unclosed,
    /// A comment inside a comment.
    Nested,
    /// A closing parenthesis without its opening one.
    Unopened,
    /// `#` or `[`: parameters and expressions.
    Expression,
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::TooLong(n) => {
                write!(f, "the line has {n} characters or more, at most {LONGEST_LINE} are read")
            }
            Self::Byte(b) => write!(f, "the byte 0x{b:02x} is no text"),
            Self::Character(c) => write!(f, "no word starts with `{}`", char::from(c)),
            Self::NoNumber(c) => write!(f, "the letter `{}` has no number", char::from(c)),
            Self::BadNumber(c) => write!(f, "the number after `{}` cannot be read", char::from(c)),
            Self::Unclosed => write!(f, "a comment does not close on its line"),
            Self::Nested => write!(f, "a comment holds another one"),
            Self::Unopened => write!(f, "`)` closes no comment"),
            Self::Expression => write!(f, "parameters and expressions are not read"),
        }
    }
}

const POWERS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// Letters that start a word: NISTIR 6556, Table 3, and `E`.
fn is_word_letter(upper: u8) -> bool {
    upper.is_ascii_uppercase() && !matches!(upper, b'O' | b'U' | b'V' | b'W')
}

/// Takes a line apart, without its line end.
///
/// Errors: the first thing that cannot be read; what stands before it is in `out`.
pub fn read(text: &[u8], out: &mut Line) -> Result<(), LineFault> {
    out.words.clear();
    out.comments.clear();
    (out.number, out.percent) = (None, false);
    (out.deletable, out.parentheses, out.semicolon) = (false, false, false);
    if text.len() > LONGEST_LINE {
        return Err(LineFault::TooLong(text.len()));
    }
    let mut i = 0;
    let mut first = true;
    while let Some(&c) = text.get(i) {
        match c {
            b' ' | b'\t' | b'\r' => {
                i += 1;
                continue;
            }
            b'(' => {
                out.parentheses = true;
                let inside = &text[i + 1..];
                let end = inside.iter().position(|c| matches!(c, b'(' | b')')).ok_or(LineFault::Unclosed)?;
                if inside[end] == b'(' {
                    return Err(LineFault::Nested);
                }
                out.comments.push(i + 1..i + 1 + end);
                i += end + 2;
            }
            b';' => {
                out.semicolon = true;
                out.comments.push(i + 1..text.len());
                i = text.len();
            }
            b'/' if first => {
                out.deletable = true;
                i += 1;
            }
            b')' => return Err(LineFault::Unopened),
            b'#' | b'[' | b']' => return Err(LineFault::Expression),
            // a lone percent sign opens and closes a tape (3.1)
            b'%' if first && text[i + 1..].iter().all(u8::is_ascii_whitespace) => {
                out.percent = true;
                i = text.len();
            }
            _ => {
                let letter = c.to_ascii_uppercase();
                if !is_word_letter(letter) {
                    let text = c.is_ascii_graphic();
                    return Err(if text { LineFault::Character(c) } else { LineFault::Byte(c) });
                }
                let (value, next) = number(text, i + 1, letter)?;
                if letter == b'N' && out.words.is_empty() && out.number.is_none() {
                    out.number = Some(value);
                } else {
                    out.words.push(Word { letter, value });
                }
                i = next;
            }
        }
        first = false;
    }
    Ok(())
}

/// A number from a place on: its value, and where it ends.
fn number(text: &[u8], start: usize, letter: u8) -> Result<(f64, usize), LineFault> {
    let (mut digits, mut decimals, mut mantissa) = (0_usize, 0_usize, 0_u64);
    let (mut negative, mut point, mut signed) = (false, false, false);
    let mut i = start;
    while let Some(&c) = text.get(i) {
        match c {
            b'0'..=b'9' => {
                mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(c - b'0'));
                // leading zeros are no digits that count
                digits += usize::from(digits > 0 || c != b'0');
                decimals += usize::from(point);
                signed = true;
            }
            b'.' if !point => point = true,
            b'+' | b'-' if !signed && !point => {
                negative = c == b'-';
                signed = true;
            }
            b'.' | b'+' | b'-' => return Err(LineFault::BadNumber(letter)),
            b'#' | b'[' => return Err(LineFault::Expression),
            b' ' | b'\t' | b'\r' => {}
            _ => break,
        }
        i += 1;
    }
    let seen = &text[start..i];
    if !seen.iter().any(u8::is_ascii_digit) {
        let wrong = if point || signed { LineFault::BadNumber(letter) } else { LineFault::NoNumber(letter) };
        return Err(wrong);
    }
    let value = match POWERS.get(decimals) {
        // both exact in binary: the quotient is the nearest number (Clinger 1990)
        #[expect(clippy::cast_precision_loss, reason = "at most 15 digits")]
        Some(power) if digits <= 15 => {
            let v = mantissa as f64 / power;
            if negative { -v } else { v }
        }
        _ => {
            let plain: String =
                seen.iter().filter(|c| !c.is_ascii_whitespace()).map(|&c| char::from(c)).collect();
            plain.parse().map_err(|_| LineFault::BadNumber(letter))?
        }
    };
    Ok((value, i))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<(char, f64)> {
        let mut line = Line::default();
        read(text.as_bytes(), &mut line).expect("it can be read");
        line.words.iter().map(|w| (char::from(w.letter), w.value)).collect()
    }

    fn fault(text: &str) -> LineFault {
        read(text.as_bytes(), &mut Line::default()).expect_err("it cannot be read")
    }

    #[test]
    fn white_space_and_case_carry_no_meaning() {
        // NISTIR 6556, 3.3: "g0x +0. 12 34y 7" is "g0 x+0.1234 y7"
        assert_eq!(words("g0x +0. 12 34y 7"), words("g0 x+0.1234 y7"));
        assert_eq!(words("g0 x+0.1234 y7"), [('G', 0.0), ('X', 0.1234), ('Y', 7.0)]);
        assert_eq!(words("/N12 G1 X-.5\r"), [('G', 1.0), ('X', -0.5)]);
        let mut line = Line::default();
        read(b"/N12 G1 X-.5\r", &mut line).expect("it can be read");
        assert_eq!((line.number, line.deletable, line.percent), (Some(12.0), true, false));
        assert_eq!(words("G1 N12"), [('G', 1.0), ('N', 12.0)], "not at the start it is a word like others");
        assert_eq!(words("%"), []);
    }

    #[test]
    fn comments_in_both_styles() {
        let text = "G1 (one) X2 (two); three (3)";
        let mut line = Line::default();
        read(text.as_bytes(), &mut line).expect("it can be read");
        let comments: Vec<&str> = line.comments.iter().map(|r| &text[r.clone()]).collect();
        assert_eq!(comments, ["one", "two", " three (3)"]);
        assert!(line.parentheses && line.semicolon && line.words.len() == 2, "{line:?}");
    }

    #[test]
    fn numbers_are_those_of_the_standard_library() {
        let mut seed = 1_u64;
        for _ in 0..20_000 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let whole = seed >> 40;
            let part = (seed >> 8) & 0xffff;
            let text = format!(
                "{}{whole}.{part:0w$}",
                if seed & 1 == 0 { "-" } else { "" },
                w = (seed % 14) as usize
            );
            let want: f64 = text.parse().expect("a number");
            assert_eq!(words(&format!("X{text}"))[0].1.to_bits(), want.to_bits(), "{text}");
        }
        assert_eq!(words("X123456789012345678901234.5"), [('X', 1.234_567_890_123_456_8e23)]);
    }

    #[test]
    fn what_is_no_line_is_told() {
        assert_eq!(fault("G1 X"), LineFault::NoNumber(b'X'));
        // no exponents: this is X1 and E5, and E stands twice
        assert_eq!(words("X1e5"), [('X', 1.0), ('E', 5.0)]);
        assert_eq!(fault("G1 X1.2.3"), LineFault::BadNumber(b'X'));
        assert_eq!(fault("G1 X-"), LineFault::BadNumber(b'X'));
        assert_eq!(fault("G1 (open"), LineFault::Unclosed);
        assert_eq!(fault("G1 (a (b))"), LineFault::Nested);
        assert_eq!(fault("G1 X#3"), LineFault::Expression);
        assert_eq!(fault("G1 U3"), LineFault::Character(b'U'));
        assert_eq!(fault("G1 \u{0}"), LineFault::Byte(0));
        assert_eq!(fault(&"X1 ".repeat(100)), LineFault::TooLong(300));
    }
}
