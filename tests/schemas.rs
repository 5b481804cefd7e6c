//! The printed schemas and the readers say the same: every single change of a
//! good file is refused by both or by neither.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use towpath::diagnostic::{Diagnostic, Notes, Source};
use towpath::job::{self, builtin, map, material, printer, schema};
use towpath::kit::blank;

/// Faults that one file alone shows, key by key. Others come from two keys that
/// do not go together, or from other files: no schema knows those.
fn of_the_format(d: &Diagnostic) -> bool {
    let codes = [
        "unknown-key",
        "missing-key",
        "wrong-type",
        "out-of-range",
        "unknown-name",
        "one-of",
        "not-yet",
        "layers-syntax",
    ];
    codes.contains(&d.code) && !d.message.starts_with("there is no built-in")
}

const JOB: &str = r#"
[part]
name = "link"
outline = "link.svg"
thickness_mm = 2.0
unit = "mm"
[build]
printer = "reed-35"
matrix = "peek"
tow = "carbon-1k5-peek"
layer_height_mm = 0.2
copies = 2
course_deviation_mm = 0.02
end_stagger_mm = 10
[matrix]
perimeters = 2
bead_width_mm = 0.5
fill = "contour"
fill_angles_deg = [0, 90]
fill_fraction = 0.8
[reinforcement]
map = "link.map.toml"
[cost]
currency = "EUR"
printer_per_h = 6.5
labour_per_h = 48
tow_scrap_fraction = 0.06
tool_life_parts = 20000
batches_per_year = 6
shift_h = 8
availability_fraction = 0.85
[press]
cycle_s = 900
parts_per_cycle = 4
[[insert]]
name = "bush"
count = 2
price_each = 0.85
mass_g = 3.1
[[insert]]
name = "pin"
[machined]
alloy = "steel-4130"
density_g_cm3 = 7.8
mass_g = 120
volume_mm3 = 9000
price_each = 41
setup_per_year = 1500
"#;

const MAP: &str = r#"
[[region]]
name = "pin"
shape = { hole_at_mm = [1.0, 2.0] }
layers = "3-17/2"
rule = "hoop"
courses = 4
spacing_mm = 1.0
min_bend_radius_mm = 6.0
priority = 2
[[region]]
shape = { polygon_mm = [[0, 0], [10, 0], [10, 10]] }
layers = "z 0.6-3.4"
rule = "unidirectional"
angle_deg = [0, 45, -45]
[[region]]
shape = { outline = true }
rule = "unidirectional"
angle_deg = 30
[[region]]
shape = { circle_mm = [1, 2, 3] }
rule = "contour"
[[region]]
shape = { id = "window" }
layers = "all"
rule = "contour"
[[region]]
shape = { circle_mm = [1, 2, 3] }
rule = "steered"
field = "flow.csv"
"#;

/// Every file that one change makes of a good one, with what was done.
fn spoilt(good: &Value) -> Vec<(String, Value)> {
    let mut all = vec![("nothing".to_owned(), good.clone())];
    let mut pointers = Vec::new();
    walk(good, String::new(), &mut pointers);
    let others = [
        json!("text"),
        json!(""),
        json!(" "),
        json!("two\nlines"),
        json!(true),
        json!(0),
        json!(-7),
        json!(0.37),
        json!(1_000_000_000),
        json!([]),
        json!([1, 2]),
        json!([1, 2, 3, 4, 5]),
        json!([["a", 1], [2, 3], [4, 5]]),
        json!({}),
        json!({"id": "a", "outline": true}),
    ];
    for p in &pointers {
        for other in &others {
            let mut file = good.clone();
            *file.pointer_mut(p).expect("walked before") = other.clone();
            all.push((format!("{p} = {other}"), file));
        }
        let (parent, key) = p.rsplit_once('/').expect("a pointer has a slash");
        let mut file = good.clone();
        match file.pointer_mut(parent).expect("walked before") {
            Value::Object(table) => {
                table.remove(key);
                all.push((format!("{p} removed"), file.clone()));
                let table = file.pointer_mut(parent).and_then(Value::as_object_mut).expect("the same table");
                table.insert(format!("{key}_x"), json!(1));
                all.push((format!("{p}_x instead"), file));
            }
            Value::Array(list) => {
                list.remove(key.parse().expect("an index"));
                all.push((format!("{p} removed"), file));
            }
            _ => {}
        }
    }
    all
}

fn walk(value: &Value, at: String, out: &mut Vec<String>) {
    let children: Vec<(String, &Value)> = match value {
        Value::Object(table) => table.iter().map(|(k, v)| (k.clone(), v)).collect(),
        Value::Array(list) => list.iter().enumerate().map(|(i, v)| (i.to_string(), v)).collect(),
        _ => Vec::new(),
    };
    for (key, child) in children {
        let at = format!("{at}/{key}");
        out.push(at.clone());
        walk(child, at, out);
    }
}

/// Compares a schema with a reader over every spoilt file.
fn agree(schema: &Value, good: &str, read: impl Fn(&Arc<Source>) -> Vec<Diagnostic>) {
    assert!(jsonschema::meta::is_valid(schema), "not a schema");
    let validator = jsonschema::validator_for(schema).expect("a schema");
    let good: Value = toml::from_str(good).expect("TOML");
    let mut differ = String::new();
    let mut refused = 0;
    let cases = spoilt(&good);
    for (what, file) in &cases {
        let text = toml::to_string(file).expect("a table");
        let source = Arc::new(Source { name: "f.toml".to_owned(), text });
        let faults: Vec<Diagnostic> = read(&source).into_iter().filter(of_the_format).collect();
        refused += usize::from(!faults.is_empty());
        if validator.is_valid(file) != faults.is_empty() {
            let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
            let schema = validator.iter_errors(file).map(|e| e.to_string()).collect::<Vec<_>>();
            differ.push_str(&format!("{what}\n  reader: {told:?}\n  schema: {schema:?}\n"));
        }
    }
    assert!(differ.is_empty(), "{differ}");
    assert!(cases.len() > 100, "only {} files", cases.len());
    assert!(refused > cases.len() / 2, "only {refused} of {} were refused", cases.len());
    assert!(validator.is_valid(&good) && read_ok(&good, &read), "the good file is refused");
}

fn read_ok(good: &Value, read: impl Fn(&Arc<Source>) -> Vec<Diagnostic>) -> bool {
    let text = toml::to_string(good).expect("a table");
    read(&Arc::new(Source { name: "f.toml".to_owned(), text })).is_empty()
}

#[test]
fn printer_profiles() {
    for b in builtin::PRINTERS {
        agree(&schema::printer(), b.text, |s| printer::read(s).err().map_or_else(Vec::new, |f| f.0));
    }
    // every optional key, too
    let new = blank::text("new").replace("\n# feed_scale", "\nfeed_scale");
    let new = new.replace("\n# way = ", "\nway = ").replace("\n# block_time_s", "\nblock_time_s");
    let new =
        new.replace("\n# jerk_mm_s3", "\njerk_mm_s3").replace("\n# time_constant_s", "\ntime_constant_s");
    let new = new.replace("\n# matrix_at_mm", "\nmatrix_at_mm").replace("\n# fibre_at_mm", "\nfibre_at_mm");
    agree(&schema::printer(), &new, |s| printer::read(s).err().map_or_else(Vec::new, |f| f.0));
}

#[test]
fn materials() {
    // `kind` decides which of the two it is, so the reader is asked for that one
    for b in builtin::MATRICES.iter().take(1) {
        agree(&one_of(0), b.text, |s| material::read_matrix(s).err().map_or_else(Vec::new, |f| f.0));
    }
    for b in builtin::TOWS.iter().take(1) {
        agree(&one_of(1), b.text, |s| material::read_tow(s).err().map_or_else(Vec::new, |f| f.0));
    }
    let whole = jsonschema::validator_for(&schema::material()).expect("a schema");
    for b in builtin::MATRICES.iter().chain(builtin::TOWS) {
        let file: Value = toml::from_str(b.text).expect("TOML");
        assert!(whole.is_valid(&file), "{}", b.name);
    }
}

fn one_of(index: usize) -> Value {
    let schema = schema::material();
    let mut alternative = schema["oneOf"][index].clone();
    alternative["$schema"] = schema["$schema"].clone();
    alternative
}

#[test]
fn maps() {
    agree(&schema::map(), MAP, |s| {
        map::read(&mut Notes::default(), s, None).err().map_or_else(Vec::new, |f| f.0)
    });
}

#[test]
fn jobs() {
    let folder: PathBuf = Path::new(env!("CARGO_TARGET_TMPDIR")).join("schemas");
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    std::fs::write(folder.join("link.svg"), "<svg/>").expect("a scratch file");
    std::fs::write(folder.join("link.map.toml"), MAP).expect("a scratch file");
    std::fs::write(folder.join("flow.csv"), "x_mm,y_mm,angle_deg\n1,2,0\n").expect("a scratch file");
    let path = folder.join("job.toml");
    agree(&schema::job(), JOB, |s| {
        std::fs::write(&path, &s.text).expect("a scratch file");
        job::read(&mut Notes::default(), &path).err().map_or_else(Vec::new, |f| f.0)
    });
}

#[test]
fn every_key_is_described_with_its_unit() {
    fn check(name: &str, schema: &Value) {
        let empty = Map::new();
        for (key, property) in schema["properties"].as_object().unwrap_or(&empty) {
            let text = property["description"].as_str().unwrap_or("");
            assert!(text.len() > 3, "{name}.{key} has no description");
            if key.ends_with("_mm") && property["type"] == "number" {
                assert!(text.ends_with("[mm]"), "{name}.{key}: {text}");
            }
            check(&format!("{name}.{key}"), property);
            check(&format!("{name}.{key}"), &property["items"]);
        }
    }
    for (name, schema) in [("job", schema::job()), ("map", schema::map()), ("printer", schema::printer())] {
        check(name, &schema);
    }
}
