//! Reads a job and every file that it names, except the outline.

mod keys;

pub(crate) use keys::JOB;

use super::builtin::{self, BuiltIn};
use super::document::{self, Reader, Values};
use super::material::{self, Bond, Matrix, Tow};
use super::named::unknown;
use super::printer::{self, Printer};
use super::{BeadPlan, CoursePlan, Fill, Job, Map, OutlineFile, map, series};
use crate::diagnostic::nearest::listed;
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, Place, Source};
use crate::files::{self, Input};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Reads a job. Relative paths start at the folder of the file that names them.
///
/// Errors, all that can be found at once: `input-missing` and `input-unreadable`
/// for the job itself; `file-missing` and the like for files that it names;
/// `unknown-name`; every fault of the formats; and what does not go together:
/// `polymer-mismatch`, `temperature-limit`, `layer-too-thin`, `bead-section`.
pub fn read(notes: &mut Notes, path: &Path) -> Outcome<Job> {
    let bytes = first(path)?;
    let mut inputs = vec![Input::of("job", file_name(path), &bytes)];
    let source = document::text(&path.display().to_string(), bytes)?;
    let (values, reader) = Reader::read(&source, &JOB);
    let mut job = Resolver {
        folder: path.parent().map(Path::to_owned).unwrap_or_default(),
        source: &source,
        inputs: &mut inputs,
        reader,
        elsewhere: Vec::new(),
    };
    let build = values.table("build");
    let printer = build.and_then(|b| {
        // a built-in machine is known to be invented
        let own = b.text("printer").is_some_and(|typed| builtin::find(builtin::PRINTERS, typed).is_none());
        job.named(b, "printer", builtin::PRINTERS, |source| {
            Ok((printer::read(source)?, printer::not_measured(source).filter(|_| own)))
        })
    });
    let matrix = build.and_then(|b| job.named(b, "matrix", builtin::MATRICES, material::read_matrix));
    let tow = build.and_then(|b| job.named(b, "tow", builtin::TOWS, material::read_tow));
    let map = values.table("reinforcement").and_then(|r| job.map(notes, r, tow.as_ref()));
    let outline = values.table("part").and_then(|p| job.outline(notes, p));
    if let Some(machined) = values.table("machined") {
        job.machined(notes, machined);
    }
    if let Some(cost) = values.table("cost")
        && let Some(d) = series::long_day(cost)
    {
        job.reader.fault(d, cost.place("shift_h"), "");
    }
    let (mut printer, unmeasured) = printer.unzip();
    notes.warnings.extend(unmeasured.flatten());
    notes.warnings.extend(printer.iter().flat_map(Printer::doubts));
    if let Some(build) = build {
        job.together(notes, &values, build, printer.as_mut(), matrix.as_ref(), tow.as_ref());
    }
    // the job's own faults first: the others may follow from them
    let Resolver { reader, elsewhere, .. } = job;
    let mut faults = reader.into_faults();
    faults.extend(elsewhere);
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    let parts = (printer.zip(matrix)).zip(tow.zip(outline));
    let job = parts.and_then(|((p, m), (t, o))| resolve(&values, p, m, t, o, map, inputs));
    Ok(job.expect("every required key was checked to be there"))
}

/// Where a key of a table stands in a job's text; `None` where it is left out.
pub(crate) fn place_of(job: &Job, table: &str, key: &str) -> Option<Place> {
    let source = &job.outline.place.source;
    let (document, _) = toml::de::DeTable::parse_recoverable(&source.text);
    let span = document.get_ref().get(table)?.get_ref().as_table()?.get(key)?.span();
    Some(Place { source: Arc::clone(source), span, label: String::new() })
}

/// The job and every file that it names, as far as it can be read: what to watch
/// while somebody works on them.
pub fn named_files(path: &Path) -> Vec<PathBuf> {
    let mut named = vec![path.to_owned()];
    let folder = path.parent().map(Path::to_owned).unwrap_or_default();
    let Ok(text) = files::read(path).map(|bytes| String::from_utf8_lossy(&bytes).into_owned()) else {
        return named;
    };
    let Ok(table) = toml::from_str::<toml::Table>(&text) else { return named };
    let word = |at: &str, key: &str| Some(table.get(at)?.get(key)?.as_str()?.to_owned());
    let files = [word("part", "outline"), word("reinforcement", "map")];
    let profiles = ["printer", "matrix", "tow"].map(|k| word("build", k).filter(|typed| is_path(typed)));
    let fields = word("reinforcement", "map").map_or_else(Vec::new, |map| fields_of(&folder.join(map)));
    named.extend(files.into_iter().chain(profiles).flatten().map(|typed| folder.join(typed)));
    named.extend(fields);
    named
}

/// The direction fields that a map names, as far as it can be read.
fn fields_of(map: &Path) -> Vec<PathBuf> {
    let text = files::read(map).map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default();
    let Ok(table) = toml::from_str::<toml::Table>(&text) else { return Vec::new() };
    let folder = map.parent().map(Path::to_owned).unwrap_or_default();
    let regions = table.get("region").and_then(|r| r.as_array()).into_iter().flatten();
    let mut fields: Vec<PathBuf> =
        regions.filter_map(|r| Some(folder.join(r.get("field")?.as_str()?))).collect();
    fields.sort();
    fields.dedup();
    fields
}

fn resolve(
    values: &Values,
    printer: Printer,
    matrix: Matrix,
    tow: Tow,
    outline: OutlineFile,
    map: Option<Map>,
    inputs: Vec<Input>,
) -> Option<Job> {
    let build = values.table("build")?;
    let beads = values.table("matrix")?;
    Some(Job {
        name: values.table("part")?.text("name")?.to_owned(),
        outline,
        layer_height_mm: build.number("layer_height_mm")?,
        copies: build.count("copies")?,
        printer,
        matrix,
        tow,
        beads: BeadPlan {
            perimeters: beads.count("perimeters")?,
            bead_width_mm: beads.number("bead_width_mm")?,
            fill: match beads.text("fill")? {
                "contour" => Fill::Contour,
                "none" => Fill::None,
                _ => Fill::Parallel,
            },
            fill_angles_deg: beads.numbers("fill_angles_deg")?.to_vec(),
            fill_fraction: beads.number("fill_fraction")?,
        },
        courses: CoursePlan {
            deviation_mm: build.number("course_deviation_mm")?,
            end_stagger_mm: build.number("end_stagger_mm")?,
        },
        map,
        series: series::of(values),
        lots: ["matrix", "tow"].map(|k| values.table("lots")?.text(k).map(str::to_owned)),
        inputs,
    })
}

/// Reads a file that the command line names: that it is missing is no fault of
/// a job.
///
/// Errors: `input-missing`, `input-unreadable`.
pub fn first(path: &Path) -> Outcome<Vec<u8>> {
    files::read(path).map_err(of_the_command)
}

/// Opens such a file to be read as a stream.
///
/// Errors: `input-missing`, `input-unreadable`.
pub fn first_opened(path: &Path) -> Outcome<std::fs::File> {
    files::open(path).map_err(of_the_command)
}

fn of_the_command(faults: Faults) -> Faults {
    let recoded = faults.0.into_iter().map(|mut d| {
        d.code = if d.code == "file-missing" { "input-missing" } else { "input-unreadable" };
        d
    });
    Faults(recoded.collect())
}

/// A printer or material file that the command line names, as text.
///
/// Errors: as [`first`], and `not-utf8`.
pub fn first_text(path: &Path) -> Outcome<Arc<Source>> {
    document::text(&path.display().to_string(), first(path)?)
}

/// The text of a built-in file, named so in messages.
pub fn built_in_text(built_in: &BuiltIn) -> Arc<Source> {
    Arc::new(Source { name: format!("built-in {}", built_in.name), text: built_in.text.to_owned() })
}

/// File name without folders.
fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}

/// What is known while a job's references are followed.
struct Resolver<'a> {
    folder: PathBuf,
    source: &'a Arc<Source>,
    inputs: &'a mut Vec<Input>,
    reader: Reader<'a>,
    /// Faults inside files that the job names.
    elsewhere: Vec<Diagnostic>,
}

impl Resolver<'_> {
    /// A built-in file by its name, or a file by its path.
    fn named<T>(
        &mut self,
        build: &Values,
        key: &'static str,
        list: &'static [BuiltIn],
        read: impl Fn(&Arc<Source>) -> Outcome<T>,
    ) -> Option<T> {
        let typed = build.text(key)?;
        let source = if let Some(built_in) = builtin::find(list, typed) {
            let source = built_in_text(built_in);
            self.inputs.push(Input::of(key, source.name.clone(), built_in.text.as_bytes()));
            source
        } else if is_path(typed) {
            self.file(key, typed, build.place(key))?
        } else {
            let d = unknown(key, typed, list);
            self.reader.fault(d, build.place(key), "");
            return None;
        };
        match read(&source) {
            Ok(value) => Some(value),
            Err(faults) => {
                let names = builtin::names(list);
                let help = format!("built in: {}; or a path to a profile of your own", listed(&names));
                self.of_another(faults, build.place(key), &help);
                None
            }
        }
    }

    /// Keeps faults of a file that the job names. That it is another file altogether is a fault
    /// of where it is named.
    fn of_another(&mut self, faults: Faults, place: Range<usize>, help: &str) {
        for d in faults.0 {
            if d.code == "file-of-another-kind" {
                self.reader.fault(d.help(help), place.clone(), "named here");
            } else {
                self.elsewhere.push(d);
            }
        }
    }

    /// A text file that the job names.
    fn file(&mut self, role: &'static str, typed: &str, place: Range<usize>) -> Option<Arc<Source>> {
        let path = self.folder.join(typed);
        let bytes = match files::read(&path) {
            Ok(bytes) => bytes,
            Err(faults) => {
                for d in faults.0 {
                    self.reader.fault(d, place.clone(), "named here");
                }
                return None;
            }
        };
        self.inputs.push(Input::of(role, file_name(&path), &bytes));
        match document::text(&path.display().to_string(), bytes) {
            Ok(source) => Some(source),
            Err(faults) => {
                self.elsewhere.extend(faults.0);
                None
            }
        }
    }

    fn map(&mut self, notes: &mut Notes, reinforcement: &Values, tow: Option<&Tow>) -> Option<Map> {
        let typed = reinforcement.text("map")?;
        let source = self.file("map", typed, reinforcement.place("map"))?;
        match map::read(notes, &source, tow) {
            Ok(mut map) => {
                let folder = self.folder.join(typed).parent().map(Path::to_owned).unwrap_or_default();
                for region in &mut map.regions {
                    region.field = self.field(notes, &folder, region);
                }
                Some(map)
            }
            Err(faults) => {
                let help = "a map holds `[[region]]` tables: `towpath schema map` tells its keys";
                self.of_another(faults, reinforcement.place("map"), help);
                None
            }
        }
    }

    /// The direction field of a steered region, relative to the map's folder.
    fn field(&mut self, notes: &mut Notes, folder: &Path, region: &map::Region) -> Option<Arc<super::Field>> {
        let (typed, span) = region.written.field.as_ref()?;
        if region.rule != super::Rule::Steered {
            return None;
        }
        let path = folder.join(typed);
        let read = files::read(&path).map_err(|faults| {
            let named = |d: Diagnostic| d.at(&region.written.source, span.clone(), "named here");
            Faults(faults.0.into_iter().map(named).collect())
        });
        let field = read.and_then(|bytes| {
            self.inputs.push(Input::of("field", file_name(&path), &bytes));
            document::text(&path.display().to_string(), bytes)
        });
        match field.and_then(|source| super::field::read(notes, &source)) {
            Ok(field) => Some(Arc::new(field)),
            Err(faults) => {
                self.elsewhere.extend(faults.0);
                None
            }
        }
    }

    fn outline(&mut self, notes: &mut Notes, part: &Values) -> Option<OutlineFile> {
        let typed = part.text("outline")?;
        let path = self.folder.join(typed);
        if let Err(faults) = files::check(&path) {
            for mut d in faults.0 {
                if extension(typed).is_empty() {
                    // without an ending, any file of the name is as likely: an outline it is not
                    d.help.retain(|h| !h.starts_with("did you mean"));
                    let there = files::with_ending(&path, OUTLINES);
                    let like = there.map(|name| format!("did you mean `{name}`?"));
                    d =
                        d.help(like.unwrap_or_else(|| {
                            format!("an outline's name ends in .{}", OUTLINES.join(", ."))
                        }));
                }
                self.reader.fault(d, part.place("outline"), "named here");
            }
        }
        let unit = part.text("unit");
        if let (Some(unit), Some(span)) = (unit, part.typed("unit"))
            && matches!(extension(typed).as_str(), "svg" | "3mf" | "cli")
        {
            let message = format!("`unit` is {unit}, but `{typed}` carries a unit of its own, which holds");
            notes.push(Diagnostic::warning("key-unused", message).at(self.source, span, ""));
        }
        Some(OutlineFile {
            path,
            typed: typed.to_owned(),
            thickness_mm: part.number("thickness_mm"),
            unit_mm: unit.map(|unit| match unit {
                "cm" => 10.0,
                "m" => 1000.0,
                "in" => 25.4,
                _ => 1.0,
            }),
            place: self.at(part, "outline", "named here"),
            thickness_place: self.at(part, "thickness_mm", ""),
        })
    }

    /// Where a key of a table was typed, or else the table.
    fn at(&self, table: &Values, key: &str, label: &str) -> Place {
        Place { source: Arc::clone(self.source), span: table.place(key), label: label.to_owned() }
    }

    fn machined(&mut self, notes: &mut Notes, machined: &Values) {
        for (key, holds) in series::unused(machined) {
            let message = format!("`machined.{key}` has no effect: `machined.{holds}` holds");
            let place = machined.place(key);
            notes.push(Diagnostic::warning("key-unused", message).at(self.source, place, ""));
        }
    }

    /// What does not go together.
    fn together(
        &mut self,
        notes: &mut Notes,
        values: &Values,
        build: &Values,
        printer: Option<&mut Printer>,
        matrix: Option<&Matrix>,
        tow: Option<&Tow>,
    ) {
        if let (Some(matrix), Some(tow)) = (matrix, tow) {
            self.polymers(notes, build, matrix, tow);
        }
        if let Some(printer) = printer {
            self.temperatures(notes, build, printer, matrix, tow);
        }
        let height = build.number("layer_height_mm");
        let layered = values.table("part").and_then(|p| p.text("outline")).is_some_and(may_bring_layers);
        let reinforced = values.table("reinforcement").is_some_and(|r| r.typed("map").is_some());
        if let (Some(height), Some(tow), false, true) = (height, tow, layered, reinforced)
            && let Some(d) = layer_fit(tow, height)
        {
            let d = d.at(self.source, build.place("layer_height_mm"), "");
            if d.severity == crate::diagnostic::Severity::Error {
                self.reader.faults.push(d);
            } else {
                notes.push(d);
            }
        }
        if let (Some(height), Some(beads)) = (height, values.table("matrix"))
            && let Some(width) = beads.number("bead_width_mm")
            && width < height
            && !layered
        {
            let message = format!("a bead of {width} mm is narrower than the layer is high, {height} mm");
            let d = Diagnostic::error("bead-section", message).help(
                "a bead lies flat: make `bead_width_mm` at least `layer_height_mm`, or the layers lower",
            );
            let place = beads.typed("bead_width_mm").unwrap_or_else(|| build.place("layer_height_mm"));
            self.reader.fault(d, place, "");
        }
    }

    fn polymers(&mut self, notes: &mut Notes, build: &Values, matrix: &Matrix, tow: &Tow) {
        let message = format!(
            "the tow `{}` is impregnated with {}, the matrix `{}` is {}",
            tow.name, tow.polymer, matrix.name, matrix.polymer
        );
        match material::bond(&tow.polymer, &matrix.polymer) {
            Bond::Same => {}
            Bond::Welds => {
                let d = Diagnostic::warning(
                    "polymer-mismatch",
                    format!("{message}: they weld, but are not the same"),
                )
                .at(self.source, build.place("tow"), "");
                notes.push(d);
            }
            Bond::None => {
                let fitting: Vec<String> = built_in_tows()
                    .filter(|t| material::bond(&t.polymer, &matrix.polymer) == Bond::Same)
                    .map(|t| format!("`{}`", t.name))
                    .collect();
                let d = Diagnostic::error("polymer-mismatch", format!("{message}: they do not weld"));
                let d = if fitting.is_empty() {
                    d.help("choose a tow and a matrix of the same polymer")
                } else {
                    d.help(format!("with this matrix: {}", fitting.join(", ")))
                };
                self.reader.fault(d, build.place("tow"), "");
            }
        }
    }

    fn temperatures(
        &mut self,
        notes: &mut Notes,
        build: &Values,
        printer: &mut Printer,
        matrix: Option<&Matrix>,
        tow: Option<&Tow>,
    ) {
        printer.suit(matrix, tow);
        let heads = [
            ("matrix", matrix.map(|m| (&m.name, m.process_temperature_c)), printer.matrix.max_temperature_c),
            ("tow", tow.map(|t| (&t.name, t.process_temperature_c)), printer.fibre.max_temperature_c),
        ];
        for (key, material, most) in heads {
            if let Some((name, wanted)) = material
                && wanted > most
            {
                let head = if key == "tow" { "fibre" } else { "matrix" };
                let message = format!(
                    "`{name}` is laid at {wanted} degC, the {head} head of `{}` gets at most {most} degC hot",
                    printer.name
                );
                let d = Diagnostic::error("temperature-limit", message)
                    .help("choose a printer with a hotter head, or another material");
                self.reader.fault(d, build.place(key), "");
            }
        }
        let Some(matrix) = matrix else { return };
        for (what, wanted, most) in [
            ("bed", matrix.bed_temperature_c, printer.max_bed_temperature_c),
            ("chamber", matrix.chamber_temperature_c, printer.max_chamber_temperature_c),
        ] {
            if wanted > most {
                let gets = if most > 0.0 {
                    format!("gets it to {most} degC")
                } else {
                    format!("has no heated {what}")
                };
                let message = format!(
                    "`{}` wants a {what} of {wanted} degC, `{}` {gets}: the part may warp or come off",
                    matrix.name, printer.name
                );
                notes.push(Diagnostic::warning("temperature-limit", message).at(
                    self.source,
                    build.place("matrix"),
                    "",
                ));
            }
        }
    }
}

/// Endings of the outlines that are read.
const OUTLINES: &[&str] = &["svg", "dxf", "3mf", "stl", "cli"];

/// Whether a word in `[build]` is a path rather than a built-in's name.
pub(super) fn is_path(typed: &str) -> bool {
    typed.contains(['/', '\\']) || extension(typed) == "toml"
}

fn extension(typed: &str) -> String {
    Path::new(typed).extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default()
}

/// An outline of this kind may come layered, or not: its heights are known once it is read.
pub(crate) fn may_bring_layers(typed: &str) -> bool {
    matches!(extension(typed).as_str(), "3mf" | "cli")
}

/// The built-in tows, read.
fn built_in_tows() -> impl Iterator<Item = Tow> {
    builtin::TOWS.iter().filter_map(|b| material::read_tow(&built_in_text(b)).ok())
}

/// Whether a layer of a height takes a tow: nothing, a warning or an error, both
/// without a place.
///
/// A course has the whole layer height over its width. Where that is less than
/// the tow's own section, tow would be pressed out sideways: `layer-too-thin`, an
/// error. Where only the tow's height is more, it is laid flatter than stated.
pub fn layer_fit(tow: &Tow, height_mm: f64) -> Option<Diagnostic> {
    // a height typed with three decimals is not finer than this, mm
    const EXACT_MM: f64 = 1e-6;
    let least = tow.area_mm2 / tow.width_mm;
    if height_mm + EXACT_MM < least {
        // up: a height typed as told is enough
        let least = (least * 1000.0 - 1e-6).ceil() / 1000.0;
        let message = format!(
            "a layer of {height_mm:.3} mm is too thin for the tow `{}`: its section of {} mm2, spread over its width of {} mm, is {least:.3} mm high",
            tow.name, tow.area_mm2, tow.width_mm
        );
        return Some(Diagnostic::error("layer-too-thin", message).help(format!(
            "from {least:.3} mm on the tow's section fits, pressed flat; from {} mm on, the height that its profile states, it is laid as stated; or take a thinner tow",
            tow.height_mm
        )));
    }
    if height_mm + EXACT_MM < tow.height_mm {
        let message = format!(
            "a layer of {height_mm:.3} mm is thinner than the height that the tow `{}` states, {} mm: its section fits, pressed flatter than stated",
            tow.name, tow.height_mm
        );
        return Some(
            Diagnostic::warning("layer-too-thin", message)
                .help(format!("layers of {} mm or more take it as stated", tow.height_mm)),
        );
    }
    None
}
