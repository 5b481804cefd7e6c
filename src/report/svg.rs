//! A sheet as SVG.

use super::canvas::{Anchor, Canvas, Ink, Item, Line};
use crate::geom::Point;
use std::fmt::Write as _;

/// Who decides how inks look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Colours {
    /// The drawing itself: a file that stands alone.
    Own,
    /// The style sheet of the page that it is part of.
    Page,
}

/// The drawing as an SVG element, lengths in mm.
pub(super) fn svg(canvas: &Canvas, colours: Colours) -> String {
    let [w, h] = canvas.size_mm;
    let mut out = String::new();
    out.push_str("<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\"");
    if colours == Colours::Own {
        put(&mut out, format_args!(" width=\"{}mm\" height=\"{}mm\"", short(w), short(h)));
    }
    put(&mut out, format_args!(" viewBox=\"0 0 {} {}\"", short(w), short(h)));
    if colours == Colours::Own {
        out.push_str(" font-family=\"'DejaVu Sans Mono','Liberation Mono',Menlo,Consolas,monospace\"");
    }
    put(&mut out, format_args!("><title>{}</title>", escaped(&canvas.title)));
    if colours == Colours::Own {
        put(
            &mut out,
            format_args!("<rect width=\"100%\" height=\"100%\" {}/>", paint("fill", Ink::Paper, colours)),
        );
    }
    out.push_str("<g fill=\"none\" stroke-linejoin=\"round\">\n");
    for item in &canvas.items {
        match item {
            Item::Fill { lines, ink } => {
                let ink = paint("fill", *ink, colours);
                put(&mut out, format_args!("<path {ink} fill-rule=\"evenodd\" d=\"{}\"/>\n", data(lines)));
            }
            Item::Stroke { lines, pen } => {
                let ink = paint("stroke", pen.ink, colours);
                put(&mut out, format_args!("<path {ink} stroke-width=\"{}\"", short(pen.width_mm)));
                if !pen.dashes.is_empty() {
                    let dashes: Vec<String> = pen.dashes.iter().map(|d| short(*d)).collect();
                    put(&mut out, format_args!(" stroke-dasharray=\"{}\"", dashes.join(" ")));
                }
                put(&mut out, format_args!(" d=\"{}\"/>\n", data(lines)));
            }
            Item::Text { at, height_mm, anchor, ink, text } => {
                let ink = paint("fill", *ink, colours);
                let anchor = match anchor {
                    Anchor::Start => "",
                    Anchor::Middle => " text-anchor=\"middle\"",
                };
                // capitals of common type are 0.7 of its size
                let size = short(height_mm / 0.7);
                let (x, y) = (short(at.x), short(at.y));
                let text = escaped(text);
                put(
                    &mut out,
                    format_args!(
                        "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" {ink}{anchor}>{text}</text>\n"
                    ),
                );
            }
        }
    }
    out.push_str("</g></svg>\n");
    out
}

fn put(out: &mut String, text: std::fmt::Arguments<'_>) {
    // a String takes whatever is written
    let _ = out.write_fmt(text);
}

fn paint(what: &str, ink: Ink, colours: Colours) -> String {
    match colours {
        Colours::Own => {
            let [r, g, b] = ink.rgb();
            format!("{what}=\"#{r:02x}{g:02x}{b:02x}\"")
        }
        Colours::Page => format!("class=\"{what}-{}\"", ink.word()),
    }
}

/// Text inside an element or an attribute.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // what XML cannot hold
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c if c.is_control() && !"\n\t".contains(c) => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// Hundredths of a millimetre on the sheet: finer than any printer.
fn hundredths(v: f64) -> i64 {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a sheet has a few hundred millimetres; a cast saturates"
    )]
    let v = (v * 100.0).round() as i64;
    v
}

/// A number of hundredths as short as it can be written.
fn write_hundredths(out: &mut String, v: i64) {
    if v < 0 {
        out.push('-');
    }
    let (whole, rest) = (v.unsigned_abs() / 100, v.unsigned_abs() % 100);
    if whole > 0 || rest == 0 {
        put(out, format_args!("{whole}"));
    }
    if rest % 10 != 0 {
        put(out, format_args!(".{rest:02}"));
    } else if rest > 0 {
        put(out, format_args!(".{}", rest / 10));
    }
}

fn short(v: f64) -> String {
    let mut out = String::new();
    write_hundredths(&mut out, hundredths(v));
    out
}

/// Path data: absolute starts, then relative steps between rounded places, so
/// that rounding never adds up.
fn data(lines: &[Line]) -> String {
    let mut out = String::new();
    for line in lines {
        let mut at: Option<[i64; 2]> = None;
        for p in &line.points {
            let Point { x, y } = *p;
            let to = [hundredths(x), hundredths(y)];
            match at {
                None => {
                    out.push('M');
                    pair(&mut out, to, true);
                    out.push('l');
                }
                Some(from) => {
                    let step = [to[0] - from[0], to[1] - from[1]];
                    if step == [0, 0] {
                        continue;
                    }
                    let first = out.ends_with('l');
                    pair(&mut out, step, first);
                }
            }
            at = Some(to);
        }
        if out.ends_with('l') {
            out.push_str("0 0");
        }
        if line.closed {
            out.push('z');
        }
    }
    out
}

fn pair(out: &mut String, [x, y]: [i64; 2], first: bool) {
    // a sign separates as well as a space
    if !first && x >= 0 {
        out.push(' ');
    }
    write_hundredths(out, x);
    if y >= 0 {
        out.push(' ');
    }
    write_hundredths(out, y);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn numbers_are_short_and_steps_do_not_drift() {
        assert_eq!(
            ["0", "1", "-1.5", ".25", "-.05", "12.3"],
            [0.0, 1.0, -1.5, 0.25, -0.05, 12.3].map(short)[..]
        );
        let points: Vec<Point> = (0..=1000).map(|i| pt(f64::from(i) * 0.0149, -0.004)).collect();
        let text = data(&[Line { points, closed: false }]);
        let steps: f64 = text
            .split('l')
            .nth(1)
            .expect("steps")
            .replace('-', " -")
            .split_whitespace()
            .step_by(2)
            .map(|x| x.parse::<f64>().expect("a number"))
            .sum();
        assert!((steps - 14.9).abs() < 0.006, "{steps}");
    }

    #[test]
    fn a_name_cannot_become_markup() {
        let canvas = Canvas { title: "<b onload=\"x\">&'\u{1}\u{fffe}\u{ffff}".into(), ..Canvas::default() };
        let text = svg(&canvas, Colours::Own);
        assert!(text.contains("&lt;b onload=&quot;x&quot;&gt;&amp;&#39;\u{fffd}\u{fffd}\u{fffd}"), "{text}");
        assert!(roxmltree::Document::parse(&text).is_ok(), "XML");
    }
}
