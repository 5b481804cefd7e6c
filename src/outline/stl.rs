//! STL files, binary and ASCII, as meshes.
//!
//! A file is binary when its size is what its facet count says, 84 + 50 n bytes,
//! whatever its header begins with: many binary files begin with `solid`.
//! Normals and attributes are passed over: the vertices' order tells the side.

use super::mesh::Mesh;
use crate::diagnostic::{Diagnostic, Notes, Outcome, Source};
use std::sync::Arc;

/// Header, and facet count.
const HEAD: usize = 84;
/// Normal and three vertices as twelve 4-byte numbers, and two bytes more.
const FACET: usize = 50;

/// Reads a mesh, in mm of `unit_mm` per unit.
///
/// Errors: `mesh-unreadable`, `outline-too-large`.
pub(super) fn read(notes: &mut Notes, name: &str, bytes: &[u8], unit_mm: f64) -> Outcome<Mesh> {
    let facets = facet_count(bytes);
    let whole = facets.and_then(|n| n.checked_mul(FACET)?.checked_add(HEAD));
    let text = std::str::from_utf8(bytes).ok().filter(|t| {
        let start = t.trim_start_matches('\u{feff}').trim_start();
        start.get(..5).is_some_and(|w| w.eq_ignore_ascii_case("solid"))
    });
    let mut mesh = Mesh::new(unit_mm);
    match (whole, text) {
        (Some(size), _) if size == bytes.len() => binary(&mut mesh, name, bytes)?,
        (_, Some(text)) => ascii(&mut mesh, name, text)?,
        (Some(size), None) if size < bytes.len() => {
            let more = bytes.len() - size;
            notes.push(
                Diagnostic::warning(
                    "mesh-unreadable",
                    format!("{more} bytes after the last facet are passed over"),
                )
                .in_file(name),
            );
            binary(&mut mesh, name, &bytes[..size])?;
        }
        (Some(size), None) => {
            return Err(broken(
                name,
                format!(
                    "the file is cut off: its {} facets need {size} bytes, it has {}",
                    facets.unwrap_or(0),
                    bytes.len()
                ),
            )
            .into());
        }
        (None, None) => {
            return Err(
                broken(name, format!("{} bytes are no STL file, binary or ASCII", bytes.len())).into()
            );
        }
    }
    if mesh.facets() == 0 {
        return Err(broken(name, "the file holds no facets".to_owned()).into());
    }
    Ok(mesh)
}

fn broken(name: &str, message: String) -> Diagnostic {
    Diagnostic::error("mesh-unreadable", message).in_file(name).help("export the mesh again")
}

fn facet_count(bytes: &[u8]) -> Option<usize> {
    let n = bytes.get(80..84)?;
    usize::try_from(u32::from_le_bytes([n[0], n[1], n[2], n[3]])).ok()
}

fn binary(mesh: &mut Mesh, name: &str, bytes: &[u8]) -> Outcome<()> {
    for (k, facet) in bytes[HEAD..].chunks_exact(FACET).enumerate() {
        let mut corners = [[0.0; 3]; 3];
        for (c, value) in facet[12..48].chunks_exact(4).enumerate() {
            let v = f32::from_le_bytes([value[0], value[1], value[2], value[3]]);
            corners[c / 3][c % 3] = f64::from(v);
        }
        mesh.push(corners).map_err(|e| {
            let mut d = e.diagnostic(&format!("facet {}", k + 1)).in_file(name);
            d.help.push("check the mesh and its unit".to_owned());
            d
        })?;
    }
    Ok(())
}

/// Words with where they stand.
struct Words<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Words<'a> {
    fn next(&mut self) -> (usize, &'a str) {
        let rest = &self.text[self.at..];
        let start = self.at + (rest.len() - rest.trim_start().len());
        let word = self.text[start..].split(char::is_whitespace).next().unwrap_or("");
        self.at = start + word.len();
        (start, word)
    }

    /// Passes over the rest of the line: a solid's name.
    fn end_line(&mut self) {
        self.at += self.text[self.at..].find('\n').unwrap_or(self.text.len() - self.at);
    }
}

/// Every fault gives line and word.
fn ascii(mesh: &mut Mesh, name: &str, text: &str) -> Outcome<()> {
    let mut words = Words { text: text.trim_start_matches('\u{feff}'), at: 0 };
    let fault = |words: &Words<'_>, (start, word): (usize, &str), message: String| -> Diagnostic {
        let source = Arc::new(Source { name: name.to_owned(), text: words.text.to_owned() });
        Diagnostic::error("mesh-unreadable", message).at(&source, start..start + word.len(), "")
    };
    let expect = |words: &mut Words<'_>, wanted: &str| -> Result<(), Diagnostic> {
        let (start, word) = words.next();
        if word.eq_ignore_ascii_case(wanted) {
            return Ok(());
        }
        let found =
            if word.is_empty() { "the file ends".to_owned() } else { format!("`{}` stands", shown(word)) };
        Err(fault(words, (start, word), format!("{found} where `{wanted}` is expected")))
    };
    loop {
        let (start, word) = words.next();
        if word.is_empty() {
            return Ok(());
        }
        if !word.eq_ignore_ascii_case("solid") {
            let message = format!("`{}` stands where `solid` is expected", shown(word));
            return Err(fault(&words, (start, word), message).into());
        }
        words.end_line();
        loop {
            let (start, word) = words.next();
            if word.eq_ignore_ascii_case("endsolid") {
                words.end_line();
                break;
            }
            if !word.eq_ignore_ascii_case("facet") {
                let found = if word.is_empty() {
                    "the file ends".to_owned()
                } else {
                    format!("`{}` stands", shown(word))
                };
                let message = format!("{found} where `facet` or `endsolid` is expected");
                return Err(fault(&words, (start, word), message).into());
            }
            expect(&mut words, "normal")?;
            for _ in 0..3 {
                // not used, and some programs write `nan` for slivers
                let (start, word) = words.next();
                if word.parse::<f64>().is_err() {
                    let message = format!("`{}` is no number of a normal", shown(word));
                    return Err(fault(&words, (start, word), message).into());
                }
            }
            expect(&mut words, "outer")?;
            expect(&mut words, "loop")?;
            let mut corners = [[0.0; 3]; 3];
            let mut last = (start, word);
            for corner in &mut corners {
                expect(&mut words, "vertex")?;
                for v in corner {
                    last = words.next();
                    *v = last.1.parse::<f64>().map_err(|_| {
                        fault(&words, last, format!("`{}` is no number of a vertex", shown(last.1)))
                    })?;
                }
            }
            mesh.push(corners).map_err(|e| {
                let mut d = e.diagnostic("the facet").help("check the mesh and its unit");
                d.place = fault(&words, last, String::new()).place;
                d
            })?;
            expect(&mut words, "endloop")?;
            expect(&mut words, "endfacet")?;
        }
    }
}

/// A word cut to what fits into a message.
fn shown(word: &str) -> String {
    word.chars().take(30).collect()
}
