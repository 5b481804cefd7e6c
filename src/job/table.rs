//! What a file may say: every key once, with its kind, range, default and
//! meaning. The reader, the schemas and "did you mean" follow from these tables.

use super::unit::unit_of;

/// A table of keys.
#[derive(Debug)]
pub(crate) struct Table {
    /// What the table is about, for the schema.
    pub(crate) text: &'static str,
    /// Its keys, in the order in which people write them.
    pub(crate) keys: &'static [Key],
}

/// One key.
#[derive(Debug)]
pub(crate) struct Key {
    /// As typed, with its unit as suffix.
    pub(crate) name: &'static str,
    /// What its value is.
    pub(crate) kind: Kind,
    /// What holds where it is left out.
    pub(crate) need: Need,
    /// What it means.
    pub(crate) text: &'static str,
}

/// A key that must be there.
pub(crate) const fn required(name: &'static str, kind: Kind, text: &'static str) -> Key {
    Key { name, kind, need: Need::Required, text }
}

/// A key that may be left out.
pub(crate) const fn optional(name: &'static str, kind: Kind, need: Need, text: &'static str) -> Key {
    Key { name, kind, need, text }
}

/// What a value is.
#[derive(Debug)]
pub(crate) enum Kind {
    /// A finite number.
    Number(Range),
    /// A whole number, both ends in.
    Integer(i64, i64),
    /// Some text, not empty, on one line.
    Text,
    /// Some text, several lines, may be empty.
    Lines,
    /// true or false.
    Flag,
    /// One of a few words.
    Word(Words),
    /// A list of numbers, with its shortest and longest length.
    Numbers(Range, usize, usize),
    /// A number, or a list of at least one.
    NumberOrList(Range),
    /// A list of `[x, y]`, at least so many.
    Points(Range, usize),
    /// A list of `[x, y, r]`, at least so many.
    Discs(Range, usize),
    /// A table.
    Table(&'static Table),
    /// A table in which exactly one of the keys stands.
    OneOf(&'static Table),
    /// `[[…]]`, at least one.
    Tables(&'static Table),
    /// Known, but this version makes no use of it; why and what instead.
    Later(&'static str),
}

/// The words that a key takes.
#[derive(Debug)]
pub(crate) struct Words {
    /// What this version knows.
    pub(crate) now: &'static [&'static str],
    /// What a later version may know: told apart from a misspelling.
    pub(crate) later: &'static [&'static str],
}

/// What holds where a key is left out.
#[derive(Debug)]
pub(crate) enum Need {
    /// It must be there.
    Required,
    /// Nothing; the meaning tells what follows.
    Optional,
    /// A number.
    Number(f64),
    /// A whole number.
    Integer(i64),
    /// A word.
    Word(&'static str),
    /// A list.
    Numbers(&'static [f64]),
    /// A table with nothing but defaults in it.
    Empty,
}

/// Where a number may lie. The unit is the key's suffix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Range {
    /// Least.
    pub(crate) low: f64,
    /// The least value itself is allowed.
    pub(crate) low_in: bool,
    /// Greatest; itself allowed.
    pub(crate) high: f64,
}

/// Above zero, up to and with `high`.
pub(crate) const fn above_zero(high: f64) -> Range {
    Range { low: 0.0, low_in: false, high }
}

/// Both ends in.
pub(crate) const fn between(low: f64, high: f64) -> Range {
    Range { low, low_in: true, high }
}

impl Range {
    /// Whether a number lies in it.
    pub(crate) fn holds(&self, value: f64) -> bool {
        value.is_finite() && (value > self.low || (self.low_in && value >= self.low)) && value <= self.high
    }

    /// In words, for a key: `above 0 and at most 5 mm`.
    pub(crate) fn in_words(&self, key: &str) -> String {
        let low = if self.low_in { "at least" } else { "above" };
        let unit = unit_of(key);
        let space = if unit.is_empty() { "" } else { " " };
        format!("{low} {} and at most {}{space}{unit}", self.low, self.high)
    }
}

/// Largest coordinate in a file that people type, mm: a printer of 10 m.
pub(crate) const LARGEST_MM: f64 = 10_000.0;

/// A coordinate.
pub(crate) const COORDINATE: Range = between(-LARGEST_MM, LARGEST_MM);

/// A direction, degrees: a turn either way is as far as anybody means.
pub(crate) const DIRECTION: Range = between(-360.0, 360.0);

/// A temperature, degC: nothing here is frozen, and 500 burns every thermoplastic.
pub(crate) const TEMPERATURE: Range = between(0.0, 500.0);

impl Table {
    /// The key of a name.
    pub(crate) fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }

    /// Names of the keys that this version uses.
    pub(crate) fn names(&self) -> Vec<&'static str> {
        self.keys.iter().filter(|k| !matches!(k.kind, Kind::Later(_))).map(|k| k.name).collect()
    }

    /// Where else in a file a key of this name stands: the path of its table,
    /// `[build]`, and whether that is this table itself (an empty path).
    pub(crate) fn home_of(&self, name: &str) -> Option<String> {
        self.keys.iter().find_map(|k| match &k.kind {
            Kind::Table(inner) if inner.key(name).is_some() => Some(format!("[{}]", k.name)),
            Kind::Tables(inner) if inner.key(name).is_some() => Some(format!("[[{}]]", k.name)),
            Kind::Table(inner) => inner.home_of(name).map(|h| {
                let inside = h.trim_matches(['[', ']']);
                format!("[{}.{inside}]", k.name)
            }),
            _ => None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_keep_their_ends() {
        let r = above_zero(5.0);
        assert!(!r.holds(0.0) && r.holds(1e-9) && r.holds(5.0) && !r.holds(5.1));
        assert!(!r.holds(f64::NAN) && !between(0.0, f64::MAX).holds(f64::INFINITY));
        assert_eq!(r.in_words("layer_height_mm"), "above 0 and at most 5 mm");
        assert_eq!(between(0.0, 1.0).in_words("fill_fraction"), "at least 0 and at most 1");
    }
}
