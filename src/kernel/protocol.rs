//! What the kernel says about itself.

use serde_json::{Value, json};

/// The language of the cells, for editors and pages.
pub fn language_info() -> Value {
    json!({
        "name": "rust",
        "version": "1.95",
        "mimetype": "text/rust",
        "file_extension": ".rs",
        "pygments_lexer": "rust",
        "codemirror_mode": "rust",
        "nbconvert_exporter": "script",
    })
}
