//! SVG drawings: every closed element counts as outline, curves as chords
//! within 0.002 mm.
//!
//! What counts, and how holes arise:
//!
//! - One element encloses an area by its own fill rule; one that is only stroked
//!   (`fill="none"`) by even-odd, since its fill rule is not to be seen. Stroke
//!   widths do not matter.
//! - Across elements, even-odd decides as well: an element inside another is a
//!   hole, one inside the hole is material again. The order in the file does not
//!   matter. Elements that overlap in part, or are drawn twice, are warned about.
//! - A group (or element) with `data-z-mm="LO-HI"` is outline in the layers whose
//!   middle lies from LO up to below HI; where such groups overlap in height
//!   their outlines are united. Without any, the drawing is extruded by the job's
//!   `thickness_mm`.
//! - A group or element with `data-role="region"` is a shape for the map's
//!   `{ id = "…" }` and no outline.
//! - What is not to be seen (`display="none"`, `visibility="hidden"`, neither
//!   filled nor stroked, unreferenced definitions) is not read.
//!
//! Transforms go about their `transform-origin`.
//!
//! Not handled, and warned about: text, images, lines, clipping (by a nested
//! page, too), masks, style sheets, sizes in `style`. Dashes, markers, filters
//! and animation are passed over.

mod beyond;
mod closed;
mod elements;
pub(super) mod flatten;
mod gather;
mod inherit;
mod page;
mod shapes;
mod sizes;
mod style;
mod transform;

#[cfg(test)]
mod tests;

use super::extrude::{Drawing, Heights};
use super::xml::{self, tag};
use crate::diagnostic::{Diagnostic, Notes, Outcome, Place, Source};
use crate::geom::Area;
use beyond::Beyond;
use roxmltree::{Document, Node};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;
use transform::Affine;

const SVG: &str = "http://www.w3.org/2000/svg";

/// Faults told of one drawing.
const MOST_FAULTS: usize = 20;

/// Reads a drawing, and where it gives heights. `name` is what messages call it.
pub(super) fn read(notes: &mut Notes, name: &str, bytes: &[u8]) -> Outcome<(Drawing, Vec<Heights>)> {
    let text = match std::str::from_utf8(bytes) {
        Ok(t) => t,
        Err(e) => {
            let line = bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count() + 1;
            return Err(Diagnostic::error(
                "xml-unreadable",
                format!("the drawing is not UTF-8 text: line {line} holds other bytes"),
            )
            .in_file(name)
            .help("save it as plain SVG in UTF-8")
            .into());
        }
    };
    let source = Arc::new(Source { name: name.to_owned(), text: text.to_owned() });
    let doc = xml::parsed(text, &source, true)?;
    let mut reader = Reader {
        source: Arc::clone(&source),
        ids: BTreeMap::new(),
        styled: false,
        faults: Vec::new(),
        warnings: Vec::new(),
        passed: BTreeMap::new(),
        drawn: Vec::new(),
        groups: Vec::new(),
        group_places: Vec::new(),
        beyond: None,
        regions_again: BTreeMap::new(),
        points: 0,
        shapes: BTreeMap::new(),
        page_height_mm: None,
        uses: Vec::new(),
        count: 0,
    };
    reader.root(&doc);
    reader.tell_beyond();
    reader.tell_regions_again();
    let heights = reader.heights();
    Ok((reader.finish(notes)?, heights))
}

/// An element that was drawn.
struct Drawn {
    area: Area,
    /// Index into the groups with a height; `None` outside all of them.
    group: Option<usize>,
    region: bool,
    place: Range<usize>,
}

/// What an element takes from those round it.
#[derive(Clone, Copy)]
struct Inherited {
    to_mm: Affine,
    /// Width and height that percentages are of, user units.
    viewport: [f64; 2],
    even_odd: bool,
    filled: bool,
    stroked: bool,
    visible: bool,
    region: bool,
    group: Option<usize>,
    depth: usize,
}

struct Reader<'a> {
    source: Arc<Source>,
    ids: BTreeMap<&'a str, Node<'a, 'a>>,
    /// The file has a style sheet, so an element without a stroke may have one.
    styled: bool,
    faults: Vec<Diagnostic>,
    warnings: Vec<Diagnostic>,
    /// What is passed over: its name -> how often and where first.
    passed: BTreeMap<String, (usize, Range<usize>)>,
    drawn: Vec<Drawn>,
    groups: Vec<(f64, f64)>,
    /// Where each of these is written.
    group_places: Vec<Range<usize>>,
    /// What its viewport would clip.
    beyond: Option<Beyond>,
    /// Elements of regions that are drawn twice: from where to where each stands.
    regions_again: BTreeMap<usize, usize>,
    /// Points of all elements so far.
    points: usize,
    shapes: BTreeMap<String, Area>,
    page_height_mm: Option<f64>,
    /// The uses that are being drawn, to find circles.
    uses: Vec<roxmltree::NodeId>,
    count: usize,
}

impl<'a> Reader<'a> {
    fn fault(&mut self, d: Diagnostic) {
        if self.faults.len() < MOST_FAULTS {
            self.faults.push(d);
        }
    }

    fn unreadable(&mut self, message: String, span: Range<usize>, label: &str) {
        let d = Diagnostic::error("element-unreadable", message).at(&self.source, span, label);
        self.fault(d);
    }

    fn pass(&mut self, what: String, node: Node<'_, '_>) {
        let place = tag(node);
        self.passed.entry(what).and_modify(|e| e.0 += 1).or_insert((1, place));
    }

    /// Heights that hold something of the outline, and where they are written.
    fn heights(&self) -> Vec<Heights> {
        let drawn: BTreeSet<usize> =
            self.drawn.iter().filter(|d| !d.region).filter_map(|d| d.group).collect();
        let place = |span: &Range<usize>| Place {
            source: Arc::clone(&self.source),
            span: span.clone(),
            label: String::new(),
        };
        drawn
            .into_iter()
            .map(|g| Heights {
                from_mm: self.groups[g].0,
                to_mm: self.groups[g].1,
                place: place(&self.group_places[g]),
            })
            .collect()
    }

    fn tell_regions_again(&mut self) {
        let Some((start, end)) = self.regions_again.first_key_value() else { return };
        let message = match self.regions_again.len() {
            1 => "1 element of a shape for the map is drawn twice and counts once".to_owned(),
            n => format!("{n} elements of shapes for the map are drawn twice and count once"),
        };
        let d =
            Diagnostic::warning("drawing-overlap", message).at(&self.source, *start..*end, "drawn before");
        self.warnings.push(d);
    }

    fn root(&mut self, doc: &'a Document<'a>) {
        let svg = doc.root_element();
        if svg.tag_name().name() != "svg" || !drawing_namespace(svg) {
            let tag = tag(svg);
            let message =
                format!("the file is XML but no SVG drawing: it starts with `{}`", svg.tag_name().name());
            self.unreadable(message, tag, "expected `svg`");
            return;
        }
        // how often, and the first of them with its two elements
        let mut twice: Option<(usize, &str, [Node<'_, '_>; 2])> = None;
        for node in doc.descendants().filter(Node::is_element) {
            if node.tag_name().name() == "style" && drawing_namespace(node) {
                self.styled = true;
                let sheet: String = node.children().filter(Node::is_text).filter_map(|t| t.text()).collect();
                for name in style::shaping(&sheet) {
                    self.pass(format!("a style sheet that changes what is drawn (`{name}`)"), node);
                }
            }
            if let Some(id) = node.attribute("id") {
                if let Some(first) = self.ids.get(id)
                    && drawing_namespace(node)
                {
                    twice.get_or_insert((0, id, [*first, node])).0 += 1;
                }
                self.ids.entry(id).or_insert(node);
            }
        }
        if let Some((count, id, [first, second])) = twice {
            let line = doc.text_pos_at(first.range().start).row;
            let more = match count {
                1 => String::new(),
                n => format!("; {} more have an id that another has before them", n - 1),
            };
            let message = format!(
                "two elements have the id `{id}`: a map that names it gets the first, in line {line}{more}"
            );
            let d = Diagnostic::warning("duplicate-name", message);
            let d = d.at(&self.source, tag(second), "the second").help("give each an id of its own");
            self.warnings.push(d);
        }
        let Some((page, viewport)) = self.page(svg) else { return };
        let inherited = Inherited {
            to_mm: page,
            viewport,
            even_odd: false,
            filled: true,
            stroked: false,
            visible: true,
            region: false,
            group: None,
            depth: 0,
        };
        let Some(inherited) = self.enter(svg, inherited) else { return };
        // the view box goes inside the element's own transform
        let Some((fit, viewport)) = self.view(svg, inherited.viewport) else { return };
        let inner = Inherited { to_mm: inherited.to_mm.of(fit), viewport, ..inherited };
        for child in svg.children().filter(Node::is_element) {
            self.element(child, inner);
        }
    }
}

/// Elements of SVG's namespace, or of none in a file written by hand.
fn drawing_namespace(node: Node<'_, '_>) -> bool {
    matches!(node.tag_name().namespace(), None | Some(SVG))
}
