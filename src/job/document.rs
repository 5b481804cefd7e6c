//! Reads a TOML text against a [`Table`]: every fault of the text is found in
//! one pass, each with its place.

use super::slips::{
    DECIMAL_POINT, LIST, NO_UNIT, SLASHES, decimal_comma, header, number_list, single_header, slip, with_unit,
};
use super::table::{Key, Kind, Need, Table};
use super::unit::{in_another_unit, unit_of};
use crate::diagnostic::nearest::{help, listed, nearest};
use crate::diagnostic::{Diagnostic, Faults, Outcome, Source, counted};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Most points of a shape that is typed: nobody types more, and a drawing program that writes
/// them can write a drawing.
pub(super) const MOST_POINTS: usize = 20_000;

/// What a ZIP archive begins with (PKWARE, APPNOTE.TXT, 4.3.7).
const ZIP: &[u8] = b"PK\x03\x04";

/// What a text plainly is by how it begins, where it is none that people type here.
pub(crate) fn other_format(text: &str) -> Option<&'static str> {
    let begin = text.trim_start_matches('\u{feff}').trim_start();
    [("<", "XML, as a drawing is"), ("{", "JSON, as a plan is"), ("solid ", "an ASCII STL mesh")]
        .into_iter()
        .find_map(|(first, what)| begin.starts_with(first).then_some(what))
}

/// What a job is called in messages.
pub const A_JOB: &str = "a job";

/// The files that people type, and keys of their first level that no other kind has.
const KINDS: &[(&str, &[&str])] = &[
    (A_JOB, &["part", "build", "reinforcement"]),
    ("a reinforcement map", &["region"]),
    ("a printer profile", &["controller", "tools", "heads", "bed_mm", "reach_mm"]),
    ("a matrix or tow", &["kind", "polymer"]),
];

/// What a file that is no JSON plainly is, by how it begins or by its keys.
pub fn kind_of_file(bytes: &[u8]) -> Option<&'static str> {
    if bytes.starts_with(ZIP) {
        return Some("a ZIP archive, as a 3MF file is");
    }
    let text = std::str::from_utf8(bytes).ok()?;
    let begin = text.trim_start_matches('\u{feff}').trim_start();
    if begin.starts_with('{') {
        return None;
    }
    if begin.starts_with(['(', ';', '%']) {
        return Some("a program");
    }
    if begin.get(..9).is_some_and(|b| b.eq_ignore_ascii_case("<!doctype")) {
        return Some("a web page, as a report is");
    }
    other_format(text).or_else(|| {
        let (document, errors) = DeTable::parse_recoverable(text);
        let table = document.get_ref();
        let kind = kind_of(|k| table.contains_key(k)).unwrap_or("TOML");
        (errors.is_empty() && !table.is_empty()).then_some(kind)
    })
}

/// A text from bytes.
///
/// Errors: `not-utf8`, with the line and the byte; `file-of-another-kind` for an archive.
pub(crate) fn text(name: &str, bytes: Vec<u8>) -> Outcome<Arc<Source>> {
    if bytes.starts_with(ZIP) {
        let message = format!("`{name}` is a ZIP archive, as a 3MF file is; a text is expected");
        return Err(Diagnostic::error("file-of-another-kind", message).in_file(name).into());
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Arc::new(Source { name: name.to_owned(), text })),
        Err(e) => {
            let at = e.utf8_error().valid_up_to();
            let bytes = e.as_bytes();
            let line = bytes[..at].split(|b| *b == b'\n').count();
            let byte = bytes.get(at).copied().unwrap_or_default();
            Err(Diagnostic::error(
                "not-utf8",
                format!(
                    "`{name}` is not UTF-8 text: byte {at} (0x{byte:02x}, line {line}) fits no character"
                ),
            )
            .in_file(name)
            .help("save the file as UTF-8")
            .into())
        }
    }
}

/// The checked values of one table.
#[derive(Clone, Debug, Default)]
pub(crate) struct Values {
    /// Where the table stands: its header, or nothing for a whole file.
    pub(crate) span: Range<usize>,
    entries: BTreeMap<&'static str, Entry>,
    /// Keys that are there and at fault.
    at_fault: BTreeSet<&'static str>,
}

#[derive(Clone, Debug)]
struct Entry {
    value: Value,
    /// `None` where a default holds.
    span: Option<Range<usize>>,
}

/// The kind of file of a first level of keys, if one of them tells it.
fn kind_of(has: impl Fn(&str) -> bool) -> Option<&'static str> {
    KINDS.iter().find(|(_, keys)| keys.iter().any(|k| has(k))).map(|(kind, _)| *kind)
}

#[derive(Clone, Debug)]
enum Value {
    Number(f64),
    Integer(i64),
    Text(String),
    Flag(bool),
    Numbers(Vec<f64>),
    Points(Vec<[f64; 2]>),
    Discs(Vec<[f64; 3]>),
    Table(Values),
    Tables(Vec<Values>),
}

impl Values {
    /// A number; `None` where it is left out or at fault.
    pub(crate) fn number(&self, key: &str) -> Option<f64> {
        match self.entries.get(key)?.value {
            Value::Number(v) => Some(v),
            _ => None,
        }
    }

    /// A whole number.
    pub(crate) fn integer(&self, key: &str) -> Option<i64> {
        match self.entries.get(key)?.value {
            Value::Integer(v) => Some(v),
            _ => None,
        }
    }

    /// A count.
    pub(crate) fn count(&self, key: &str) -> Option<usize> {
        usize::try_from(self.integer(key)?).ok()
    }

    /// Some text.
    pub(crate) fn text(&self, key: &str) -> Option<&str> {
        match &self.entries.get(key)?.value {
            Value::Text(v) => Some(v),
            _ => None,
        }
    }

    /// true or false.
    pub(crate) fn flag(&self, key: &str) -> Option<bool> {
        match self.entries.get(key)?.value {
            Value::Flag(v) => Some(v),
            _ => None,
        }
    }

    /// A list of numbers.
    pub(crate) fn numbers(&self, key: &str) -> Option<&[f64]> {
        match &self.entries.get(key)?.value {
            Value::Numbers(v) => Some(v),
            _ => None,
        }
    }

    /// A list of numbers of a fixed length.
    pub(crate) fn array<const N: usize>(&self, key: &str) -> Option<[f64; N]> {
        self.numbers(key)?.try_into().ok()
    }

    /// A list of points.
    pub(crate) fn points(&self, key: &str) -> Option<&[[f64; 2]]> {
        match &self.entries.get(key)?.value {
            Value::Points(v) => Some(v),
            _ => None,
        }
    }

    /// A list of discs.
    pub(crate) fn discs(&self, key: &str) -> Option<&[[f64; 3]]> {
        match &self.entries.get(key)?.value {
            Value::Discs(v) => Some(v),
            _ => None,
        }
    }

    /// A table.
    pub(crate) fn table(&self, key: &str) -> Option<&Values> {
        match &self.entries.get(key)?.value {
            Value::Table(v) => Some(v),
            _ => None,
        }
    }

    /// Tables of a list.
    pub(crate) fn tables(&self, key: &str) -> Option<&[Values]> {
        match &self.entries.get(key)?.value {
            Value::Tables(v) => Some(v),
            _ => None,
        }
    }

    /// Where the value of a key was typed; `None` for a default.
    pub(crate) fn typed(&self, key: &str) -> Option<Range<usize>> {
        self.entries.get(key)?.span.clone()
    }

    /// Whether a key is there, right or wrong.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.typed(key).is_some() || self.at_fault.contains(key)
    }

    /// Where the value of a key was typed, or else the table's header.
    pub(crate) fn place(&self, key: &str) -> Range<usize> {
        self.typed(key).unwrap_or_else(|| self.span.clone())
    }
}

/// A text and the faults found in it so far.
pub(crate) struct Reader<'a> {
    source: &'a Arc<Source>,
    root: &'static Table,
    pub(crate) faults: Vec<Diagnostic>,
}

impl<'a> Reader<'a> {
    /// Reads a whole text. The values hold whatever is right; the faults what is not.
    ///
    /// Where the text is not TOML, only that is told: what follows from half a
    /// text would mislead.
    pub(crate) fn read(source: &'a Arc<Source>, root: &'static Table) -> (Values, Self) {
        let mut reader = Self { source, root, faults: Vec::new() };
        let (document, errors) = DeTable::parse_recoverable(&source.text);
        let expected = kind_of(|k| root.key(k).is_some());
        if errors.is_empty() {
            let table = document.get_ref();
            let found = kind_of(|k| table.contains_key(k));
            if let (Some(found), Some(expected)) = (found, expected)
                && !KINDS
                    .iter()
                    .any(|(kind, keys)| *kind == expected && keys.iter().any(|k| table.contains_key(*k)))
            {
                reader.other_kind(found, expected);
                return (Values::default(), reader);
            }
            let values = reader.table(table, 0..0, root, "");
            return (values, reader);
        }
        if let (Some(found), Some(expected)) = (other_format(&source.text), expected) {
            reader.other_kind(found, expected);
            return (Values::default(), reader);
        }
        let mut single = false;
        for e in errors {
            let span = e.span().unwrap_or_default();
            if let Some(name) = single_header(&source.text, span.start, root) {
                // each header that follows is one more error
                if !std::mem::replace(&mut single, true) {
                    let message =
                        format!("not TOML: `[{name}]` heads one table, and there are more of that name");
                    let d = Diagnostic::error("toml-syntax", message)
                        .help(format!("write [[{name}]] for each {name}"));
                    let first = header(&source.text, &format!("[{name}]")).unwrap_or(span);
                    reader.fault(d, first, "");
                }
                continue;
            }
            if single && e.message() == "duplicate key" {
                // of a second table under the same single header
                continue;
            }
            let message = e.message().trim_end_matches('.').replace('\n', ", ");
            let mut d = Diagnostic::error("toml-syntax", format!("not TOML: {message}"));
            if let Some(help) = slip(&source.text, span.start) {
                d = d.help(help);
            }
            reader.fault(d, span, "");
        }
        (Values::default(), reader)
    }

    /// The one fault of a file that is another one.
    fn other_kind(&mut self, found: &str, expected: &str) {
        let message = format!("`{}` is {found}; {expected} is expected", self.source.name);
        self.fault(Diagnostic::error("file-of-another-kind", message), 0..0, "");
    }

    /// Adds a fault at a place.
    pub(crate) fn fault(&mut self, d: Diagnostic, span: Range<usize>, label: &str) {
        self.faults.push(d.at(self.source, span, label));
    }

    /// The faults, where there are any.
    ///
    /// Errors: all of them, in the text's order.
    pub(crate) fn finish(self) -> Outcome<()> {
        let faults = self.into_faults();
        if faults.is_empty() { Ok(()) } else { Err(Faults(faults)) }
    }

    /// The faults in the text's order.
    pub(crate) fn into_faults(self) -> Vec<Diagnostic> {
        let mut faults = self.faults;
        faults.sort_by_key(|d| d.place.as_ref().map_or(usize::MAX, |p| p.span.start));
        faults
    }

    fn table(&mut self, table: &DeTable<'_>, span: Range<usize>, spec: &'static Table, path: &str) -> Values {
        let mut values = Values { span: span.clone(), ..Values::default() };
        for (key, value) in table {
            let Some(known) = spec.key(key.get_ref()) else {
                // the key that was meant is there, misspelt
                values.at_fault.extend(self.unknown(key, spec, path));
                continue;
            };
            if let Kind::Later(why) = known.kind {
                self.fault(
                    Diagnostic::error("not-yet", format!("this version makes no use of `{}`", known.name))
                        .help(why),
                    key.span(),
                    "",
                );
                continue;
            }
            let name = joined(path, known.name);
            match self.value(known, value, &name) {
                Some(v) => {
                    values.entries.insert(known.name, Entry { value: v, span: Some(value.span()) });
                }
                None => {
                    values.at_fault.insert(known.name);
                }
            }
        }
        for key in spec.keys {
            if table.contains_key(key.name) {
                continue;
            }
            match &key.need {
                Need::Required if values.at_fault.contains(key.name) => {}
                Need::Required => self.missing(key, &span, path),
                Need::Optional => {}
                need => {
                    if let Some(value) = default(need, &key.kind) {
                        values.entries.insert(key.name, Entry { value, span: None });
                    }
                }
            }
        }
        values
    }

    /// Tells of a key that is not known; gives the one that was meant, if that is near.
    fn unknown(
        &mut self,
        key: &Spanned<std::borrow::Cow<'_, str>>,
        spec: &'static Table,
        path: &str,
    ) -> Option<&'static str> {
        let typed = key.get_ref();
        let place = if path.is_empty() { "this file".to_owned() } else { format!("`{path}`") };
        let mut d = Diagnostic::error("unknown-key", format!("there is no key `{typed}` in {place}"));
        let here = spec.names();
        let home = self.root.home_of(typed);
        let other_unit = in_another_unit(typed, &here);
        let near = nearest(typed, here.iter().copied()).filter(|_| home.is_none());
        d = if let Some(home) = home {
            d.help(format!("`{typed}` belongs under `{home}`"))
        } else if let Some((key, how)) = &other_unit {
            d.help(format!("did you mean `{key}`? {how}").trim_end())
        } else if let Some(near) = near {
            d.help(format!("did you mean `{near}`?"))
        } else if typed == "region" && spec.key("reinforcement").is_some() {
            d.help("regions stand in the map file, which `map` under `[reinforcement]` names")
        } else {
            d.help(format!("keys here: {}", listed(&here)))
        };
        self.fault(d, key.span(), "not known here");
        other_unit.map(|(key, _)| key).or(near)
    }

    fn missing(&mut self, key: &Key, span: &Range<usize>, path: &str) {
        let place = if path.is_empty() { "this file".to_owned() } else { format!("`{path}`") };
        let what = match key.kind {
            Kind::Table(_) => format!("the table `[{}]`", joined(path, key.name)),
            Kind::Tables(_) => format!("a table `[[{}]]`", joined(path, key.name)),
            _ => format!("the key `{}`", key.name),
        };
        let mut d = Diagnostic::error("missing-key", format!("{place} needs {what}"))
            .help(format!("{}: {}", key.name, key.text));
        if let Kind::Word(words) = &key.kind {
            d = d.help(format!("one of {}", listed(words.now)));
        }
        self.fault(d, span.clone(), "");
    }

    /// A value; where it is out of range, what the key means is told with it.
    fn value(&mut self, key: &'static Key, value: &Spanned<DeValue<'_>>, name: &str) -> Option<Value> {
        let before = self.faults.len();
        let found = self.of_kind(key, value, name);
        for d in &mut self.faults[before..] {
            if d.code == "out-of-range" && d.help.is_empty() && !key.text.is_empty() {
                d.help.push(format!("{}: {}", key.name, key.text));
            }
        }
        found
    }

    fn of_kind(&mut self, key: &'static Key, value: &Spanned<DeValue<'_>>, name: &str) -> Option<Value> {
        match &key.kind {
            Kind::Number(range) => self.number(value, range, name).map(Value::Number),
            Kind::Integer(low, high) => self.integer(value, *low, *high, name).map(Value::Integer),
            Kind::Text | Kind::Lines => self.text(value, name, matches!(key.kind, Kind::Lines)),
            Kind::Flag => match value.get_ref() {
                DeValue::Boolean(b) => Some(Value::Flag(*b)),
                other => self.wrong_type(other, value.span(), name, "true or false"),
            },
            Kind::Word(words) => {
                let Value::Text(typed) = self.text(value, name, false)? else { return None };
                if words.now.contains(&typed.as_str()) {
                    return Some(Value::Text(typed));
                }
                let d = if words.later.contains(&typed.as_str()) {
                    Diagnostic::error("not-yet", format!("this version does not know {name} `{typed}` yet"))
                        .help(format!("one of {}", listed(words.now)))
                } else {
                    Diagnostic::error("unknown-name", format!("`{name}` cannot be `{typed}`"))
                        .help(help(&typed, words.now, "one of"))
                };
                self.fault(d, value.span(), "");
                None
            }
            Kind::Numbers(range, least, most) => {
                let DeValue::Array(items) = value.get_ref() else {
                    let expected = if least == most {
                        format!("a list of {least} numbers")
                    } else {
                        "a list of numbers".to_owned()
                    };
                    return self.wrong_type(value.get_ref(), value.span(), name, &expected);
                };
                if items.len() < *least || items.len() > *most {
                    let expected = if least == most {
                        format!("{least}")
                    } else if *most == usize::MAX {
                        format!("at least {least}")
                    } else {
                        format!("{least} to {most}")
                    };
                    let message =
                        format!("`{name}` holds {}, it needs {expected}", counted(items.len(), "value"));
                    self.fault(Diagnostic::error("wrong-type", message), value.span(), "");
                    return None;
                }
                self.list(items.iter(), range, name).map(Value::Numbers)
            }
            Kind::NumberOrList(range) => match value.get_ref() {
                DeValue::Array(items) if items.is_empty() => {
                    let message = format!("`{name}` is an empty list, it needs a number or several");
                    self.fault(Diagnostic::error("wrong-type", message), value.span(), "");
                    None
                }
                DeValue::Array(items) => self.list(items.iter(), range, name).map(Value::Numbers),
                DeValue::Integer(_) | DeValue::Float(_) => {
                    self.number(value, range, name).map(|v| Value::Numbers(vec![v]))
                }
                other => self.wrong_type(other, value.span(), name, "a number or a list of numbers"),
            },
            Kind::Points(range, least) => {
                if let DeValue::Array(items) = value.get_ref()
                    && items.len() > MOST_POINTS
                {
                    let message = format!("`{name}` has {} points, it may have {MOST_POINTS}", items.len());
                    let d = Diagnostic::error("out-of-range", message);
                    let d = d.help("draw the shape in the outline's file, and name it by its `id`");
                    self.fault(d, value.span(), "");
                    return None;
                }
                self.tuples(value, range, *least, name, "a point `[x, y]`").map(Value::Points)
            }
            Kind::Discs(range, least) => {
                self.tuples(value, range, *least, name, "a pin `[x, y, r]`").map(Value::Discs)
            }
            Kind::Table(inner) => match value.get_ref() {
                DeValue::Table(t) => Some(Value::Table(self.table(t, value.span(), inner, name))),
                other => self.wrong_type(other, value.span(), name, &format!("a table `[{name}]`")),
            },
            Kind::OneOf(inner) => self.one_of(value, inner, name),
            Kind::Tables(inner) => {
                let expected = format!("tables, each headed `[[{name}]]`");
                let DeValue::Array(items) = value.get_ref() else {
                    let before = self.faults.len();
                    self.wrong_type::<()>(value.get_ref(), value.span(), name, &expected);
                    for d in &mut self.faults[before..] {
                        d.help.push(format!("write [[{name}]] for each {name}"));
                    }
                    return None;
                };
                if items.is_empty() {
                    let message = format!("`{name}` is empty, it needs at least one `[[{name}]]`");
                    self.fault(Diagnostic::error("wrong-type", message), value.span(), "");
                    return None;
                }
                let mut tables = Vec::new();
                for item in items.iter() {
                    match item.get_ref() {
                        DeValue::Table(t) => tables.push(self.table(t, item.span(), inner, name)),
                        other => {
                            self.wrong_type::<()>(other, item.span(), name, &expected);
                        }
                    }
                }
                Some(Value::Tables(tables))
            }
            Kind::Later(_) => None,
        }
    }

    fn one_of(&mut self, value: &Spanned<DeValue<'_>>, inner: &'static Table, name: &str) -> Option<Value> {
        let names = inner.names();
        let DeValue::Table(t) = value.get_ref() else {
            let expected = format!("a table with one of {}", listed(&names));
            return self.wrong_type(value.get_ref(), value.span(), name, &expected);
        };
        let before = self.faults.len();
        let values = self.table(t, value.span(), inner, name);
        if self.faults.len() > before {
            return None;
        }
        if values.entries.len() == 1 {
            return Some(Value::Table(values));
        }
        let message = if values.entries.is_empty() {
            format!("`{name}` is empty")
        } else {
            let typed: Vec<&str> = values.entries.keys().copied().collect();
            format!("`{name}` holds {}, it takes one", listed(&typed))
        };
        let d = Diagnostic::error("one-of", message).help(format!("one of {}", listed(&names)));
        self.fault(d, value.span(), "");
        None
    }

    fn tuples<const N: usize>(
        &mut self,
        value: &Spanned<DeValue<'_>>,
        range: &super::table::Range,
        least: usize,
        name: &str,
        one: &str,
    ) -> Option<Vec<[f64; N]>> {
        let (word, form) = one.trim_start_matches("a ").split_once(' ').unwrap_or((one, ""));
        let DeValue::Array(items) = value.get_ref() else {
            return self.wrong_type(
                value.get_ref(),
                value.span(),
                name,
                &format!("a list of {word}s {form}"),
            );
        };
        if items.len() < least {
            let message = format!("`{name}` holds {}, it needs at least {least}", counted(items.len(), word));
            let mut d = Diagnostic::error("wrong-type", message);
            if word == "pin" {
                d = d.help("a strap ties pins to one another; round a single hole lay a `hoop`");
            }
            self.fault(d, value.span(), "");
            return None;
        }
        let mut tuples = Vec::new();
        let mut right = true;
        for (i, item) in items.iter().enumerate() {
            let name = format!("{name}[{i}]");
            match item.get_ref() {
                DeValue::Array(pair) if pair.len() == N => {
                    match self.list(pair.iter(), range, &name).and_then(|v| <[f64; N]>::try_from(v).ok()) {
                        Some(tuple) => tuples.push(tuple),
                        None => right = false,
                    }
                }
                other => {
                    self.wrong_type::<()>(other, item.span(), &name, one);
                    right = false;
                }
            }
        }
        right.then_some(tuples)
    }

    fn list<'v, 'i: 'v>(
        &mut self,
        items: impl Iterator<Item = &'v Spanned<DeValue<'i>>>,
        range: &super::table::Range,
        name: &str,
    ) -> Option<Vec<f64>> {
        let mut values = Vec::new();
        let mut right = true;
        for (i, item) in items.enumerate() {
            match self.number(item, range, &format!("{name}[{i}]")) {
                Some(v) => values.push(v),
                None => right = false,
            }
        }
        right.then_some(values)
    }

    fn number(
        &mut self,
        value: &Spanned<DeValue<'_>>,
        range: &super::table::Range,
        name: &str,
    ) -> Option<f64> {
        let (v, typed) = match value.get_ref() {
            DeValue::Float(f) => (f.as_str().parse::<f64>().unwrap_or(f64::NAN), f.as_str().to_owned()),
            DeValue::Integer(i) => {
                #[expect(clippy::cast_precision_loss, reason = "ranges are far below 2^53")]
                let v = i64::from_str_radix(i.as_str(), i.radix()).map_or(f64::INFINITY, |v| v as f64);
                (v, i.as_str().to_owned())
            }
            other => {
                return self.wrong_type(other, value.span(), name, "a number");
            }
        };
        if range.holds(v) {
            // -0.0 would show as such in texts and files
            return Some(v + 0.0);
        }
        let unit = unit_of(name.split('[').next().unwrap_or(name));
        let space = if unit.is_empty() { "" } else { " " };
        let message = if v.is_finite() {
            let bare = name.split('[').next().unwrap_or(name);
            format!("`{name}` is {typed}{space}{unit}, it must be {}", range.in_words(bare))
        } else {
            format!("`{name}` is {typed}, it must be a finite number")
        };
        let mut d = Diagnostic::error("out-of-range", message);
        if name.ends_with("_fraction") && v > range.high.max(1.0) && v <= 100.0 {
            d = d.help(format!("a fraction counts in parts of 1: {typed} % is {}", v / 100.0));
        }
        self.fault(d, value.span(), "");
        None
    }

    fn integer(&mut self, value: &Spanned<DeValue<'_>>, low: i64, high: i64, name: &str) -> Option<i64> {
        let typed = match value.get_ref() {
            DeValue::Integer(i) => i,
            other => return self.wrong_type(other, value.span(), name, "a whole number"),
        };
        match i64::from_str_radix(typed.as_str(), typed.radix()) {
            Ok(v) if (low..=high).contains(&v) => Some(v),
            _ => {
                let limit = if high == i64::MAX {
                    format!("at least {low}")
                } else if low == i64::MIN {
                    format!("at most {high}")
                } else {
                    format!("at least {low} and at most {high}")
                };
                let message = format!("`{name}` is {typed}, it must be {limit}");
                self.fault(Diagnostic::error("out-of-range", message), value.span(), "");
                None
            }
        }
    }

    fn text(&mut self, value: &Spanned<DeValue<'_>>, name: &str, lines: bool) -> Option<Value> {
        let DeValue::String(s) = value.get_ref() else {
            return self.wrong_type(value.get_ref(), value.span(), name, "text in quotes");
        };
        if !lines {
            if s.trim().is_empty() {
                self.fault(Diagnostic::error("out-of-range", format!("`{name}` is empty")), value.span(), "");
                return None;
            }
            if s.chars().any(char::is_control) {
                let message = format!("`{name}` holds a line break or another control character");
                let mut d = Diagnostic::error("out-of-range", message);
                // `\n` and `\t` begin names of files, too
                if name != "part.name"
                    && self.source.text.get(value.span()).is_some_and(|typed| typed.contains('\\'))
                {
                    d = d.help(SLASHES);
                }
                self.fault(d, value.span(), "");
                return None;
            }
        }
        Some(Value::Text(s.clone().into_owned()))
    }

    fn wrong_type<T>(
        &mut self,
        found: &DeValue<'_>,
        span: Range<usize>,
        name: &str,
        expected: &str,
    ) -> Option<T> {
        let shown = match found {
            DeValue::String(_) => "text",
            DeValue::Integer(_) => "a whole number",
            DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let mut d = Diagnostic::error("wrong-type", format!("`{name}` is {shown}, expected {expected}"));
        match found {
            DeValue::String(s) if s.trim().parse::<f64>().is_ok() => {
                d = d.help(format!("write the number without quotes: {}", s.trim()));
            }
            DeValue::String(s) if expected.contains("number") => {
                if let Some(number) = decimal_comma(s.trim()) {
                    d = d.help(format!("{DECIMAL_POINT}, and a number stands without quotes: {number}"));
                } else if let Some(list) = number_list(s.trim()) {
                    d = d.help(format!("{LIST}: {list}"));
                } else if let Some(number) = with_unit(s.trim()) {
                    d = d.help(format!("{NO_UNIT}: {number}"));
                }
            }
            DeValue::Array(items) if name.ends_with("layers") && expected.starts_with("text") => {
                let numbers = whole_numbers(items);
                d = d.help(match (super::layers::of_list(&numbers), numbers.as_slice()) {
                    // two numbers are meant as a range as often as not
                    (Some(words), [a, b]) if *b > *a + 1 => {
                        format!(
                            "`layers` is text: \"{a}-{b}\" from one to the other, \"{words}\" those two alone"
                        )
                    }
                    (Some(words), _) => format!("`layers` is text: \"{words}\""),
                    (None, _) => format!("one of {}", super::layers::SYNTAX),
                });
            }
            DeValue::Integer(i) if expected.starts_with("text") => {
                d = d.help(format!("write it in quotes: \"{i}\""));
            }
            DeValue::Float(f) if expected == "a whole number" => {
                if let Some(whole) = f.as_str().strip_suffix(".0") {
                    d = d.help(format!("write it without a point: {whole}"));
                }
            }
            _ => {}
        }
        self.fault(d, span, &format!("expected {expected}"));
        None
    }
}

/// The whole numbers of a list; empty where something else is in it.
fn whole_numbers(items: &toml::de::DeArray<'_>) -> Vec<usize> {
    let number = |item: &Spanned<DeValue<'_>>| match item.get_ref() {
        DeValue::Integer(i) => usize::from_str_radix(i.as_str(), i.radix()).ok(),
        _ => None,
    };
    items.iter().map(number).collect::<Option<Vec<usize>>>().unwrap_or_default()
}

fn joined(path: &str, name: &str) -> String {
    if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") }
}

/// What holds where a key is left out. Whole numbers given for a number are one.
fn default(need: &Need, kind: &Kind) -> Option<Value> {
    Some(match need {
        Need::Number(v) => Value::Number(*v),
        Need::Integer(v) => Value::Integer(*v),
        Need::Word(w) => Value::Text((*w).to_owned()),
        Need::Numbers(v) => Value::Numbers(v.to_vec()),
        Need::Empty => {
            let Kind::Table(inner) = kind else { return None };
            let mut values = Values::default();
            for key in inner.keys {
                if let Some(value) = default(&key.need, &key.kind) {
                    values.entries.insert(key.name, Entry { value, span: None });
                }
            }
            Value::Table(values)
        }
        Need::Required | Need::Optional => return None,
    })
}
