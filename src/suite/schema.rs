//! The JSON Schemas (draft 7) of harness and case files, and of JSON output, made from the types that read or write them.

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Value, json};

use super::case_file::CaseFile;
use super::harness_file::HarnessFile;

/// A placeholder, which may stand for any scalar of a case file.
const PLACEHOLDER: &str = "\\{[A-Za-z][A-Za-z0-9_-]*\\}";

/// The schema of a harness file.
pub fn harness_schema() -> String {
    print(&schema::<HarnessFile>())
}

/// The schema of a case file.
pub fn case_schema() -> String {
    let mut schema = schema::<CaseFile>();
    allow_placeholders(&mut schema);
    print(&schema)
}

/// The schema of lines that keyway prints.
pub fn lines_schema<T: JsonSchema>() -> String {
    print(&SchemaSettings::draft07().for_serialize().into_generator().into_root_schema_for::<T>().to_value())
}

fn schema<T: JsonSchema>() -> Value {
    SchemaSettings::draft07().into_generator().into_root_schema_for::<T>().to_value()
}

fn print(schema: &Value) -> String {
    // The pretty form of a value always ends.
    format!("{schema:#}\n")
}

/// Lets a placeholder stand wherever a number, a word or a patterned text may.
fn allow_placeholders(schema: &mut Value) {
    match schema {
        Value::Object(object) => {
            for (key, value) in object.iter_mut() {
                if key != "propertyNames" {
                    allow_placeholders(value);
                }
            }
            if let Some(Value::String(pattern)) = object.get_mut("pattern") {
                *pattern = format!("{pattern}|{PLACEHOLDER}");
            } else if object.get("type") == Some(&json!("integer")) {
                object.insert("type".to_owned(), json!(["integer", "string"]));
                object.insert("pattern".to_owned(), PLACEHOLDER.into());
            }
            let words =
                |list: &Vec<Value>| list.iter().all(|one| one.get("const").is_some() || one.get("enum").is_some());
            if let Some(Value::Array(list)) = object.get_mut("oneOf")
                && words(list)
            {
                list.push(json!({"type": "string", "pattern": PLACEHOLDER}));
            }
        }
        Value::Array(list) => list.iter_mut().for_each(allow_placeholders),
        _ => {}
    }
}
