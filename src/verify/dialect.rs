//! What a printer's controller reads, from its profile.
//!
//! What the profile's blocks write is known from the blocks themselves: their
//! codes are allowed, the heating blocks tell which words heat, the cut block is
//! recognised word by word.

use super::words::{self, Line, Word};
use crate::diagnostic::Outcome;
use crate::job::block::{BlockKind, names};
use crate::job::{Block, BlockValues, Head, Printer};
use std::collections::BTreeSet;

/// What a controller reads.
#[derive(Clone, Debug)]
pub struct Dialect {
    /// Comments in parentheses.
    pub parentheses: bool,
    /// Comments after a semicolon.
    pub semicolons: bool,
    /// G2 and G3.
    pub arcs: bool,
    /// `M6` changes the head that `T` names; otherwise `T` alone does.
    pub change_m6: bool,
    /// `E` counts from its last restart, until M82 or M83 says else.
    pub absolute_feed: bool,
    /// P of G4 counts milliseconds.
    pub dwell_milliseconds: bool,
    /// Letters and tenths of the codes that are known; `None`: all of the standard.
    codes: Option<BTreeSet<(u8, i64)>>,
    /// Letters of words that mean something; empty: all.
    letters: BTreeSet<u8>,
    /// Tenths of M codes beside which the profile's blocks have axes or E as parameters.
    setting_axes: BTreeSet<i64>,
    heating: Vec<Heating>,
    /// Lines that wait for what was set before: of which head (`None`: the one at work).
    waits: Vec<(Option<Head>, Vec<Word>)>,
    /// Whether the start block heats bed and chamber: else the controller may by itself.
    pub heats: [bool; 2],
    /// The cut block, line by line.
    pub cut: Vec<Vec<Word>>,
    /// The blocks behind the selection of the matrix head and the fibre head.
    pub taken: [Vec<Vec<Expected>>; 2],
    /// The end block, line by line.
    pub end: Vec<Vec<Expected>>,
    /// Lines of it that every program has, a chamber heated or not.
    pub end_always: Vec<Vec<Expected>>,
    /// M codes, in tenths, that stand in the end block alone, and in the blocks behind a change
    /// of heads, as a fan's.
    end_codes: BTreeSet<i64>,
    taken_codes: BTreeSet<i64>,
    /// Lines of the start block that every program has, a chamber heated or not.
    pub start: Vec<Vec<Expected>>,
    /// Whether all lines of a block behind a selection stand in every program.
    pub taken_whole: [bool; 2],
}

/// A word of a block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Its letter, in capitals.
    pub letter: u8,
    /// Its number, where the template does not fill it in.
    pub number: Option<f64>,
}

impl Expected {
    /// A word as it has to be.
    fn is(&self, word: &Word) -> bool {
        self.letter == word.letter && self.number.is_none_or(|n| same(n, word.value))
    }
}

/// A line of a block, but for the numbers that its template fills in; the order of its words
/// means nothing (NISTIR 6556, 3.3.4).
pub fn alike(expected: &[Expected], words: &[Word]) -> bool {
    let found = |a: &Expected| words.iter().any(|b| a.is(b));
    let known = |b: &Word| expected.iter().any(|a| a.is(b));
    expected.len() == words.len() && expected.iter().all(found) && words.iter().all(known)
}

/// A line of a block for people to read, `…` where its template fills a number in.
pub fn shown(line: &[Expected]) -> String {
    let word = |w: &Expected| match w.number {
        Some(n) => format!("{}{n}", char::from(w.letter)),
        None => format!("{}…", char::from(w.letter)),
    };
    line.iter().map(word).collect::<Vec<_>>().join(" ")
}

/// A line that heats a head.
#[derive(Clone, Debug)]
struct Heating {
    head: Option<Head>,
    waits: bool,
    words: Vec<Word>,
}

/// Where a code of the profile's blocks stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// In the block `end`.
    AtTheEnd,
    /// In the blocks `to_matrix` and `to_fibre`.
    BehindAChange,
}

/// M codes, in tenths, behind which nothing can be laid: the program stops, motors or the whole
/// machine let go (common practice).
const LETS_GO: [i64; 6] = [0, 10, 180, 800, 810, 840];

/// M codes, in tenths, that heat heads, bed and chamber (common practice).
const HEATERS: [i64; 6] = [1040, 1090, 1400, 1900, 1410, 1910];

/// A temperature that no profile writes by itself: where it turns up in a filled
/// block stands the temperature, degC.
const MARK_C: f64 = 133.625;

/// What every number that a template may fill in is set to, but for T numbers, to find those
/// that it does: lower and higher than what machines are set to, so that a template that
/// asks how hot something is writes either of its branches.
const MARKS: [f64; 2] = [7.375, 613.625];

/// Letters of words that every printer knows: codes, heads, axes, centres and radii of
/// arcs, the feed, speeds and times (NISTIR 6556, Table 3, for three axes; and E).
const LETTERS: &str = "GMTNXYZIJKREFSP";

/// Codes that every printer knows (NISTIR 6556, Tables 5 and 7, and M82, M83 for E).
const G_CODES: [i64; 10] = [0, 10, 40, 170, 200, 210, 280, 900, 910, 920];
const M_CODES: [i64; 4] = [20, 300, 820, 830];

/// M codes that commonly take axes or E as parameters and stand in start blocks without one of
/// them: steps for each mm, and limits of acceleration, speed and jerk.
const SETTING_AXES: [i64; 6] = [92, 201, 202, 203, 204, 205];

impl Dialect {
    /// The standard's own, with both comment styles.
    pub fn standard() -> Self {
        Self {
            parentheses: true,
            semicolons: true,
            arcs: true,
            change_m6: true,
            absolute_feed: true,
            dwell_milliseconds: false,
            codes: None,
            letters: BTreeSet::new(),
            setting_axes: BTreeSet::new(),
            heating: Vec::new(),
            waits: Vec::new(),
            heats: [true; 2],
            cut: Vec::new(),
            taken: [Vec::new(), Vec::new()],
            end: Vec::new(),
            end_always: Vec::new(),
            end_codes: BTreeSet::new(),
            taken_codes: BTreeSet::new(),
            start: Vec::new(),
            taken_whole: [true; 2],
        }
    }

    /// A printer's.
    ///
    /// Errors: `block-template` where a block cannot be filled in.
    pub fn of(printer: &Printer) -> Outcome<Self> {
        let c = &printer.controller;
        let blocks = &printer.blocks;
        let mut codes: BTreeSet<(u8, i64)> =
            G_CODES.iter().map(|&g| (b'G', g)).chain(M_CODES.iter().map(|&m| (b'M', m))).collect();
        if c.arcs {
            codes.extend([(b'G', 20), (b'G', 30)]);
        }
        if c.tool_change_m6 {
            codes.insert((b'M', 60));
        }
        let of =
            |blocks: &[&Block]| -> BTreeSet<(u8, i64)> { blocks.iter().flat_map(|b| codes_in(b)).collect() };
        let heaters = HEATERS.map(|m| (b'M', m)).into();
        let anywhere = &(&of(&[&blocks.cut, &blocks.heat, &blocks.heat_wait]) | &codes) | &heaters;
        // a condition may write a block otherwise than it is known
        let plain = |b: &&Block| !b.text.contains("{%");
        let taken: Vec<&Block> = [&blocks.to_matrix, &blocks.to_fibre].into_iter().filter(plain).collect();
        let taken = of(&taken);
        let at_the_end = &of(&[&blocks.end]) & &LETS_GO.map(|m| (b'M', m)).into();
        let m_codes = |of: BTreeSet<(u8, i64)>| of.into_iter().filter(|c| c.0 == b'M').map(|c| c.1).collect();
        let (end_codes, taken_codes) = (m_codes(&at_the_end - &anywhere), m_codes(&taken - &anywhere));
        let values = BlockValues::samples()
            .number("matrix_tool", f64::from(printer.matrix.tool))
            .number("fibre_tool", f64::from(printer.fibre.tool));
        let all = values.clone().number("tool", 0.0).number("temperature_c", MARK_C);
        let mut letters: BTreeSet<u8> = LETTERS.bytes().collect();
        let mut setting_axes = BTreeSet::new();
        for b in [
            &blocks.start,
            &blocks.end,
            &blocks.to_matrix,
            &blocks.to_fibre,
            &blocks.cut,
            &blocks.heat,
            &blocks.heat_wait,
        ] {
            codes.extend(codes_in(b));
            for line in lines(&b.render(&all)?) {
                letters.extend(line.iter().map(|w| w.letter));
                let axes = line.iter().any(|w| matches!(w.letter, b'X' | b'Y' | b'Z' | b'E'));
                if axes && line.iter().all(|w| w.letter != b'G') {
                    setting_axes.extend(line.iter().filter(|w| w.letter == b'M').map(|w| tenths(w.value)));
                }
            }
        }
        let of_heads = |block: &Block| -> Outcome<[Vec<Vec<Word>>; 2]> {
            let lines_for = |head: Head| {
                let tool = f64::from(printer.head(head).tool);
                let values = values.clone().number("tool", tool).number("temperature_c", MARK_C);
                Outcome::Ok(lines(&block.render(&values)?))
            };
            Ok([lines_for(Head::Matrix)?, lines_for(Head::Fibre)?])
        };
        let (sets, waiting) = (of_heads(&blocks.heat)?, of_heads(&blocks.heat_wait)?);
        let marked = |lines: &[Vec<Word>]| lines.iter().position(|l| l.iter().any(|w| same(w.value, MARK_C)));
        let set_line = |of: &[Vec<Word>]| marked(of).map(|k| of[k].clone());
        // one that sets as the block `heat` does waits by what it writes behind that
        let wait_line = |head: Head| {
            let lines = &waiting[head.index()];
            let k = marked(lines).filter(|k| set_line(&sets[head.index()]).as_ref() == Some(&lines[*k]))?;
            lines[k + 1..].last().cloned()
        };
        let mut heating: Vec<Heating> = Vec::new();
        for (of, waits) in [(&sets, false), (&waiting, true)] {
            for (head, words) in by_head([Head::Matrix, Head::Fibre].map(|h| set_line(&of[h.index()]))) {
                heating.push(Heating { head, waits, words });
            }
        }
        let waits = by_head([Head::Matrix, Head::Fibre].map(wait_line));
        let cut = lines(&blocks.cut.render(&BlockValues::samples())?);
        let block = |b: &Block| expected(b, &values, |v| v);
        let (taken, end) = ([block(&blocks.to_matrix)?, block(&blocks.to_fibre)?], block(&blocks.end)?);
        let always = |b: &Block| -> Outcome<Vec<Vec<Expected>>> {
            let cold = expected(b, &values, |v| v.number("chamber_temperature_c", 0.0))?;
            let hot = block(b)?;
            let known = |l: &Vec<Expected>| l.iter().filter(|w| w.number.is_some()).count();
            let both = |line: &Vec<Expected>| hot.iter().filter_map(|l| common(l, line)).max_by_key(known);
            // a condition may hang on any value
            let others = [0.0, MARKS[0], MARKS[1]].map(|mark| {
                b.render(&marked_with(&values, mark)).map(|text| lines(&text)).unwrap_or_default()
            });
            let codes = |l: &[Expected]| -> Vec<(u8, f64)> {
                let coded = l.iter().filter(|w| matches!(w.letter, b'G' | b'M'));
                coded.filter_map(|w| Some((w.letter, w.number?))).collect()
            };
            let written = |l: &Vec<Expected>| {
                let has = |line: &Vec<Word>| {
                    line.len() == l.len()
                        && codes(l).iter().all(|c| line.iter().any(|w| w.letter == c.0 && same(w.value, c.1)))
                };
                others.iter().all(|lines| lines.iter().any(has))
            };
            Ok(cold.iter().filter_map(both).filter(written).collect())
        };
        let (start, end_always) = (always(&blocks.start)?, always(&blocks.end)?);
        let in_start = codes_in(&blocks.start);
        let heats = [[1400, 1900], [1410, 1910]].map(|of| of.iter().any(|m| in_start.contains(&(b'M', *m))));
        let plain = |b: &Block| !b.text.contains("{%");
        Ok(Self {
            start,
            taken_whole: [plain(&blocks.to_matrix), plain(&blocks.to_fibre)],
            parentheses: c.parenthesis_comments,
            semicolons: !c.parenthesis_comments,
            arcs: c.arcs,
            change_m6: c.tool_change_m6,
            absolute_feed: c.absolute_extrusion,
            dwell_milliseconds: c.dwell_milliseconds,
            codes: Some(codes),
            letters,
            setting_axes,
            heating,
            waits,
            heats,
            cut,
            taken,
            end,
            end_always,
            end_codes,
            taken_codes,
        })
    }

    /// It is what a profile tells, not the standard alone.
    pub fn is_a_profiles(&self) -> bool {
        self.codes.is_some()
    }

    /// A letter that means something to the controller.
    pub fn knows_letter(&self, letter: u8) -> bool {
        self.letters.is_empty() || self.letters.contains(&letter)
    }

    /// A code that the controller knows.
    pub fn knows(&self, word: &Word) -> bool {
        self.codes.as_ref().is_none_or(|c| c.contains(&(word.letter, tenths(word.value))))
    }

    /// A line with a code that only the end block has, as M84, or that stands behind a change
    /// of heads alone: which, and which of the two.
    pub fn of_block(&self, line: &Line) -> Option<(f64, Stands)> {
        line.words.iter().filter(|w| w.letter == b'M').find_map(|w| {
            let m = tenths(w.value);
            let end = self.end_codes.contains(&m).then_some(Stands::AtTheEnd);
            let taken = || self.taken_codes.contains(&m).then_some(Stands::BehindAChange);
            Some((w.value, end.or_else(taken)?))
        })
    }

    /// An M code, in tenths, that takes axes or E as parameters.
    pub fn sets_axes(&self, m: i64) -> bool {
        m % 10 == 0 && SETTING_AXES.contains(&(m / 10)) || self.setting_axes.contains(&m)
    }

    /// A line that waits for what was set before: for which head (`None`: the one at work).
    pub fn waits(&self, line: &Line) -> Option<Option<Head>> {
        let same_words = |words: &[Word]| {
            words.len() == line.words.len()
                && words.iter().zip(&line.words).all(|(a, b)| a.letter == b.letter && same(a.value, b.value))
        };
        self.waits.iter().find(|w| same_words(&w.1)).map(|w| w.0)
    }

    /// What a line heats: the head (`None`: the one at work), whether it waits, degC.
    pub fn heats(&self, line: &Line) -> Option<(Option<Head>, bool, f64)> {
        self.heating.iter().find_map(|h| {
            if h.words.len() != line.words.len() {
                return None;
            }
            let mut found = None;
            for (mine, word) in h.words.iter().zip(&line.words) {
                if mine.letter != word.letter {
                    return None;
                }
                if same(mine.value, MARK_C) {
                    found = Some(word.value);
                } else if !same(mine.value, word.value) {
                    return None;
                }
            }
            found.map(|c| (h.head, h.waits, c))
        })
    }
}

/// Lines of the matrix and the fibre head, each with its head; where they are alike the head
/// at work is meant, and there is one.
fn by_head(lines: [Option<Vec<Word>>; 2]) -> Vec<(Option<Head>, Vec<Word>)> {
    match lines {
        [Some(a), Some(b)] if a == b => vec![(None, a)],
        [a, b] => {
            let of = |head, line: Option<Vec<Word>>| line.map(|words| (Some(head), words));
            of(Head::Matrix, a).into_iter().chain(of(Head::Fibre, b)).collect()
        }
    }
}

/// Two numbers as written that mean the same.
pub fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

/// A code in tenths, as 382 for G38.2.
#[expect(clippy::cast_possible_truncation, reason = "bounded by clamp")]
pub fn tenths(v: f64) -> i64 {
    (v * 10.0).round().clamp(-1e9, 1e9) as i64
}

/// The lines of a block with the numbers that are the same whatever is filled in.
///
/// Errors: `block-template`.
fn expected(
    block: &Block,
    values: &BlockValues,
    with: impl Fn(BlockValues) -> BlockValues,
) -> Outcome<Vec<Vec<Expected>>> {
    let written = lines(&block.render(&with(values.clone()))?);
    let others = MARKS.map(|mark| {
        block.render(&with(marked_with(values, mark))).map(|text| lines(&text)).unwrap_or_default()
    });
    // a template may write other lines for other values: each is held against those like it
    let number = |line: &Vec<Word>, k: usize, word: &Word| {
        let code = matches!(word.letter, b'G' | b'M');
        let kept = |o: &Vec<Vec<Word>>| o.iter().any(|l| same_codes(l, line) && same(l[k].value, word.value));
        let everywhere = others.iter().all(kept);
        Expected { letter: word.letter, number: (code || everywhere).then_some(word.value) }
    };
    let line = |words: &Vec<Word>| words.iter().enumerate().map(|(k, w)| number(words, k, w)).collect();
    Ok(written.iter().map(line).collect())
}

/// Values with every number that a template may fill in set to one, but for T numbers.
fn marked_with(values: &BlockValues, mark: f64) -> BlockValues {
    let filled = names(BlockKind::Start).into_iter().filter(|n| !n.ends_with("_tool"));
    filled.fold(values.clone(), |v, name| v.number(name, mark))
}

/// Two lines of the same letters and codes.
fn same_codes(a: &[Word], b: &[Word]) -> bool {
    a.len() == b.len()
        && a.iter().zip(b).all(|(a, b)| {
            a.letter == b.letter && (!matches!(a.letter, b'G' | b'M') || same(a.value, b.value))
        })
}

/// What two lines of the same letters and codes have in common.
fn common(a: &[Expected], b: &[Expected]) -> Option<Vec<Expected>> {
    let both = |(a, b): (&Expected, &Expected)| {
        let number = a.number.zip(b.number).filter(|(a, b)| same(*a, *b)).map(|(a, _)| a);
        let fits = a.letter == b.letter && (number.is_some() || !matches!(a.letter, b'G' | b'M'));
        fits.then_some(Expected { letter: a.letter, number })
    };
    (a.len() == b.len()).then(|| a.iter().zip(b).map(both).collect())?
}

/// The words of each line that has some.
fn lines(text: &str) -> Vec<Vec<Word>> {
    let mut line = Line::default();
    let mut out = Vec::new();
    for l in text.lines() {
        if words::read(l.as_bytes(), &mut line).is_ok() && !line.words.is_empty() {
            out.push(line.words.clone());
        }
    }
    out
}

/// The codes that a template writes, in every branch of it.
fn codes_in(block: &Block) -> BTreeSet<(u8, i64)> {
    let bytes = block.text.as_bytes();
    let mut out = BTreeSet::new();
    for (i, c) in bytes.iter().enumerate() {
        let letter = c.to_ascii_uppercase();
        let within = i > 0 && (bytes[i - 1].is_ascii_alphabetic() || bytes[i - 1] == b'_');
        if !matches!(letter, b'G' | b'M') || within {
            continue;
        }
        let digits: String = bytes[i + 1..]
            .iter()
            .take_while(|c| c.is_ascii_digit() || **c == b'.')
            .map(|&c| char::from(c))
            .collect();
        if let Ok(v) = digits.parse::<f64>() {
            out.insert((letter, tenths(v)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::printer_named;

    fn read(text: &str) -> Vec<Word> {
        lines(text).remove(0)
    }

    #[test]
    fn numbers_of_a_block_are_known_where_no_template_fills_them_in() {
        let mut p = printer_named("shuttle-15").expect("it is built in").1;
        let of = |p: &Printer| Dialect::of(p).expect("a dialect");
        let d = of(&p);
        assert!(alike(&d.taken[1][0], &read("M106 S120")) && !alike(&d.taken[1][0], &read("M106 S0")));
        let bed = d.start.iter().find(|l| l[0].number == Some(190.0)).expect("the bed is waited for");
        assert!(alike(bed, &read("M190 S117")) && !alike(bed, &read("M140 S117")));
        let heads = d.start.iter().filter(|l| l[0].number == Some(104.0));
        assert_eq!(heads.map(|l| l[1].number).collect::<Vec<_>>(), [Some(1.0), Some(2.0)], "T numbers");
        assert!(d.start.iter().all(|l| l[0].number != Some(191.0)), "not every chamber is heated");
        // numbers that hang on a value, whichever way, may be any
        for air in [
            "M106 S{{ fibre_temperature_c }}",
            "M106 S{{ [layers, 100] | min }}",
            "M106 S{% if fibre_temperature_c > 300 %}60{% else %}120{% endif %}",
            "{% if bed_temperature_c > 100 %}M106 S60{% else %}M106 S120\nG4 P1{% endif %}",
        ] {
            p.blocks.to_fibre.text = air.to_owned();
            let d = of(&p);
            assert!(alike(&d.taken[1][0], &read("M106 S77")), "{air}: {:?}", d.taken[1]);
        }
    }
}
