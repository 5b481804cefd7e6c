//! The ZIP package round a 3MF model, and its relationships.

use crate::diagnostic::{Diagnostic, Faults, Outcome, Source};
use crate::outline::xml;
use std::io::{Cursor, Read as _};
use std::ops::Range;
use std::sync::Arc;
use zip::ZipArchive;

/// Most bytes of one part and of all parts that are read, unpacked. Some 3
/// million triangles; a file that unpacks to more is a fault or an attack.
const LARGEST: u64 = 256 << 20;

const MODEL: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";

/// An open package.
pub(super) struct Package<'b> {
    archive: ZipArchive<Cursor<&'b [u8]>>,
    /// What messages call the file.
    name: String,
    left: u64,
}

/// A part's text, with what messages need to point into it.
pub(super) struct Part {
    pub(super) source: Arc<Source>,
    /// Where its lines start. A package can have a fault in every element, and each is told with
    /// its line: these are counted once.
    lines: Vec<usize>,
}

impl<'b> Package<'b> {
    pub(super) fn open(name: &str, bytes: &'b [u8]) -> Outcome<Self> {
        let archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| {
            Diagnostic::error(
                "threemf-unreadable",
                "the file is no 3MF package (a zip archive), or is cut off",
            )
            .in_file(name)
            .help("export it again")
        })?;
        Ok(Self { archive, name: name.to_owned(), left: LARGEST })
    }

    fn fault(&self, message: String) -> Faults {
        Diagnostic::error("threemf-unreadable", message)
            .in_file(self.name.clone())
            .help("export it again")
            .into()
    }

    /// Reads a part by its absolute path.
    pub(super) fn part(&mut self, path: &str) -> Outcome<Part> {
        let entry = path.trim_start_matches('/');
        // part names are equal whatever the case of their letters
        let found = self
            .archive
            .file_names()
            .filter_map(|n| Some(n.ok()?.into_owned()))
            .filter(|n| n.trim_start_matches('/').eq_ignore_ascii_case(entry))
            .min();
        let Some(found) = found else {
            return Err(self.fault(format!("the package has no part `{path}`")));
        };
        let mut bytes = Vec::new();
        let read = match self.archive.by_name(&found) {
            Ok(file) => file.take(self.left + 1).read_to_end(&mut bytes).map_err(|e| e.to_string()),
            Err(e) => Err(e.to_string()),
        };
        if let Err(e) = read {
            return Err(self.fault(format!("the part `{path}` cannot be unpacked: {e}")));
        }
        let size = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        if size > self.left {
            return Err(Diagnostic::error(
                "outline-too-large",
                format!("the package unpacks to more than {} MiB", LARGEST >> 20),
            )
            .in_file(self.name.clone())
            .into());
        }
        self.left -= size;
        let text = String::from_utf8(bytes)
            .map_err(|_| self.fault(format!("the part `{path}` is not UTF-8 text")))?;
        let source = Arc::new(Source { name: format!("{}{}", self.name, absolute(path)), text });
        let lines = std::iter::once(0).chain(source.text.match_indices('\n').map(|(at, _)| at + 1));
        Ok(Part { lines: lines.collect(), source })
    }

    /// The path of the model that the package is about.
    pub(super) fn root_model(&mut self) -> Outcome<String> {
        let rels = self.part("/_rels/.rels")?;
        let doc = rels.parse()?;
        let target = doc
            .descendants()
            .filter(|n| n.tag_name().name() == "Relationship" && n.attribute("Type") == Some(MODEL))
            .find_map(|n| n.attribute("Target"));
        target.map(absolute).ok_or_else(|| self.fault("the package names no 3D model".to_owned()))
    }
}

fn absolute(path: &str) -> String {
    format!("/{}", path.trim_start_matches('/'))
}

/// Lines longer than this are not shown with a message: some programs write the
/// whole part as one line.
const SHOWN_LINE: usize = 400;

impl Part {
    pub(super) fn parse(&self) -> Outcome<roxmltree::Document<'_>> {
        let mut parsed = xml::parsed(&self.source.text, &self.source, false);
        if let Err(Faults(faults)) = &mut parsed {
            for d in faults {
                match d.place.as_ref().map(|p| p.span.start) {
                    Some(at) if self.line_length(at) > SHOWN_LINE => *d = self.far(d.clone(), at),
                    _ => {}
                }
            }
        }
        parsed
    }

    /// A fault at a place of the part.
    pub(super) fn fault(&self, code: &'static str, message: impl Into<String>, span: Range<usize>) -> Faults {
        let d = Diagnostic::error(code, message);
        if self.line_length(span.start) <= SHOWN_LINE {
            return d.at(&self.source, span, "").into();
        }
        self.far(d, span.start).into()
    }

    fn line_length(&self, at: usize) -> usize {
        let text = self.source.text.as_bytes();
        let at = at.min(text.len());
        let start = text[..at].iter().rev().take(SHOWN_LINE + 1).take_while(|b| **b != b'\n').count();
        start + text[at..].iter().take(SHOWN_LINE + 1).take_while(|b| **b != b'\n').count()
    }

    /// A fault in a line too long to be shown, the column counted in bytes.
    fn far(&self, mut d: Diagnostic, at: usize) -> Diagnostic {
        let row = self.lines.partition_point(|start| *start <= at);
        let column = at - self.lines[row - 1] + 1;
        d.place = None;
        d.message = format!("{} (line {row}, column {column})", d.message);
        d.in_file(self.source.name.clone())
    }
}
