//! The comments that open a program.

use crate::job::Job;

/// What the header tells of the whole program.
#[derive(Clone, Debug)]
pub struct Facts {
    /// Every input with its hash: role, file, sha256.
    pub inputs: Vec<crate::files::Input>,
    /// Number of layers.
    pub layers: usize,
    /// Tow in the whole program, mm.
    pub fibre_length_mm: f64,
    /// Build time, s.
    pub seconds: f64,
}

/// Hours, minutes and seconds as `h:mm:ss`.
pub fn clock(seconds: f64) -> String {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a build time in seconds")]
    let s = seconds.max(0.0).round() as u64;
    format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
}

/// A text that any comment can hold: printable ASCII without the marks that end
/// or nest comments.
pub(super) fn plain(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '(' | '[' | '{' => '<',
            ')' | ']' | '}' => '>',
            ';' | '%' => ',',
            c if c.is_ascii_graphic() || c == ' ' => c,
            _ => '_',
        })
        .take(120)
        .collect()
}

/// The header's lines, without comment marks.
pub(super) fn lines(job: &Job, facts: &Facts) -> Vec<String> {
    let mut out = vec![
        format!("towpath {}", env!("CARGO_PKG_VERSION")),
        format!("part {}, copies {}, layers {}", plain(&job.name), job.copies, facts.layers),
    ];
    for i in &facts.inputs {
        out.push(format!(
            "input {} {} sha256 {}",
            i.role,
            plain(&i.file),
            i.sha256.get(..12).unwrap_or(&i.sha256)
        ));
    }
    let [matrix, tow] = &job.lots;
    for (what, name, lot) in [("matrix", &job.matrix.name, matrix), ("tow", &job.tow.name, tow)] {
        let lot = lot.as_deref().map_or("lot not given".to_owned(), |l| format!("lot {}", plain(l)));
        out.push(format!("{what} {}, {lot}", plain(name)));
    }
    out.push(format!("fibre length {:.1} mm", facts.fibre_length_mm));
    out.push(format!("build time {}", clock(facts.seconds)));
    out.push(
        "before the start: tow threaded and cut flush at the blade, bed clear, purge place clear".to_string(),
    );
    out.push("hot heads and moving axes: keep guards closed, vent fumes, follow local rules".to_string());
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_and_comments_are_plain() {
        assert_eq!(clock(3725.4), "1:02:05", "hours, minutes, seconds");
        assert_eq!(clock(59.6), "0:01:00", "rounded");
        assert_eq!(plain("lever (left); ü"), "lever <left>, _", "nothing ends a comment");
    }
}
