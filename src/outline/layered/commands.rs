//! The commands of a Common Layer Interface file, one after the other.

use crate::diagnostic::{Diagnostic, Faults, Outcome, Source};
use crate::geom::{Point, pt};
use std::ops::Range;
use std::sync::Arc;

/// What a command says, in the file's units.
pub(super) enum Command {
    /// A layer opens: its z.
    Layer(f64),
    /// A contour: 0 inner, 1 outer, 2 open.
    Polyline {
        /// Which of the three.
        direction: i64,
        /// Its points, the first repeated where it is closed.
        points: Vec<Point>,
    },
    /// Lines to be hatched with, which are passed over.
    Hatches,
}

/// Where a command stands, for what is to be said of it.
#[derive(Clone)]
pub(super) struct Fault {
    source: Arc<Source>,
    span: Option<Range<usize>>,
    /// Byte of a binary file.
    byte: usize,
}

impl Fault {
    fn at(&self, d: Diagnostic) -> Diagnostic {
        match &self.span {
            Some(span) => d.at(&self.source, span.clone(), ""),
            None => d.in_file(format!("{}, byte {}", self.source.name, self.byte)),
        }
    }

    /// An error at this place.
    pub(super) fn told(&self, code: &'static str, message: String) -> Faults {
        self.at(Diagnostic::error(code, message)).into()
    }

    /// A warning at this place.
    pub(super) fn noted(&self, code: &'static str, message: String) -> Diagnostic {
        self.at(Diagnostic::warning(code, message))
    }
}

/// The header's end; the geometry of a binary file begins right behind it.
const HEADER_END: &str = "$$HEADEREND";

/// A file with its header read.
pub(super) struct Commands<'a> {
    /// Millimetres of a unit.
    pub(super) unit_mm: f64,
    /// Layers that the header tells, where it does.
    pub(super) layers_told: Option<usize>,
    source: Arc<Source>,
    form: Form<'a>,
}

enum Form<'a> {
    /// Where to read on.
    Text(usize),
    Binary {
        bytes: &'a [u8],
        at: usize,
        /// 16-bit fields take 32 bits.
        padded: bool,
    },
}

impl<'a> Commands<'a> {
    /// Reads the header.
    ///
    /// Errors: `cli-unreadable`.
    pub(super) fn new(name: &str, bytes: &'a [u8]) -> Outcome<Self> {
        let end = bytes.windows(HEADER_END.len()).position(|w| w.eq_ignore_ascii_case(HEADER_END.as_bytes()));
        let unreadable = |message: &str| {
            Diagnostic::error("cli-unreadable", message.to_owned())
                .in_file(name)
                .help("export the layers again as a Common Layer Interface file, version 2")
        };
        let Some(end) = end else {
            return Err(unreadable(&format!(
                "there is no `{HEADER_END}` in the file's {} bytes",
                bytes.len()
            ))
            .into());
        };
        // names in it may be in any encoding
        let header = String::from_utf8_lossy(&bytes[..end]).into_owned();
        let body = end + HEADER_END.len();
        let (mut unit, mut layers_told, mut binary, mut padded) = (None, None, None, false);
        let known = Arc::new(Source { name: name.to_owned(), text: header });
        for (at, word, values) in words(&known.text) {
            let fault = Fault { source: Arc::clone(&known), span: Some(at.clone()), byte: 0 };
            match word.to_ascii_uppercase().as_str() {
                "ASCII" => binary = Some(false),
                "BINARY" => binary = Some(true),
                "ALIGN" => padded = true,
                "UNITS" => match values.trim().parse::<f64>() {
                    Ok(u) if u > 0.0 && u.is_finite() => unit = Some(u),
                    _ => {
                        let message = format!("`$$UNITS/{}` is no number of millimetres", values.trim());
                        return Err(fault.told("cli-unreadable", message));
                    }
                },
                "LAYERS" => layers_told = values.trim().parse().ok(),
                // what it is called, when and by whom it was made, and how large it is
                _ => {}
            }
        }
        let Some(unit_mm) = unit else {
            return Err(unreadable("the header has no `$$UNITS`: how long a unit is, mm").into());
        };
        // every binary command has a byte of zero, no text has one
        if binary.unwrap_or_else(|| bytes[body..].contains(&0)) {
            let form = Form::Binary { bytes, at: body, padded };
            return Ok(Self { unit_mm, layers_told, source: known, form });
        }
        // other bytes than those of UTF-8 become longer
        let body = known.text.len() + HEADER_END.len();
        let text = String::from_utf8_lossy(bytes).into_owned();
        let source = Arc::new(Source { name: name.to_owned(), text });
        Ok(Self { unit_mm, layers_told, source, form: Form::Text(body) })
    }

    /// The next command and where it stands; `None` at the end.
    ///
    /// Errors: `cli-unreadable`.
    pub(super) fn next(&mut self) -> Outcome<Option<(Command, Fault)>> {
        match &mut self.form {
            Form::Text(at) => text(&self.source, at),
            Form::Binary { bytes, at, padded } => {
                let mut reader = Binary { bytes, at: *at, padded: *padded };
                let fault = Fault { source: Arc::clone(&self.source), span: None, byte: *at };
                let found = reader.command(&fault)?;
                *at = reader.at;
                Ok(found.map(|c| (c, fault)))
            }
        }
    }
}

/// Commands of a text: where each stands, its word, and what follows its `/`.
fn words(text: &str) -> impl Iterator<Item = (Range<usize>, &str, &str)> {
    let starts: Vec<usize> = text.match_indices("$$").map(|m| m.0).collect();
    let ends = starts.iter().skip(1).copied().chain([text.len()]).collect::<Vec<_>>();
    starts.into_iter().zip(ends).map(move |(from, to)| {
        let whole = &text[from + 2..to];
        // a comment stands between two pairs of slashes
        let whole = whole.split_once("//").map_or(whole, |(before, _)| before);
        let (word, values) = whole.split_once('/').unwrap_or((whole, ""));
        (from..from + 2 + word.trim_end().len(), word.trim(), values)
    })
}

/// The next command of a text from byte `at` on.
fn text(source: &Arc<Source>, at: &mut usize) -> Outcome<Option<(Command, Fault)>> {
    loop {
        let rest = &source.text[*at..];
        let Some(start) = rest.find("$$") else { return Ok(None) };
        let end = rest[start + 2..].find("$$").map_or(rest.len(), |e| start + 2 + e);
        let from = *at + start;
        *at += end;
        let Some((span, word, values)) = words(&source.text[from..from + end - start]).next() else {
            continue;
        };
        let span = from + span.start..from + span.end;
        let fault = Fault { source: Arc::clone(source), span: Some(span), byte: 0 };
        let unreadable = |message: String| fault.told("cli-unreadable", message);
        let number = |typed: &str| {
            let n = typed.trim().parse::<f64>().ok().filter(|n| n.is_finite());
            n.ok_or_else(|| unreadable(format!("`{}` is no number", typed.trim())))
        };
        let whole = |typed: Option<&str>, what: &str| {
            let typed = typed.unwrap_or("").trim();
            typed.parse::<i64>().map_err(|_| unreadable(format!("`{typed}` is no {what}")))
        };
        let command = match word.to_ascii_uppercase().as_str() {
            "GEOMETRYSTART" => continue,
            "GEOMETRYEND" => return Ok(None),
            "LAYER" => Command::Layer(number(values)?),
            "HATCHES" => Command::Hatches,
            "POLYLINE" => {
                let mut fields = values.split(',');
                whole(fields.next(), "number of a part")?;
                let direction = direction(whole(fields.next(), "direction: 0, 1 or 2")?, &fault)?;
                let count = whole(fields.next(), "number of points")?;
                let numbers = fields.map(number).collect::<Outcome<Vec<f64>>>()?;
                if usize::try_from(count).ok().and_then(|n| n.checked_mul(2)) != Some(numbers.len()) {
                    let message =
                        format!("{count} points need twice as many numbers, {} follow", numbers.len());
                    return Err(unreadable(message));
                }
                Command::Polyline { direction, points: numbers.chunks(2).map(|c| pt(c[0], c[1])).collect() }
            }
            _ => return Err(unreadable(format!("`$${word}` is no command of the format"))),
        };
        return Ok(Some((command, fault)));
    }
}

fn direction(direction: i64, fault: &Fault) -> Outcome<i64> {
    if (0..=2).contains(&direction) {
        return Ok(direction);
    }
    let message = format!("a contour has direction {direction}: 0 is inner, 1 outer, 2 open");
    Err(fault.told("cli-unreadable", message))
}

/// A binary file, read on from a byte.
struct Binary<'a> {
    bytes: &'a [u8],
    at: usize,
    padded: bool,
}

impl Binary<'_> {
    fn take<const N: usize>(&mut self, fault: &Fault) -> Outcome<[u8; N]> {
        let found = self.bytes.get(self.at..).and_then(|rest| rest.first_chunk::<N>());
        let Some(found) = found else {
            let message = format!("the file is cut off: it ends at byte {}", self.bytes.len());
            return Err(fault.told("cli-unreadable", message));
        };
        self.at += N;
        Ok(*found)
    }

    /// A 16-bit number, which takes 32 bits in an aligned file.
    fn short(&mut self, fault: &Fault) -> Outcome<u16> {
        let n = u16::from_le_bytes(self.take(fault)?);
        if self.padded {
            self.take::<2>(fault)?;
        }
        Ok(n)
    }

    /// A whole number of a short or a long command.
    fn field(&mut self, short: bool, fault: &Fault) -> Outcome<i64> {
        if short {
            return self.short(fault).map(i64::from);
        }
        Ok(i64::from(i32::from_le_bytes(self.take(fault)?)))
    }

    fn real(&mut self, fault: &Fault) -> Outcome<f64> {
        Ok(f64::from(f32::from_le_bytes(self.take(fault)?)))
    }

    /// Numbers of one kind, as many as told, none before it is known that they are there.
    fn numbers(&mut self, count: i64, short: bool, fault: &Fault) -> Outcome<Vec<f64>> {
        let size = if short && !self.padded { 2 } else { 4 };
        let there = (self.bytes.len() - self.at) / size;
        let Some(count) = usize::try_from(count).ok().filter(|n| *n <= there) else {
            let message =
                format!("{count} numbers are told, {there} could follow: the file is cut off or damaged");
            return Err(fault.told("cli-unreadable", message));
        };
        (0..count).map(|_| if short { self.short(fault).map(f64::from) } else { self.real(fault) }).collect()
    }

    fn command(&mut self, fault: &Fault) -> Outcome<Option<Command>> {
        // what is left may be the padding of an aligned file, or a line end
        if self.bytes.len() - self.at < 2 {
            return Ok(None);
        }
        let code = self.short(fault)?;
        Ok(Some(match code {
            127 => Command::Layer(self.real(fault)?),
            128 => Command::Layer(f64::from(self.short(fault)?)),
            129 | 130 => {
                let short = code == 129;
                self.field(short, fault)?;
                let direction = direction(self.field(short, fault)?, fault)?;
                let count = self.field(short, fault)?;
                let numbers = self.numbers(count.saturating_mul(2), short, fault)?;
                Command::Polyline { direction, points: numbers.chunks(2).map(|c| pt(c[0], c[1])).collect() }
            }
            131 | 132 => {
                let short = code == 131;
                self.field(short, fault)?;
                let count = self.field(short, fault)?;
                self.numbers(count.saturating_mul(4), short, fault)?;
                Command::Hatches
            }
            _ => {
                let message = format!("{code} is no command of the format: the file is damaged");
                return Err(fault.told("cli-unreadable", message));
            }
        }))
    }
}
