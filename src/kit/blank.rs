//! A profile to fill in: every key with its unit, meaning, legal range and how
//! to find its value on the machine. Made from the table that the reader uses, so
//! that no key can be missing; the values are those of a built-in printer, so
//! that it passes `check` as it stands.

use crate::job::builtin;
use crate::job::printer::{MEASURE, PRINTER};
use crate::job::table::{Key, Kind, Need, Range, Table};
use std::fmt::Write as _;
use toml::Value;

/// The schema that editors look for beside the profile.
pub const SCHEMA_FILE: &str = "printer.schema.json";

/// The printer whose values the blank begins with.
const MODEL: &str = "shuttle-15";

/// Longest line of a comment, characters.
const WIDTH: usize = 100;

/// Values for keys that the model leaves out, as they would be typed.
static EXAMPLES: &[(&str, &str)] = &[
    ("limits.jerk_mm_s3", "50000.0"),
    ("heads.matrix.time_constant_s", "240.0"),
    ("heads.fibre.time_constant_s", "220.0"),
    ("head_change.matrix_at_mm", "[60.0, 280.0]"),
    ("head_change.fibre_at_mm", "[300.0, 280.0]"),
];

/// The text of a profile of this name.
pub fn text(name: &str) -> String {
    let model = builtin::find(builtin::PRINTERS, MODEL).map_or("", |b| b.text);
    let mut values = toml::from_str::<toml::Table>(model).unwrap_or_default();
    values.insert("name".to_owned(), Value::String(name.to_owned()));
    values.insert("description".to_owned(), Value::String(format!("{name}: say in one line what it is")));
    let mut out = format!("#:schema {SCHEMA_FILE}\n");
    comment(
        &mut out,
        "A printer profile to fill in. The values are invented, for a machine that does not exist: replace every one by what your machine has. Keys that are commented out may stay so; their text says what holds then.",
    );
    out.push_str("#\n");
    comment(
        &mut out,
        "Hot heads, hot beds, blades and moving axes hurt, and molten polymers give off fumes: keep guards and interlocks in place, ventilate, and run a new profile's first program in the air, without tow and matrix. The maker's instructions and your local rules come first.",
    );
    out.push_str("#\n");
    comment(
        &mut out,
        "Then: `towpath printer check FILE`, `towpath printer trial FILE --out DIR`. The first line lets editors that know JSON Schema for TOML complete and check the keys.",
    );
    table(&mut out, &PRINTER, &values, "");
    out
}

/// A table's keys: first what has a value of its own, then the tables below it.
fn table(out: &mut String, table_: &Table, values: &toml::Table, path: &str) {
    let is_table = |k: &&Key| matches!(k.kind, Kind::Table(_));
    for key in table_.keys.iter().filter(|k| !is_table(k)) {
        let path = joined(path, key.name);
        out.push('\n');
        comment(out, &explained(key, &path));
        match values.get(key.name) {
            Some(value) => {
                let _ = writeln!(out, "{} = {}", key.name, typed(value));
            }
            None => {
                let _ = writeln!(out, "# {} = {}", key.name, example(key, &path));
            }
        }
    }
    for key in table_.keys.iter().filter(is_table) {
        let Kind::Table(inner) = key.kind else { continue };
        let path = joined(path, key.name);
        out.push('\n');
        comment(out, &capital(key.text));
        if key.name == "blocks" {
            names(out);
        }
        let _ = writeln!(out, "[{path}]");
        let empty = toml::Table::new();
        let below = values.get(key.name).and_then(Value::as_table).unwrap_or(&empty);
        table(out, inner, below, &path);
    }
}

/// Meaning, range, default, how to measure.
fn explained(key: &Key, path: &str) -> String {
    let mut text = capital(key.text);
    if let Some(range) = range(key) {
        let _ = write!(text, "; {range}");
    }
    match &key.need {
        Need::Number(v) => {
            let _ = write!(text, "; left out = {v}");
        }
        Need::Word(w) => {
            let _ = write!(text, "; left out = {w}");
        }
        _ => {}
    }
    if let Some((_, how)) = MEASURE.iter().find(|(p, _)| *p == path) {
        let _ = write!(text, ". To measure: {how}");
    }
    text.push('.');
    text
}

/// What a key takes, in words.
fn range(key: &Key) -> Option<String> {
    let each = |r: &Range| r.in_words(key.name);
    Some(match &key.kind {
        Kind::Number(r) => each(r),
        Kind::Integer(low, high) => format!("a whole number, {low} to {high}"),
        Kind::Flag => "true or false".to_owned(),
        Kind::Word(words) => words.now.join(" | "),
        Kind::Numbers(r, least, most) if least == most => format!("{least} numbers, each {}", each(r)),
        Kind::Numbers(r, ..) | Kind::NumberOrList(r) | Kind::Points(r, _) | Kind::Discs(r, _) => {
            format!("each {}", each(r))
        }
        Kind::Text | Kind::Lines | Kind::Table(_) | Kind::OneOf(_) | Kind::Tables(_) | Kind::Later(_) => {
            return None;
        }
    })
}

/// A value for a key that is commented out.
fn example(key: &Key, path: &str) -> String {
    if let Some((_, text)) = EXAMPLES.iter().find(|(p, _)| *p == path) {
        return (*text).to_owned();
    }
    match &key.need {
        Need::Number(v) => format!("{v:?}"),
        Need::Integer(v) => v.to_string(),
        Need::Word(w) => format!("{w:?}"),
        _ => "0.0".to_owned(),
    }
}

/// A value as people type it: texts of several lines on lines of their own.
fn typed(value: &Value) -> String {
    match value {
        Value::String(s) if s.contains('\n') => format!("'''\n{s}'''"),
        other => other.to_string(),
    }
}

/// The names that blocks may use.
fn names(out: &mut String) {
    out.push_str("# The program writes T lines, moves and E resets itself. Names:\n");
    for name in crate::job::block::NAMES {
        let only = if name.of_a_head { " (only in heat and heat_wait)" } else { "" };
        let _ = writeln!(out, "#   {:<22} {}{only}", name.name, name.text);
    }
}

fn joined(path: &str, name: &str) -> String {
    if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// A comment in lines that are not too long.
fn comment(out: &mut String, text: &str) {
    let mut line = String::from("#");
    for word in text.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH {
            out.push_str(&line);
            out.push('\n');
            line = String::from("#");
        }
        line.push(' ');
        line.push_str(word);
    }
    out.push_str(&line);
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Source;
    use crate::job::printer;
    use std::sync::Arc;

    fn read(text: String) -> printer::Printer {
        let source = Arc::new(Source { name: "new.toml".to_owned(), text });
        printer::read(&source).unwrap_or_else(|faults| panic!("{faults}\n{}", source.text))
    }

    /// With every key that is commented out put in.
    fn full(text: &str) -> String {
        let is_key = |l: &str| {
            let name = l.split(" = ").next().unwrap_or("");
            !name.contains(' ')
                && name != "out"
                && toml::from_str::<toml::Table>(l).is_ok_and(|t| t.len() == 1)
        };
        text.lines()
            .map(|l| match l.strip_prefix("# ") {
                Some(rest) if is_key(rest) => format!("{rest}\n"),
                _ => format!("{l}\n"),
            })
            .collect()
    }

    #[test]
    fn it_passes_as_it_stands_and_with_every_key_put_in() {
        assert_eq!(read(text("mine")).name, "mine");
        let all = full(&text("mine"));
        let p = read(all.clone());
        assert!(p.limits.jerk_mm_s3.is_finite() && p.bed_heating.is_some(), "optional keys are read");
        fn count(table: &Table, text: &str) -> usize {
            table
                .keys
                .iter()
                .map(|k| match k.kind {
                    Kind::Table(inner) => {
                        assert!(text.contains(&format!("{}]\n", k.name)), "the table {} is missing", k.name);
                        count(inner, text)
                    }
                    _ => {
                        assert!(text.contains(&format!("\n{} = ", k.name)), "the key {} is missing", k.name);
                        1
                    }
                })
                .sum()
        }
        assert!(count(&PRINTER, &all) > 60, "all keys were looked for");
    }

    #[test]
    fn odd_names_are_quoted() {
        for name in ["a \"b\"", "ü \\ n", "c'd'''e"] {
            assert_eq!(read(text(name)).name, name);
        }
    }

    #[test]
    fn how_to_measure_belongs_to_keys_that_there_are() {
        for path in MEASURE.iter().chain(EXAMPLES).map(|(p, _)| p) {
            let mut table = &PRINTER;
            for name in path.split('.') {
                let key = table.key(name).unwrap_or_else(|| panic!("no key {path}"));
                if let Kind::Table(inner) = key.kind {
                    table = inner;
                }
            }
        }
    }
}
