//! What a printer's controller makes of a line, beside moving: heaters, the cut, a
//! change of heads.

use super::dialect::{Dialect, Expected, alike, same, tenths};
use super::machine::Move;
use super::words::Line;
use crate::job::printer::HeadChange;
use crate::job::{Head, Printer};

/// What a line heats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Heated {
    /// A head: whether the program waits for it, degC.
    Head(Head, bool, f64),
    /// A head that was set before is waited for.
    Waited(Head),
    /// The bed, degC.
    Bed(f64),
    /// The chamber, degC.
    Chamber(f64),
    /// A head that nobody knows; why.
    Unknown(&'static str),
}

/// What a line heats, if it does, while a head is at work. What is in none of the
/// profile's blocks: M104 and M109 heat heads, M140 and M190 the bed, M141 and M191
/// the chamber (common practice).
pub(super) fn heated(
    printer: &Printer,
    dialect: &Dialect,
    at_work: Option<Head>,
    line: &Line,
) -> Option<Heated> {
    if let Some(head) = dialect.waits(line) {
        return head.or(at_work).map(Heated::Waited);
    }
    let m = tenths(line.word(b'M')?);
    if let Some((head, waits, c)) = dialect.heats(line) {
        return Some(match head.or(at_work) {
            Some(h) => Heated::Head(h, waits, c),
            None => Heated::Unknown("a head is heated before one is selected"),
        });
    }
    let c = line.word(b'S').or_else(|| line.word(b'R'))?;
    match m {
        1040 | 1090 => {
            let head = match line.word(b'T') {
                None => at_work,
                Some(t) => head_of(printer, t),
            };
            Some(match head {
                Some(h) => Heated::Head(h, m == 1090, c),
                None => Heated::Unknown("no head of this printer is heated"),
            })
        }
        1400 | 1900 => Some(Heated::Bed(c)),
        1410 | 1910 => Some(Heated::Chamber(c)),
        _ => None,
    }
}

/// The head that a T number selects.
pub(super) fn head_of(printer: &Printer, t: f64) -> Option<Head> {
    [Head::Matrix, Head::Fibre].into_iter().find(|h| same(f64::from(printer.head(*h).tool), t))
}

/// Where the nozzle is behind a change of heads, in the program's coordinates.
pub(super) fn taken_up(printer: &Printer, head: Head, old: Option<Head>, at: &mut [f64; 3]) {
    let (new, gone) = (printer.head(head).offset_mm, old.map_or([0.0; 3], |h| printer.head(h).offset_mm));
    let by_program = printer.controller.program_applies_offsets;
    match (&printer.head_change, old) {
        (HeadChange::Park(places) | HeadChange::Dock(places), _) => {
            for k in 0..2 {
                at[k] = places[head.index()][k] - if by_program { new[k] } else { 0.0 };
            }
        }
        (HeadChange::Lift, Some(_)) if !by_program => {
            for k in 0..3 {
                at[k] += new[k] - gone[k];
            }
        }
        _ => {}
    }
}

/// A first move as it is timed: a reference run ends where the machine's axes are
/// zero, and so does what no move has told yet. Nozzle, machine coordinates.
pub(super) fn from_reference(printer: &Printer, head: Head, m: &Move) -> Move {
    let o = printer.head(head).offset_mm;
    let by_program = printer.controller.program_applies_offsets;
    let mut out = *m;
    for (k, offset) in o.into_iter().enumerate() {
        let at = |v: f64| if by_program { v + offset } else { v };
        out.from[k] = if m.from[k].is_finite() { at(m.from[k]) } else { offset };
        out.to[k] = if m.to[k].is_finite() { at(m.to[k]) } else { out.from[k] };
    }
    out.arc = None;
    out
}

/// How far a line gets within the cut block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cutting {
    /// Not in it.
    No,
    /// It breaks off a block that had begun.
    Broken,
    /// Another line of the block.
    Within,
    /// Its last line: the tow is cut.
    Done,
}

/// The cut block, line by line as the profile has it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct CutBlock {
    /// Lines that have come.
    lines: usize,
}

impl CutBlock {
    /// Some of its lines have come.
    pub(super) fn begun(&self) -> bool {
        self.lines > 0
    }

    /// Looks at a line that has words.
    pub(super) fn see(&mut self, dialect: &Dialect, line: &Line) -> Cutting {
        let Some(wanted) = dialect.cut.get(self.lines) else { return Cutting::No };
        let fits = wanted.len() == line.words.len()
            && wanted.iter().zip(&line.words).all(|(a, b)| a.letter == b.letter && same(a.value, b.value));
        if fits {
            self.lines += 1;
            if self.lines < dialect.cut.len() {
                return Cutting::Within;
            }
            self.lines = 0;
            return Cutting::Done;
        }
        if self.broken() { Cutting::Broken } else { Cutting::No }
    }

    /// Something else comes; whether that breaks off a block that had begun.
    pub(super) fn broken(&mut self) -> bool {
        std::mem::take(&mut self.lines) > 0
    }
}

/// Blocks whose time stands in the profile, whatever they do: those behind a change
/// of heads, and the end block.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct ToldBlock {
    which: Option<Which>,
    /// Lines of it that have come.
    lines: usize,
    /// A block broke off before its last line: that of this head.
    short: Option<Head>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Which {
    Taken(Head),
    End,
}

impl ToldBlock {
    /// A head was selected: its block follows.
    pub(super) fn taken(&mut self, head: Head) {
        *self = Self { which: Some(Which::Taken(head)), ..Self::default() };
    }

    /// The line seen last belongs to a block behind a change of heads.
    pub(super) fn of_change(&self) -> bool {
        self.of_head().is_some() && self.lines > 0
    }

    fn of_head(&self) -> Option<Head> {
        match self.which {
            Some(Which::Taken(head)) => Some(head),
            _ => None,
        }
    }

    /// The head behind whose selection lines of its block were missing, once.
    pub(super) fn missing(&mut self) -> Option<Head> {
        self.short.take()
    }

    /// Whether a line belongs to such a block. A block may leave out lines: those of
    /// a chamber that is not heated.
    pub(super) fn see(&mut self, dialect: &Dialect, line: &Line) -> bool {
        let block = match self.which {
            Some(Which::Taken(head)) => &dialect.taken[head.index()],
            Some(Which::End) => &dialect.end,
            None => &Vec::new(),
        };
        let rest = block.get(self.lines..).unwrap_or_default();
        if let Some(k) = rest.iter().position(|l| alike(l, &line.words)) {
            self.short = self.short.or_else(|| self.of_head().filter(|_| k > 0));
            self.lines += k + 1;
            return true;
        }
        let short = self.short.or_else(|| self.of_head().filter(|_| !rest.is_empty()));
        *self = Self { short, ..Self::default() };
        // of moves only one to a known place: any other may be anywhere in the program
        let told =
            |l: &[Expected]| l.iter().all(|w| w.number.is_some()) || l.iter().all(|w| w.letter != b'G');
        let opens = dialect.end.first().is_some_and(|l| told(l) && alike(l, &line.words));
        if opens {
            *self = Self { which: Some(Which::End), lines: 1, ..*self };
        }
        opens
    }
}
