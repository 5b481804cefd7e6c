//! Which values of a profile are found on the machine, and whether they were.

use crate::diagnostic::{Diagnostic, Source};
use crate::job::builtin;
use toml::Value;
use toml::de::DeTable;

/// How values are found on the machine, by the key's path.
pub(crate) static MEASURE: &[(&str, &str)] = &[
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

/// Warns where half of what is to be measured is as in a built-in profile.
pub(crate) fn not_measured(source: &Source) -> Option<Diagnostic> {
    let (model, same, all) = as_built_in(&source.text);
    if same.is_empty() || 2 * same.len() < all {
        return None;
    }
    let message = format!(
        "{} of {all} values that are to be measured on the machine are those of `{model}`, a machine that does not exist",
        same.len(),
    );
    let lines = lines_of(&source.text, &same);
    let each: Vec<String> = lines.iter().map(|(line, key)| format!("`{key}` (line {line})")).collect();
    let d = Diagnostic::warning("profile-not-measured", message).in_file(&source.name);
    let d = d.help(format!("as in that one: {}", each.join(", ")));
    Some(
        d.help("`towpath printer new` says above each key how to find its value; run no program before that"),
    )
}

/// The built-in printer that shares most of the values that are to be measured on
/// the machine (those that `printer new` writes are of one, too), the keys with
/// such values, and how many keys of that kind the profile has.
fn as_built_in(profile: &str) -> (&'static str, Vec<&'static str>, usize) {
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
fn lines_of<'a>(profile: &str, paths: &[&'a str]) -> Vec<(usize, &'a str)> {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_measured_is_told_from_what_was_not() {
        let model = builtin::find(builtin::PRINTERS, "shuttle-15").expect("a built-in").text;
        let (name, same, all) = as_built_in(model);
        assert_eq!(name, "shuttle-15");
        assert!(same.len() == all && all > 10, "{same:?} of {all}");
        let (_, less, _) = as_built_in(&model.replace("head_change_s = ", "head_change_s = 1"));
        assert_eq!(less.len(), all - 1);
        // every number another: what is left are switches
        let other: String =
            model.chars().map(|c| if ('1'..'9').contains(&c) { (c as u8 + 1) as char } else { c }).collect();
        let (_, same, all) = as_built_in(&other);
        assert!(all > 10 && 2 * same.len() < all, "{same:?}");
    }
}
