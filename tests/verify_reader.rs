//! The reader and the machine on programs that towpath did not write, and against
//! two parsers of others.
//!
//! T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter -
//! Version 3*, NISTIR 6556, 17 Aug 2000 (a work of the US government): the sample
//! program of its appendix C.1 is `verify/nist_ir6556_c1.ngc`. The numbers that it is held
//! against were computed from its text by an interpreter of their own.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use proptest::prelude::*;
use std::fmt::Write as _;
use towpath::job::{Printer, printer_named};
use towpath::verify::dialect::Dialect;
use towpath::verify::findings::Check;
use towpath::verify::machine::{Machine, Move, Step};
use towpath::verify::verify;
use towpath::verify::words::{self, Line};

const C1: &str = include_str!("verify/nist_ir6556_c1.ngc");

/// Every step of a program, from 0, 0, 0; no fault may come up.
fn steps(text: &str) -> Vec<Step> {
    let mut machine = Machine::new(Dialect::standard());
    machine.at = [0.0; 3];
    let mut line = Line::default();
    let mut out = Vec::new();
    for l in text.lines() {
        words::read(l.as_bytes(), &mut line).expect("every line can be read");
        machine.line(&line);
        for (_, figure, text) in &machine.faults {
            assert!(figure.is_some_and(|(value, limit)| value <= limit), "{l}: {text}");
        }
        out.extend(machine.steps.iter().copied());
    }
    out
}

fn moves(text: &str) -> Vec<Move> {
    steps(text).into_iter().filter_map(|s| if let Step::Move(m) = s { Some(m) } else { None }).collect()
}

fn length(m: &Move) -> f64 {
    libm::hypot(m.curve().length(), m.to[2] - m.from[2])
}

fn near(what: &str, is: f64, want: f64) {
    assert!((is - want).abs() < 1e-6, "{what}: {is}, {want} wanted");
}

#[test]
fn the_reports_own_sample_is_read_right() {
    let mut line = Line::default();
    let blocks =
        C1.lines().filter(|l| words::read(l.as_bytes(), &mut line).is_ok() && !line.words.is_empty());
    assert_eq!(blocks.count(), 61, "blocks with words");
    let all = moves(C1);
    let of = |rapid: bool, arc: Option<bool>| -> Vec<&Move> {
        all.iter().filter(|m| m.rapid == rapid && m.arc.map(|a| a.1) == arc).collect()
    };
    let counts =
        [of(true, None), of(false, None), of(false, Some(false)), of(false, Some(true))].map(|v| v.len());
    assert_eq!(counts, [25, 29, 4, 1], "G0, G1, G2, G3");
    let sum = |of: &[&Move]| of.iter().map(|m| length(m)).sum::<f64>();
    near("rapids, mm", sum(&of(true, None)), 252.052_800_6);
    let fed: Vec<&Move> = all.iter().filter(|m| !m.rapid).collect();
    assert!((sum(&fed) - 183.430_466_4).abs() < 1e-6, "at feed: {}", sum(&fed));
    let arcs: Vec<&Move> = fed.iter().copied().filter(|m| m.arc.is_some()).collect();
    near("arcs, mm", sum(&arcs), 56.451_932_9);
    let seconds: f64 = fed.iter().map(|m| length(m) / m.speed).sum();
    assert!((seconds - 550.291_399_3).abs() < 1e-5, "at F20: {seconds} s");
    let arc = |k: usize| {
        let m = arcs[k];
        (m.curve().turn().to_degrees(), length(m), m.arc.expect("an arc").0)
    };
    let wanted = [
        (270.0, 11.780_972_5, [13.5, 2.5]),
        (-360.0, 15.707_963_3, [32.5, 2.5]),
        (-360.0, 15.707_963_3, [57.5, 2.5]),
        (-77.364_374_9, 5.401_052_3, [66.5, 0.877_501]),
        (-180.0, 7.853_981_6, [79.5, 2.5]),
    ];
    for (k, (turn, l, c)) in wanted.into_iter().enumerate() {
        let found = arc(k);
        near("sweep, degrees", found.0, turn);
        near("length, mm", found.1, l);
        near("centre x", found.2[0], c[0]);
        near("centre y", found.2[1], c[1]);
    }
    assert!(matches!(steps(C1).last(), Some(Step::End)), "M2 ends it");
}

#[test]
fn the_reports_rules_by_hand() {
    // 3.5.3.2: at (7, 7), `G17 G2 x10 y16 i3 j4 z9` turns round (10, 11), radius 5
    let m = moves("g0 x7 y7 z9\ng17 g2 f60 x10 y16 i3 j4 z9\n")[1];
    let centre = m.arc.expect("an arc").0;
    near("centre x", centre[0], 10.0);
    near("centre y", centre[1], 11.0);
    near("radius", m.curve().radius(), 5.0);
    // a helix: half a turn of radius 5 that climbs 4 mm
    let m = moves("g3 f60 x0 y10 j5 z4\n")[0];
    near("helix", length(&m), 16.209_260_0);
    // 3.5.3.1: a positive radius is at most half a turn, a negative one more
    let (short, long) = (moves("g3 f9 x10 y10 r10")[0], moves("g3 f9 x10 y10 r-10")[0]);
    near("short way", short.curve().turn().to_degrees(), 90.0);
    near("long way", long.curve().turn().to_degrees(), 270.0);
    // 3.5.17: offsets of a centre are from the start in both distance modes
    let m = moves("g91 g0 x5 y5\ng2 f60 x10 y0 i5 j0\n")[1];
    assert_eq!((m.to[0], m.to[1], m.arc.expect("an arc").0), (15.0, 5.0, [10.0, 5.0]));
    // 3.5.7: a change of units adjusts numbers, not places
    let m = moves("g21 g0 x25.4\ng20 g1 f10 x2\n")[1];
    near("inches", m.to[0], 50.8);
    near("inches a minute", m.speed, 254.0 / 60.0);
    // E from its restart on, and move by move
    let fed = |text| moves(text).iter().map(|m| m.feed).collect::<Vec<f64>>();
    assert_eq!(fed("m82\ng92 e0\ng1 f60 x1 e2\ng1 x2 e5\ng92 e0\ng1 x3 e1"), [2.0, 3.0, 1.0]);
    assert_eq!(fed("m83\ng1 f60 x1 e2\ng1 x2 e5"), [2.0, 5.0]);
    assert_eq!(steps("g4 p0.5"), [Step::Dwell(0.5)]);
    assert_eq!(steps("t3\ng4 p1\nm6"), [Step::Dwell(1.0), Step::Select(3.0)], "M6 changes to what T named");
}

#[test]
fn what_the_report_calls_an_error_is_a_fault() {
    for (text, check) in [
        ("g0 g1 x1", Check::Controller),
        ("g90 g91", Check::Controller),
        ("g1 f60 x1 x2", Check::Controller),
        ("n100000 g0 x1", Check::Controller),
        ("g4 p-1", Check::Controller),
        ("x5", Check::Controller),
        ("g1 x5", Check::Speed),
        ("g2 f60 x5 i1 r3", Check::Arc),
        ("g2 f60 x5", Check::Arc),
        ("g2 f60 r5", Check::Arc),
        ("g2 f60 x10 r4.99", Check::Arc),
        ("g2 f60 x10 i5.01 j0.5", Check::Arc),
        ("m2\ng0 x1", Check::Ending),
    ] {
        let mut machine = Machine::new(Dialect::standard());
        machine.at = [0.0; 3];
        let mut line = Line::default();
        let mut found = Vec::new();
        for l in text.lines() {
            words::read(l.as_bytes(), &mut line).expect("it can be read");
            machine.line(&line);
            found.extend(machine.faults.iter().filter(|f| f.1.is_none_or(|(v, l)| v > l)).map(|f| f.0));
        }
        assert!(found.contains(&check), "`{text}`: {found:?}");
    }
}

/// A program of random words that every reader has to take: no letter twice.
fn random(seed: u64) -> String {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) + 1;
    let mut next = |most: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % most
    };
    let mut out = String::new();
    for _ in 0..200 {
        let code = ["G0", "G1", "G2", "G3", "M104", "M109", "G92"][usize::try_from(next(7)).expect("small")];
        out.push_str(code);
        for letter in ['X', 'Y', 'Z', 'I', 'J', 'E', 'F', 'S'] {
            if next(2) == 0 {
                continue;
            }
            let (whole, part, digits) = (next(400), next(1000), next(4));
            let sign = if next(3) == 0 { "-" } else { "" };
            let _ = match digits {
                0 => write!(out, " {letter}{sign}{whole}"),
                1 => write!(out, " {letter}{sign}{whole}.{}", part % 10),
                _ => write!(out, " {letter}{sign}{whole}.{part:03}"),
            };
        }
        out.push_str(if next(9) == 0 { " ; a note, 3 X4\n" } else { "\n" });
    }
    out
}

fn ours(text: &str) -> Vec<(char, f64)> {
    let mut line = Line::default();
    let mut out = Vec::new();
    for l in text.lines() {
        words::read(l.as_bytes(), &mut line).expect("it can be read");
        out.extend(line.words.iter().map(|w| (char::from(w.letter), w.value)));
    }
    out
}

fn first_parser(text: &str) -> Vec<(char, f64)> {
    let program = gcode::parse(text).expect("the first parser reads it");
    let number =
        |n: gcode::core::Number| f64::from(n.major()) + n.minor().map_or(0.0, |m| f64::from(m.get()) / 10.0);
    let literal = |v: &gcode::Value| match v {
        gcode::Value::Literal(x) => f64::from(*x),
        _ => f64::NAN,
    };
    let mut out = Vec::new();
    for block in &program.blocks {
        for code in &block.codes {
            let (letter, n, arguments) = match code {
                gcode::Code::General(g) => ('G', number(g.number), &g.args),
                gcode::Code::Miscellaneous(m) => ('M', number(m.number), &m.args),
                gcode::Code::ToolChange(t) => ('T', number(t.number), &t.args),
                _ => continue,
            };
            out.push((letter, n));
            out.extend(arguments.iter().map(|a| (a.letter, literal(&a.value))));
        }
        out.extend(block.word_addresses.iter().map(|w| (w.letter, literal(&w.value))));
    }
    out
}

fn second_parser(text: &str) -> Vec<(char, f64)> {
    let program = g_code::parse::file_parser(text).expect("the second parser reads it");
    program
        .iter_emit_tokens()
        .filter_map(|t| match t {
            g_code::emit::Token::Field(f) => {
                let letter = f.letters.chars().next().expect("a field has a letter").to_ascii_uppercase();
                Some((letter, f.value.as_f64().unwrap_or(f64::NAN)))
            }
            _ => None,
        })
        .collect()
}

fn alike(what: &str, a: &[(char, f64)], b: &[(char, f64)], within: f64) {
    assert_eq!(a.len(), b.len(), "{what}: number of words");
    for (k, (a, b)) in a.iter().zip(b).enumerate() {
        assert!(
            a.0 == b.0 && (a.1 - b.1).abs() <= within * (1.0 + a.1.abs()),
            "{what}, word {k}: {a:?}, {b:?}"
        );
    }
}

#[test]
fn two_other_parsers_read_the_same_words_of_a_hundred_programs() {
    let mut programs: Vec<String> = (0..98).map(random).collect();
    for base in ["arcs", "chords"] {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/verify/{base}.toml"));
        let planned = towpath::plan::plan(&mut Default::default(), &path).expect("the good part is planned");
        programs.push(planned.program);
    }
    assert_eq!(programs.len(), 100);
    for (k, text) in programs.iter().enumerate() {
        let mine = ours(text);
        // the first parser keeps single precision
        alike(&format!("program {k}, gcode"), &mine, &first_parser(text), 1e-6);
        alike(&format!("program {k}, g-code"), &mine, &second_parser(text), 1e-12);
    }
}

fn printer(name: &str) -> Printer {
    printer_named(name).expect("it is built in").1
}

fn faults(text: &[u8], printer: &Printer) -> u64 {
    let verdict = verify("p.gcode", text, printer, None).expect("without a plan there is always a verdict");
    assert!(!verdict.ledger.table().is_empty() && verdict.ledger.json().is_array(), "it can be shown");
    verdict.ledger.faults()
}

/// A program by hand: one course of three pieces on a small base of matrix.
fn by_hand(bend: &str) -> String {
    format!(
        "(by hand)\nG21 G90\nM82\nM104 T1 S240\nM104 T2 S245\nG28\n(layer 1 z 0.2)\nT2 M6\nM109 T2 S245\n\
         (course 1)\nG0 Z1 F600\nG0 X100 Y100 F6000\nG0 Z0.2 F600\nG92 E0\nG1 E15 F600\n{bend}\
         (end course 1)\nG0 Z1 F600\nM104 T1 S0\nM104 T2 S0\nM140 S0\nM2\n"
    )
}

const CUT: &str = "(cut)\nM10\nG4 P0.35\nM11\nG4 P0.15\n";

#[test]
fn a_course_by_hand_passes_and_a_tighter_one_does_not() {
    let mut printer = printer("shuttle-15");
    printer.head_change = towpath::job::printer::HeadChange::Lift;
    let found = |text: &str| {
        let text = text.replacen("(by hand)", "(tow carbon-1k-pa12, by hand)", 1);
        let v = verify("p", text.as_bytes(), &printer, None).expect("a verdict");
        let names: Vec<&str> = Check::all().filter(|c| v.ledger.faults_of(*c) > 0).map(Check::name).collect();
        names.join(" ")
    };
    // a half turn of radius 8 between straights: 20 + 8 pi + 20
    let half = std::f64::consts::PI * 8.0;
    let good = |r: f64| {
        let arc = std::f64::consts::PI * r;
        format!(
            "G1 X120 Y100 E35\nG3 X120 Y{:.3} I0 J{r:.3} E{:.5}\nG1 X115 Y{:.3} E{:.5}\n{CUT}G1 X100 Y{:.3}\n",
            100.0 + 2.0 * r,
            35.0 + arc,
            100.0 + 2.0 * r,
            40.0 + arc,
            100.0 + 2.0 * r
        )
    };
    assert_eq!(found(&by_hand(&good(8.0))), "", "{half}");
    let spaced = by_hand(&good(8.0)).replace("(end course ", "(end   course  ");
    assert_eq!(found(&spaced), "", "words of a comment stand apart by any number of spaces");
    assert_eq!(found(&by_hand(&good(3.5))), "bend", "an arc tighter than the tow's radius");
    // the same in chords of a tenth of a radian
    let chords = |r: f64| {
        let (mut text, mut e) = ("G1 X120 Y100 E35\n".to_owned(), 35.0);
        let n = 31;
        for k in 1..=n {
            let (sin, cos) = libm::sincos(std::f64::consts::PI * f64::from(k) / f64::from(n));
            e += std::f64::consts::PI * r / f64::from(n);
            let _ = writeln!(text, "G1 X{:.3} Y{:.3} E{e:.5}", 120.0 + r * sin, 100.0 + r - r * cos);
        }
        let y = 100.0 + 2.0 * r;
        let _ = write!(text, "G1 X115 Y{y:.3} E{:.5}\n{CUT}G1 X100 Y{y:.3}\n", e + 5.0);
        text
    };
    let mut coarse = printer.clone();
    coarse.controller.arcs = false;
    let found = |text: &str| {
        let text = text.replacen("(by hand)", "(tow carbon-1k-pa12, by hand)", 1);
        let v = verify("p", text.as_bytes(), &coarse, None).expect("a verdict");
        let names: Vec<&str> = Check::all().filter(|c| v.ledger.faults_of(*c) > 0).map(Check::name).collect();
        names.join(" ")
    };
    assert_eq!(found(&by_hand(&chords(6.0))), "");
    assert!(found(&by_hand(&chords(3.0))).contains("bend"), "{}", found(&by_hand(&chords(3.0))));
    let kink = format!("G1 X120 Y100 E35\nG1 X120 Y130 E65\n{CUT}G1 X120 Y145\n");
    assert!(found(&by_hand(&kink)).contains("joint"), "a corner of 90 degrees");
}

#[test]
fn bad_input_is_told_with_its_line() {
    let printer = printer("shuttle-15");
    let cases: [&[u8]; 10] = [
        b"",
        b"\x00\x01\x02\xff\xfe",
        b"G1 X99999999999999999999999999 Y1e400\n",
        b"T1 M6\nG1 F600 X1 Y1 Z1\nG2 X5 Y5 R0.1 E1\n",
        b"(layer 1 z inf)\n(layer 99999999999999999999999 z 1)\n(course)\n",
        b"T1 M6\nG91\nG1 F1e9\nG1 X1e300 F9\n",
        "(\u{e4}) \u{202e} G1 X1\n(cut)\n(cut)\n".as_bytes(),
        "(end      \u{3000}course L1.1)\n".as_bytes(),
        // what a comment names is no file that is opened
        b"(input matrix built-in /dev/zero sha256 0)\n(tow /dev/zero, lot 1)\n",
        b"(input tow built-in /dev/zero sha256 0)\n(matrix ./x.toml)\n",
    ];
    for text in cases {
        assert!(faults(text, &printer) > 0, "{}", String::from_utf8_lossy(text));
    }
    // one line of fifty megabytes
    let endless = std::io::Read::take(std::io::repeat(b'7'), 50_000_000);
    let v = verify("p", endless, &printer, None).expect("a verdict");
    assert!(v.ledger.faults_of(Check::Text) == 1 && v.figures.bytes == 50_000_000, "{}", v.ledger.table());
    let (_, first) = v.ledger.first().expect("a finding");
    assert_eq!(first.place.line, 1);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn nothing_makes_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        faults(&bytes, &printer("shuttle-15"));
    }

    #[test]
    fn no_words_make_it_panic(lines in proptest::collection::vec(
        "(\\((layer|course|end course|cut|purge) [0-9z. ]{0,6}\\)|[GMTXYZIJREFSP][0-9]{1,3}(\\.[0-9]{1,3})?( [XYZIJREFSPT]-?[0-9]{1,4}){0,4})", 0..60)) {
        faults(lines.join("\n").as_bytes(), &printer("shuttle-15"));
    }
}
