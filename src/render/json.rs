//! JSON, as it is written and printed: indented, keys in the order of the struct, one line feed at the end.

use serde::Serialize;

/// The bytes of a JSON file. Figures are rounded where they enter the report, so equal reports give equal bytes.
pub fn bytes<T: Serialize>(value: &T) -> Vec<u8> {
    // Fails only for maps whose keys are no strings; the report holds none.
    let mut bytes = serde_json::to_vec_pretty(value).unwrap_or_default();
    bytes.push(b'\n');
    bytes
}
