//! The profile's program texts, filled in.

use crate::diagnostic::{Diagnostic, Faults, Outcome};
use crate::job::printer::Block;
use minijinja::{Environment, UndefinedBehavior};

/// The names that a block may use.
#[derive(Clone, Debug)]
pub struct Names {
    /// `[part] name`, plain characters only.
    pub part: String,
    /// Number of layers.
    pub layers: usize,
    /// Tow in the whole program, mm.
    pub fibre_length_mm: f64,
    /// Build time, h:mm:ss.
    pub build_time: String,
    /// T number of the matrix head.
    pub matrix_tool: u32,
    /// T number of the fibre head.
    pub fibre_tool: u32,
    /// degC.
    pub bed_temperature_c: f64,
    /// degC.
    pub chamber_temperature_c: f64,
    /// degC.
    pub matrix_temperature_c: f64,
    /// degC.
    pub fibre_temperature_c: f64,
    /// degC.
    pub matrix_standby_c: f64,
    /// degC.
    pub fibre_standby_c: f64,
    /// In heating blocks: the T number of the head.
    pub tool: u32,
    /// In heating blocks: degC.
    pub temperature_c: f64,
}

impl Names {
    fn context(&self) -> minijinja::Value {
        minijinja::context! {
            part => self.part.as_str(),
            layers => self.layers,
            fibre_length_mm => self.fibre_length_mm,
            build_time => self.build_time.as_str(),
            matrix_tool => self.matrix_tool,
            fibre_tool => self.fibre_tool,
            bed_temperature_c => self.bed_temperature_c,
            chamber_temperature_c => self.chamber_temperature_c,
            matrix_temperature_c => self.matrix_temperature_c,
            fibre_temperature_c => self.fibre_temperature_c,
            matrix_standby_c => self.matrix_standby_c,
            fibre_standby_c => self.fibre_standby_c,
            tool => self.tool,
            temperature_c => self.temperature_c,
        }
    }
}

/// Fills in a block.
///
/// Errors: `block-fails`, at the line of the profile.
pub fn render(block: &Block, names: &Names) -> Outcome<Vec<String>> {
    let mut env = Environment::new();
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    // whole temperatures are written without a point, as controllers expect
    env.set_formatter(|out, state, value| {
        if let Some(v) = f64::try_from(value.clone()).ok().filter(|_| value.is_number()) {
            let mut s = String::new();
            super::number::push(&mut s, v, 3);
            return out.write_str(&s).map_err(minijinja::Error::from);
        }
        minijinja::escape_formatter(out, state, value)
    });
    let text = env.render_str(&block.text, names.context()).map_err(|e| fault(block, &e))?;
    Ok(text.lines().map(str::trim_end).filter(|l| !l.trim().is_empty()).map(str::to_string).collect())
}

fn fault(block: &Block, e: &minijinja::Error) -> Faults {
    let line = e.line().unwrap_or(1);
    // the template's lines follow one another in the profile's text
    let text = &block.source.text;
    let mut start = block.span.start.min(text.len());
    let inner = text.get(start..block.span.end.min(text.len())).unwrap_or("");
    // a multi-line string begins on the line after its quotes
    let skip = usize::from(inner.starts_with("\"\"\"\n") || inner.starts_with("'''\n"));
    for _ in 1..line + skip {
        match text.get(start..).and_then(|t| t.find('\n')) {
            Some(n) => start += n + 1,
            None => break,
        }
    }
    let end = text.get(start..).and_then(|t| t.find('\n')).map_or(text.len(), |n| start + n);
    let what = e.detail().map_or_else(|| e.kind().to_string(), |d| format!("{}: {d}", e.kind()));
    Diagnostic::error("block-fails", format!("a block of the printer profile cannot be filled in: {what}"))
        .at(&block.source, start..end, "here")
        .help("names that blocks may use: part, layers, fibre_length_mm, build_time, matrix_tool, fibre_tool, bed_temperature_c, chamber_temperature_c, matrix_temperature_c, fibre_temperature_c, matrix_standby_c, fibre_standby_c; in heat and heat_wait also tool, temperature_c")
        .into()
}
