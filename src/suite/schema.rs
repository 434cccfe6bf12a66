//! The JSON Schemas (draft 7) of harness and case files, made from the types that read them.

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;

use super::case_file::CaseFile;
use super::harness_file::HarnessFile;

/// The schema of a harness file.
pub fn harness_schema() -> String {
    schema::<HarnessFile>()
}

/// The schema of a case file.
pub fn case_schema() -> String {
    schema::<CaseFile>()
}

fn schema<T: JsonSchema>() -> String {
    let schema = SchemaSettings::draft07().into_generator().into_root_schema_for::<T>();
    let text = serde_json::to_string_pretty(schema.as_value());
    // Only a map with keys that are no strings could fail, and a schema has none.
    text.map_or_else(|error| error.to_string(), |text| text + "\n")
}
