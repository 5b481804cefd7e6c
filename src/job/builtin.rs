//! Printers and materials that come with towpath, as the same TOML that a user
//! writes.

/// A built-in file.
#[derive(Debug)]
pub struct BuiltIn {
    /// Its name, the same as in the text.
    pub name: &'static str,
    /// The TOML.
    pub text: &'static str,
}

/// Printers, in the order of `printer list`.
pub static PRINTERS: &[BuiltIn] = &[
    BuiltIn { name: "shuttle-15", text: include_str!("../../profiles/printers/shuttle-15.toml") },
    BuiltIn { name: "reed-35", text: include_str!("../../profiles/printers/reed-35.toml") },
    BuiltIn { name: "heddle-25", text: include_str!("../../profiles/printers/heddle-25.toml") },
    BuiltIn { name: "weir-20", text: include_str!("../../profiles/printers/weir-20.toml") },
];

/// Matrices, in the order of `material list`.
pub static MATRICES: &[BuiltIn] = &[
    BuiltIn { name: "pa12", text: include_str!("../../profiles/matrices/pa12.toml") },
    BuiltIn { name: "peek", text: include_str!("../../profiles/matrices/peek.toml") },
    BuiltIn { name: "pekk", text: include_str!("../../profiles/matrices/pekk.toml") },
];

/// Tows, in the order of `material list`.
pub static TOWS: &[BuiltIn] = &[
    BuiltIn { name: "carbon-1k-pa12", text: include_str!("../../profiles/tows/carbon-1k-pa12.toml") },
    BuiltIn { name: "carbon-1k5-peek", text: include_str!("../../profiles/tows/carbon-1k5-peek.toml") },
    BuiltIn { name: "carbon-3k-pekk", text: include_str!("../../profiles/tows/carbon-3k-pekk.toml") },
];

/// The names of a list.
pub fn names(list: &'static [BuiltIn]) -> Vec<&'static str> {
    list.iter().map(|b| b.name).collect()
}

/// The one of a name.
pub fn find(list: &'static [BuiltIn], name: &str) -> Option<&'static BuiltIn> {
    list.iter().find(|b| b.name == name)
}
