//! A profile to fill in: every key with its unit, meaning, legal range and how
//! to find its value on the machine. Made from the table that the reader uses, so
//! that no key can be missing; the values are those of a built-in printer, so
//! that it passes `check` as it stands.

use crate::job::builtin;
use crate::job::printer::PRINTER;
use crate::job::table::{Key, Kind, Need, Range, Table};
use std::fmt::Write as _;
use toml::Value;
use toml::de::DeTable;

/// The schema that editors look for beside the profile.
pub const SCHEMA_FILE: &str = "printer.schema.json";

/// The printer whose values the blank begins with.
const MODEL: &str = "shuttle-15";

/// Longest line of a comment, characters.
const WIDTH: usize = 100;

/// How values are found on the machine, by the key's path.
static MEASURE: &[(&str, &str)] = &[
    (
        "feedstock_diameter_mm",
        "measure the filament with a caliper at ten places, two directions each; write the mean",
    ),
    (
        "cutter_to_nozzle_mm",
        "feed tow until it shows at the nozzle, cut, pull the piece out and measure it; then run the trial `cut-distance`, which finds what is left to correct",
    ),
    (
        "anchor_mm",
        "lay ever shorter courses of the trial `cut-distance`: the shortest whose start stays down when the tow is cut, less cutter_to_nozzle_mm, and half as much again",
    ),
    ("bed_mm", "jog both nozzles along the edges of the plate; keep clamps and the purge line outside"),
    ("max_bed_temperature_c", "the highest that the plate holds for half an hour, by a surface thermometer"),
    ("controller.arcs", "send G2 and G3 by hand over an empty bed"),
    (
        "controller.block_time_s",
        "time the trial `time-lines` and give the time to `towpath printer fit`; or the controller's data sheet: block processing time",
    ),
    ("controller.dwell_unit", "send `G4 P2000` by hand: two seconds are ms, half an hour is s"),
    (
        "offsets_mm.fibre",
        "run the trial `head-offset`: two sets of lines at slightly different spacing tell the offset to 0.1 mm",
    ),
    (
        "reach_mm.matrix.x",
        "jog each nozzle to its ends of travel, slowly, the other head clear of everything",
    ),
    (
        "limits.acceleration_mm_s2.work",
        "what the controller is set to; time the trials `time-work` and `time-travel` and give the times to `towpath printer fit`",
    ),
    ("limits.jerk_mm_s3", "what the controller is set to, where it limits jerk at all"),
    (
        "limits.corner_deviation_mm",
        "what the controller is set to: path tolerance, corner or junction deviation",
    ),
    ("heads.matrix.heating_k_s", "heat from cold and note the time from 30 to 60 degC"),
    (
        "heads.matrix.time_constant_s",
        "heat from cold at full power, note the temperature T every 30 s; the rate falls as (T - room) / time constant",
    ),
    (
        "heads.matrix.cooling_k_s",
        "from its highest temperature switch the heater off and note the first 20 s",
    ),
    (
        "heads.matrix.feed_scale",
        "run the trial `feed-matrix`: mm that the program asks for over mm of filament that went in",
    ),
    (
        "heads.fibre.feed_scale",
        "run the trial `feed-tow`: mm that the program asks for over mm of the tow that was laid",
    ),
    ("head_change.matrix_at_mm", "where the controller puts the head aside, by its own settings"),
    ("bed_heating.heating_k_s", "heat from cold and note the time from 30 to 50 degC"),
    (
        "times.head_change_s",
        "time the trial `time-changes` and give the time to `towpath printer fit`; or ten changes by hand with a watch",
    ),
    ("times.cut_s", "ten cuts with a watch; at least the dwells of the block `cut`"),
    ("times.start_s", "run the start block with everything hot already"),
];

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

/// The built-in printer that shares most of the values that are to be measured on
/// the machine (those that `printer new` writes are of one, too), the keys with
/// such values, and how many keys of that kind the profile has.
pub fn not_measured(profile: &str) -> (&'static str, Vec<&'static str>, usize) {
    let read = |text: &str| toml::from_str::<toml::Table>(text).unwrap_or_default();
    let at = |table: &toml::Table, path: &str| {
        let mut parts = path.split('.');
        let first = table.get(parts.next()?)?.clone();
        parts.try_fold(first, |value, part| value.get(part).cloned())
    };
    let profile = read(profile);
    let measured: Vec<(&str, Value)> =
        MEASURE.iter().filter_map(|(path, _)| Some((*path, at(&profile, path)?))).collect();
    let shared = |model: &builtin::BuiltIn| {
        let model = read(model.text);
        measured
            .iter()
            .filter(|(path, v)| at(&model, path).as_ref() == Some(v))
            .map(|(path, _)| *path)
            .collect()
    };
    let each = builtin::PRINTERS.iter().map(|b| (b.name, shared(b)));
    // the first of equals
    let most = each.reduce(|a: (_, Vec<_>), b| if b.1.len() > a.1.len() { b } else { a });
    let (name, same) = most.unwrap_or_default();
    (name, same, measured.len())
}

/// The lines of a profile in which values stand, from 1, in the file's order.
pub fn lines_of<'a>(profile: &str, paths: &[&'a str]) -> Vec<(usize, &'a str)> {
    let (document, _) = DeTable::parse_recoverable(profile);
    let place = |path: &str| {
        let mut parts = path.split('.');
        let first = document.get_ref().get(parts.next()?)?;
        let value = parts.try_fold(first, |value, part| value.get_ref().as_table()?.get(part))?;
        Some(profile.get(..value.span().start)?.matches('\n').count() + 1)
    };
    let mut lines: Vec<(usize, &str)> = paths.iter().filter_map(|p| Some((place(p)?, *p))).collect();
    lines.sort_unstable();
    lines
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
    fn what_was_measured_is_told_from_what_was_not() {
        let blank = text("mine");
        let (model, same, all) = not_measured(&blank);
        assert_eq!(model, MODEL);
        assert!(same.len() == all && all > 10, "{same:?} of {all}");
        let (_, less, _) = not_measured(&blank.replace("head_change_s = ", "head_change_s = 1"));
        assert_eq!(less.len(), all - 1);
        // every number another: what is left are switches
        let other: String =
            blank.chars().map(|c| if ('1'..'9').contains(&c) { (c as u8 + 1) as char } else { c }).collect();
        let (_, same, all) = not_measured(&other);
        assert!(all > 10 && 2 * same.len() < all, "{same:?}");
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
