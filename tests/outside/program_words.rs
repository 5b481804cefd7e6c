//! Written programs against the rules for their words and arcs.
//!
//! T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter -
//! Version 3*, NISTIR 6556 (2000): lines of at most 256 characters (3.3), no
//! exponent in a number (3.3.2.1), comments that close and do not nest (3.3.4),
//! one code of a modal group and every other letter but once in a line (3.3.5),
//! an arc's radii at its start and end within 0.002 mm (3.5.3.2). `E` and the
//! heater codes are common practice on printers. The `gcode` crate reads the same
//! programs as a second reader.

use std::path::Path;
use towpath::diagnostic::Notes;
use towpath::plan::{Planned, plan};

const EXAMPLES: [&str; 3] = ["bracket", "guide", "link"];

fn planned(example: &str) -> Planned {
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example).join("job.toml");
    plan(&mut Notes::default(), &job).expect("the example can be planned")
}

/// One line: its words and its comment.
struct Row<'a> {
    words: Vec<(char, f64, &'a str)>,
    comment: Option<&'a str>,
}

fn row(line: &str, parentheses: bool) -> Row<'_> {
    let (code, comment) = if parentheses {
        match line.split_once('(') {
            Some((code, rest)) => {
                let inside = rest.strip_suffix(')').expect("a comment closes its line");
                assert!(!inside.contains(['(', ')']), "comments do not nest: {line}");
                (code, Some(inside))
            }
            None => (line, None),
        }
    } else {
        line.split_once(';').map_or((line, None), |(code, rest)| (code, Some(rest)))
    };
    let words = code
        .split_whitespace()
        .map(|word| {
            let (letter, number) = word.split_at(1);
            let letter = letter.chars().next().expect("a word has a letter");
            assert!("EFGIJMPRSTXYZ".contains(letter), "the letter of `{word}` in `{line}`");
            assert!(number.chars().all(|c| c.is_ascii_digit() || "+-.".contains(c)), "a number: {line}");
            (letter, number.parse().expect("a number"), number)
        })
        .collect();
    Row { words, comment }
}

#[test]
fn every_line_keeps_the_rules() {
    for example in EXAMPLES {
        let planned = planned(example);
        let parentheses = planned.job.printer.controller.parenthesis_comments;
        assert!(planned.program.is_ascii() && planned.program.ends_with('\n'), "{example}: plain text");
        for line in planned.program.lines() {
            assert!(line.len() <= 256, "{example}: {} characters: {line}", line.len());
            let row = row(line, parentheses);
            assert!(!row.words.is_empty() || row.comment.is_some(), "{example}: an empty line");
            for (k, (letter, _, number)) in row.words.iter().enumerate() {
                let again = row.words[..k].iter().any(|(l, _, _)| l == letter);
                assert!(!again || matches!(letter, 'G' | 'M'), "{example}: {letter} twice: {line}");
                let decimals = number.split_once('.').map_or(0, |(_, d)| d.len());
                assert!(
                    !"XYZIJ".contains(*letter) || decimals <= 3,
                    "{example}: {decimals} decimals: {line}"
                );
            }
            let motions = row.words.iter().filter(|(l, n, _)| *l == 'G' && *n < 4.0).count();
            assert!(motions <= 1, "{example}: two codes of one group: {line}");
            if row.words.iter().any(|(l, n, _)| *l == 'G' && *n < 2.0) {
                assert!(
                    row.words.iter().any(|(l, _, _)| "XYZE".contains(*l)),
                    "{example}: a move without an axis: {line}"
                );
            }
        }
    }
}

#[test]
fn arcs_have_one_radius() {
    let mut arcs = 0;
    for example in EXAMPLES {
        let planned = planned(example);
        let parentheses = planned.job.printer.controller.parenthesis_comments;
        let (mut x, mut y) = (f64::NAN, f64::NAN);
        for line in planned.program.lines() {
            let row = row(line, parentheses);
            let word = |letter: char| row.words.iter().find(|(l, _, _)| *l == letter).map(|(_, n, _)| *n);
            let (to_x, to_y) = (word('X').unwrap_or(x), word('Y').unwrap_or(y));
            if let Some(g) = word('G').filter(|g| (2.0..=3.0).contains(g)) {
                assert!(planned.job.printer.controller.arcs, "{example}: G{g} for a printer without arcs");
                let (i, j) = (word('I').expect("I"), word('J').expect("J"));
                let start = libm::hypot(i, j);
                let end = libm::hypot(to_x - x - i, to_y - y - j);
                assert!((start - end).abs() <= 0.002, "{example}: radii {start} and {end} mm: {line}");
                assert!(libm::hypot(to_x - x, to_y - y) > 0.005, "{example}: not a full circle: {line}");
                arcs += 1;
            }
            (x, y) = (to_x, to_y);
        }
    }
    assert!(arcs > 100, "{arcs} arcs in the examples");
}

#[test]
fn another_reader_reads_the_same_words() {
    for example in EXAMPLES {
        let planned = planned(example);
        let parentheses = planned.job.printer.controller.parenthesis_comments;
        let program = gcode::parse(&planned.program).expect("the other reader takes it");
        let major = |n: gcode::core::Number| f64::from(n.major());
        let literal = |v: &gcode::Value| match v {
            gcode::Value::Literal(x) => f64::from(*x),
            _ => f64::NAN,
        };
        let mut theirs: Vec<(char, f64)> = Vec::new();
        for block in &program.blocks {
            for code in &block.codes {
                let (letter, number, args) = match code {
                    gcode::Code::General(g) => ('G', major(g.number), &g.args),
                    gcode::Code::Miscellaneous(m) => ('M', major(m.number), &m.args),
                    gcode::Code::ToolChange(t) => ('T', major(t.number), &t.args),
                    _ => continue,
                };
                theirs.push((letter, number));
                theirs.extend(args.iter().map(|a| (a.letter, literal(&a.value))));
            }
            theirs.extend(block.word_addresses.iter().map(|w| (w.letter, literal(&w.value))));
        }
        let ours: Vec<(char, f64)> = planned
            .program
            .lines()
            .flat_map(|l| row(l, parentheses).words)
            .map(|(letter, n, _)| (letter, n))
            .collect();
        assert_eq!(ours.len(), theirs.len(), "{example}: as many words");
        for (a, b) in ours.iter().zip(&theirs) {
            // the other reader keeps single precision
            assert!(
                a.0 == b.0 && (a.1 - b.1).abs() <= 1e-6 * a.1.abs() + 1e-6,
                "{example}: {}{} here, {}{} there",
                a.0,
                a.1,
                b.0,
                b.1
            );
        }
    }
}
