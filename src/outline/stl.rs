//! STL files, binary and ASCII, as meshes.
//!
//! A file is binary when its size is what its facet count says, 84 + 50 n bytes,
//! whatever its header begins with: many binary files begin with `solid`.
//! Normals and attributes are passed over: the vertices' order tells the side.

use super::mesh::Mesh;
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, Source};
use std::borrow::Cow;
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
    let mut mesh = Mesh::new(unit_mm);
    match (whole, text(bytes)) {
        (Some(size), _) if size == bytes.len() => binary(&mut mesh, name, bytes)?,
        (_, Some(text)) => ascii(&mut mesh, name, &text)?,
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

/// The file as text, if it is one: it begins with `solid`, and has no byte of zero as binary files
/// have in their number of facets. A name may be in any encoding.
fn text(bytes: &[u8]) -> Option<Cow<'_, str>> {
    let start = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes).trim_ascii_start();
    let solid = start.get(..5).is_some_and(|w| w.eq_ignore_ascii_case(b"solid"));
    (solid && !bytes.contains(&0)).then(|| String::from_utf8_lossy(bytes))
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
    let fault = |words: &Words<'_>, (start, word): (usize, &str), message: String| -> Faults {
        let source = Arc::new(Source { name: name.to_owned(), text: words.text.to_owned() });
        Diagnostic::error("mesh-unreadable", message).at(&source, start..start + word.len(), "").into()
    };
    let expect = |words: &mut Words<'_>, wanted: &str| -> Outcome<()> {
        let (start, word) = words.next();
        if word.eq_ignore_ascii_case(wanted) {
            return Ok(());
        }
        Err(fault(words, (start, word), format!("{} where `{wanted}` is expected", found(word))))
    };
    loop {
        let (start, word) = words.next();
        if word.is_empty() {
            return Ok(());
        }
        if !word.eq_ignore_ascii_case("solid") {
            let message = format!("{} where `solid` is expected", found(word));
            return Err(fault(&words, (start, word), message));
        }
        words.end_line();
        loop {
            let (start, word) = words.next();
            if word.eq_ignore_ascii_case("endsolid") {
                words.end_line();
                break;
            }
            if !word.eq_ignore_ascii_case("facet") {
                let message = format!("{} where `facet` or `endsolid` is expected", found(word));
                return Err(fault(&words, (start, word), message));
            }
            expect(&mut words, "normal")?;
            for _ in 0..3 {
                // not used, and some programs write `nan` or `-nan(ind)` for slivers
                let (start, word) = words.next();
                if word.is_empty() || word.eq_ignore_ascii_case("outer") {
                    let message = format!("{} where a number of a normal is expected", found(word));
                    return Err(fault(&words, (start, word), message));
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
                d.place = fault(&words, last, String::new()).0.remove(0).place;
                d
            })?;
            expect(&mut words, "endloop")?;
            expect(&mut words, "endfacet")?;
        }
    }
}

/// What stands where something else is expected.
fn found(word: &str) -> String {
    if word.is_empty() { "the file ends".to_owned() } else { format!("`{}` stands", shown(word)) }
}

/// A word cut to what fits into a message.
fn shown(word: &str) -> String {
    word.chars().take(30).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::{codes, notes_of, place, read_text, read_with};
    use super::*;
    use proptest::prelude::*;
    use std::fmt::Write as _;

    /// A wedge: 20 by 10 at the bottom, 4 high, its top edge at x = 0.
    const WEDGE: [[[f32; 3]; 3]; 8] = {
        const A: [f32; 3] = [0.0, 0.0, 0.0];
        const B: [f32; 3] = [20.0, 0.0, 0.0];
        const C: [f32; 3] = [20.0, 10.0, 0.0];
        const D: [f32; 3] = [0.0, 10.0, 0.0];
        const E: [f32; 3] = [0.0, 0.0, 4.0];
        const F: [f32; 3] = [0.0, 10.0, 4.0];
        [[A, C, B], [A, D, C], [A, B, E], [C, D, F], [B, C, F], [B, F, E], [A, E, F], [A, F, D]]
    };

    fn binary_file(header: &str, facets: &[[[f32; 3]; 3]]) -> Vec<u8> {
        let mut out = header.as_bytes().to_vec();
        out.resize(80, b' ');
        out.extend(u32::try_from(facets.len()).unwrap().to_le_bytes());
        for f in facets {
            out.extend([0; 12]);
            f.iter().flatten().for_each(|v| out.extend(v.to_le_bytes()));
            out.extend([0; 2]);
        }
        out
    }

    fn ascii_file(facets: &[[[f32; 3]; 3]]) -> String {
        let mut out = "solid wedge of oak\n".to_owned();
        for f in facets {
            out += "  facet normal 0 0 0\n    outer loop\n";
            for v in f {
                let _ = writeln!(out, "      vertex {} {} {:e}", v[0], v[1], v[2]);
            }
            out += "    endloop\n  endfacet\n";
        }
        out + "endsolid wedge of oak\n"
    }

    fn areas(bytes: &[u8]) -> Vec<f64> {
        let (o, _) = read_text("a.stl", bytes, None, 1.0).unwrap();
        o.layers.iter().map(|l| l.outline.area()).collect()
    }

    #[test]
    fn the_middle_of_each_layer_is_cut() {
        let got = areas(&binary_file("wedge", &WEDGE));
        for (a, e) in got.iter().zip([175.0, 125.0, 75.0, 25.0]) {
            assert!((a - e).abs() < 1e-4, "{got:?}");
        }
        assert_eq!(got.len(), 4);
    }

    #[test]
    fn ascii_and_binary_give_the_same_layers() {
        let binary = read_text("a.stl", &binary_file("x", &WEDGE), None, 0.2).unwrap().0.layers;
        for text in [
            ascii_file(&WEDGE),
            ascii_file(&WEDGE).replace('\n', "\r\n").to_uppercase(),
            format!("\u{feff}\n{}", ascii_file(&WEDGE)),
        ] {
            assert_eq!(read_text("a.stl", text.as_bytes(), None, 0.2).unwrap().0.layers, binary);
        }
        // two solids are one part
        let two = ascii_file(&WEDGE[..3]) + &ascii_file(&WEDGE[3..]);
        assert_eq!(read_text("a.STL", two.as_bytes(), None, 0.2).unwrap().0.layers, binary);
    }

    #[test]
    fn size_decides_what_a_header_with_solid_is() {
        let plain = areas(&binary_file("made by hand", &WEDGE));
        assert_eq!(areas(&binary_file("solid wedge", &WEDGE)), plain);
        let mut longer = binary_file("made by hand", &WEDGE);
        longer.extend([7; 9]);
        assert_eq!(areas(&longer), plain);
        assert!(notes_of("a.stl", &longer).iter().any(|d| d.message.starts_with("9 bytes")));
    }

    #[test]
    fn the_lowest_point_stands_on_the_bed_and_units_count() {
        let raised: Vec<_> = WEDGE.iter().map(|f| f.map(|v| [v[0], v[1], v[2] - 7.5])).collect();
        assert_eq!(areas(&binary_file("x", &raised)).len(), 4);
        let mesh = read(&mut Notes::default(), "a.stl", &binary_file("x", &WEDGE), 25.4).unwrap();
        assert_eq!(mesh.heights(), Some((0.0, 4.0 * 25.4)));
    }

    #[test]
    fn faults_tell_line_or_facet() {
        let good = ascii_file(&WEDGE);
        for (from, to, line, words) in [
            ("vertex 20 0 0e0", "vertex 20 O 0e0", 6, "`O` is no number of a vertex"),
            ("vertex 20 0 0e0", "vertex 20 0", 7, "`endloop` is no number"),
            ("vertex 20 0 0e0", "vertex 20 nan 0e0", 6, "not a number"),
            ("vertex 20 0 0e0", "vertex 20 1e99 0e0", 6, "at most 1e5 mm"),
            ("outer loop", "outer lop", 3, "`lop` stands where `loop`"),
            ("    endloop\n  endfacet", "  endfacet", 7, "`endfacet` stands where `endloop`"),
            ("normal 0 0 0", "normal 0 0", 3, "`outer` stands where a number of a normal is expected"),
            ("  facet normal", "  face normal", 2, "`face` stands where `facet` or `endsolid`"),
            ("endsolid wedge of oak\n", "", 58, "the file ends where `facet` or `endsolid`"),
            ("endsolid wedge of oak\n", "endsolid\nsold", 59, "`sold` stands where `solid`"),
        ] {
            let text = good.replacen(from, to, 1);
            assert_ne!(text, good);
            let got = read_text("a.stl", text.as_bytes(), None, 1.0);
            let d = &got.as_ref().unwrap_err().0[0];
            assert!(d.message.contains(words), "{d}");
            assert_eq!(place(d).0, line, "{d}");
        }
        let cut = binary_file("x", &WEDGE);
        let mut nan = cut.clone();
        nan[84 + 50 * 2 + 12..84 + 50 * 2 + 16].copy_from_slice(&f32::NAN.to_le_bytes());
        let mut huge = cut.clone();
        huge[84 + 12..84 + 16].copy_from_slice(&1e30_f32.to_le_bytes());
        let mut many = cut.clone();
        many[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
        for (bytes, code, words) in [
            (cut[..300].to_vec(), "mesh-unreadable", "its 8 facets need 484 bytes, it has 300"),
            (nan, "mesh-unreadable", "facet 3 has a corner at x NaN"),
            (huge, "outline-too-large", "facet 1"),
            (many, "mesh-unreadable", "4294967295 facets need"),
            (binary_file("x", &[]), "mesh-unreadable", "no facets"),
            (b"solid nothing\nendsolid nothing".to_vec(), "mesh-unreadable", "no facets"),
            (Vec::new(), "mesh-unreadable", "0 bytes are no STL file"),
            (b"hello".to_vec(), "mesh-unreadable", "5 bytes are no STL file"),
            (binary_file("x", &WEDGE[..2]), "outline-empty", "flat"),
            (binary_file("x", &WEDGE[..6]), "mesh-open", "does not close"),
        ] {
            let got = read_text("a.stl", &bytes, None, 1.0);
            assert_eq!(codes(&got), [code], "{words}");
            assert!(got.as_ref().unwrap_err().0[0].message.contains(words), "{got:?}");
        }
        let got = read_text("a.stl", &binary_file("x", &WEDGE), None, 1e-5);
        assert_eq!(codes(&got), ["outline-too-large"]);
    }

    #[test]
    fn names_and_normals_are_not_looked_at() {
        let plain = areas(ascii_file(&WEDGE).as_bytes());
        let file = ascii_file(&WEDGE).replacen("normal 0 0 0", "normal -nan(ind) 1.#QNAN inf", 3);
        assert_eq!(areas(file.as_bytes()), plain);
        // a name in Latin-1, which is no UTF-8
        let mut latin1 = b"solid Pr\xfcfk\xf6rper\n".to_vec();
        latin1.extend(&ascii_file(&WEDGE).as_bytes()["solid wedge of oak\n".len()..]);
        assert_eq!(areas(&latin1), plain);
        // a fault behind it is told in its line all the same
        let spoilt: Vec<u8> = latin1.into_iter().chain(*b"sold").collect();
        let got = read_text("a.stl", &spoilt, None, 1.0);
        assert_eq!(place(&got.unwrap_err().0[0]), (59, "sold".to_owned()));
        // a binary file that is cut off is none with such a name
        let cut = read_text("a.stl", &binary_file("solid wedge", &WEDGE)[..300], None, 1.0);
        assert!(cut.unwrap_err().0[0].message.contains("cut off"));
    }

    #[test]
    fn a_thickness_in_the_job_is_told_to_be_unused() {
        let mut notes = Notes::default();
        read_with(&mut notes, "a.stl", &binary_file("x", &WEDGE), Some(3.0), 1.0).unwrap();
        assert_eq!(notes.warnings[0].code, "thickness-unused");
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

        #[test]
        fn no_bytes_panic(cut in 0..600usize, at in 0..484usize, value: u8) {
            let mut bytes = binary_file("x", &WEDGE);
            bytes[at] = value;
            bytes.truncate(cut);
            let _ = read_text("a.stl", &bytes, None, 1.0);
            let mut text = ascii_file(&WEDGE).into_bytes();
            text[at * 2] = value;
            let _ = read_text("a.stl", &text, None, 1.0);
        }
    }
}
