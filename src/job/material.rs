//! Matrix and tow materials: their format, their checks, and what they resolve to.

use super::document::{Reader, Values};
use super::table::{Key, Kind, Need, Range, TEMPERATURE, Table, Words, above_zero, between};
use crate::diagnostic::nearest::help;
use crate::diagnostic::{Diagnostic, Outcome, Source};
use std::f64::consts::PI;
use std::sync::Arc;
use toml::Spanned;
use toml::de::DeTable;

/// A thermoplastic matrix.
#[derive(Clone, Debug, PartialEq)]
pub struct Matrix {
    /// Name, as in `material list`.
    pub name: String,
    /// Family: what a tow must be impregnated with to fit, as `PA12`.
    pub polymer: String,
    /// Density, g/cm3.
    pub density_g_cm3: f64,
    /// Temperature at which it is extruded, degC.
    pub process_temperature_c: f64,
    /// Lowest and highest temperature at which it may be extruded, degC.
    pub temperature_range_c: [f64; 2],
    /// Fastest that one head may melt it, mm3/s.
    pub max_flow_mm3_s: f64,
    /// Bed temperature that holds it, degC.
    pub bed_temperature_c: f64,
    /// Chamber temperature that it wants, degC; 0 for none.
    pub chamber_temperature_c: f64,
}

/// A continuous-fibre tow, pre-impregnated.
#[derive(Clone, Debug, PartialEq)]
pub struct Tow {
    /// Name, as in `material list`.
    pub name: String,
    /// The polymer that it is impregnated with, as `PA12`.
    pub polymer: String,
    /// Width as laid, mm.
    pub width_mm: f64,
    /// Height as laid, mm.
    pub height_mm: f64,
    /// Cross-section of the tow (fibre and its impregnation, without pores), mm2.
    pub area_mm2: f64,
    /// Cross-section of the bare fibre, mm2.
    pub fibre_area_mm2: f64,
    /// Smallest bend radius of the centre line, mm.
    pub min_bend_radius_mm: f64,
    /// How far the place where it is laid trails the nozzle, mm; 0: not at all.
    pub trail_mm: f64,
    /// Strain of its edge, width / (2 radius), beyond which it wrinkles or twists.
    pub wrinkle_strain: Option<f64>,
    /// Density of the tow without pores, g/cm3.
    pub density_g_cm3: f64,
    /// Number of filaments.
    pub filaments: u32,
    /// Filament diameter, um.
    pub filament_um: f64,
    /// Density of the fibre, g/cm3.
    pub fibre_density_g_cm3: f64,
    /// Temperature at which it is laid, degC.
    pub process_temperature_c: f64,
}

impl Tow {
    /// Fibre volume fraction of the tow itself, without pores.
    pub fn fibre_fraction(&self) -> f64 {
        self.fibre_area_mm2 / self.area_mm2
    }
}

/// Cross-section of bare fibre, mm2, from the number of filaments and their
/// diameter in um: N pi d^2 / 4.
pub fn fibre_area_mm2(filaments: u32, filament_um: f64) -> f64 {
    let d_mm = filament_um / 1000.0;
    f64::from(filaments) * PI * d_mm * d_mm / 4.0
}

/// What a file is about, for its first key.
const MATRIX: &str = "matrix";
const TOW: &str = "tow";

/// Density of anything in a tow, g/cm3: the lightest foamed resin to basalt.
const DENSITY: Range = between(0.5, 5.0);

/// A matrix file's format.
pub(crate) static MATRIX_FILE: Table = Table {
    text: "A thermoplastic matrix.",
    keys: &[
        Key {
            name: "kind",
            kind: Kind::Word(Words { now: &[MATRIX], later: &[] }),
            need: Need::Required,
            text: "what this file describes",
        },
        NAME,
        DESCRIPTION,
        POLYMER,
        Key {
            name: "density_g_cm3",
            kind: Kind::Number(DENSITY),
            need: Need::Required,
            text: "density of the solid matrix",
        },
        Key {
            name: "process_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Required,
            text: "at which it is extruded",
        },
        Key {
            name: "temperature_range_c",
            kind: Kind::Numbers(TEMPERATURE, 2, 2),
            need: Need::Required,
            text: "[lowest, highest] at which it may be extruded",
        },
        Key {
            name: "max_flow_mm3_s",
            kind: Kind::Number(between(0.1, 1000.0)),
            need: Need::Required,
            text: "fastest that one head melts it",
        },
        Key {
            name: "bed_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Required,
            text: "bed on which it holds",
        },
        Key {
            name: "chamber_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Number(0.0),
            text: "chamber in which it does not warp; 0 for an unheated one",
        },
    ],
};

const NAME: Key =
    Key { name: "name", kind: Kind::Text, need: Need::Required, text: "name, as in `material list`" };

const DESCRIPTION: Key =
    Key { name: "description", kind: Kind::Text, need: Need::Required, text: "the material in one line" };

const POLYMER: Key = Key {
    name: "polymer",
    kind: Kind::Text,
    need: Need::Required,
    text: "family, as `PA12`: a tow fits a matrix of its own polymer",
};

/// Farthest that tow lands behind its nozzle, mm: half a wide nozzle's face and the bow of a
/// stiff tow; from further off nothing that bends can be led.
const LONGEST_TRAIL_MM: f64 = 10.0;

/// A tow file's format.
pub(crate) static TOW_FILE: Table = Table {
    text: "A continuous-fibre tow, pre-impregnated.",
    keys: &[
        Key {
            name: "kind",
            kind: Kind::Word(Words { now: &[TOW], later: &[] }),
            need: Need::Required,
            text: "what this file describes",
        },
        NAME,
        DESCRIPTION,
        POLYMER,
        Key {
            name: "filaments",
            kind: Kind::Integer(1, 1_000_000),
            need: Need::Required,
            text: "number of filaments",
        },
        Key {
            name: "filament_um",
            kind: Kind::Number(between(1.0, 200.0)),
            need: Need::Required,
            text: "diameter of a filament",
        },
        Key {
            name: "fibre_density_g_cm3",
            kind: Kind::Number(DENSITY),
            need: Need::Required,
            text: "density of the fibre",
        },
        Key {
            name: "width_mm",
            kind: Kind::Number(between(0.05, 50.0)),
            need: Need::Required,
            text: "width as laid",
        },
        Key {
            name: "height_mm",
            kind: Kind::Number(between(0.01, 5.0)),
            need: Need::Required,
            text: "height as laid",
        },
        Key {
            name: "area_mm2",
            kind: Kind::Number(above_zero(250.0)),
            need: Need::Required,
            text: "cross-section of fibre and impregnation, without pores",
        },
        Key {
            name: "fibre_area_mm2",
            kind: Kind::Number(above_zero(250.0)),
            need: Need::Optional,
            text: "cross-section of the bare fibre; left out = from filaments and filament_um",
        },
        Key {
            name: "density_g_cm3",
            kind: Kind::Number(DENSITY),
            need: Need::Required,
            text: "density of the tow without pores",
        },
        Key {
            name: "min_bend_radius_mm",
            kind: Kind::Number(above_zero(2000.0)),
            need: Need::Required,
            text: "smallest bend radius of its centre line, laid flat",
        },
        Key {
            name: "trail_mm",
            kind: Kind::Number(between(0.0, LONGEST_TRAIL_MM)),
            need: Need::Number(0.0),
            text: "how far behind the nozzle it comes to lie: a pulled tow lands inside a bend; courses are led so that it lands where it is wanted. 0: it lies where the nozzle goes; a nozzle's edge and the tow's stiffness make it a few mm, and loops not much wider than it cannot be led",
        },
        Key {
            name: "wrinkle_strain",
            kind: Kind::Number(above_zero(1.0)),
            need: Need::Optional,
            text: "strain of its edge in a bend, width / (2 radius), beyond which it wrinkles or twists: courses beyond it are told; left out = not looked at",
        },
        Key {
            name: "process_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Required,
            text: "at which it is laid",
        },
    ],
};

/// Either kind of material.
#[derive(Clone, Debug, PartialEq)]
pub enum Material {
    /// What is extruded.
    Matrix(Matrix),
    /// What is laid.
    Tow(Tow),
}

/// Reads a material file's text, of the kind that it says it is.
///
/// Errors: as [`read_matrix`] and [`read_tow`]; `unknown-name` for another kind.
pub fn read(source: &Arc<Source>) -> Outcome<Material> {
    let (document, _) = DeTable::parse_recoverable(&source.text);
    let kind = document.get_ref().get("kind");
    match kind.and_then(|k| k.get_ref().as_str()) {
        Some(MATRIX) => read_matrix(source).map(Material::Matrix),
        Some(TOW) => read_tow(source).map(Material::Tow),
        Some(other) => {
            let d = Diagnostic::error("unknown-name", format!("`kind` cannot be `{other}`")).help(help(
                other,
                &[MATRIX, TOW],
                "one of",
            ));
            Err(d.at(source, kind.map(Spanned::span).unwrap_or_default(), "").into())
        }
        // it does not say: told as what it looks like
        None if document.get_ref().contains_key("filaments") => read_tow(source).map(Material::Tow),
        None => read_matrix(source).map(Material::Matrix),
    }
}

/// Reads a matrix file's text.
///
/// Errors: those of the format; `material-temperature`; all of them at once.
pub fn read_matrix(source: &Arc<Source>) -> Outcome<Matrix> {
    let (values, mut reader) = Reader::read(source, &MATRIX_FILE);
    if let (Some(t), Some([low, high])) =
        (values.number("process_temperature_c"), values.array("temperature_range_c"))
    {
        if low >= high {
            let message =
                format!("`temperature_range_c` goes from {low} to {high} degC, the lower end comes first");
            let d = Diagnostic::error("material-temperature", message);
            reader.fault(d, values.place("temperature_range_c"), "");
        } else if t < low || t > high {
            let message =
                format!("`process_temperature_c` is {t} degC, its own range goes from {low} to {high} degC");
            let d = Diagnostic::error("material-temperature", message);
            reader.fault(d, values.place("process_temperature_c"), "");
        }
    }
    reader.finish()?;
    let resolve = |v: &Values| {
        Some(Matrix {
            name: v.text("name")?.to_owned(),
            polymer: v.text("polymer")?.to_owned(),
            density_g_cm3: v.number("density_g_cm3")?,
            process_temperature_c: v.number("process_temperature_c")?,
            temperature_range_c: v.array("temperature_range_c")?,
            max_flow_mm3_s: v.number("max_flow_mm3_s")?,
            bed_temperature_c: v.number("bed_temperature_c")?,
            chamber_temperature_c: v.number("chamber_temperature_c")?,
        })
    };
    Ok(resolve(&values).expect("every required key was checked to be there"))
}

/// How far a typed fibre area may lie from that of its filaments: counts and
/// diameters of carbon tows are nominal within a few per cent (common practice).
const NOMINAL: f64 = 0.05;

/// Reads a tow file's text.
///
/// Errors: those of the format; `tow-section` where the fibre does not fit the
/// tow or the tow not its width and height; `tow-density`; `tow-bend`; all of them at once.
pub fn read_tow(source: &Arc<Source>) -> Outcome<Tow> {
    let (values, mut reader) = Reader::read(source, &TOW_FILE);
    let filaments = values.integer("filaments").and_then(|n| u32::try_from(n).ok());
    let counted = filaments.zip(values.number("filament_um")).map(|(n, d)| fibre_area_mm2(n, d));
    let fibre = values.number("fibre_area_mm2").or(counted);
    check_section(&values, &mut reader, counted, fibre);
    check_density(&values, &mut reader, fibre);
    check_bend(&values, &mut reader);
    reader.finish()?;
    let resolve = |v: &Values| {
        Some(Tow {
            name: v.text("name")?.to_owned(),
            polymer: v.text("polymer")?.to_owned(),
            width_mm: v.number("width_mm")?,
            height_mm: v.number("height_mm")?,
            area_mm2: v.number("area_mm2")?,
            fibre_area_mm2: fibre?,
            min_bend_radius_mm: v.number("min_bend_radius_mm")?,
            trail_mm: v.number("trail_mm")?,
            wrinkle_strain: v.number("wrinkle_strain"),
            density_g_cm3: v.number("density_g_cm3")?,
            filaments: filaments?,
            filament_um: v.number("filament_um")?,
            fibre_density_g_cm3: v.number("fibre_density_g_cm3")?,
            process_temperature_c: v.number("process_temperature_c")?,
        })
    };
    Ok(resolve(&values).expect("every required key was checked to be there"))
}

fn check_section(values: &Values, reader: &mut Reader<'_>, counted: Option<f64>, fibre: Option<f64>) {
    let wrong = |message: String| Diagnostic::error("tow-section", message);
    if let (Some(typed), Some(counted)) = (values.number("fibre_area_mm2"), counted)
        && (typed - counted).abs() > NOMINAL * counted
    {
        let message =
            format!("`fibre_area_mm2` is {typed} mm2, its filaments have {counted:.6} mm2 together");
        let d =
            wrong(message).help("filaments x pi x diameter^2 / 4; leave the key out to have it worked out");
        reader.fault(d, values.place("fibre_area_mm2"), "");
    }
    let area = values.number("area_mm2");
    if let (Some(fibre), Some(area)) = (fibre, area)
        && fibre >= area
    {
        let message = format!(
            "{fibre:.6} mm2 of fibre do not fit a tow of {area} mm2: fibre volume fraction {:.3}",
            fibre / area
        );
        let d = wrong(message).help(format!(
            "at a fraction of 0.6, as usual for a tow that is well impregnated, `area_mm2` is {:.4}",
            fibre / 0.6
        ));
        reader.fault(d, values.place("area_mm2"), "");
    }
    if let (Some(width), Some(height)) = (values.number("width_mm"), values.number("height_mm")) {
        let section = width * height;
        if let Some(fibre) = fibre
            && fibre >= section
        {
            let message = format!(
                "{fibre:.6} mm2 of fibre do not fit {width} mm x {height} mm: fibre volume fraction {:.3}",
                fibre / section
            );
            let d = wrong(message).help("a wider or higher tow, or fewer filaments");
            reader.fault(d, values.place("height_mm"), "");
        } else if let Some(area) = area
            && area > section * (1.0 + 1e-9)
        {
            let message =
                format!("a tow of {area} mm2 does not fit {width} mm x {height} mm = {:.6} mm2", section);
            let d = wrong(message).help("`area_mm2` is at most `width_mm` x `height_mm`");
            reader.fault(d, values.place("area_mm2"), "");
        }
    }
}

/// The inner edge of the tightest bend has a radius.
fn check_bend(values: &Values, reader: &mut Reader<'_>) {
    let (Some(radius), Some(width)) = (values.number("min_bend_radius_mm"), values.number("width_mm")) else {
        return;
    };
    if radius > 0.5 * width {
        return;
    }
    let message = format!(
        "`min_bend_radius_mm` is {radius} mm, half the tow's width is {} mm: the inner edge would have no radius, the edges be strained by {:.0} %",
        0.5 * width,
        50.0 * width / radius
    );
    let d = Diagnostic::error("tow-bend", message).help(format!(
        "the edges are strained by width / (2 radius); tows take 5 to 15 %, here a radius of {:.1} to {:.1} mm",
        0.5 * width / 0.15,
        0.5 * width / 0.05
    ));
    reader.fault(d, values.place("min_bend_radius_mm"), "");
}

/// The rule of mixtures gives the density of the impregnation; it must be that
/// of a polymer, 0.8 to 1.9 g/cm3 (polyolefins to fluoropolymers, from memory).
fn check_density(values: &Values, reader: &mut Reader<'_>, fibre: Option<f64>) {
    let (Some(fibre), Some(area), Some(tow), Some(bare)) = (
        fibre,
        values.number("area_mm2"),
        values.number("density_g_cm3"),
        values.number("fibre_density_g_cm3"),
    ) else {
        return;
    };
    if fibre >= area {
        return;
    }
    let impregnation = (tow * area - bare * fibre) / (area - fibre);
    if !(0.8..=1.9).contains(&impregnation) {
        let message = format!(
            "`density_g_cm3` is {tow} g/cm3: with fibre of {bare} g/cm3 that leaves {impregnation:.2} g/cm3 for the impregnation, a polymer has 0.8 to 1.9"
        );
        let d = Diagnostic::error("tow-density", message).help(
            "density = fibre fraction x fibre density + (1 - fibre fraction) x polymer density, fraction = fibre area / area",
        );
        reader.fault(d, values.place("density_g_cm3"), "");
    }
}

/// Polymers that weld to each other though they are not the same: the
/// polyaryletherketones among themselves, and amorphous PEI, which mixes with
/// them (from memory; joining practice).
const WELDING: &[&str] = &["PEEK", "PEKK", "PAEK", "PEI"];

/// How a tow's polymer and a matrix's go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Bond {
    /// The same.
    Same,
    /// Different, but they weld.
    Welds,
    /// They do not.
    None,
}

/// How two polymers go together; neither case nor dashes matter.
pub(crate) fn bond(a: &str, b: &str) -> Bond {
    let plain = |s: &str| s.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_uppercase();
    let (a, b) = (plain(a), plain(b));
    if a == b {
        Bond::Same
    } else if WELDING.contains(&a.as_str()) && WELDING.contains(&b.as_str()) {
        Bond::Welds
    } else {
        Bond::None
    }
}
