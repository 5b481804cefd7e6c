//! The printer profile: its format, its checks, and what it resolves to.

use super::block::{Block, BlockKind};
use super::document::{Reader, Values};
use super::table::{COORDINATE, Key, Kind, LARGEST_MM, Need, TEMPERATURE, Table, Words, above_zero, between};
use crate::diagnostic::{Diagnostic, Faults, Outcome, Source};
use std::sync::Arc;

/// Which of the two heads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Head {
    /// Extrudes the matrix.
    Matrix,
    /// Lays the tow.
    Fibre,
}

/// A two-head printer.
#[derive(Clone, Debug)]
pub struct Printer {
    /// Name, as in `printer list`.
    pub name: String,
    /// One line for `printer list`.
    pub description: String,
    /// What its controller understands.
    pub controller: Controller,
    /// The matrix head.
    pub matrix: HeadProfile,
    /// The fibre head.
    pub fibre: HeadProfile,
    /// Diameter of the matrix feedstock, mm.
    pub feedstock_diameter_mm: f64,
    /// Tow between cutter and nozzle, mm: laid after the cut.
    pub cutter_to_nozzle_mm: f64,
    /// Tow that must be down before the cut can pull on it, mm.
    pub anchor_mm: f64,
    /// Motion limits.
    pub limits: Limits,
    /// Heights and clearances.
    pub clearance: Clearance,
    /// Where purges go; machine coordinates of the nozzle.
    pub purge: Purge,
    /// Seconds that the profile states for what is not a move.
    pub times: Times,
    /// Bed temperature, degC: what the matrix wants, within what the bed reaches.
    pub bed_temperature_c: f64,
    /// Chamber temperature, degC, likewise; 0 where the chamber is not heated.
    pub chamber_temperature_c: f64,
    /// Hottest that the bed gets, degC.
    pub max_bed_temperature_c: f64,
    /// Hottest that the chamber gets, degC; 0 where it has no heating.
    pub max_chamber_temperature_c: f64,
    /// Part placement: where the bed's usable rectangle lies, machine coordinates, mm: [x_lo, y_lo, x_hi, y_hi].
    pub bed_mm: [f64; 4],
    /// Room between two copies, mm.
    pub copy_gap_mm: f64,
    /// The program texts.
    pub blocks: Blocks,
}

impl Printer {
    /// The profile of one head.
    pub fn head(&self, head: Head) -> &HeadProfile {
        match head {
            Head::Matrix => &self.matrix,
            Head::Fibre => &self.fibre,
        }
    }

    /// The shortest course that can be cut and laid, mm.
    pub fn shortest_course_mm(&self) -> f64 {
        self.cutter_to_nozzle_mm + self.anchor_mm
    }
}

/// What the controller understands.
#[derive(Clone, Debug, PartialEq)]
pub struct Controller {
    /// G2 and G3 are understood.
    pub arcs: bool,
    /// Largest distance between a chord and its arc, mm.
    pub chord_mm: f64,
    /// E counts from the last `G92 E0` rather than move by move.
    pub absolute_extrusion: bool,
    /// Head offsets are in the program's coordinates rather than in the controller.
    pub program_applies_offsets: bool,
    /// `( … )` rather than `; …`.
    pub parenthesis_comments: bool,
    /// `M6` follows the `T` word.
    pub tool_change_m6: bool,
    /// P of G4 counts milliseconds rather than seconds.
    pub dwell_milliseconds: bool,
}

/// One head.
#[derive(Clone, Debug, PartialEq)]
pub struct HeadProfile {
    /// The T number.
    pub tool: u32,
    /// Nozzle position relative to the carriage's reference, mm.
    pub offset_mm: [f64; 3],
    /// Machine coordinates that its nozzle reaches, mm: x, y, z as [lo, hi].
    pub reach_mm: [[f64; 2]; 3],
    /// Highest temperature, degC.
    pub max_temperature_c: f64,
    /// Temperature while the other head works, degC: that at work less `standby_drop_k`.
    pub standby_temperature_c: f64,
    /// How much cooler than at work it stands by, K.
    pub standby_drop_k: f64,
    /// Heating rate, K/s.
    pub heating_k_s: f64,
    /// Cooling rate, K/s.
    pub cooling_k_s: f64,
    /// Speed while it lays, mm/s.
    pub speed_mm_s: f64,
    /// Fastest feed of its feedstock or tow, mm/s.
    pub max_feed_mm_s: f64,
}

/// Motion limits of the machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Fastest x, y, z, mm/s.
    pub axis_speed_mm_s: [f64; 3],
    /// Speed of moves without laying, mm/s.
    pub travel_mm_s: f64,
    /// Acceleration while laying, mm/s2.
    pub work_mm_s2: f64,
    /// Acceleration of travel moves, mm/s2.
    pub travel_mm_s2: f64,
    /// Acceleration of z moves, mm/s2.
    pub z_mm_s2: f64,
    /// Deviation that sets the speed through a corner, mm.
    pub corner_deviation_mm: f64,
}

/// Heights and clearances.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clearance {
    /// A travel over laid material lifts by this, mm.
    pub travel_lift_mm: f64,
    /// How much higher than the working nozzle the idle one hangs, mm.
    pub idle_lift_mm: f64,
}

/// Where and how much a head purges after it is selected.
#[derive(Clone, Debug, PartialEq)]
pub struct Purge {
    /// Start of the matrix purge line, machine coordinates of the nozzle, mm.
    pub matrix_at_mm: [f64; 2],
    /// Length and direction of that line: +x, mm.
    pub matrix_line_mm: f64,
    /// Matrix volume purged after a change to the matrix head, mm3.
    pub matrix_volume_mm3: f64,
}

/// Seconds for what is not a move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Times {
    /// One head change, s.
    pub head_change_s: f64,
    /// One cut, s.
    pub cut_s: f64,
    /// Homing and whatever else the start block does besides heating, s.
    pub start_s: f64,
    /// The end block, s.
    pub end_s: f64,
}

/// The profile's program texts: templates with a fixed set of names.
#[derive(Clone, Debug)]
pub struct Blocks {
    /// Opens the program.
    pub start: Block,
    /// Closes it.
    pub end: Block,
    /// After the `T` line that selects the matrix head.
    pub to_matrix: Block,
    /// After the `T` line that selects the fibre head.
    pub to_fibre: Block,
    /// Cuts the tow. No axis moves.
    pub cut: Block,
    /// Sets a head's temperature without waiting: names `tool`, `temperature_c`.
    pub heat: Block,
    /// Sets a head's temperature and waits: names `tool`, `temperature_c`.
    pub heat_wait: Block,
}

/// The profile's format.
pub(crate) static PRINTER: Table = Table {
    text: "A printer profile: a machine with a matrix head and a fibre head.",
    keys: &[
        Key { name: "name", kind: Kind::Text, need: Need::Required, text: "name, as in `printer list`" },
        Key { name: "description", kind: Kind::Text, need: Need::Required, text: "the machine in one line" },
        Key {
            name: "feedstock_diameter_mm",
            kind: Kind::Number(above_zero(10.0)),
            need: Need::Required,
            text: "diameter of the matrix filament",
        },
        Key {
            name: "cutter_to_nozzle_mm",
            kind: Kind::Number(between(0.0, 500.0)),
            need: Need::Required,
            text: "tow between cutter and nozzle: laid after the cut",
        },
        Key {
            name: "anchor_mm",
            kind: Kind::Number(between(0.0, 500.0)),
            need: Need::Required,
            text: "tow that must be down before the cut can pull on it",
        },
        Key {
            name: "bed_mm",
            kind: Kind::Numbers(COORDINATE, 4, 4),
            need: Need::Required,
            text: "[x_lo, y_lo, x_hi, y_hi]: where parts may lie, machine coordinates, within the reach of both heads",
        },
        Key {
            name: "copy_gap_mm",
            kind: Kind::Number(between(0.0, 1000.0)),
            need: Need::Required,
            text: "room between two copies",
        },
        Key {
            name: "max_bed_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Required,
            text: "hottest that the bed gets",
        },
        Key {
            name: "max_chamber_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Required,
            text: "hottest that the chamber gets; 0 where it has no heating",
        },
        Key {
            name: "controller",
            kind: Kind::Table(&CONTROLLER),
            need: Need::Required,
            text: "what the controller understands",
        },
        Key { name: "tools", kind: Kind::Table(&TOOLS), need: Need::Required, text: "T number of each head" },
        Key {
            name: "offsets_mm",
            kind: Kind::Table(&OFFSETS),
            need: Need::Required,
            text: "nozzle position of each head, counted from the carriage's reference",
        },
        Key {
            name: "reach_mm",
            kind: Kind::Table(&REACH),
            need: Need::Required,
            text: "machine coordinates that each nozzle reaches",
        },
        Key {
            name: "limits",
            kind: Kind::Table(&LIMITS),
            need: Need::Required,
            text: "speeds and accelerations",
        },
        Key { name: "heads", kind: Kind::Table(&HEADS), need: Need::Required, text: "heaters and feeds" },
        Key {
            name: "clearance",
            kind: Kind::Table(&CLEARANCE),
            need: Need::Required,
            text: "heights that keep heads clear of what is laid",
        },
        Key {
            name: "purge",
            kind: Kind::Table(&PURGE),
            need: Need::Required,
            text: "what the matrix head clears after it is selected, and where",
        },
        Key {
            name: "times",
            kind: Kind::Table(&TIMES),
            need: Need::Required,
            text: "seconds for what is not a move",
        },
        Key {
            name: "blocks",
            kind: Kind::Table(&BLOCKS),
            need: Need::Required,
            text: "program texts; `{{ name }}` puts a value in",
        },
    ],
};

static CONTROLLER: Table = Table {
    text: "What the controller understands.",
    keys: &[
        Key {
            name: "arcs",
            kind: Kind::Flag,
            need: Need::Required,
            text: "G2 and G3 are understood; otherwise arcs are written as chords",
        },
        Key {
            name: "chord_mm",
            kind: Kind::Number(between(0.001, 1.0)),
            need: Need::Required,
            text: "largest distance between a chord and its arc",
        },
        Key {
            name: "extrusion",
            kind: Kind::Word(Words { now: &["absolute", "relative"], later: &[] }),
            need: Need::Required,
            text: "E counts from the last `G92 E0`, or move by move",
        },
        Key {
            name: "offsets_applied_by",
            kind: Kind::Word(Words { now: &["program", "controller"], later: &[] }),
            need: Need::Required,
            text: "who takes the head offsets off the coordinates",
        },
        Key {
            name: "comment",
            kind: Kind::Word(Words { now: &["parentheses", "semicolon"], later: &[] }),
            need: Need::Required,
            text: "`( … )` or `; …`",
        },
        Key {
            name: "tool_change_m6",
            kind: Kind::Flag,
            need: Need::Required,
            text: "`M6` stands behind the `T` word",
        },
        Key {
            name: "dwell_unit",
            kind: Kind::Word(Words { now: &["s", "ms"], later: &[] }),
            need: Need::Required,
            text: "what P of G4 counts",
        },
    ],
};

static TOOLS: Table = Table {
    text: "T number of each head.",
    keys: &[
        Key { name: "matrix", kind: Kind::Integer(0, 99), need: Need::Required, text: "of the matrix head" },
        Key { name: "fibre", kind: Kind::Integer(0, 99), need: Need::Required, text: "of the fibre head" },
    ],
};

static OFFSETS: Table = Table {
    text: "Nozzle position of each head, counted from the carriage's reference, mm.",
    keys: &[
        Key {
            name: "matrix",
            kind: Kind::Numbers(COORDINATE, 3, 3),
            need: Need::Required,
            text: "[x, y, z] of the matrix head",
        },
        Key {
            name: "fibre",
            kind: Kind::Numbers(COORDINATE, 3, 3),
            need: Need::Required,
            text: "[x, y, z] of the fibre head",
        },
    ],
};

static REACH: Table = Table {
    text: "Machine coordinates that each nozzle reaches, mm.",
    keys: &[
        Key { name: "matrix", kind: Kind::Table(&AXES), need: Need::Required, text: "of the matrix nozzle" },
        Key { name: "fibre", kind: Kind::Table(&AXES), need: Need::Required, text: "of the fibre nozzle" },
    ],
};

static AXES: Table = Table {
    text: "Lowest and highest coordinate, mm.",
    keys: &[
        Key {
            name: "x",
            kind: Kind::Numbers(COORDINATE, 2, 2),
            need: Need::Required,
            text: "[lowest, highest]",
        },
        Key {
            name: "y",
            kind: Kind::Numbers(COORDINATE, 2, 2),
            need: Need::Required,
            text: "[lowest, highest]",
        },
        Key {
            name: "z",
            kind: Kind::Numbers(COORDINATE, 2, 2),
            need: Need::Required,
            text: "[lowest, highest]",
        },
    ],
};

static LIMITS: Table = Table {
    text: "Speeds and accelerations.",
    keys: &[
        Key {
            name: "speed_mm_s",
            kind: Kind::Table(&SPEED),
            need: Need::Required,
            text: "fastest axes, laying speeds, travel",
        },
        Key {
            name: "acceleration_mm_s2",
            kind: Kind::Table(&ACCELERATION),
            need: Need::Required,
            text: "while laying, travelling, lifting",
        },
        Key {
            name: "corner_deviation_mm",
            kind: Kind::Number(above_zero(1.0)),
            need: Need::Required,
            text: "how far the tool may round a corner: sets the speed through it",
        },
    ],
};

static SPEED: Table = Table {
    text: "Speeds, mm/s.",
    keys: &[
        Key {
            name: "x",
            kind: Kind::Number(above_zero(5000.0)),
            need: Need::Required,
            text: "fastest of axis x",
        },
        Key {
            name: "y",
            kind: Kind::Number(above_zero(5000.0)),
            need: Need::Required,
            text: "fastest of axis y",
        },
        Key {
            name: "z",
            kind: Kind::Number(above_zero(5000.0)),
            need: Need::Required,
            text: "fastest of axis z",
        },
        Key {
            name: "matrix",
            kind: Kind::Number(above_zero(5000.0)),
            need: Need::Required,
            text: "while matrix is laid",
        },
        Key {
            name: "fibre",
            kind: Kind::Number(above_zero(5000.0)),
            need: Need::Required,
            text: "while tow is laid",
        },
        Key {
            name: "travel",
            kind: Kind::Number(above_zero(5000.0)),
            need: Need::Required,
            text: "of moves that lay nothing",
        },
    ],
};

static ACCELERATION: Table = Table {
    text: "Accelerations, mm/s2.",
    keys: &[
        Key {
            name: "work",
            kind: Kind::Number(above_zero(50_000.0)),
            need: Need::Required,
            text: "while laying",
        },
        Key {
            name: "travel",
            kind: Kind::Number(above_zero(50_000.0)),
            need: Need::Required,
            text: "of moves that lay nothing",
        },
        Key { name: "z", kind: Kind::Number(above_zero(50_000.0)), need: Need::Required, text: "of z moves" },
    ],
};

static HEADS: Table = Table {
    text: "Heaters and feeds.",
    keys: &[
        Key { name: "matrix", kind: Kind::Table(&HEAD), need: Need::Required, text: "the matrix head" },
        Key { name: "fibre", kind: Kind::Table(&HEAD), need: Need::Required, text: "the fibre head" },
    ],
};

static HEAD: Table = Table {
    text: "One head.",
    keys: &[
        Key {
            name: "max_temperature_c",
            kind: Kind::Number(TEMPERATURE),
            need: Need::Required,
            text: "hottest that it gets",
        },
        Key {
            name: "standby_drop_k",
            kind: Kind::Number(between(0.0, 400.0)),
            need: Need::Required,
            text: "how much cooler than at work while the other head works, so that nothing oozes",
        },
        Key {
            name: "heating_k_s",
            kind: Kind::Number(above_zero(100.0)),
            need: Need::Required,
            text: "how fast it heats",
        },
        Key {
            name: "cooling_k_s",
            kind: Kind::Number(above_zero(100.0)),
            need: Need::Required,
            text: "how fast it cools",
        },
        Key {
            name: "max_feed_mm_s",
            kind: Kind::Number(above_zero(1000.0)),
            need: Need::Required,
            text: "fastest feed of its filament or tow",
        },
    ],
};

static CLEARANCE: Table = Table {
    text: "Heights that keep heads clear of what is laid.",
    keys: &[
        Key {
            name: "travel_lift_mm",
            kind: Kind::Number(above_zero(100.0)),
            need: Need::Required,
            text: "how far a travel over laid material lifts",
        },
        Key {
            name: "idle_lift_mm",
            kind: Kind::Number(above_zero(500.0)),
            need: Need::Required,
            text: "how much higher than the working nozzle the idle one hangs",
        },
    ],
};

static PURGE: Table = Table {
    text: "What the matrix head clears after it is selected, and where.",
    keys: &[
        Key {
            name: "matrix_at_mm",
            kind: Kind::Numbers(COORDINATE, 2, 2),
            need: Need::Required,
            text: "[x, y] where the purge line starts, machine coordinates of the nozzle",
        },
        Key {
            name: "matrix_line_mm",
            kind: Kind::Number(above_zero(LARGEST_MM)),
            need: Need::Required,
            text: "length of the purge line, towards +x",
        },
        Key {
            name: "matrix_volume_mm3",
            kind: Kind::Number(between(0.0, 10_000.0)),
            need: Need::Required,
            text: "matrix laid there each time",
        },
    ],
};

static TIMES: Table = Table {
    text: "Seconds for what is not a move.",
    keys: &[
        Key {
            name: "head_change_s",
            kind: Kind::Number(between(0.0, 600.0)),
            need: Need::Required,
            text: "one head change",
        },
        Key { name: "cut_s", kind: Kind::Number(between(0.0, 60.0)), need: Need::Required, text: "one cut" },
        Key {
            name: "start_s",
            kind: Kind::Number(between(0.0, 7200.0)),
            need: Need::Required,
            text: "the start block, without heating",
        },
        Key {
            name: "end_s",
            kind: Kind::Number(between(0.0, 7200.0)),
            need: Need::Required,
            text: "the end block",
        },
    ],
};

static BLOCKS: Table = Table {
    text: "Program texts; `{{ name }}` puts a value in.",
    keys: &[
        Key { name: "start", kind: Kind::Lines, need: Need::Required, text: "opens the program" },
        Key { name: "end", kind: Kind::Lines, need: Need::Required, text: "closes it" },
        Key {
            name: "to_matrix",
            kind: Kind::Lines,
            need: Need::Required,
            text: "after the `T` line that selects the matrix head; no moves",
        },
        Key {
            name: "to_fibre",
            kind: Kind::Lines,
            need: Need::Required,
            text: "after the `T` line that selects the fibre head; no moves",
        },
        Key { name: "cut", kind: Kind::Lines, need: Need::Required, text: "cuts the tow; no moves" },
        Key {
            name: "heat",
            kind: Kind::Lines,
            need: Need::Required,
            text: "sets a head's temperature without waiting: `{{ tool }}`, `{{ temperature_c }}`",
        },
        Key {
            name: "heat_wait",
            kind: Kind::Lines,
            need: Need::Required,
            text: "sets a head's temperature and waits",
        },
    ],
};

/// Reads a profile's text.
///
/// Errors: those of the format, `profile-geometry`, `profile-limits`,
/// `block-template`, `block-words`; all of them at once.
pub fn read(source: &Arc<Source>) -> Outcome<Printer> {
    let (values, mut reader) = Reader::read(source, &PRINTER);
    check(&values, &mut reader, source);
    let faults = reader.into_faults();
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    Ok(resolve(&values, source).expect("every required key was checked to be there"))
}

/// What no single key shows.
fn check(values: &Values, reader: &mut Reader<'_>, source: &Arc<Source>) {
    check_tools(values, reader);
    check_geometry(values, reader);
    check_limits(values, reader);
    let parentheses = values.table("controller").and_then(|c| c.text("comment")).map(|c| c == "parentheses");
    if let (Some(blocks), Some(parentheses)) = (values.table("blocks"), parentheses) {
        for kind in BlockKind::ALL {
            if let Some(block) = Block::of(kind, blocks, source) {
                reader.faults.extend(block.check(parentheses));
            }
        }
    }
}

fn check_tools(values: &Values, reader: &mut Reader<'_>) {
    if let Some(tools) = values.table("tools")
        && let (Some(m), Some(f)) = (tools.integer("matrix"), tools.integer("fibre"))
        && m == f
    {
        let d = Diagnostic::error("profile-limits", format!("both heads have the number T{m}"));
        reader.fault(d, tools.place("fibre"), "");
    }
}

fn check_geometry(values: &Values, reader: &mut Reader<'_>) {
    let wrong = |message: String| Diagnostic::error("profile-geometry", message);
    let mut reaches = Vec::new();
    if let Some(reach) = values.table("reach_mm") {
        for head in ["matrix", "fibre"] {
            let Some(axes) = reach.table(head) else { continue };
            let mut complete = Some([[0.0; 2]; 3]);
            for (i, axis) in ["x", "y", "z"].into_iter().enumerate() {
                let Some([low, high]) = axes.array(axis) else {
                    complete = None;
                    continue;
                };
                if low >= high {
                    let message = format!(
                        "`reach_mm.{head}.{axis}` goes from {low} mm to {high} mm, the lower end comes first"
                    );
                    reader.fault(wrong(message), axes.place(axis), "");
                    complete = None;
                } else if let Some(c) = &mut complete {
                    c[i] = [low, high];
                }
            }
            if let Some(c) = complete {
                if c[2][0] > 0.0 || c[2][1] <= 0.0 {
                    let message = format!(
                        "the {head} nozzle's z goes from {} mm to {} mm: the bed is z 0",
                        c[2][0], c[2][1]
                    );
                    reader.fault(wrong(message), axes.place("z"), "");
                }
                reaches.push((head, c));
            }
        }
    }
    let bed = values.array::<4>("bed_mm");
    let bed = bed.filter(|[x0, y0, x1, y1]| {
        let right = x0 < x1 && y0 < y1;
        if !right {
            let message = format!("`bed_mm` [{x0}, {y0}, {x1}, {y1}] encloses nothing");
            let d = wrong(message).help("[x_lo, y_lo, x_hi, y_hi], machine coordinates");
            reader.fault(d, values.place("bed_mm"), "");
        }
        right
    });
    if let Some([x0, y0, x1, y1]) = bed {
        for (head, [x, y, _]) in &reaches {
            if x0 < x[0] || x1 > x[1] || y0 < y[0] || y1 > y[1] {
                let message = format!(
                    "`bed_mm` goes from x {x0} to {x1}, y {y0} to {y1} mm, the {head} nozzle reaches x {} to {}, y {} to {} mm",
                    x[0], x[1], y[0], y[1]
                );
                let d = wrong(message).help("parts lie only where both heads reach");
                reader.fault(d, values.place("bed_mm"), "");
            }
        }
    }
    let Some(purge) = values.table("purge") else { return };
    let (Some([px, py]), Some(line)) = (purge.array::<2>("matrix_at_mm"), purge.number("matrix_line_mm"))
    else {
        return;
    };
    if let Some((_, [x, y, _])) = reaches.iter().find(|(head, _)| *head == "matrix")
        && (px < x[0] || px + line > x[1] || py < y[0] || py > y[1])
    {
        let message = format!(
            "the purge line goes from x {px} to {}, y {py} mm, the matrix nozzle reaches x {} to {}, y {} to {} mm",
            px + line,
            x[0],
            x[1],
            y[0],
            y[1]
        );
        reader.fault(wrong(message), purge.place("matrix_at_mm"), "");
    }
    if let Some([x0, y0, x1, y1]) = bed
        && px <= x1
        && px + line >= x0
        && py + PURGE_CLEAR_MM > y0
        && py - PURGE_CLEAR_MM < y1
    {
        let message =
            format!("the purge line at y {py} mm lies on the bed where parts go, y {y0} to {y1} mm");
        let d = wrong(message).help(format!("keep it {PURGE_CLEAR_MM} mm away from `bed_mm`"));
        reader.fault(d, purge.place("matrix_at_mm"), "");
    }
}

/// How far the purge line keeps from parts, mm: wider than any purge bead, so
/// that a head can be wiped without touching a part.
const PURGE_CLEAR_MM: f64 = 3.0;

fn check_limits(values: &Values, reader: &mut Reader<'_>) {
    let Some(limits) = values.table("limits") else { return };
    if let Some(speed) = limits.table("speed_mm_s") {
        for key in ["matrix", "fibre", "travel"] {
            for axis in ["x", "y"] {
                if let (Some(v), Some(most)) = (speed.number(key), speed.number(axis))
                    && v > most
                {
                    let message = format!(
                        "`limits.speed_mm_s.{key}` is {v} mm/s, axis {axis} runs at most {most} mm/s"
                    );
                    reader.fault(Diagnostic::error("profile-limits", message), speed.place(key), "");
                }
            }
        }
        if let Some(head) = values.table("heads").and_then(|h| h.table("fibre"))
            && let (Some(v), Some(most)) = (speed.number("fibre"), head.number("max_feed_mm_s"))
            && v > most
        {
            let message = format!("tow is laid at {v} mm/s, the fibre head feeds at most {most} mm/s");
            reader.fault(Diagnostic::error("profile-limits", message), speed.place("fibre"), "");
        }
    }
}

fn resolve(v: &Values, source: &Arc<Source>) -> Option<Printer> {
    let controller = v.table("controller")?;
    let limits = v.table("limits")?;
    let speed = limits.table("speed_mm_s")?;
    let acceleration = limits.table("acceleration_mm_s2")?;
    let clearance = v.table("clearance")?;
    let purge = v.table("purge")?;
    let times = v.table("times")?;
    let blocks = v.table("blocks")?;
    let head = |name: &str| {
        let head = v.table("heads")?.table(name)?;
        let reach = v.table("reach_mm")?.table(name)?;
        let max_temperature_c = head.number("max_temperature_c")?;
        let standby_drop_k = head.number("standby_drop_k")?;
        Some(HeadProfile {
            tool: u32::try_from(v.table("tools")?.integer(name)?).ok()?,
            offset_mm: v.table("offsets_mm")?.array(name)?,
            reach_mm: [reach.array("x")?, reach.array("y")?, reach.array("z")?],
            max_temperature_c,
            standby_temperature_c: (max_temperature_c - standby_drop_k).max(0.0),
            standby_drop_k,
            heating_k_s: head.number("heating_k_s")?,
            cooling_k_s: head.number("cooling_k_s")?,
            speed_mm_s: speed.number(name)?,
            max_feed_mm_s: head.number("max_feed_mm_s")?,
        })
    };
    let block = |kind| Block::of(kind, blocks, source);
    Some(Printer {
        name: v.text("name")?.to_owned(),
        description: v.text("description")?.to_owned(),
        controller: Controller {
            arcs: controller.flag("arcs")?,
            chord_mm: controller.number("chord_mm")?,
            absolute_extrusion: controller.text("extrusion")? == "absolute",
            program_applies_offsets: controller.text("offsets_applied_by")? == "program",
            parenthesis_comments: controller.text("comment")? == "parentheses",
            tool_change_m6: controller.flag("tool_change_m6")?,
            dwell_milliseconds: controller.text("dwell_unit")? == "ms",
        },
        matrix: head("matrix")?,
        fibre: head("fibre")?,
        feedstock_diameter_mm: v.number("feedstock_diameter_mm")?,
        cutter_to_nozzle_mm: v.number("cutter_to_nozzle_mm")?,
        anchor_mm: v.number("anchor_mm")?,
        limits: Limits {
            axis_speed_mm_s: [speed.number("x")?, speed.number("y")?, speed.number("z")?],
            travel_mm_s: speed.number("travel")?,
            work_mm_s2: acceleration.number("work")?,
            travel_mm_s2: acceleration.number("travel")?,
            z_mm_s2: acceleration.number("z")?,
            corner_deviation_mm: limits.number("corner_deviation_mm")?,
        },
        clearance: Clearance {
            travel_lift_mm: clearance.number("travel_lift_mm")?,
            idle_lift_mm: clearance.number("idle_lift_mm")?,
        },
        purge: Purge {
            matrix_at_mm: purge.array("matrix_at_mm")?,
            matrix_line_mm: purge.number("matrix_line_mm")?,
            matrix_volume_mm3: purge.number("matrix_volume_mm3")?,
        },
        times: Times {
            head_change_s: times.number("head_change_s")?,
            cut_s: times.number("cut_s")?,
            start_s: times.number("start_s")?,
            end_s: times.number("end_s")?,
        },
        bed_temperature_c: v.number("max_bed_temperature_c")?,
        chamber_temperature_c: v.number("max_chamber_temperature_c")?,
        max_bed_temperature_c: v.number("max_bed_temperature_c")?,
        max_chamber_temperature_c: v.number("max_chamber_temperature_c")?,
        bed_mm: v.array("bed_mm")?,
        copy_gap_mm: v.number("copy_gap_mm")?,
        blocks: Blocks {
            start: block(BlockKind::Start)?,
            end: block(BlockKind::End)?,
            to_matrix: block(BlockKind::ToMatrix)?,
            to_fibre: block(BlockKind::ToFibre)?,
            cut: block(BlockKind::Cut)?,
            heat: block(BlockKind::Heat)?,
            heat_wait: block(BlockKind::HeatWait)?,
        },
    })
}
