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
//! Not handled, and warned about: text, images, lines, clipping, masks, style
//! sheets. Dashes, markers, filters and animation are passed over.

mod flatten;
mod page;
mod shapes;
mod transform;

#[cfg(test)]
mod tests;

use super::extrude::{Drawing, ZGroup};
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, Source};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Bounds, Point, grid, pt};
use roxmltree::{Document, Node};
use shapes::Subpath;
use std::collections::BTreeMap;
use std::ops::Range;
use std::str::FromStr;
use std::sync::Arc;
use svgtypes::{Align, AspectRatio, Length, LengthUnit, ViewBox};
use transform::Affine;

const SVG: &str = "http://www.w3.org/2000/svg";
const XLINK: &str = "http://www.w3.org/1999/xlink";

/// An open path whose ends are this close is closed, mm: what drawing programs
/// lose by writing two decimals; less than any gap that is meant.
const CLOSES_WITHIN_MM: f64 = 0.01;

/// Groups in groups, and uses of uses: real drawings stay below some twenty, and
/// each level takes stack.
const DEEPEST: usize = 200;

/// Elements drawn, uses counted each time: bounds what nested uses can blow up.
const MOST_ELEMENTS: usize = 200_000;

/// Faults told of one drawing.
const MOST_FAULTS: usize = 20;

/// Smallest overlap that is told, mm2.
const OVERLAP_MM2: f64 = 1e-3;

/// Reads a drawing. `name` is what messages call it.
pub(super) fn read(notes: &mut Notes, name: &str, bytes: &[u8]) -> Outcome<Drawing> {
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
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    let doc = Document::parse_with_options(text, options).map_err(|e| super::xml_fault(&e, &source))?;
    let mut reader = Reader {
        source: Arc::clone(&source),
        ids: BTreeMap::new(),
        styled: false,
        faults: Vec::new(),
        warnings: Vec::new(),
        passed: BTreeMap::new(),
        drawn: Vec::new(),
        groups: Vec::new(),
        shapes: BTreeMap::new(),
        uses: Vec::new(),
        count: 0,
    };
    reader.root(&doc);
    reader.finish(notes)
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
    shapes: BTreeMap<String, Area>,
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

    /// The opening tag, without what it holds.
    fn tag(&self, node: Node<'_, '_>) -> Range<usize> {
        let range = node.range();
        let end = node
            .attributes()
            .next_back()
            .map_or(range.start + 1 + node.tag_name().name().len(), |a| a.range().end);
        range.start..end.min(range.end)
    }

    fn pass(&mut self, what: String, node: Node<'_, '_>) {
        let place = self.tag(node);
        self.passed.entry(what).and_modify(|e| e.0 += 1).or_insert((1, place));
    }

    fn root(&mut self, doc: &'a Document<'a>) {
        let svg = doc.root_element();
        if svg.tag_name().name() != "svg" || !drawing_namespace(svg) {
            let tag = self.tag(svg);
            let message =
                format!("the file is XML but no SVG drawing: it starts with `{}`", svg.tag_name().name());
            self.unreadable(message, tag, "expected `svg`");
            return;
        }
        for node in doc.descendants().filter(Node::is_element) {
            if node.tag_name().name() == "style" && drawing_namespace(node) {
                self.styled = true;
                let sheet = node.text().unwrap_or("");
                if ["fill-rule", "display", "visibility", "transform", "clip-path"]
                    .iter()
                    .any(|p| sheet.contains(p))
                {
                    self.pass("a style sheet that changes what is drawn".to_owned(), node);
                }
            }
            if let Some(id) = node.attribute("id") {
                self.ids.entry(id).or_insert(node);
            }
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

    /// The map from the page's px, y down from its upper left corner, to mm, y up
    /// from its lower left corner; and the page's size in px.
    fn page(&mut self, svg: Node<'a, 'a>) -> Option<(Affine, [f64; 2])> {
        let before = self.faults.len();
        let view = self.view_box(svg);
        let w = self.page_side(svg, "width");
        let h = self.page_side(svg, "height");
        if self.faults.len() > before {
            return None;
        }
        let (w, h) = match (w, h, view) {
            (Some(w), Some(h), _) => (w, h),
            (Some(w), None, Some(v)) => (w, w * v.h / v.w),
            (None, Some(h), Some(v)) => (h * v.w / v.h, h),
            (None, None, Some(v)) => (v.w * page::PX_MM, v.h * page::PX_MM),
            // only percentages need the width
            (None, Some(h), None) => (h, h),
            (_, None, None) => {
                let tag = self.tag(svg);
                let d = Diagnostic::error(
                    "drawing-without-size",
                    "the page has no height, so its lower left corner is nowhere",
                )
                .at(&self.source, tag, "neither `height` nor `viewBox`")
                .help("write the page's size, for example width=\"120mm\" height=\"40mm\" viewBox=\"0 0 120 40\"");
                self.fault(d);
                return None;
            }
        };
        if !(w > 0.0 && h > 0.0 && w.is_finite() && h.is_finite()) {
            let tag = self.tag(svg);
            self.unreadable(
                format!("the page is {w} mm wide and {h} mm high, both must be positive"),
                tag,
                "",
            );
            return None;
        }
        let map = Affine::new(page::PX_MM, 0.0, 0.0, -page::PX_MM, 0.0, h);
        Some((map, [w / page::PX_MM, h / page::PX_MM]))
    }

    /// A side of the page, mm; `None` where it is left to the view box.
    fn page_side(&mut self, svg: Node<'a, 'a>, name: &str) -> Option<f64> {
        let text = svg.attribute(name)?;
        if text.trim() == "auto" {
            return None;
        }
        let length = self.length_of(svg, name)?;
        if length.unit == LengthUnit::Percent {
            // of a window that a printer does not have
            return None;
        }
        let mm = page::absolute_mm(length);
        if mm.is_none() {
            let span = self.value_span(svg, name);
            self.unreadable(
                format!("`{text}` is not a size that can be known here"),
                span,
                "depends on a font",
            );
        }
        mm
    }

    fn value_span(&self, node: Node<'_, '_>, name: &str) -> Range<usize> {
        node.attribute_node(name).map_or_else(|| self.tag(node), |a| a.range_value())
    }

    fn length_of(&mut self, node: Node<'a, 'a>, name: &str) -> Option<Length> {
        let text = node.attribute(name)?;
        match Length::from_str(text.trim()) {
            Ok(l) if l.number.is_finite() => Some(l),
            _ => {
                let span = self.value_span(node, name);
                self.unreadable(format!("`{name}` is not a length: `{text}`"), span, "");
                None
            }
        }
    }

    /// A length in user units, `default` where the attribute is missing. `None`
    /// after a fault.
    fn length(&mut self, node: Node<'a, 'a>, name: &str, whole: f64, default: f64) -> Option<f64> {
        let Some(text) = node.attribute(name) else { return Some(default) };
        if text.trim() == "auto" {
            return Some(default);
        }
        let length = self.length_of(node, name)?;
        let user = page::user(length, whole);
        if user.is_none() {
            let span = self.value_span(node, name);
            self.unreadable(
                format!("`{text}` is not a length that can be known here"),
                span,
                "depends on a font",
            );
        }
        user
    }

    fn view_box(&mut self, node: Node<'a, 'a>) -> Option<ViewBox> {
        let text = node.attribute("viewBox")?;
        let numbers: Vec<_> = svgtypes::NumberListParser::from(text).collect();
        if let [Ok(x), Ok(y), Ok(w), Ok(h)] = numbers[..]
            && w > 0.0
            && h > 0.0
        {
            return Some(ViewBox::new(x, y, w, h));
        }
        let span = self.value_span(node, "viewBox");
        self.unreadable(format!("`viewBox` is not four numbers with a positive size: `{text}`"), span, "");
        None
    }

    /// The map that a view box makes, and the size that percentages inside are of.
    fn view(&mut self, node: Node<'a, 'a>, size: [f64; 2]) -> Option<(Affine, [f64; 2])> {
        if node.attribute("viewBox").is_none() {
            return Some((Affine::IDENTITY, size));
        }
        let view = self.view_box(node)?;
        let aspect = match node.attribute("preserveAspectRatio") {
            None => AspectRatio { defer: false, align: Align::XMidYMid, slice: false },
            Some(text) => match AspectRatio::from_str(text) {
                Ok(a) => a,
                Err(_) => {
                    let span = self.value_span(node, "preserveAspectRatio");
                    self.unreadable(format!("`preserveAspectRatio` cannot be read: `{text}`"), span, "");
                    return None;
                }
            },
        };
        Some((page::fit(view, size[0], size[1], aspect), [view.w, view.h]))
    }

    /// What holds inside an element: its transform and properties. `None` when
    /// it is not drawn, or after a fault.
    fn enter(&mut self, node: Node<'a, 'a>, outer: Inherited) -> Option<Inherited> {
        let mut inner = Inherited { depth: outer.depth + 1, ..outer };
        if inner.depth > DEEPEST {
            let tag = self.tag(node);
            self.unreadable(format!("groups are nested more than {DEEPEST} deep"), tag, "");
            return None;
        }
        if property(node, "display") == Some("none") {
            return None;
        }
        match property(node, "visibility") {
            Some("hidden" | "collapse") => inner.visible = false,
            Some("visible") => inner.visible = true,
            _ => {}
        }
        match property(node, "fill-rule") {
            Some("evenodd") => inner.even_odd = true,
            Some("nonzero") => inner.even_odd = false,
            _ => {}
        }
        match property(node, "fill") {
            Some("none" | "transparent") => inner.filled = false,
            Some("inherit") | None => {}
            Some(_) => inner.filled = true,
        }
        match property(node, "stroke") {
            Some("none" | "transparent") => inner.stroked = false,
            Some("inherit") | None => {}
            Some(_) => inner.stroked = true,
        }
        for name in ["clip-path", "mask"] {
            if property(node, name).is_some_and(|v| v != "none") {
                self.pass(format!("`{name}`"), node);
            }
        }
        if style(node, "transform").is_some() {
            self.pass("a transform in `style`".to_owned(), node);
        }
        if let Some(text) = node.attribute("transform") {
            match transform::read(text) {
                Ok(t) => inner.to_mm = inner.to_mm.of(t),
                Err(e) => {
                    let span = self.value_span(node, "transform");
                    let (span, what) = self.located(span, text, &e);
                    self.unreadable(format!("`transform` cannot be read: {what}"), span, "");
                    return None;
                }
            }
        }
        match node.attribute("data-role").map(str::trim) {
            None => {}
            Some("region") => inner.region = true,
            Some(other) => {
                let span = self.value_span(node, "data-role");
                self.unreadable(format!("`data-role` can only be `region`, it is `{other}`"), span, "");
                return None;
            }
        }
        if let Some(text) = node.attribute("data-z-mm") {
            let Some((lo, hi)) = z_range(text) else {
                let span = self.value_span(node, "data-z-mm");
                let d = Diagnostic::error(
                    "element-unreadable",
                    format!("`data-z-mm` is not a range of heights: `{text}`"),
                )
                .at(&self.source, span, "")
                .help("write two heights above the bed in mm, the lower first: data-z-mm=\"0-2.4\"");
                self.fault(d);
                return None;
            };
            let (outer_lo, outer_hi) = inner.group.map_or((lo, hi), |g| self.groups[g]);
            let (lo, hi) = (lo.max(outer_lo), hi.min(outer_hi));
            if hi <= lo {
                let span = self.value_span(node, "data-z-mm");
                self.unreadable(
                    format!(
                        "`data-z-mm` {text} lies outside {outer_lo}-{outer_hi} of the group that holds it"
                    ),
                    span,
                    "",
                );
                return None;
            }
            self.groups.push((lo, hi));
            inner.group = Some(self.groups.len() - 1);
        }
        Some(inner)
    }

    /// Narrows an attribute's span to where a fault lies, with its description.
    fn located(&self, value: Range<usize>, text: &str, e: &svgtypes::Error) -> (Range<usize>, String) {
        use svgtypes::Error as E;
        let (position, what) = match e {
            E::UnexpectedEndOfStream => (None, "it ends too early".to_owned()),
            E::UnexpectedData(p) => (Some(*p), "unexpected text".to_owned()),
            E::InvalidNumber(p) => (Some(*p), "not a number".to_owned()),
            E::InvalidChar(_, p) | E::InvalidString(_, p) => (Some(*p), "unexpected character".to_owned()),
            E::InvalidValue | E::InvalidIdent => (None, "unknown value".to_owned()),
        };
        // positions count characters from 1; they hold for the file only where
        // the value stands there without entities
        let same = self.source.text.get(value.clone()) == Some(text);
        match position {
            Some(p) if same => {
                let at = text.char_indices().nth(p.saturating_sub(1)).map_or(text.len(), |(i, _)| i);
                let word = text[at..].split_whitespace().next().unwrap_or("");
                let word: String = word.chars().take(20).collect();
                let from = value.start + at;
                (from..from + word.len(), format!("{what} at `{word}`"))
            }
            Some(p) => (value, format!("{what} at character {p}")),
            None => (value, what),
        }
    }

    /// Draws an element and all in it.
    fn element(&mut self, node: Node<'a, 'a>, outer: Inherited) {
        if !drawing_namespace(node) {
            return;
        }
        let name = node.tag_name().name();
        match name {
            "svg" | "g" | "a" | "switch" | "use" | "path" | "rect" | "circle" | "ellipse" | "polygon"
            | "polyline" => {}
            "line" | "text" | "image" | "foreignObject" => {
                if property(node, "display") != Some("none") && outer.visible {
                    self.pass(format!("`{name}`"), node);
                }
                return;
            }
            "defs" | "symbol" | "clipPath" | "mask" | "marker" | "pattern" | "linearGradient"
            | "radialGradient" | "filter" | "metadata" | "title" | "desc" | "script" | "style"
            | "animate" | "animateTransform" | "animateMotion" | "set" | "view" | "cursor" | "font"
            | "font-face" | "color-profile" | "hatch" | "solidcolor" | "meshgradient" => return,
            _ => {
                self.pass(format!("`{name}`"), node);
                return;
            }
        }
        self.count += 1;
        if self.count > MOST_ELEMENTS {
            if self.count == MOST_ELEMENTS + 1 {
                let tag = self.tag(node);
                let d = Diagnostic::error(
                    "outline-too-large",
                    format!("the drawing has more than {MOST_ELEMENTS} elements, uses counted each time"),
                )
                .at(&self.source, tag, "the first beyond");
                self.faults.push(d);
            }
            return;
        }
        let Some(inner) = self.enter(node, outer) else { return };
        let first = self.drawn.len();
        match name {
            "g" | "a" => {
                for child in node.children().filter(Node::is_element) {
                    self.element(child, inner);
                }
            }
            "switch" => {
                // the first that asks for nothing special
                let child = node.children().filter(Node::is_element).find(|c| {
                    !c.has_attribute("requiredExtensions") && c.tag_name().name() != "foreignObject"
                });
                if let Some(child) = child {
                    self.element(child, inner);
                }
            }
            "svg" => self.viewport(node, node, inner),
            "use" => self.used(node, inner),
            _ => self.shape(node, inner),
        }
        if let Some(id) = node.attribute("id")
            && self.drawn.len() > first
            && !self.shapes.contains_key(id)
        {
            let area = joined(&self.drawn[first..]);
            self.shapes.insert(id.to_owned(), area);
        }
    }

    /// A nested `svg`, or a `symbol` drawn by a `use`, which then gives the size.
    fn viewport(&mut self, node: Node<'a, 'a>, sized_by: Node<'a, 'a>, inner: Inherited) {
        let [vw, vh] = inner.viewport;
        let own = node.tag_name().name() == "svg";
        // a use places itself; a nested svg has a corner of its own
        let (x, y) = if own {
            match (self.length(node, "x", vw, 0.0), self.length(node, "y", vh, 0.0)) {
                (Some(x), Some(y)) => (x, y),
                _ => return,
            }
        } else {
            (0.0, 0.0)
        };
        let side = |reader: &mut Self, name: &str, whole: f64| {
            let from = if sized_by.has_attribute(name) { sized_by } else { node };
            reader.length(from, name, whole, whole)
        };
        let (Some(w), Some(h)) = (side(self, "width", vw), side(self, "height", vh)) else { return };
        if w <= 0.0 || h <= 0.0 {
            // by the standard nothing is drawn
            self.pass(format!("`{}` without size", node.tag_name().name()), node);
            return;
        }
        let Some((fit, viewport)) = self.view(node, [w, h]) else { return };
        let inside = Inherited { to_mm: inner.to_mm.of(Affine::shift(x, y)).of(fit), viewport, ..inner };
        for child in node.children().filter(Node::is_element) {
            self.element(child, inside);
        }
    }

    fn used(&mut self, node: Node<'a, 'a>, inner: Inherited) {
        let tag = self.tag(node);
        let Some(href) = node.attribute("href").or_else(|| node.attribute((XLINK, "href"))) else {
            self.unreadable("`use` names nothing".to_owned(), tag, "no `href`");
            return;
        };
        let Some(target) = href.trim().strip_prefix('#').and_then(|id| self.ids.get(id)).copied() else {
            self.unreadable(format!("there is no element `{href}` in this drawing"), tag, "used here");
            return;
        };
        if self.uses.contains(&target.id()) || node.ancestors().any(|a| a == target) {
            self.unreadable(format!("`{href}` draws itself"), tag, "used here");
            return;
        }
        let [vw, vh] = inner.viewport;
        let (Some(x), Some(y)) = (self.length(node, "x", vw, 0.0), self.length(node, "y", vh, 0.0)) else {
            return;
        };
        let inside = Inherited { to_mm: inner.to_mm.of(Affine::shift(x, y)), ..inner };
        self.uses.push(target.id());
        match target.tag_name().name() {
            "symbol" | "svg" => {
                if let Some(inside) = self.enter(target, inside) {
                    self.viewport(target, node, inside);
                }
            }
            _ => self.element(target, inside),
        }
        self.uses.pop();
    }

    fn shape(&mut self, node: Node<'a, 'a>, inner: Inherited) {
        let subpaths = self.subpaths(node, inner);
        let tag = self.tag(node);
        if !inner.visible {
            return;
        }
        if !inner.filled && !inner.stroked && !inner.region && !self.styled {
            self.pass("an element that is neither filled nor stroked".to_owned(), node);
            return;
        }
        let mut rings: Vec<Vec<Point>> = Vec::new();
        let total = subpaths.len();
        for (k, sub) in subpaths.into_iter().enumerate() {
            let Subpath { points: mut ring, closed } = sub;
            if let Some(p) = ring.iter().find(|p| !p.is_finite() || p.x.abs().max(p.y.abs()) > grid::LIMIT_MM)
            {
                let d = Diagnostic::error(
                    "outline-too-large",
                    format!(
                        "a point lies at x {:.4e} mm, y {:.4e} mm; at most {:e} mm are read",
                        p.x,
                        p.y,
                        grid::LIMIT_MM
                    ),
                )
                .at(&self.source, tag.clone(), "in this element")
                .help("check the drawing's units, `viewBox` and transforms");
                self.fault(d);
                return;
            }
            let (Some(a), Some(b)) = (ring.first().copied(), ring.last().copied()) else { continue };
            let gap = a.dist(b);
            if !closed && gap > CLOSES_WITHIN_MM {
                let which = if total > 1 {
                    format!("subpath {} of {total} of the `{}`", k + 1, node.tag_name().name())
                } else {
                    format!("the `{}`", node.tag_name().name())
                };
                let d = Diagnostic::error(
                    "outline-open",
                    format!(
                        "{which} is open: it ends {gap:.3} mm from where it began, at most {CLOSES_WITHIN_MM} mm is closed here"
                    ),
                )
                .at(&self.source, tag.clone(), format!("ends at x {:.3} mm, y {:.3} mm", b.x, b.y))
                .help("close it in the drawing (`Z` at its end), or join it with the pieces that go on from it");
                self.fault(d);
                continue;
            }
            if gap <= CLOSES_WITHIN_MM && ring.len() > 3 {
                ring.pop();
            }
            if ring.len() > 2 {
                rings.push(ring);
            }
        }
        let rule = if inner.even_odd || !inner.filled { FillRule::EvenOdd } else { FillRule::NonZero };
        let area = combine::enclosed(rings.iter().map(Vec::as_slice), rule);
        if area.is_empty() {
            if total > 0 {
                self.pass("an element that encloses nothing".to_owned(), node);
            }
            return;
        }
        self.drawn.push(Drawn { area, group: inner.group, region: inner.region, place: tag });
    }

    fn subpaths(&mut self, node: Node<'a, 'a>, inner: Inherited) -> Vec<Subpath> {
        let [vw, vh] = inner.viewport;
        let vd = ((vw * vw + vh * vh) * 0.5).sqrt();
        let map = inner.to_mm;
        let name = node.tag_name().name();
        // every length is read, so that all faults of an element are told
        macro_rules! lengths {
            ($($attribute:literal of $whole:expr),*) => {
                ($(self.length(node, $attribute, $whole, 0.0)),*)
            };
        }
        match name {
            "rect" => {
                let (x, y, w, h) = lengths!("x" of vw, "y" of vh, "width" of vw, "height" of vh);
                let (rx, ry) = lengths!("rx" of vw, "ry" of vh);
                let given = |n: &str| node.attribute(n).is_some_and(|t| t.trim() != "auto");
                let (Some(x), Some(y), Some(w), Some(h), Some(mut rx), Some(mut ry)) = (x, y, w, h, rx, ry)
                else {
                    return Vec::new();
                };
                // one of the two stands for both
                match (given("rx"), given("ry")) {
                    (true, false) => ry = rx,
                    (false, true) => rx = ry,
                    _ => {}
                }
                if !self.positive(node, &[("width", w), ("height", h), ("rx", rx), ("ry", ry)]) {
                    return Vec::new();
                }
                vec![shapes::rect(map, x, y, w, h, rx, ry)]
            }
            "circle" => {
                let (x, y, r) = lengths!("cx" of vw, "cy" of vh, "r" of vd);
                let (Some(x), Some(y), Some(r)) = (x, y, r) else { return Vec::new() };
                if !self.positive(node, &[("r", r)]) {
                    return Vec::new();
                }
                vec![shapes::ellipse(map, pt(x, y), r, r)]
            }
            "ellipse" => {
                let (x, y, rx, ry) = lengths!("cx" of vw, "cy" of vh, "rx" of vw, "ry" of vh);
                let (Some(x), Some(y), Some(rx), Some(ry)) = (x, y, rx, ry) else { return Vec::new() };
                if !self.positive(node, &[("rx", rx), ("ry", ry)]) {
                    return Vec::new();
                }
                vec![shapes::ellipse(map, pt(x, y), rx, ry)]
            }
            "polygon" | "polyline" => {
                let text = node.attribute("points").unwrap_or("");
                match shapes::points(map, text, name == "polygon") {
                    Ok(s) => vec![s],
                    Err(e) => {
                        let value = self.value_span(node, "points");
                        let (span, what) = match e {
                            svgtypes::Error::UnexpectedEndOfStream => {
                                (value, "an x without its y".to_owned())
                            }
                            e => self.located(value, text, &e),
                        };
                        self.unreadable(format!("`points` cannot be read: {what}"), span, "");
                        Vec::new()
                    }
                }
            }
            _ => {
                let text = node.attribute("d").unwrap_or("").trim_end();
                if text.trim() == "none" {
                    return Vec::new();
                }
                match shapes::path(map, text) {
                    Ok(s) => s,
                    Err(e) => {
                        let mut value = self.value_span(node, "d");
                        value.end = value.end.min(value.start + text.len());
                        let (span, what) = self.located(value, text, &e);
                        let d = Diagnostic::error("element-unreadable", format!("the path cannot be read: {what}"))
                            .at(&self.source, span, "")
                            .help("paths start with M and use the commands M L H V C S Q T A Z with all their numbers");
                        self.fault(d);
                        Vec::new()
                    }
                }
            }
        }
    }

    /// No size is negative; one that is zero draws nothing and is told with the
    /// elements that enclose nothing.
    fn positive(&mut self, node: Node<'a, 'a>, sizes: &[(&str, f64)]) -> bool {
        for (name, v) in sizes {
            if *v < 0.0 {
                let span = self.value_span(node, name);
                self.unreadable(format!("`{name}` is negative"), span, "");
                return false;
            }
        }
        true
    }

    fn finish(mut self, notes: &mut Notes) -> Outcome<Drawing> {
        if !self.faults.is_empty() {
            return Err(Faults(self.faults));
        }
        for (what, (count, place)) in std::mem::take(&mut self.passed) {
            let times =
                if count > 1 { format!(" ({count} times; the first is shown)") } else { String::new() };
            let verb = if what.starts_with("an element") { "is no outline" } else { "is not read" };
            let d = Diagnostic::warning("element-not-read", format!("{what} {verb}{times}")).at(
                &self.source,
                place,
                "",
            );
            self.warnings.push(match what.as_str() {
                "`text`" => {
                    d.help("turn text into paths in the drawing program if it belongs to the outline")
                }
                "`line`" => d.help("a line encloses nothing; draw the outline as closed paths"),
                "`clip-path`" | "`mask`" => {
                    d.help("the element counts whole; cut it in the drawing program if only a part is meant")
                }
                _ => d,
            });
        }
        self.overlaps();
        let outside = self.drawn.iter().filter(|d| d.group.is_none() && !d.region).count();
        if !self.groups.is_empty()
            && let Some(first) = self.drawn.iter().find(|d| d.group.is_none() && !d.region)
        {
            let d = Diagnostic::warning(
                "element-not-read",
                format!("{outside} elements lie outside every group with `data-z-mm` and belong to no layer"),
            )
            .at(&self.source, first.place.clone(), "the first")
            .help("give them a `data-z-mm`, or data-role=\"region\" if they are shapes for the map");
            self.warnings.push(d);
        }
        let of_group = |g: Option<usize>| {
            let members: Vec<&Area> =
                self.drawn.iter().filter(|d| d.group == g && !d.region).map(|d| &d.area).collect();
            even_odd(&members)
        };
        let drawing = Drawing {
            plain: if self.groups.is_empty() { of_group(None) } else { Area::empty() },
            groups: self
                .groups
                .iter()
                .enumerate()
                .map(|(g, (lo, hi))| ZGroup { from_mm: *lo, to_mm: *hi, area: of_group(Some(g)) })
                .filter(|g| !g.area.is_empty())
                .collect(),
            shapes: self.shapes,
        };
        notes.warnings.append(&mut self.warnings);
        Ok(drawing)
    }

    /// Tells of elements of one group that overlap in part, and drops elements
    /// that were drawn twice (even-odd would otherwise remove both).
    fn overlaps(&mut self) {
        let boxes: Vec<Option<Bounds>> = self.drawn.iter().map(|d| d.area.bounds()).collect();
        let mut order: Vec<usize> = (0..self.drawn.len()).filter(|i| !self.drawn[*i].region).collect();
        let left = |i: usize| boxes[i].map_or(f64::INFINITY, |b| b.lo.x);
        order.sort_by(|a, b| left(*a).total_cmp(&left(*b)).then(a.cmp(b)));
        let mut twice = Vec::new();
        let mut crossing = Vec::new();
        for (k, &i) in order.iter().enumerate() {
            let Some(a) = boxes[i] else { continue };
            for &j in &order[k + 1..] {
                let Some(b) = boxes[j] else { continue };
                if b.lo.x > a.hi.x {
                    break;
                }
                if b.lo.y > a.hi.y || a.lo.y > b.hi.y || self.drawn[i].group != self.drawn[j].group {
                    continue;
                }
                let (p, q) = (&self.drawn[i].area, &self.drawn[j].area);
                let both = combine::intersection(p, q).area();
                let (alone_p, alone_q) = (p.area() - both, q.area() - both);
                if alone_p.max(alone_q) < OVERLAP_MM2 {
                    twice.push((i.min(j), i.max(j)));
                } else if both.min(alone_p).min(alone_q) > OVERLAP_MM2 {
                    crossing.push((i.min(j), i.max(j), both));
                }
            }
        }
        twice.sort_unstable();
        crossing.sort_by_key(|a| (a.0, a.1));
        if let Some((_, j)) = twice.first() {
            let d = Diagnostic::warning(
                "drawing-overlap",
                format!("{} elements are drawn twice and count once", twice.len()),
            )
            .at(&self.source, self.drawn[*j].place.clone(), "drawn before");
            self.warnings.push(d);
        }
        if let Some((_, j, both)) = crossing.first() {
            let d = Diagnostic::warning(
                "drawing-overlap",
                format!(
                    "{} pairs of elements overlap in part; where they do (here {both:.3} mm2) there is no material, as even-odd says",
                    crossing.len()
                ),
            )
            .at(&self.source, self.drawn[*j].place.clone(), "overlaps one before it")
            .help("unite them in the drawing program if both are material");
            self.warnings.push(d);
        }
        let mut gone: Vec<usize> = twice.into_iter().map(|(_, j)| j).collect();
        gone.sort_unstable();
        gone.dedup();
        for j in gone.into_iter().rev() {
            self.drawn.remove(j);
        }
    }
}

/// Elements taken together: even-odd within a group, groups united.
fn joined(drawn: &[Drawn]) -> Area {
    if let [one] = drawn {
        return one.area.clone();
    }
    let mut groups: BTreeMap<Option<usize>, Vec<&Area>> = BTreeMap::new();
    for d in drawn {
        groups.entry(d.group).or_default().push(&d.area);
    }
    let areas: Vec<Area> = groups.values().map(|g| even_odd(g)).collect();
    combine::union_all(&areas)
}

fn even_odd(areas: &[&Area]) -> Area {
    let rings: Vec<&[Point]> = areas.iter().flat_map(|a| a.rings()).collect();
    if rings.is_empty() { Area::empty() } else { combine::enclosed(rings, FillRule::EvenOdd) }
}

/// Elements of SVG's namespace, or of none in a file written by hand.
fn drawing_namespace(node: Node<'_, '_>) -> bool {
    matches!(node.tag_name().namespace(), None | Some(SVG))
}

/// A property, from `style` or, failing that, from the attribute.
fn property<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    style(node, name).or_else(|| node.attribute(name).map(str::trim))
}

fn style<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    let (_, value) = node
        .attribute("style")?
        .split(';')
        .filter_map(|p| p.split_once(':'))
        .rfind(|(n, _)| n.trim() == name)?;
    Some(value.trim().trim_end_matches("!important").trim_end())
}

/// `LO-HI`, heights in mm, 0 <= LO < HI.
fn z_range(text: &str) -> Option<(f64, f64)> {
    let (lo, hi) = text.split_once('-')?;
    let (lo, hi): (f64, f64) = (lo.trim().parse().ok()?, hi.trim().parse().ok()?);
    (lo >= 0.0 && hi > lo && hi <= grid::LIMIT_MM).then_some((lo, hi))
}
