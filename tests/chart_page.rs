//! Figures and sliders inside an exported page: kept whole, nothing left out, nothing loaded.

use crate::chart_samples::{believable, explorable};
use railrise::notebook::export::{self, Options};
use railrise::notebook::{Notebook, output};
use railrise::rich::Rich;
use serde_json::json;

#[test]
fn an_exported_page_keeps_figures_and_sliders() {
    let shown = |value: &dyn Rich| {
        let data = value.rich().to_json();
        output::display(data.as_object().expect("an object").clone())
    };
    let mut outputs: Vec<_> = believable().iter().map(|(_, figure)| shown(figure)).collect();
    outputs.extend([shown(&explorable()), shown(&explorable())]);
    let cell = json!({ "cell_type": "code", "execution_count": 1, "id": "a", "metadata": {},
        "outputs": outputs, "source": "figures" });
    let notebook = json!({ "cells": [{ "cell_type": "markdown", "id": "b", "metadata": {}, "source": "# All figures" }, cell],
        "metadata": {}, "nbformat": 4, "nbformat_minor": 5 });
    let notebook = Notebook::from_str("figures.ipynb", &notebook.to_string()).expect("a notebook");
    let page = export::page(&notebook, &Options::default());
    assert!(page.complaints.is_empty(), "{:?}", page.complaints);
    assert_eq!(page.html.matches("role=\"img\"").count(), believable().len() + 2 * 5);
    assert_eq!(page.html.matches("oninput=").count(), 2);
    assert_eq!(page.html.matches("onerror=").count(), 2);
    if let Some(folder) = std::env::var_os("RAILRISE_PICTURES") {
        let folder = std::path::PathBuf::from(folder).join("page");
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::write(folder.join("figures.html"), page.html).expect("written");
    }
}
