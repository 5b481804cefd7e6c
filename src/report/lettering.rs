//! Lettering by strokes, as a plotter or a scribing template writes it: no font
//! is needed to draw a picture, and it looks the same everywhere.
//!
//! A letter stands in a grid 4 wide and 6 high. A stroke is a run of points, each
//! of two signs: x from 0 to 4, then y from 0 (the base line) to 6 (the height of
//! capitals), `a` and `b` one and two below the line, `c` and `d` one and two
//! above the capitals.

use super::canvas::Line;
use crate::count::f64_of;
use crate::geom::Point;

/// Width of the pen in heights of a capital, as type B lettering of ISO 3098-1
/// (from memory).
pub(super) const PEN: f64 = 0.1;

/// From one letter to the next, in units of the grid.
const ADVANCE: f64 = 5.6;

/// The height of a capital, in units of the grid.
const HEIGHT: f64 = 6.0;

/// Width of a text in heights of a capital.
pub(super) fn width(text: &str) -> f64 {
    let n = f64_of(text.chars().count());
    (n * ADVANCE - (ADVANCE - 4.0)).max(0.0) / HEIGHT
}

/// The strokes of a text that begins at a place on its base line, y down.
pub(super) fn lines(text: &str, at: Point, height_mm: f64) -> Vec<Line> {
    let unit = height_mm / HEIGHT;
    let mut x = at.x;
    let mut out = Vec::new();
    for c in text.chars() {
        let (base, mark) = parts(c);
        let raised = base.is_uppercase();
        let mut draw = |strokes: &str, up: f64| {
            for stroke in strokes.split(' ').filter(|s| !s.is_empty()) {
                let signs: Vec<char> = stroke.chars().collect();
                let points = signs.chunks(2).filter_map(|p| {
                    let (gx, gy) = (column(*p.first()?)?, row(*p.get(1)?)?);
                    Some(Point::new(x + gx * unit, at.y - (gy + up) * unit))
                });
                out.push(Line { points: points.collect(), closed: false });
            }
        };
        draw(strokes(base).unwrap_or(UNKNOWN), 0.0);
        draw(mark, if raised && mark != CEDILLA { 2.0 } else { 0.0 });
        x += ADVANCE * unit;
    }
    out
}

fn column(sign: char) -> Option<f64> {
    sign.to_digit(5).map(f64::from)
}

fn row(sign: char) -> Option<f64> {
    match sign {
        'a' => Some(-1.0),
        'b' => Some(-2.0),
        _ => sign.to_digit(7).map(f64::from),
    }
}

/// A box: a letter that there are no strokes for.
const UNKNOWN: &str = "0006464000";

const DIAERESIS: &str = "1516 3536";
const ACUTE: &str = "2536";
const GRAVE: &str = "3516";
const CIRCUMFLEX: &str = "152635";
const TILDE: &str = "05163546";
const RING: &str = "1526352515";
const CEDILLA: &str = "202a1b";

/// A letter with a mark as the letter and the mark.
fn parts(c: char) -> (char, &'static str) {
    let of = |letters: &str, plain: &str| {
        letters.chars().position(|l| l == c).and_then(|at| plain.chars().nth(at))
    };
    for (letters, plain, mark) in [
        ("äëïöüÄËÏÖÜ", "aeiouAEIOU", DIAERESIS),
        ("áéíóúýÁÉÍÓÚ", "aeiouyAEIOU", ACUTE),
        ("àèìòùÀÈÌÒÙ", "aeiouAEIOU", GRAVE),
        ("âêîôûÂÊÎÔÛ", "aeiouAEIOU", CIRCUMFLEX),
        ("ãñõÃÑÕ", "anoANO", TILDE),
        ("åÅ", "aA", RING),
        ("çÇ", "cC", CEDILLA),
    ] {
        if let Some(base) = of(letters, plain) {
            return (base, mark);
        }
    }
    (c, "")
}

/// The strokes of a letter.
fn strokes(c: char) -> Option<&'static str> {
    Some(match c {
        ' ' | '\u{a0}' => "",
        'A' => "002640 1333",
        'B' => "00063645443303 3342413000",
        'C' => "4536160501103041",
        'D' => "00062644422000",
        'E' => "46060040 0333",
        'F' => "460600 0333",
        'G' => "453616050110304143 4323",
        'H' => "0006 4046 0343",
        'I' => "1636 2620 1030",
        'J' => "4641301001",
        'K' => "0006 0246 1340",
        'L' => "060040",
        'M' => "0006234640",
        'N' => "00064046",
        'O' => "100105163645413010",
        'P' => "00063645443303",
        'Q' => "100105163645413010 2240",
        'R' => "00063645443303 2340",
        'S' => "453616050413334241301001",
        'T' => "0646 2620",
        'U' => "060110304146",
        'V' => "062046",
        'W' => "0610243046",
        'X' => "0046 0640",
        'Y' => "062346 2320",
        'Z' => "06460040",
        'a' => "14344340 421201103041",
        'b' => "0600 0314344341301001",
        'c' => "4334140301103041",
        'd' => "4640 4334140301103041",
        'e' => "02424334140301103041",
        'f' => "46362520 1434",
        'g' => "444a3b1b 4334140301103041",
        'h' => "0600 0314344340",
        'i' => "142420 1030 2526",
        'j' => "24343a2b1b 3536",
        'k' => "0600 0144 1240",
        'l' => "162620 1030",
        'm' => "0400 03142320 23344340",
        'n' => "0400 0314344340",
        'o' => "140301103041433414",
        'p' => "040b 0314344341301001",
        'q' => "444b 4334140301103041",
        'r' => "0400 02243443",
        's' => "4334140341301001",
        't' => "1611203041 0434",
        'u' => "0401103041 4440",
        'v' => "042044",
        'w' => "0410233044",
        'x' => "0044 0440",
        'y' => "0420 441b0b",
        'z' => "04440040",
        '0' => "100105163645413010 1135",
        '1' => "152620 1030",
        '2' => "05163645440040",
        '3' => "0516364544334241301001 1333",
        '4' => "30360242",
        '5' => "460604344341301001",
        '6' => "36160401103041423303",
        '7' => "064610",
        '8' => "13040516364544331302011030414233",
        '9' => "10304245361605041343",
        '.' => "2021",
        ',' => "211a",
        ':' => "2021 2324",
        ';' => "211a 2324",
        '-' => "1333",
        '–' | '—' => "0343",
        '+' => "0343 2521",
        '*' => "1234 1432 2521",
        '/' => "0046",
        '\\' => "0640",
        '(' => "36252130",
        ')' => "16252110",
        '[' => "36161030",
        ']' => "16363010",
        '{' => "3625241323212030",
        '}' => "1625243323212010",
        '|' => "2620",
        '%' => "0046 0616150506 3141403031",
        '=' => "0444 0242",
        '_' => "0a4a",
        '@' => "322112132433324245361605011030",
        '#' => "1016 3036 0242 0444",
        '&' => "4014051636350201103042",
        '\'' | '’' | '‘' => "2624",
        '"' | '“' | '”' => "1614 3634",
        '!' => "2622 2021",
        '?' => "05163645442322 2021",
        '<' => "450341",
        '>' => "054301",
        '~' => "03143243",
        '^' => "142634",
        '`' => "1625",
        '$' => "453616050413334241301001 2620",
        '°' => "1516262515",
        '²' => "16363514 1434",
        '³' => "16363414 1535",
        'µ' | 'μ' => "040b 01103041 4440",
        '×' => "1135 1531",
        '·' => "2324",
        '…' => "0001 2021 4041",
        '→' => "0343 254321",
        '≤' => "450341 0040",
        '≥' => "054301 0040",
        'ø' => "140301103041433414 0044",
        'Ø' => "100105163645413010 0046",
        'ß' => "0005163645342343413020",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn every_sign_of_plain_text_has_strokes_that_stay_in_their_place() {
        for c in (' '..='~').chain("äöüÄÖÜéèçñåß°²³µ×–≤≥".chars()) {
            let (base, mark) = parts(c);
            let strokes = strokes(base);
            assert!(strokes.is_some(), "`{c}` has no strokes");
            for stroke in strokes.into_iter().chain([mark]).flat_map(|s| s.split(' ')) {
                assert_eq!(stroke.len() % 2, 0, "`{c}`: points have two signs: {stroke}");
                assert!(stroke.is_empty() || stroke.len() >= 4, "`{c}`: a stroke has two points: {stroke}");
            }
            for line in lines(&c.to_string(), pt(0.0, 0.0), 6.0) {
                let signs = line.points.len();
                assert!(signs > 1, "`{c}`");
                assert!(
                    line.points.iter().all(|p| (0.0..=4.0).contains(&p.x) && (-8.0..=2.0).contains(&p.y)),
                    "`{c}`"
                );
            }
        }
        assert!(
            lines("ab", pt(0.0, 0.0), 3.0)
                .iter()
                .flat_map(|l| &l.points)
                .all(|p| p.x <= 3.0 * width("ab") + 1e-9)
        );
        assert_eq!(lines("語", pt(0.0, 0.0), 3.0).len(), 1, "a box");
    }
}
