//! What the comments before the first layer tell.

/// Facts of a header; what is not told is `None`.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Header {
    /// mm, and its line.
    pub(super) fibre_mm: Option<(f64, u64)>,
    /// s, and its line.
    pub(super) seconds: Option<(f64, u64)>,
    pub(super) layers: Option<(u64, u64)>,
    pub(super) copies: Option<(u64, u64)>,
    /// What stands behind `matrix` and `tow`: a material's name, and its lot behind a comma.
    pub(super) matrix: Option<String>,
    pub(super) tow: Option<String>,
    /// Names of a built-in printer and a built-in matrix among the inputs, and the line.
    pub(super) printer: Option<(String, u64)>,
    pub(super) built_in_matrix: Option<String>,
    pub(super) built_in_tow: Option<String>,
    /// It tells its inputs: a program that was written for a profile.
    pub(super) inputs: bool,
    /// All of it, to look up hashes in.
    pub(super) text: String,
}

/// Most of a header that is kept, bytes: bounds memory.
const MOST: usize = 1 << 16;

impl Header {
    pub(super) fn comment(&mut self, comment: &str, line: u64) {
        if self.text.len() + comment.len() < MOST {
            self.text.push_str(comment);
            self.text.push('\n');
        }
        // file names, lots and the part's name are the user's words, whatever they look like
        if let Some(input) = comment.strip_prefix("input ") {
            self.inputs = true;
            let mut words = input.split_whitespace();
            match (words.next(), words.next(), words.next()) {
                (Some("printer"), Some("built-in"), Some(n)) => self.printer = Some((n.to_owned(), line)),
                (Some("matrix"), Some("built-in"), Some(n)) => self.built_in_matrix = Some(n.to_owned()),
                (Some("tow"), Some("built-in"), Some(n)) => self.built_in_tow = Some(n.to_owned()),
                _ => {}
            }
            return;
        }
        if let Some(rest) = comment.strip_prefix("matrix ") {
            self.matrix.get_or_insert_with(|| rest.trim().to_owned());
            return;
        }
        if let Some(rest) = comment.strip_prefix("tow ") {
            self.tow.get_or_insert_with(|| rest.trim().to_owned());
            return;
        }
        let lower = comment.to_ascii_lowercase();
        // counts stand behind the part's name
        for part in lower.rsplit(',') {
            let mut words = part.split_whitespace();
            let (word, number) = (words.next(), words.next().and_then(|n| n.parse::<u64>().ok()));
            match word {
                Some("layers") => self.layers = self.layers.or(number.map(|n| (n, line))),
                Some("copies") => self.copies = self.copies.or(number.map(|n| (n, line))),
                _ => {}
            }
        }
        if lower.starts_with("part ") {
            return;
        }
        if let Some(at) = lower.find("fibre length") {
            let number = numbers(&lower[at..]).next().filter(|_| lower.trim_end().ends_with("mm"));
            self.fibre_mm = self.fibre_mm.or(number.map(|n| (n, line)));
        }
        let clock = lower.split(|c: char| !(c.is_ascii_digit() || c == ':')).find_map(seconds);
        self.seconds = self.seconds.or(clock.map(|s| (s, line)));
    }

    /// Names of matrix and tow whose limits are known, where they are those of built-in
    /// materials: a program that tells its inputs may name a material of the user's own
    /// as a built-in one is named.
    pub(super) fn materials(&self) -> [Option<&str>; 2] {
        if self.inputs {
            [self.built_in_matrix.as_deref(), self.built_in_tow.as_deref()]
        } else {
            [&self.matrix, &self.tow]
                .map(|told| Some(told.as_deref()?.split(',').next().unwrap_or("").trim()))
        }
    }
}

/// What stands behind `matrix` or `tow` tells this name, as far as a comment can hold it.
pub(super) fn tells(told: &str, name: &str) -> bool {
    let rest = told.strip_prefix(printable(name).trim());
    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(", lot "))
}

/// A name as comments hold it: printable ASCII, nothing that ends or nests them, and no
/// more of it than a line takes.
fn printable(name: &str) -> String {
    const MOST: usize = 120;
    let held = |c: char| match c {
        '(' | '[' | '{' => '<',
        ')' | ']' | '}' => '>',
        ';' | '%' => ',',
        ' '..='~' => c,
        _ => '_',
    };
    name.chars().take(MOST).map(held).collect()
}

fn numbers(text: &str) -> impl Iterator<Item = f64> + '_ {
    text.split(|c: char| !(c.is_ascii_digit() || c == '.')).filter_map(|w| w.parse().ok())
}

/// `h:mm:ss`.
fn seconds(word: &str) -> Option<f64> {
    let parts: Vec<&str> = word.split(':').collect();
    let [h, m, s] = parts[..] else { return None };
    let two = |v: &str| (v.len() == 2).then(|| v.parse::<f64>().ok()).flatten();
    Some(h.parse::<f64>().ok()? * 3600.0 + two(m)? * 60.0 + two(s)?)
}

/// The inputs that a header tells, with their hashes.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Inputs {
    told: Vec<Told>,
    /// The first layer has been opened.
    over: bool,
}

#[derive(Clone, Debug, PartialEq)]
struct Told {
    role: String,
    /// A file's name, or `built-in NAME`.
    file: String,
    /// How the hash begins.
    hash: String,
}

impl Inputs {
    /// A comment of the program, in the order of its lines.
    pub(super) fn comment(&mut self, comment: &[u8]) {
        if self.over {
            return;
        }
        let comment = String::from_utf8_lossy(comment);
        let comment = comment.trim();
        self.over = comment.starts_with("layer ");
        let input = comment.strip_prefix("input ").and_then(|input| input.split_once(' '));
        if let Some((role, rest)) = input
            && let Some((file, hash)) = rest.rsplit_once(" sha256 ")
            && self.told.len() < MOST
        {
            self.told.push(Told { role: role.to_owned(), file: file.to_owned(), hash: hash.to_owned() });
        }
    }

    /// File and hash of the printer.
    pub(super) fn printer(&self) -> Option<(String, String)> {
        let told = self.told.iter().find(|t| t.role == "printer")?;
        Some((told.file.clone(), told.hash.clone()))
    }

    /// Whether another hash is told for a role.
    pub(super) fn differs(&self, role: &str, sha256: &str) -> bool {
        let mut told = self.told.iter().filter(|t| t.role == role).peekable();
        told.peek().is_some() && !told.any(|t| sha256.starts_with(&t.hash))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(comments: &[&str]) -> Header {
        let mut h = Header::default();
        for (line, comment) in (1..).zip(comments) {
            h.comment(comment, line);
        }
        h
    }

    #[test]
    fn facts_are_found() {
        let h = of(&[
            "part lever, copies 2, layers 20",
            "tow carbon-1k-pa12, lot 7",
            "fibre length 371.5 mm",
            "build time 1:24:27",
        ]);
        assert_eq!((h.copies, h.layers), (Some((2, 1)), Some((20, 1))));
        assert_eq!((h.fibre_mm, h.seconds), (Some((371.5, 3)), Some((5067.0, 4))));
        assert_eq!(h.materials(), [None, Some("carbon-1k-pa12")]);
    }

    #[test]
    fn inputs_are_told_up_to_the_first_layer() {
        let mut inputs = Inputs::default();
        for comment in [
            "towpath 0.1.0",
            "input printer built-in shuttle-15 sha256 0123456789ab",
            "input map my sha256 map.toml sha256 aaaa",
            "layer 1 z 0.2",
            "input outline a.svg sha256 bbbb",
        ] {
            inputs.comment(comment.as_bytes());
        }
        let printer = Some(("built-in shuttle-15".to_owned(), "0123456789ab".to_owned()));
        assert_eq!(inputs.printer(), printer);
        assert!(!inputs.differs("map", "aaaa0000") && inputs.differs("map", "aaab0000"));
        assert!(!inputs.differs("outline", "cccc"), "nothing is told of it");
    }

    #[test]
    fn names_are_told_as_comments_hold_them() {
        for (told, name) in [
            ("PA12 <black>, lot not given", "PA12 (black)"),
            ("PA12, natur, lot 7, lot 8", "PA12, natur"),
            ("Polyamid f_r X, lot 7", "Polyamid für X"),
            ("pa12", "pa12"),
        ] {
            assert!(tells(told, name), "{told}");
            assert!(!tells(told, "pa6") && !tells(told, &format!("{name} 2")) && !tells(told, &name[..3]));
        }
    }

    #[test]
    fn what_the_user_wrote_is_no_figure() {
        let h = of(&[
            "part arm 9:59:59, layers 3, fibre length 7, copies 2, layers 20",
            "input outline fibre length 5.svg sha256 0123456789ab",
            "input tow own.toml sha256 0123456789ab",
            "matrix pa12, lot 2026-05-01 10:30:00, layers 4",
            "tow carbon-1k-pa12, lot fibre length 9",
            "fibre length 371.5 mm",
            "build time 1:24:27",
        ]);
        assert_eq!((h.copies, h.layers), (Some((2, 1)), Some((20, 1))));
        assert_eq!((h.fibre_mm, h.seconds), (Some((371.5, 6)), Some((5067.0, 7))));
        assert_eq!(h.materials(), [None, None], "neither file is built in");
    }
}
