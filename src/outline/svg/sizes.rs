//! Lengths, the page and view boxes.

use super::transform::Affine;
use super::{Reader, page};
use crate::diagnostic::Diagnostic;
use crate::outline::xml::tag;
use roxmltree::Node;
use std::ops::Range;
use std::str::FromStr as _;
use svgtypes::{Align, AspectRatio, Length, LengthUnit, ViewBox};

impl<'a> Reader<'a> {
    /// The map from the page's px, y down from its upper left corner, to mm, y up
    /// from its lower left corner; and the page's size in px.
    pub(super) fn page(&mut self, svg: Node<'a, 'a>) -> Option<(Affine, [f64; 2])> {
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
                let tag = tag(svg);
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
            let tag = tag(svg);
            self.unreadable(
                format!("the page is {w} mm wide and {h} mm high, both must be positive"),
                tag,
                "",
            );
            return None;
        }
        let unit_of =
            |name: &str| svg.attribute(name).and_then(|t| Length::from_str(t.trim()).ok()).map(|l| l.unit);
        let bare =
            |unit: Option<LengthUnit>| matches!(unit, None | Some(LengthUnit::None | LengthUnit::Percent));
        if bare(unit_of("width")) && bare(unit_of("height")) {
            let tag = tag(svg);
            let d = Diagnostic::warning(
                "drawing-without-unit",
                format!("the page's size has no unit, so lengths are px, 96 to the inch: the page is {w:.1} x {h:.1} mm"),
            )
            .at(&self.source, tag, "")
            .help("a drawing meant in mm says so, for example width=\"110mm\" height=\"34mm\" viewBox=\"0 0 110 34\"");
            self.warnings.push(d);
        }
        self.page_height_mm = Some(h);
        let map = Affine::new(page::PX_MM, 0.0, 0.0, -page::PX_MM, 0.0, h);
        Some((map, [w / page::PX_MM, h / page::PX_MM]))
    }

    /// A side of the page, mm; `None` where it is left to the view box.
    pub(super) fn page_side(&mut self, svg: Node<'a, 'a>, name: &str) -> Option<f64> {
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

    pub(super) fn value_span(&self, node: Node<'_, '_>, name: &str) -> Range<usize> {
        node.attribute_node(name).map_or_else(|| tag(node), |a| a.range_value())
    }

    pub(super) fn length_of(&mut self, node: Node<'a, 'a>, name: &str) -> Option<Length> {
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
    pub(super) fn length(&mut self, node: Node<'a, 'a>, name: &str, whole: f64, default: f64) -> Option<f64> {
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

    pub(super) fn view_box(&mut self, node: Node<'a, 'a>) -> Option<ViewBox> {
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
    pub(super) fn view(&mut self, node: Node<'a, 'a>, size: [f64; 2]) -> Option<(Affine, [f64; 2])> {
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
}
