//! Blocks that are right, and such as are told.

use super::*;

fn block(kind: BlockKind, text: &str) -> Block {
    let source = Arc::new(Source { name: "p.toml".to_owned(), text: format!("'''\n{text}'''") });
    Block { kind, text: text.to_owned(), span: 4..4 + text.len(), source }
}

fn codes(kind: BlockKind, text: &str) -> Vec<(&'static str, usize)> {
    let limits = Limits {
        absolute_extrusion: Some(true),
        dwell_milliseconds: false,
        times_s: [0.5, 4.0, 40.0, 5.0].map(Some),
        parenthesis_comments: true,
        arcs: false,
        heads: [(Some(0), Some(300.0)), (Some(1), Some(260.0))],
        bed_c: Some(120.0),
        chamber_c: Some(0.0),
    };
    let found = block(kind, text).check(&limits);
    found.iter().map(|d| (d.code, d.place.as_ref().map_or(0, |p| p.line_column().0))).collect()
}

#[test]
fn numbers_are_written_plainly() {
    let values = BlockValues::new().number("tool", 1.0).number("temperature_c", 245.25);
    let text = block(BlockKind::Heat, "M104 T{{ tool }} S{{ temperature_c }}\n").render(&values);
    assert_eq!(text.expect("renders"), "M104 T1 S245.25");
}

#[test]
fn right_blocks_have_no_faults() {
    assert_eq!(codes(BlockKind::Start, "(go) G21 G90\nG28\nM140 S{{ bed_temperature_c }}\n"), []);
    assert_eq!(codes(BlockKind::HeatWait, "M109 T{{ tool }} S{{ temperature_c }}\n"), []);
    assert_eq!(codes(BlockKind::Start, "{% if chamber_temperature_c > 0 %}\nM141 S1\n{% endif %}"), []);
    assert_eq!(codes(BlockKind::Start, "M104 T1 S260\nM109 S300\nM140 S120\nG1 X0 Y0 F600\n"), []);
}

#[test]
fn unknown_names_are_told_at_their_line_even_where_not_taken() {
    assert_eq!(codes(BlockKind::Start, "G21\nM140 S{{ bed_temp }}\n"), [("block-template", 3)]);
    assert_eq!(
        codes(BlockKind::Start, "{% if layers > 900 %}\n{{ never }}\n{% endif %}"),
        [("block-template", 3)]
    );
    // a head's own names mean nothing elsewhere
    assert_eq!(codes(BlockKind::Cut, "M10\nS{{ temperature_c }}\n"), [("block-template", 3)]);
}

#[test]
fn broken_templates_are_told_at_their_line() {
    assert_eq!(codes(BlockKind::Start, "G21\n{% if layers %}\n"), [("block-template", 3)]);
    assert_eq!(codes(BlockKind::Start, "G21\n{{ part | nofilter }}\n"), [("block-template", 3)]);
    assert_eq!(codes(BlockKind::Start, "G21\n{{ 1 / 0 }}\n").len(), 1);
}

#[test]
fn words_that_a_block_must_not_write() {
    assert_eq!(codes(BlockKind::Cut, "M10\nG1 X10 F600\n"), [("block-words", 3)]);
    assert_eq!(codes(BlockKind::Cut, "M10\nG92 E0\n"), [("block-words", 3)]);
    // half a second for a cut, s for P
    assert_eq!(codes(BlockKind::Cut, "M10\nG4 P0.25\nM11\nG4 P0.25\n"), []);
    assert_eq!(codes(BlockKind::Cut, "M10\nG4 P350\nM11\n").len(), 1);
    assert_eq!(codes(BlockKind::Cut, "M10\nG4 P0.004\nM11\n").len(), 1);
    assert_eq!(codes(BlockKind::Cut, "M10\n"), [], "a controller that waits by itself");
    assert_eq!(codes(BlockKind::Cut, "\n(snip)\n").len(), 1);
    for (line, name) in [("CUT_TOW", Some("CUT_TOW")), ("blade on=1", Some("blade")), ("G 4 P1", None)] {
        let told = words_of(line, true).err().map(|(message, _)| message);
        let named = name.map(|n| format!("`{n}` is the name of a controller's own command, not a word"));
        assert_eq!(told, named, "{line}");
    }
    assert_eq!(codes(BlockKind::Start, "M83\nM82\n"), []);
    assert_eq!(codes(BlockKind::Start, "M82\nM83\n"), [("block-words", 3)]);
    assert_eq!(codes(BlockKind::ToFibre, "T1\n"), [("block-words", 2)]);
    assert_eq!(codes(BlockKind::Start, "; hello\n"), [("block-words", 2)]);
    assert_eq!(codes(BlockKind::Start, "SET_PIN 3\n"), [("block-words", 2)]);
    assert_eq!(codes(BlockKind::Start, "(a (b) c)\n"), [("block-words", 2)]);
    // what the machine has not got
    for line in ["G2 X5 Y0 I2.5 J0 F600", "M104 T1 S261", "M109 S301", "M190 S121", "M141 S40", "M104 T7 S10"]
    {
        assert_eq!(codes(BlockKind::Start, &format!("G21\n{line}\n")), [("block-words", 3)], "{line}");
    }
}
