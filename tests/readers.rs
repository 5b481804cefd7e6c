//! Whatever a text holds, a reader gives its values or faults with places in it;
//! it never panics.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use proptest::prelude::*;
use std::sync::Arc;
use towpath::diagnostic::{Diagnostic, Notes, Outcome, Source};
use towpath::job::{builtin, map, material, printer};

const MAP: &str = "[[region]]\nname = \"ä\"\nshape = { hole_at_mm = [1.0, 2.0] }\nlayers = \"3-17/2\"\n\
    rule = \"hoop\"\ncourses = 4\n[[region]]\nshape = { polygon_mm = [[0, 0], [10, 0], [10, 10]] }\n\
    rule = \"unidirectional\"\nangle_deg = [0, 45]\nspacing_mm = 1.5\n";

/// One edit: where (of the whole text, in 1/65536), how much goes, what comes.
#[derive(Clone, Debug)]
struct Edit {
    at: u16,
    goes: usize,
    comes: String,
}

fn edits() -> impl Strategy<Value = Vec<Edit>> {
    let pieces = prop_oneof![
        Just(String::new()),
        proptest::string::string_regex("[\\[\\]{}=\",.'#\\n0-9a-z_%/ -]{1,6}").expect("a pattern"),
        Just("'''".to_owned()),
        Just("{{ x }}".to_owned()),
        Just("{% for i in range(3) %}".to_owned()),
        Just("\u{1b}[31mé\u{202e}".to_owned()),
        Just("1e999".to_owned()),
        Just("-9223372036854775808".to_owned()),
        Just("0xffffffffffffffffffff".to_owned()),
    ];
    let edit = (any::<u16>(), 0usize..12, pieces).prop_map(|(at, goes, comes)| Edit { at, goes, comes });
    proptest::collection::vec(edit, 1..6)
}

fn edited(text: &str, edits: &[Edit]) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for e in edits {
        let at = usize::from(e.at) * chars.len() / 65_536;
        let end = (at + e.goes).min(chars.len());
        chars.splice(at..end, e.comes.chars());
    }
    chars.into_iter().collect()
}

fn told_well<T>(text: &str, outcome: Outcome<T>) -> Result<(), TestCaseError> {
    let Err(faults) = outcome else { return Ok(()) };
    prop_assert!(!faults.0.is_empty(), "refused without a word");
    for d in &faults.0 {
        placed(text, d)?;
    }
    Ok(())
}

fn placed(text: &str, d: &Diagnostic) -> Result<(), TestCaseError> {
    let Some(place) = &d.place else {
        return Err(TestCaseError::fail(format!("{d} has no place")));
    };
    prop_assert!(place.span.start <= place.span.end && place.span.end <= text.len(), "{d}: {:?}", place.span);
    prop_assert!(!d.message.is_empty() && !d.message.ends_with('.'), "{d}");
    let (line, column) = place.line_column();
    prop_assert!(line >= 1 && line <= text.split('\n').count() && column >= 1, "{d}: {line}:{column}");
    Ok(())
}

fn source(text: String) -> Arc<Source> {
    Arc::new(Source { name: "f.toml".to_owned(), text })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn spoilt_printers(which in 0usize..2, edits in edits()) {
        let s = source(edited(builtin::PRINTERS[which].text, &edits));
        told_well(&s.text, printer::read(&s))?;
    }

    #[test]
    fn spoilt_materials(edits in edits()) {
        let s = source(edited(builtin::TOWS[0].text, &edits));
        told_well(&s.text, material::read_tow(&s))?;
        let s = source(edited(builtin::MATRICES[0].text, &edits));
        told_well(&s.text, material::read_matrix(&s))?;
    }

    #[test]
    fn spoilt_maps(edits in edits()) {
        let s = source(edited(MAP, &edits));
        let tow = material::read_tow(&source(builtin::TOWS[0].text.to_owned())).expect("built in");
        let mut notes = Notes::default();
        told_well(&s.text, map::read(&mut notes, &s, Some(&tow)))?;
        for d in &notes.warnings {
            placed(&s.text, d)?;
        }
    }
}
