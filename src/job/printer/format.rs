//! Every key of a printer profile.

use crate::job::table::{
    COORDINATE, Kind, LARGEST_MM, Need, TEMPERATURE, Table, Words, above_zero, between, optional, required,
};

/// The profile's format.
pub(crate) static PRINTER: Table = Table {
    text: "A printer profile: a machine with a matrix head and a fibre head.",
    keys: &[
        required("name", Kind::Text, "name, as in `printer list`"),
        required("description", Kind::Text, "the machine in one line"),
        required(
            "feedstock_diameter_mm",
            Kind::Number(between(0.5, 10.0)),
            "diameter of the matrix filament; 1.75 and 2.85 mm are common",
        ),
        required(
            "cutter_to_nozzle_mm",
            Kind::Number(between(0.1, 500.0)),
            "tow between cutter and nozzle: laid after the cut; 0.1 where the cutter is at the nozzle",
        ),
        required(
            "anchor_mm",
            Kind::Number(between(0.0, 500.0)),
            "tow that must be down before the cut can pull on it",
        ),
        required(
            "bed_mm",
            Kind::Numbers(COORDINATE, 4, 4),
            "[x_lo, y_lo, x_hi, y_hi]: where parts may lie, machine coordinates, within the reach of both heads",
        ),
        required("copy_gap_mm", Kind::Number(between(0.0, 1000.0)), "room between two copies"),
        required("max_bed_temperature_c", Kind::Number(TEMPERATURE), "hottest that the bed gets"),
        required(
            "max_chamber_temperature_c",
            Kind::Number(TEMPERATURE),
            "hottest that the chamber gets; 0 where it has no heating",
        ),
        required("controller", Kind::Table(&CONTROLLER), "what the controller understands"),
        required("tools", Kind::Table(&TOOLS), "T number of each head"),
        required(
            "offsets_mm",
            Kind::Table(&OFFSETS),
            "nozzle position of each head, counted from the carriage's reference",
        ),
        required("reach_mm", Kind::Table(&REACH), "machine coordinates that each nozzle reaches"),
        required("limits", Kind::Table(&LIMITS), "speeds and accelerations"),
        required("heads", Kind::Table(&HEADS), "heaters and feeds"),
        required("clearance", Kind::Table(&CLEARANCE), "heights that keep heads clear of what is laid"),
        required("purge", Kind::Table(&PURGE), "what the matrix head clears after it is selected, and where"),
        required("times", Kind::Table(&TIMES), "seconds for what is not a move"),
        optional(
            "head_change",
            Kind::Table(&HEAD_CHANGE),
            Need::Empty,
            "where the heads are while the other one works",
        ),
        optional(
            "bed_heating",
            Kind::Table(&HEATING),
            Need::Optional,
            "how fast the bed heats; left out = the wait for it is not counted",
        ),
        optional(
            "chamber_heating",
            Kind::Table(&HEATING),
            Need::Optional,
            "how fast the chamber heats; left out = the wait for it is not counted",
        ),
        required("blocks", Kind::Table(&BLOCKS), "program texts; `{{ name }}` puts a value in"),
    ],
};

static CONTROLLER: Table = Table {
    text: "What the controller understands.",
    keys: &[
        required("arcs", Kind::Flag, "G2 and G3 are understood; otherwise arcs are written as chords"),
        required(
            "chord_mm",
            Kind::Number(between(0.001, 0.02)),
            "largest distance between a chord and its arc: coarser ones shorten the tow and bring courses too near to each other",
        ),
        required(
            "extrusion",
            Kind::Word(Words { now: &["absolute", "relative"], later: &[] }),
            "E counts from the last `G92 E0`, or move by move",
        ),
        required(
            "offsets_applied_by",
            Kind::Word(Words { now: &["program", "controller"], later: &[] }),
            "who takes the head offsets off the coordinates",
        ),
        required(
            "comment",
            Kind::Word(Words { now: &["parentheses", "semicolon"], later: &[] }),
            "`( … )` or `; …`",
        ),
        required("tool_change_m6", Kind::Flag, "`M6` stands behind the `T` word"),
        required("dwell_unit", Kind::Word(Words { now: &["s", "ms"], later: &[] }), "what P of G4 counts"),
        optional(
            "block_time_s",
            Kind::Number(between(0.0, 0.5)),
            Need::Number(0.0),
            "least time that it needs for one line that moves: short chords slow it",
        ),
    ],
};

static TOOLS: Table = Table {
    text: "T number of each head.",
    keys: &[
        required("matrix", Kind::Integer(0, 99), "of the matrix head"),
        required("fibre", Kind::Integer(0, 99), "of the fibre head"),
    ],
};

static OFFSETS: Table = Table {
    text: "Nozzle position of each head, counted from the carriage's reference, mm.",
    keys: &[
        required("matrix", Kind::Numbers(COORDINATE, 3, 3), "[x, y, z] of the matrix head"),
        required("fibre", Kind::Numbers(COORDINATE, 3, 3), "[x, y, z] of the fibre head"),
    ],
};

static REACH: Table = Table {
    text: "Machine coordinates that each nozzle reaches, mm.",
    keys: &[
        required("matrix", Kind::Table(&AXES), "of the matrix nozzle"),
        required("fibre", Kind::Table(&AXES), "of the fibre nozzle"),
    ],
};

static AXES: Table = Table {
    text: "Lowest and highest coordinate, mm.",
    keys: &[
        required("x", Kind::Numbers(COORDINATE, 2, 2), "[lowest, highest]"),
        required("y", Kind::Numbers(COORDINATE, 2, 2), "[lowest, highest]"),
        required("z", Kind::Numbers(COORDINATE, 2, 2), "[lowest, highest]"),
    ],
};

static LIMITS: Table = Table {
    text: "Speeds and accelerations.",
    keys: &[
        required("speed_mm_s", Kind::Table(&SPEED), "fastest axes, laying speeds, travel"),
        required("acceleration_mm_s2", Kind::Table(&ACCELERATION), "while laying, travelling, lifting"),
        required(
            "corner_deviation_mm",
            Kind::Number(above_zero(1.0)),
            "how far the tool may round a corner: sets the speed through it",
        ),
        optional(
            "jerk_mm_s3",
            Kind::Number(above_zero(1e7)),
            Need::Optional,
            "fastest change of an acceleration; left out = no limit, speeds change in trapezoids",
        ),
    ],
};

/// Slowest speed, mm/s: F is written in whole mm/min, rounded down, and says this one as 6;
/// nothing real is slower.
const SLOWEST_MM_S: f64 = 0.1;

static SPEED: Table = Table {
    text: "Speeds, mm/s.",
    keys: &[
        required("x", Kind::Number(between(SLOWEST_MM_S, 5000.0)), "fastest of axis x"),
        required("y", Kind::Number(between(SLOWEST_MM_S, 5000.0)), "fastest of axis y"),
        required("z", Kind::Number(between(SLOWEST_MM_S, 5000.0)), "fastest of axis z"),
        required("matrix", Kind::Number(between(SLOWEST_MM_S, 5000.0)), "while matrix is laid"),
        required("fibre", Kind::Number(between(SLOWEST_MM_S, 5000.0)), "while tow is laid"),
        required("travel", Kind::Number(between(SLOWEST_MM_S, 5000.0)), "of moves that lay nothing"),
    ],
};

static ACCELERATION: Table = Table {
    text: "Accelerations, mm/s2.",
    keys: &[
        required("work", Kind::Number(above_zero(50_000.0)), "while laying"),
        required("travel", Kind::Number(above_zero(50_000.0)), "of moves that lay nothing"),
        required("z", Kind::Number(above_zero(50_000.0)), "of z moves"),
    ],
};

static HEADS: Table = Table {
    text: "Heaters and feeds.",
    keys: &[
        required("matrix", Kind::Table(&HEAD), "the matrix head"),
        required("fibre", Kind::Table(&HEAD), "the fibre head"),
    ],
};

static HEAD: Table = Table {
    text: "One head.",
    keys: &[
        required("max_temperature_c", Kind::Number(TEMPERATURE), "hottest that it gets"),
        required(
            "standby_drop_k",
            Kind::Number(between(0.0, 150.0)),
            "how much cooler than at work while the other head works, so that nothing oozes; further down it freezes, and is waited for at every change",
        ),
        required("heating_k_s", Kind::Number(above_zero(100.0)), "how fast it heats"),
        required("cooling_k_s", Kind::Number(above_zero(100.0)), "how fast it cools when it is hottest"),
        required("max_feed_mm_s", Kind::Number(between(0.1, 1000.0)), "fastest feed of its filament or tow"),
        optional(
            "time_constant_s",
            Kind::Number(above_zero(10_000.0)),
            Need::Optional,
            "time constant of its heating: it heats at `heating_k_s` when cold and the slower the hotter; left out = always at `heating_k_s`",
        ),
        optional(
            "feed_scale",
            Kind::Number(between(0.5, 2.0)),
            Need::Number(1.0),
            "mm written as E for each mm that it is to feed",
        ),
    ],
};

static HEATING: Table = Table {
    text: "How fast something heats from room temperature.",
    keys: &[
        required("heating_k_s", Kind::Number(above_zero(100.0)), "how fast it heats when it is cold"),
        optional(
            "time_constant_s",
            Kind::Number(above_zero(100_000.0)),
            Need::Optional,
            "time constant: it heats the slower the hotter it is; left out = always at `heating_k_s`",
        ),
    ],
};

static HEAD_CHANGE: Table = Table {
    text: "How one head takes over from the other.",
    keys: &[
        optional(
            "way",
            Kind::Word(Words { now: &["lift", "park", "dock"], later: &[] }),
            Need::Word("lift"),
            "lift: both heads on one carriage, the idle one is raised; park: each head has its own carriage, the idle one waits at its place; dock: one carriage puts a head down at its place and fetches the other",
        ),
        optional(
            "matrix_at_mm",
            Kind::Numbers(COORDINATE, 2, 2),
            Need::Optional,
            "[x, y] where the matrix head parks or docks, machine coordinates of its nozzle",
        ),
        optional(
            "fibre_at_mm",
            Kind::Numbers(COORDINATE, 2, 2),
            Need::Optional,
            "[x, y] where the fibre head parks or docks, machine coordinates of its nozzle",
        ),
    ],
};

static CLEARANCE: Table = Table {
    text: "Heights that keep heads clear of what is laid.",
    keys: &[
        required(
            "travel_lift_mm",
            Kind::Number(between(0.05, 100.0)),
            "how far a travel over laid material lifts: less, and the nozzle touches what it passes",
        ),
        required(
            "idle_lift_mm",
            Kind::Number(above_zero(500.0)),
            "how far the idle head is raised above its place at work; between the nozzles the z offsets count, too",
        ),
    ],
};

static PURGE: Table = Table {
    text: "What the matrix head clears after it is selected, and where.",
    keys: &[
        required(
            "matrix_at_mm",
            Kind::Numbers(COORDINATE, 2, 2),
            "[x, y] where the purge line starts, machine coordinates of the nozzle; purges of higher layers are laid at their height and hang: keep a tray there",
        ),
        required(
            "matrix_line_mm",
            Kind::Number(between(1.0, LARGEST_MM)),
            "length of the purge line, towards +x",
        ),
        required("matrix_volume_mm3", Kind::Number(between(0.0, 10_000.0)), "matrix laid there each time"),
    ],
};

static TIMES: Table = Table {
    text: "Seconds for what is not a move.",
    keys: &[
        required(
            "head_change_s",
            Kind::Number(between(0.0, 60.0)),
            "one head change; for longer a hot head must not stand still",
        ),
        required("cut_s", Kind::Number(between(0.0, 60.0)), "one cut"),
        required("start_s", Kind::Number(between(0.0, 7200.0)), "the start block, without heating"),
        required("end_s", Kind::Number(between(0.0, 7200.0)), "the end block"),
    ],
};

static BLOCKS: Table = Table {
    text: "Program texts; `{{ name }}` puts a value in.",
    keys: &[
        required("start", Kind::Lines, "opens the program"),
        required("end", Kind::Lines, "closes it"),
        required("to_matrix", Kind::Lines, "after the `T` line that selects the matrix head; no moves"),
        required("to_fibre", Kind::Lines, "after the `T` line that selects the fibre head; no moves"),
        required("cut", Kind::Lines, "cuts the tow; no moves"),
        required(
            "heat",
            Kind::Lines,
            "sets a head's temperature without waiting: `{{ tool }}`, `{{ temperature_c }}`",
        ),
        required("heat_wait", Kind::Lines, "sets a head's temperature and waits"),
    ],
};
