//! What an element takes from those round it, and what it adds.

use super::style::{self, property};
use super::transform::{self, Affine};
use super::{Inherited, Reader};
use crate::diagnostic::Diagnostic;
use crate::geom::grid;
use crate::outline::xml::tag;
use roxmltree::Node;
use std::ops::Range;

/// Groups in groups, and uses of uses: real drawings stay below some twenty, and
/// each level takes stack.
const DEEPEST: usize = 200;

impl<'a> Reader<'a> {
    /// What holds inside an element: its transform and properties. `None` when
    /// it is not drawn, or after a fault.
    pub(super) fn enter(&mut self, node: Node<'a, 'a>, outer: Inherited) -> Option<Inherited> {
        let mut inner = Inherited { depth: outer.depth + 1, ..outer };
        if inner.depth > DEEPEST {
            let tag = tag(node);
            self.unreadable(format!("groups are nested more than {DEEPEST} deep"), tag, "");
            return None;
        }
        if property(node, "display").as_deref() == Some("none") {
            return None;
        }
        match property(node, "visibility").as_deref() {
            Some("hidden" | "collapse") => inner.visible = false,
            Some("visible") => inner.visible = true,
            _ => {}
        }
        match property(node, "fill-rule").as_deref() {
            Some("evenodd") => inner.even_odd = true,
            Some("nonzero") => inner.even_odd = false,
            _ => {}
        }
        match property(node, "fill").as_deref() {
            Some("none" | "transparent") => inner.filled = false,
            Some("inherit") | None => {}
            Some(_) => inner.filled = true,
        }
        match property(node, "stroke").as_deref() {
            Some("none" | "transparent") => inner.stroked = false,
            Some("inherit") | None => {}
            Some(_) => inner.stroked = true,
        }
        for name in ["clip-path", "mask"] {
            if property(node, name).is_some_and(|v| v != "none") {
                self.pass(format!("`{name}`"), node);
            }
        }
        for name in style::unread(node) {
            self.pass(format!("`{name}` in `style`"), node);
        }
        if let Some(text) = node.attribute("transform") {
            match transform::read(text) {
                Ok(t) => inner.to_mm = inner.to_mm.of(self.about_origin(node, t, outer.viewport)?),
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
            self.group_places.push(self.value_span(node, "data-z-mm"));
            inner.group = Some(self.groups.len() - 1);
        }
        Some(inner)
    }

    /// A transform about the point that `transform-origin` names, which is the origin where it
    /// names none (W3C CSS Transforms 1, 6). `None` after a fault.
    fn about_origin(&mut self, node: Node<'a, 'a>, t: Affine, viewport: [f64; 2]) -> Option<Affine> {
        if t == Affine::shift(t.e, t.f) {
            // goes the same way about every point
            return Some(t);
        }
        let place = |reader: &Self, name: &str| {
            let styled = style::style(node, name).is_some();
            reader.value_span(node, if styled { "style" } else { name })
        };
        let of_box = property(node, "transform-box");
        if let Some(of) = of_box.filter(|b| b != "view-box") {
            let d = Diagnostic::error(
                "element-unreadable",
                format!("`transform-box` is `{of}`: transforms are read about a place of the drawing, `view-box`, only"),
            )
            .at(&self.source, place(self, "transform-box"), "")
            .help("apply the transform in the drawing program, so that the coordinates carry it");
            self.fault(d);
            return None;
        }
        let Some(text) = property(node, "transform-origin") else { return Some(t) };
        // by CSS a number without a unit counts in an attribute, in `style` it does not
        let bare = style::style(node, "transform-origin").is_none();
        let Some(o) = transform::origin(&text, viewport, bare) else {
            let d = Diagnostic::error(
                "element-unreadable",
                format!("`transform-origin` cannot be read: `{text}`"),
            )
            .at(&self.source, place(self, "transform-origin"), "")
            .help("write two lengths with their units, percentages or words such as `center` and `top`");
            self.fault(d);
            return None;
        };
        Some(Affine::shift(o.x, o.y).of(t).of(Affine::shift(-o.x, -o.y)))
    }

    /// Narrows an attribute's span to where a fault lies, with its description.
    pub(super) fn located(
        &self,
        value: Range<usize>,
        text: &str,
        e: &svgtypes::Error,
    ) -> (Range<usize>, String) {
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
}

/// `LO-HI`, heights in mm, 0 <= LO < HI.
pub(super) fn z_range(text: &str) -> Option<(f64, f64)> {
    let (lo, hi) = text.split_once('-')?;
    let (lo, hi): (f64, f64) = (lo.trim().parse().ok()?, hi.trim().parse().ok()?);
    (lo >= 0.0 && hi > lo && hi <= grid::LIMIT_MM).then_some((lo, hi))
}
