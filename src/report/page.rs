//! The page: one file with the figures, the pictures and the viewer.

use super::Work;
use super::canvas::Canvas;
use super::pack::{self, STEP_MM, base64};
use super::sheet::{self, Detail, View};
use super::svg::{self, Colours};
use crate::diagnostic::{Diagnostic, counted};
use crate::estimate::Estimate;
use crate::fibre::RegionCover;
use crate::gcode::clock;
use crate::geom::Point;
use crate::job::{Job, Rule};
use crate::reinforcement::LeftOut;
use minijinja::{AutoEscape, Environment};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;

const TEMPLATE: &str = include_str!("page/page.html");
const STYLE: &str = include_str!("page/page.css");

/// The page's program: one scope, each file after those that it uses.
const SCRIPTS: &[&str] = &[
    include_str!("page/unpack.js"),
    include_str!("page/view.js"),
    include_str!("page/colour.js"),
    include_str!("page/field.js"),
    include_str!("page/draw.js"),
    include_str!("page/pick.js"),
    include_str!("page/stack.js"),
    include_str!("page/tables.js"),
    include_str!("page/bench.js"),
];

/// Follows a job that is watched.
const FOLLOW: &str = include_str!("page/follow.js");

/// Everything that the page tells.
#[derive(Debug)]
pub struct Told<'a> {
    /// The job as it was resolved.
    pub job: &'a Job,
    /// What the stages made.
    pub work: &'a Work,
    /// Figures of the whole program.
    pub estimate: &'a Estimate,
    /// How well each region is served over all its layers.
    pub cover: &'a [RegionCover],
    /// Tow that is not laid.
    pub left_out: &'a [LeftOut],
    /// What the run warned about.
    pub warnings: &'a [Diagnostic],
    /// The page loads itself again, to follow a job that is planned after every
    /// change. Nothing else can tell a file that it was written anew.
    pub follow: bool,
}

/// The page as text. The same job gives the same bytes.
pub fn page(told: &Told<'_>) -> String {
    let p = &told.job.printer;
    // homing, and what bed and chamber take beyond it
    let start_s = p.times.start_s + p.start_wait_s(p.bed_temperature_c, p.chamber_temperature_c);
    let (blocks, layers) = pack::pack(told.work, start_s);
    let mut scripts = SCRIPTS.to_vec();
    scripts.extend(told.follow.then_some(FOLLOW));
    let script = format!("\"use strict\";(() => {{\n{}\n}})();\n", scripts.join("\n"));
    let first = first_layer(told.work);
    let mut context = facts(told, &layers);
    let mut seen = viewer(told, &layers, first);
    if told.follow {
        // tells one plan from the next
        let text = format!("{seen}{}", blocks.texts.join(" "));
        seen["plan"] = Value::String(digest(&text));
    }
    context["viewer"] = Value::String(in_script(&seen.to_string()));
    context["style"] = Value::String(STYLE.to_owned());
    context["script"] = Value::String(script.clone());
    context["policy"] = Value::String(format!(
        "default-src 'none'; script-src 'sha256-{}'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        digest(&script),
        digest(STYLE)
    ));
    let text = render(&context);
    // data go behind the script: the first picture does not wait for the last layer
    let needed = layers.get(first).map(|l| l.blocks.to_vec()).unwrap_or_default();
    let (mut early, mut late) = (String::new(), String::new());
    for (i, data) in blocks.texts.iter().enumerate() {
        let into = if needed.contains(&i) { &mut early } else { &mut late };
        into.push_str(&format!("<script type=\"text/plain\" id=\"block-{i}\">{data}</script>\n"));
    }
    text.replacen(EARLY, &early, 1).replacen(LATE, &late, 1)
}

/// Where data stand in the template; no text of a user can hold these words,
/// because `<` is escaped.
const EARLY: &str = "<!--early data-->";
const LATE: &str = "<!--late data-->";

fn digest(text: &str) -> String {
    base64(&Sha256::digest(text.as_bytes()))
}

/// JSON that may stand inside a `script` element.
fn in_script(json: &str) -> String {
    json.replace('<', "\\u003c").replace('>', "\\u003e").replace('&', "\\u0026")
}

fn render(context: &Value) -> String {
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    match environment.render_str(TEMPLATE, minijinja::value::Serde(context)) {
        Ok(text) => text,
        Err(e) => panic!("the page's template is broken: {e:#}"),
    }
}

/// The layer to open with: the first with the most courses.
fn first_layer(work: &Work) -> usize {
    let courses = |i: usize| work.program.courses.get(i).map_or(0, Vec::len);
    (0..work.outline.layers.len()).max_by_key(|&i| (courses(i), std::cmp::Reverse(i))).unwrap_or(0)
}

/// A region as the tables and the viewer name it.
struct Region {
    name: String,
    rule: Rule,
    least_radius_mm: f64,
}

/// Regions by their place in order of priority.
fn regions(told: &Told<'_>) -> Vec<Region> {
    let Some(map) = &told.job.map else { return Vec::new() };
    let mut order: Vec<usize> = (0..map.regions.len()).collect();
    order.sort_by_key(|&i| (std::cmp::Reverse(map.regions[i].priority), i));
    let region = |&i: &usize| {
        let r = &map.regions[i];
        Region { name: r.name.clone(), rule: r.rule, least_radius_mm: r.min_bend_radius_mm }
    };
    order.iter().map(region).collect()
}

/// What the viewer needs beside the blocks.
fn viewer(told: &Told<'_>, layers: &[pack::Packed], first: usize) -> Value {
    let Told { job, work, .. } = told;
    let origin = work.program.placements.first().copied().unwrap_or_default();
    let regions = regions(told);
    let rows: Vec<Value> = work
        .outline
        .layers
        .iter()
        .zip(layers)
        .enumerate()
        .map(|(i, (l, p))| {
            let angles: BTreeMap<String, f64> = work
                .angles_deg
                .get(i)
                .into_iter()
                .flatten()
                .filter(|(rank, _)| regions.get(*rank).is_some_and(|r| r.rule == Rule::Unidirectional))
                .map(|(rank, a)| (rank.to_string(), *a))
                .collect();
            json!([
                l.number,
                micro(l.z_bottom_mm),
                micro(l.height_mm),
                p.blocks,
                milli(p.time_s[0]),
                milli(p.time_s[1]),
                angles
            ])
        })
        .collect();
    let feedstock =
        std::f64::consts::FRAC_PI_4 * job.printer.feedstock_diameter_mm * job.printer.feedstock_diameter_mm;
    let marks: Vec<Value> = told
        .left_out
        .iter()
        .filter_map(|l| l.mark().map(|at| json!([l.layer, milli(at[0]), milli(at[1])])))
        .collect();
    let bounds = sheet::part_bounds(work).map(|b| [b.lo.x, b.lo.y, b.hi.x, b.hi.y].map(milli));
    json!({
        "name": job.name,
        "stem": job.file_stem(),
        "first": first,
        "step": STEP_MM,
        "bounds": bounds,
        "copies": work.program.placements.iter().map(|p| [milli(p.x - origin.x), milli(p.y - origin.y)]).collect::<Vec<_>>(),
        "tow": {
            "width": job.tow.width_mm, "area": job.tow.area_mm2, "fibre": job.tow.fibre_area_mm2,
            "radius": job.tow.min_bend_radius_mm,
        },
        "speed": {
            "course": job.course_speed_mm_s(), "bead": job.printer.matrix.speed_mm_s,
            // mm3/s that the head or the melt can do
            "flow": (job.printer.matrix.max_feed_mm_s * feedstock).min(job.matrix.max_flow_mm3_s),
        },
        "regions": regions.iter().map(|r| json!([r.name, r.rule.word(), r.least_radius_mm])).collect::<Vec<_>>(),
        "layers": rows,
        "marks": marks,
    })
}

/// Rounded for the page: 0.001.
fn milli(v: f64) -> f64 {
    (v * 1e3).round() / 1e3 + 0.0
}

/// Rounded for the page: 1e-6.
fn micro(v: f64) -> f64 {
    (v * 1e6).round() / 1e6 + 0.0
}

/// What the template shows.
fn facts(told: &Told<'_>, layers: &[pack::Packed]) -> Value {
    let Told { job, work, estimate: e, .. } = told;
    let t = &e.time_s;
    json!({
        "name": job.name,
        "version": env!("CARGO_PKG_VERSION"),
        "parts": if job.copies == 1 { "1 part".to_owned() } else { format!("{} parts", job.copies) },
        "summary": summary(told),
        "table": layer_rows(told, layers),
        "time": time_rows(told),
        "total": clock(t.total),
        "regions": region_rows(told),
        "shortest_mm": format!("{:.0}", job.printer.shortest_course_mm()),
        "left_out": left_out_rows(told),
        "left_out_total": format!("{:.2}", told.left_out.iter().map(|l| l.length_mm).sum::<f64>() / 1000.0),
        "left_out_places": told.left_out.iter().filter(|l| l.is_missing()).count(),
        "left_out_waiting": told.left_out.iter().filter(|l| !l.is_missing()).count(),
        "warnings": warning_rows(told.warnings),
        "inputs": job.inputs.iter().map(|i| json!({"role": i.role, "file": i.file, "sha256": i.sha256})).collect::<Vec<_>>(),
        "layers": work.outline.layers.len(),
        "pictures": pictures(told, layers),
        "plan_file": format!("{}.plan.json", job.file_stem()),
        "trails": work.program.courses.iter().flatten().any(|l| l.course.trail.is_some()),
        "follow": told.follow,
        "heads": [job.matrix.process_temperature_c, job.tow.process_temperature_c],
        "bed": job.matrix.bed_temperature_c,
    })
}

fn row(name: &str, value: String, unit: &str) -> Value {
    json!({ "name": name, "value": value, "unit": unit })
}

fn summary(told: &Told<'_>) -> Vec<Value> {
    let Told { job, work, estimate: e, .. } = told;
    let percent = |v: f64| format!("{:.1}", v * 100.0);
    let [x, y, z] = work.outline.size_mm();
    let mut rows = vec![
        row("build time, all parts", clock(e.time_s.total), "h:mm:ss"),
        row("layers", work.outline.layers.len().to_string(), ""),
        row("width × depth × height", format!("{x:.1} × {y:.1} × {z:.2}"), "mm"),
        row("fibre length", format!("{:.2}", e.fibre_length_mm / 1000.0), "m"),
        row("courses, each cut once", e.courses.to_string(), ""),
        row("cuts saved by turns and spirals", e.cuts_saved.unwrap_or(0).to_string(), ""),
        row("head changes", e.head_changes.to_string(), ""),
        row("matrix laid", format!("{:.2}", e.matrix_volume_mm3 / 1000.0), "cm³"),
        row("matrix purged", format!("{:.2}", e.purge_volume_mm3 / 1000.0), "cm³"),
        row("matrix mass", format!("{:.2}", e.matrix_mass_g), "g"),
        row("tow mass", format!("{:.2}", e.tow_mass_g), "g"),
        row("mass of one part", format!("{:.2}", e.part_mass_g), "g"),
        row("fibre by volume, pores left out", percent(e.fibre_volume_fraction), "%"),
        row("fibre where tow lies, as printed", percent(e.strip_fibre_volume_fraction), "%"),
        row("fibre where tow lies, pressed", percent(e.local_fibre_volume_fraction), "%"),
        row("left open on purpose", percent(e.open_fraction), "%"),
        row("porosity as printed", percent(e.printed_porosity), "%"),
        row("height left where pressing closes it all", format!("{:.2}", e.pressed_thickness_mm), "mm"),
    ];
    rows.push(row("printer", job.printer.name.clone(), ""));
    rows.push(row("tow", job.tow.name.clone(), ""));
    rows.push(row(
        "tow, width and least bend radius",
        format!("{} / {}", job.tow.width_mm, job.tow.min_bend_radius_mm),
        "mm",
    ));
    rows.push(row("matrix", job.matrix.name.clone(), ""));
    let lots = ["matrix lot", "tow lot"].into_iter().zip(&job.lots);
    rows.extend(lots.filter_map(|(what, lot)| lot.clone().map(|lot| row(what, lot, ""))));
    rows
}

fn layer_rows(told: &Told<'_>, layers: &[pack::Packed]) -> Vec<Value> {
    let mut left: BTreeMap<usize, f64> = BTreeMap::new();
    for l in told.left_out {
        *left.entry(l.layer).or_default() += l.length_mm;
    }
    let work = told.work;
    work.outline
        .layers
        .iter()
        .zip(layers)
        .enumerate()
        .map(|(i, (l, p))| {
            let laid = work.program.courses.get(i).map_or(&[][..], Vec::as_slice);
            // an empty sum is -0, which would be written so
            let tow = laid.iter().map(|c| c.course.length_mm()).sum::<f64>() + 0.0;
            let areas = work.beads.get(i).map(|b| b.areas).unwrap_or_default();
            let bend = laid.iter().map(|c| c.course.path().min_radius()).fold(f64::INFINITY, f64::min);
            json!([
                l.number.to_string(),
                format!("{:.3}", l.z_bottom_mm),
                format!("{:.3}", l.height_mm),
                laid.len().to_string(),
                format!("{:.3}", tow / 1000.0),
                if bend.is_finite() { format!("{bend:.2}") } else { String::new() },
                work.beads.get(i).map_or(0, |b| b.beads.len()).to_string(),
                format!("{:.2}", areas.outline),
                format!("{:.2}", areas.tow + 0.0),
                format!("{:.2}", areas.matrix),
                format!("{:.2}", areas.open),
                format!("{:.2}", areas.unfilled),
                format!("{:.1}", p.time_s[1] - p.time_s[0]),
                left.get(&l.number).map(|mm| format!("{mm:.0}")).unwrap_or_default(),
            ])
        })
        .collect()
}

/// The split of time, with each part's place in a bar of 1000 units.
fn time_rows(told: &Told<'_>) -> Vec<Value> {
    let t = &told.estimate.time_s;
    let total = t.total.max(1e-9);
    let mut from = 0.0;
    [
        ("laying tow", t.fibre),
        ("laying matrix", t.matrix),
        ("travel", t.travel),
        ("head changes", t.head_change),
        ("heating", t.heating),
        ("cutting", t.cutting),
        ("start, purge, end", t.other),
    ]
    .iter()
    .zip('a'..)
    .map(|((name, s), letter)| {
        let width = 1000.0 * s / total;
        let row = json!({
            "letter": letter.to_string(), "name": name, "time": clock(*s), "share": format!("{:.1}", width / 10.0),
            "from": format!("{from:.1}"), "width": format!("{width:.1}"),
            "middle": format!("{:.1}", from + 0.5 * width), "room": width > 25.0,
        });
        from += width;
        row
    })
    .collect()
}

fn region_rows(told: &Told<'_>) -> Vec<Value> {
    let whole: f64 = told.work.program.courses.iter().flatten().map(|l| l.course.length_mm()).sum();
    regions(told)
        .iter()
        .enumerate()
        .map(|(rank, r)| {
            let laid = || told.work.program.courses.iter().flatten().filter(|l| l.course.rank == rank);
            let length = laid().map(|l| l.course.length_mm()).sum::<f64>() + 0.0;
            let layers =
                told.work.program.courses.iter().filter(|c| c.iter().any(|l| l.course.rank == rank)).count();
            let left =
                told.left_out.iter().filter(|l| l.region == r.name).map(|l| l.length_mm).sum::<f64>() + 0.0;
            let cover = told.cover.iter().find(|c| c.region == r.name);
            let closed =
                cover.filter(|c| r.rule.closes() || c.closed > 0).map(|c| match (c.closed, c.spirals) {
                    (closed, 0) => closed.to_string(),
                    (0, wound) => counted(wound, "spiral"),
                    (closed, wound) => format!("{closed} + {}", counted(wound, "spiral")),
                });
            let bend = cover.and_then(|c| c.least_radius_mm).map(|mm| format!("{mm:.1}"));
            json!([
                r.name,
                r.rule.word(),
                layers.to_string(),
                laid().count().to_string(),
                closed.unwrap_or_default(),
                format!("{:.1}", cover.map_or(0.0, RegionCover::covered_percent)),
                bend.unwrap_or_default(),
                format!("{:.2}", length / 1000.0),
                format!("{:.1}", if whole > 0.0 { 100.0 * length / whole } else { 0.0 }),
                format!("{:.2}", left / 1000.0),
            ])
        })
        .collect()
}

/// Most rows of the same table on paper and where scripts are off: a page.
const MOST_PRINTED: usize = 40;

/// Most rows of the table of what is left out.
const MOST_LEFT_OUT: usize = 1000;

/// What is left out, the longest first; the same at the same place in layer upon layer is one row.
fn left_out_rows(told: &Told<'_>) -> Value {
    type Key = (String, String, Option<[i64; 2]>);
    let mut rows: Vec<(Key, Vec<&LeftOut>)> = Vec::new();
    let mut open: BTreeMap<Key, usize> = BTreeMap::new();
    let mut all: Vec<&LeftOut> = told.left_out.iter().collect();
    all.sort_by_key(|l| l.layer);
    for l in all {
        #[expect(clippy::cast_possible_truncation, reason = "a cast saturates; parts are metres at most")]
        let place = l.at_mm.map(|at| at.map(|v| (v * 100.0).round() as i64));
        let key = (l.region.clone(), l.reason.to_string(), place);
        let known =
            open.get(&key).copied().filter(|&i| rows[i].1.last().is_some_and(|b| l.layer <= b.layer + 1));
        match known {
            Some(i) => rows[i].1.push(l),
            None => {
                open.insert(key.clone(), rows.len());
                rows.push((key, vec![l]));
            }
        }
    }
    let more = rows.len().saturating_sub(MOST_LEFT_OUT);
    let mut rows: Vec<(f64, Key, Vec<&LeftOut>)> = rows
        .into_iter()
        .map(|(key, places)| (places.iter().map(|l| l.length_mm).sum(), key, places))
        .collect();
    // of equals the lowest stays first
    rows.sort_by(|a, b| b.0.total_cmp(&a.0));
    let rows: Vec<Value> = rows
        .iter()
        .take(MOST_LEFT_OUT)
        .map(|(length, key, places)| {
            let (first, last) = (places[0].layer, places[places.len() - 1].layer);
            let layers = if first == last { first.to_string() } else { format!("{first}–{last}") };
            let (at, link) = match places[0].at_mm {
                Some([x, y]) => (format!("{x:.1}, {y:.1}"), format!("#layer={first}&at={x:.2},{y:.2}")),
                None => (String::new(), format!("#layer={first}")),
            };
            json!({"region": key.0, "reason": key.1, "layers": layers, "first": first,
                   "length": format!("{length:.0}"), "at": at, "link": link})
        })
        .collect();
    let unprinted = rows.len().saturating_sub(MOST_PRINTED) + more;
    json!({ "rows": rows, "more": more, "unprinted": unprinted, "most_printed": MOST_PRINTED })
}

fn warning_rows(warnings: &[Diagnostic]) -> Vec<Value> {
    warnings
        .iter()
        .map(|d| {
            let part = d.in_part.as_ref();
            let link = part.map(|p| match p.at_mm {
                Some([x, y]) => format!("#layer={}&at={x:.2},{y:.2}", p.layer),
                None => format!("#layer={}", p.layer),
            });
            let file = d.place.as_ref().map(|p| {
                let name = p.source.name.rsplit(['/', '\\']).next().unwrap_or_default();
                let (line, column) = p.line_column();
                format!("{name}:{line}:{column}")
            });
            json!({"code": d.code, "message": d.message, "help": d.help, "link": link,
                   "layer": part.map(|p| p.layer), "file": file})
        })
        .collect()
}

/// Most small pictures: what prints on two sheets.
const MOST_PICTURES: usize = 12;

/// Small pictures of layers that differ, spread over the height.
fn pictures(told: &Told<'_>, layers: &[pack::Packed]) -> Value {
    let Told { job, work, left_out, .. } = told;
    let Some(bounds) = sheet::part_bounds(work) else { return json!({"list": [], "kinds": 0}) };
    // alike: the same outline, the same courses
    let mut kinds: Vec<([usize; 2], Vec<usize>)> = Vec::new();
    let mut place: BTreeMap<[usize; 2], usize> = BTreeMap::new();
    for (i, l) in layers.iter().enumerate() {
        let key = [l.blocks[0], l.blocks[2]];
        let at = *place.entry(key).or_insert(kinds.len());
        if at == kinds.len() {
            kinds.push((key, Vec::new()));
        }
        kinds[at].1.push(i);
    }
    let n = kinds.len();
    let shown: Vec<usize> = if n <= MOST_PICTURES {
        (0..n).collect()
    } else {
        (0..MOST_PICTURES).map(|k| k * (n - 1) / (MOST_PICTURES - 1)).collect()
    };
    let (w, h) = (bounds.size().x.max(1e-3), bounds.size().y.max(1e-3));
    // 60 mm wide or 45 mm high
    let scale = (60.0 / w).min(45.0 / h);
    let size = [w * scale + 2.0, h * scale + 2.0];
    let list: Vec<Value> = shown
        .iter()
        .map(|&k| {
            let index = kinds[k].1[0];
            let number = work.outline.layers[index].number;
            let title = format!("layer {number}: outline and courses");
            let mut canvas = Canvas { size_mm: size, title, items: Vec::new() };
            let view =
                View { centre: bounds.centre(), on_sheet: Point::new(0.5 * size[0], 0.5 * size[1]), scale };
            sheet::draw(&mut canvas, job, work, left_out, index, view, Detail::Small);
            let like: Vec<usize> = kinds[k].1[1..].iter().map(|&i| work.outline.layers[i].number).collect();
            json!({"number": number, "svg": svg::svg(&canvas, Colours::Page), "like": spans(&like)})
        })
        .collect();
    json!({ "list": list, "kinds": n })
}

/// Numbers in order, runs of them as `3–7`.
fn spans(numbers: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == n => *last = n,
            _ => runs.push((n, n)),
        }
    }
    let words = runs.iter().map(|(a, b)| match b - a {
        0 => a.to_string(),
        1 => format!("{a}, {b}"),
        _ => format!("{a}–{b}"),
    });
    words.collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_of_layers_are_short() {
        assert_eq!(spans(&[1, 2, 3, 5, 6, 9]), "1–3, 5, 6, 9");
        assert_eq!(spans(&[]), "");
    }

    #[test]
    fn data_cannot_end_their_element() {
        assert!(!in_script("{\"name\":\"</script><b>&\"}").contains(['<', '>', '&']));
    }
}
