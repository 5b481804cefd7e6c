//! `schema WHAT`.

use super::Report;
use crate::job::schema;
use clap::ValueEnum;

/// Which file's schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum What {
    /// The job, JOB.toml
    Job,
    /// The reinforcement map
    Map,
    /// A printer profile
    Printer,
    /// A matrix or a tow
    Material,
    /// The plan that is written, NAME.plan.json
    Plan,
}

/// The schema, JSON either way.
pub(super) fn report(what: What) -> Report {
    let schema = match what {
        What::Job => schema::job(),
        What::Map => schema::map(),
        What::Printer => schema::printer(),
        What::Material => schema::material(),
        What::Plan => crate::plan_file::schema(),
    };
    Report::of(super::json_text(&schema), schema)
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_plan_schema_is_a_schema() {
        let plan = crate::plan_file::schema();
        assert_eq!(plan["$schema"], "https://json-schema.org/draft/2020-12/schema");
        assert!(jsonschema::meta::is_valid(&plan), "not valid against its own draft");
    }
}
