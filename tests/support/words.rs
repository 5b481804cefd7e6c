//! Reads a program line by line: words, comments, faults of form.
//!
//! Words and their limits: T. R. Kramer, F. M. Proctor, E. Messina, The NIST
//! RS274NGC Interpreter version 3, NISTIR 6556 (2000), section 3.3: at most 256
//! characters a line, no letter but G and M more than once.

use super::Findings;

#[derive(Clone, Debug, Default)]
pub(crate) struct Row {
    /// From 1.
    pub(crate) number: usize,
    /// As written, without the end of line.
    pub(crate) text: String,
    pub(crate) words: Vec<(char, f64)>,
    /// Comments without their marks, trimmed.
    pub(crate) comments: Vec<String>,
}

impl Row {
    pub(crate) fn word(&self, letter: char) -> Option<f64> {
        self.words.iter().find(|w| w.0 == letter).map(|w| w.1)
    }

    /// Whether a code such as `G92` stands here.
    pub(crate) fn has(&self, letter: char, number: f64) -> bool {
        self.words.iter().any(|w| w.0 == letter && (w.1 - number).abs() < 1e-9)
    }
}

/// Reads a whole program; faults of form become findings.
pub(crate) fn read(findings: &mut Findings, text: &str, semicolon: bool) -> Vec<Row> {
    const WHAT: &str = "words";
    let mut rows = Vec::new();
    if !text.ends_with('\n') {
        findings.say(WHAT, None, "the last line has no end".to_owned());
    }
    for (index, line) in text.lines().enumerate() {
        let number = index + 1;
        let mut row = Row { number, text: line.to_owned(), ..Row::default() };
        let mut say = |text: String| findings.say(WHAT, None, format!("line {number}: {text}: `{line}`"));
        if !line.is_ascii() {
            say("not ASCII".to_owned());
        }
        if line.len() > 256 {
            say(format!("{} characters", line.len()));
        }
        let bytes = line.as_bytes();
        let mut i = 0;
        while i < bytes.len() {
            let c = bytes[i] as char;
            if c == ' ' || c == '\t' || (c == '%' && line.trim() == "%") {
                i += 1;
            } else if c == ';' {
                if !semicolon {
                    say("a semicolon comment".to_owned());
                }
                row.comments.push(line[i + 1..].trim().to_owned());
                break;
            } else if c == '(' {
                if semicolon {
                    say("a comment in parentheses".to_owned());
                }
                let Some(end) = line[i..].find(')') else {
                    say("a comment that is not closed".to_owned());
                    break;
                };
                let inside = &line[i + 1..i + end];
                if inside.contains('(') {
                    say("a parenthesis in a comment".to_owned());
                }
                row.comments.push(inside.trim().to_owned());
                i += end + 1;
            } else if c.is_ascii_uppercase() {
                let rest = &line[i + 1..];
                let end = rest
                    .find(|d: char| !(d.is_ascii_digit() || d == '.' || d == '-' || d == '+'))
                    .unwrap_or(rest.len());
                match rest[..end].parse::<f64>() {
                    Ok(value) if value.is_finite() => {
                        if !"ABCDEFGHIJKLMNPQRSTXYZ".contains(c) {
                            say(format!("the letter {c}"));
                        }
                        if c != 'G' && c != 'M' && row.word(c).is_some() {
                            say(format!("the letter {c} twice"));
                        }
                        let decimals = rest[..end].split('.').nth(1).map_or(0, str::len);
                        if "XYZIJ".contains(c) && decimals > 3 {
                            say(format!("{decimals} decimals"));
                        }
                        row.words.push((c, value));
                    }
                    _ => say(format!("no number after {c}")),
                }
                i += 1 + end;
            } else {
                say(format!("the character `{c}`"));
                break;
            }
        }
        rows.push(row);
    }
    rows
}

/// The same program through an independent parser: it must agree on every
/// G, M and T code and on the words that come with them.
pub(crate) fn cross_check(findings: &mut Findings, text: &str, rows: &[Row]) {
    let program = match gcode::parse(text) {
        Ok(program) => program,
        Err(e) => {
            findings.say("words", None, format!("the independent parser refuses the program: {e:?}"));
            return;
        }
    };
    let mut theirs: Vec<(char, f64)> = Vec::new();
    let number = |n: gcode::core::Number| {
        let minor = n.minor().map_or(0.0, |m| f64::from(m.get()));
        f64::from(n.major()) + minor / 10.0
    };
    let literal = |v: &gcode::Value| match v {
        gcode::Value::Literal(x) => f64::from(*x),
        _ => f64::NAN,
    };
    for block in &program.blocks {
        for code in &block.codes {
            let (letter, n, args) = match code {
                gcode::Code::General(g) => ('G', number(g.number), &g.args),
                gcode::Code::Miscellaneous(m) => ('M', number(m.number), &m.args),
                gcode::Code::ToolChange(t) => ('T', number(t.number), &t.args),
                _ => continue,
            };
            theirs.push((letter, n));
            for arg in args {
                theirs.push((arg.letter, literal(&arg.value)));
            }
        }
        for word in &block.word_addresses {
            theirs.push((word.letter, literal(&word.value)));
        }
    }
    let ours: Vec<(char, f64)> =
        rows.iter().flat_map(|r| r.words.iter().copied()).filter(|w| w.0 != 'N').collect();
    if ours.len() != theirs.len() {
        findings.say(
            "words",
            None,
            format!("{} words read here, {} by the independent parser", ours.len(), theirs.len()),
        );
        return;
    }
    for (a, b) in ours.iter().zip(&theirs) {
        // the parser keeps single precision
        if a.0 != b.0 || (a.1 - b.1).abs() > 1e-6 * a.1.abs() + 1e-6 {
            findings.say(
                "words",
                None,
                format!("{}{} here, {}{} by the independent parser", a.0, a.1, b.0, b.1),
            );
            return;
        }
    }
}
