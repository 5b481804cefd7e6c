//! The unit that a key's suffix names, and what is told where somebody writes
//! a key with another one.

/// What a unit measures: only units of one kind can be meant for each other.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Of {
    Length,
    Area,
    Volume,
    Time,
    Mass,
    Angle,
    Speed,
    Acceleration,
    Temperature,
    Share,
    /// One that nobody swaps for another here.
    Other,
}

/// A unit as keys end with it.
#[derive(Debug)]
struct Unit {
    suffix: &'static str,
    /// As messages spell it.
    text: &'static str,
    of: Of,
    /// In the first unit of its kind; 0 where a factor alone does not convert.
    worth: f64,
}

const fn unit(suffix: &'static str, text: &'static str, of: Of, worth: f64) -> Unit {
    Unit { suffix, text, of, worth }
}

/// Units of keys, the longest suffix first: `_mm` ends many others.
const UNITS: &[Unit] = &[
    unit("_mm3_s", "mm3/s", Of::Other, 1.0),
    unit("_mm_s3", "mm/s3", Of::Other, 1.0),
    unit("_per_year", "per year", Of::Other, 1.0),
    unit("_per_day", "per day", Of::Other, 1.0),
    unit("_per_kg", "per kg", Of::Other, 1.0),
    unit("_per_h", "per h", Of::Other, 1.0),
    unit("_mm_s2", "mm/s2", Of::Acceleration, 1.0),
    unit("_mm_s", "mm/s", Of::Speed, 1.0),
    unit("_g_cm3", "g/cm3", Of::Other, 1.0),
    unit("_k_s", "K/s", Of::Other, 1.0),
    unit("_k", "K", Of::Other, 1.0),
    unit("_mm3", "mm3", Of::Volume, 1.0),
    unit("_mm2", "mm2", Of::Area, 1.0),
    unit("_mm", "mm", Of::Length, 1.0),
    unit("_um", "um", Of::Length, 1e-3),
    unit("_deg", "degrees", Of::Angle, 1.0),
    unit("_c", "degC", Of::Temperature, 0.0),
    unit("_parts", "parts", Of::Other, 1.0),
    unit("_years", "years", Of::Other, 1.0),
    unit("_min", "min", Of::Time, 60.0),
    unit("_g", "g", Of::Mass, 1.0),
    unit("_h", "h", Of::Time, 3600.0),
    unit("_m", "m", Of::Length, 1000.0),
    unit("_s", "s", Of::Time, 1.0),
];

/// Units that no key has and that people write all the same, likewise.
const FOREIGN: &[Unit] = &[
    unit("_mm_per_min", "mm/min", Of::Speed, 1.0 / 60.0),
    unit("_mm_per_s", "mm/s", Of::Speed, 1.0),
    unit("_mm_min", "mm/min", Of::Speed, 1.0 / 60.0),
    unit("_m_min", "m/min", Of::Speed, 1000.0 / 60.0),
    unit("_m_s2", "m/s2", Of::Acceleration, 1000.0),
    unit("_m_s", "m/s", Of::Speed, 1000.0),
    unit("_cm3", "cm3", Of::Volume, 1000.0),
    unit("_cm2", "cm2", Of::Area, 100.0),
    unit("_percent", "%", Of::Share, 0.01),
    unit("_pct", "%", Of::Share, 0.01),
    unit("_fraction", "", Of::Share, 1.0),
    unit("_inch", "in", Of::Length, 25.4),
    unit("_cm", "cm", Of::Length, 10.0),
    unit("_in", "in", Of::Length, 25.4),
    unit("_kg", "kg", Of::Mass, 1000.0),
    unit("_rad", "rad", Of::Angle, 180.0 / std::f64::consts::PI),
    unit("_hours", "h", Of::Time, 3600.0),
    unit("_minutes", "min", Of::Time, 60.0),
    unit("_seconds", "s", Of::Time, 1.0),
    unit("_sec", "s", Of::Time, 1.0),
    unit("_ms", "ms", Of::Time, 1e-3),
    unit("_degc", "degC", Of::Temperature, 0.0),
    unit("_f", "degF", Of::Temperature, 0.0),
];

/// The unit that a key's suffix names, for messages; empty where it has none.
pub(super) fn unit_of(key: &str) -> &'static str {
    UNITS.iter().find(|u| key.ends_with(u.suffix)).map_or("", |u| u.text)
}

/// A key's name without its unit, and that unit.
fn parted(key: &str) -> Option<(&str, &'static Unit)> {
    FOREIGN.iter().chain(UNITS).find_map(|u| Some((key.strip_suffix(u.suffix)?, u)))
}

/// The known key that differs from what was typed in its unit alone, and how
/// the one unit counts in the other, empty where they are the same one.
pub(super) fn in_another_unit<'a>(typed: &str, known: &[&'a str]) -> Option<(&'a str, String)> {
    let (stem, from) = parted(typed)?;
    known.iter().find_map(|key| {
        let (known_stem, to) = parted(key)?;
        (known_stem == stem && from.of == to.of && from.of != Of::Other).then(|| (*key, converted(from, to)))
    })
}

/// `1 min is 60 s`, the way that gives a number above 1.
fn converted(from: &Unit, to: &Unit) -> String {
    if from.text == to.text {
        return String::new();
    }
    if from.worth == 0.0 || to.worth == 0.0 {
        return format!("it counts in {}", to.text);
    }
    let with = |number: f64, text: &str| match text {
        "" => format!("{}", (number * 1e4).round() / 1e4),
        _ => format!("{} {text}", (number * 1e4).round() / 1e4),
    };
    let ratio = from.worth / to.worth;
    if from.of == Of::Share || ratio >= 1.0 {
        format!("{} is {}", with(1.0, from.text), with(ratio, to.text))
    } else {
        format!("{} is {}", with(1.0 / ratio, from.text), with(1.0, to.text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_come_from_the_suffix() {
        for (key, unit) in [
            ("layer_height_mm", "mm"),
            ("max_flow_mm3_s", "mm3/s"),
            ("travel_mm_s", "mm/s"),
            ("work_mm_s2", "mm/s2"),
            ("fill_angles_deg", "degrees"),
            ("copies", ""),
            ("process_temperature_c", "degC"),
            ("density_g_cm3", "g/cm3"),
            ("tow_per_kg", "per kg"),
            ("shifts_per_day", "per day"),
            ("setup_h", "h"),
            ("tow_spool_m", "m"),
            ("price_each", ""),
        ] {
            assert_eq!(unit_of(key), unit, "{key}");
        }
    }

    #[test]
    fn a_key_in_another_unit_is_told_with_what_it_counts() {
        for (typed, known, told) in [
            ("cycle_min", "cycle_s", "1 min is 60 s"),
            ("setup_min", "setup_h", "60 min is 1 h"),
            ("width_in", "width_mm", "1 in is 25.4 mm"),
            ("layer_height_um", "layer_height_mm", "1000 um is 1 mm"),
            ("reject_percent", "reject_fraction", "1 % is 0.01"),
            ("travel_mm_min", "travel_mm_s", "60 mm/min is 1 mm/s"),
            ("angle_rad", "angle_deg", "1 rad is 57.2958 degrees"),
            ("temperature_f", "temperature_c", "it counts in degC"),
            ("cut_seconds", "cut_s", ""),
        ] {
            assert_eq!(in_another_unit(typed, &["copies", known]), Some((known, told.to_owned())), "{typed}");
        }
        // a price by the minute is no time, and another thing is another key
        assert_eq!(in_another_unit("labour_per_min", &["labour_per_h"]), None);
        assert_eq!(in_another_unit("cycle_mm", &["cycle_s"]), None);
        assert_eq!(in_another_unit("start_min", &["cycle_s"]), None);
    }
}
