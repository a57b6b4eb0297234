//! Traces to and from a file of the open Arrow format.

use super::save::{Traces, quantity, quantity_word};
use super::solution::Channel;
use crate::error::{Error, Kind, Result};
use crate::quantity::Dim;
use crate::quantity::unit::UNITS;
use arrow_array::{Array, ArrayRef, Float64Array, RecordBatch};
use arrow_ipc::{reader::FileReader, writer::FileWriter};
use arrow_schema::{ArrowError, DataType, Field, Schema};
use indexmap::IndexMap;
use std::collections::HashMap;
use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::Path;
use std::sync::Arc;

/// Column of the times.
const TIME: &str = "time";
/// Key of a column's quantity, such as `Pressure gauge`, and of its SI unit.
const QUANTITY: &str = "quantity";
const UNIT: &str = "unit";

/// Symbol of the SI unit of a quantity.
fn si_unit(dim: Dim) -> &'static str {
    UNITS.iter().find(|u| u.dim == dim && u.factor == 1.0 && u.offset == 0.0).map_or("SI", |u| u.symbol)
}

fn refused(e: &ArrowError) -> Error {
    Error::new(Kind::Format, e.to_string())
        .next("give a file of the Arrow IPC format that was written as traces")
}

impl Traces {
    /// Writes an Arrow IPC file: a column of doubles for `time` and for each channel, SI, each with its quantity and
    /// unit in the column's metadata. Numbers keep every bit.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn save_arrow(&self, path: impl AsRef<Path>) -> Result<()> {
        let path = path.as_ref();
        let field = |name: &str, quantity: String, unit: &str| {
            let words = [(QUANTITY.to_owned(), quantity), (UNIT.to_owned(), unit.to_owned())];
            Field::new(name, DataType::Float64, false).with_metadata(HashMap::from(words))
        };
        let mut fields = vec![field(TIME, "Time".into(), "s")];
        let mut columns: Vec<ArrayRef> = vec![Arc::new(Float64Array::from(self.t.to_vec()))];
        for (name, c) in &self.channels {
            fields.push(field(name, quantity_word(c.dim, c.flavour), si_unit(c.dim)));
            columns.push(Arc::new(Float64Array::from(c.values.to_vec())));
        }
        let schema = Arc::new(Schema::new(fields));
        let file = File::create(path).map_err(|e| Error::file(path, &e))?;
        let write = || {
            let batch = RecordBatch::try_new(schema.clone(), columns)?;
            let mut writer = FileWriter::try_new(BufWriter::new(file), &schema)?;
            writer.write(&batch)?;
            writer.finish()
        };
        write().map_err(|e| {
            Error::new(Kind::Format, e.to_string())
                .next("choose another place, or free some room")
                .in_file(path)
        })
    }

    /// Reads what [`Traces::save_arrow`] wrote, to the bit.
    ///
    /// # Errors
    /// Not such a file; a column that is no double or names no known quantity, by its name.
    pub fn load_arrow(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let file = File::open(path).map_err(|e| Error::file(path, &e))?;
        read(BufReader::new(file)).map_err(|e| e.in_file(path))
    }
}

fn read(file: impl std::io::Read + std::io::Seek) -> Result<Traces> {
    let reader = FileReader::try_new(file, None).map_err(|e| refused(&e))?;
    let schema = reader.schema();
    let mut rows: Vec<Vec<f64>> = vec![Vec::new(); schema.fields().len()];
    for batch in reader {
        let batch = batch.map_err(|e| refused(&e))?;
        for ((rows, column), field) in rows.iter_mut().zip(batch.columns()).zip(schema.fields()) {
            let column = column.as_any().downcast_ref::<Float64Array>().filter(|c| c.null_count() == 0);
            let column = column.ok_or_else(|| {
                Error::new(Kind::Format, format!("column \"{}\" does not hold doubles alone", field.name()))
                    .next("write it as 64 bit floating point without gaps")
            })?;
            rows.extend(column.values());
        }
    }
    let mut t = None;
    let mut channels = IndexMap::new();
    for (field, values) in schema.fields().iter().zip(rows) {
        if field.name() == TIME {
            t = Some(values.into());
            continue;
        }
        let word = field.metadata().get(QUANTITY).map(String::as_str).unwrap_or_default();
        let (dim, flavour) = quantity(word).ok_or_else(|| {
            let what =
                format!("column \"{}\" says it is a \"{word}\", which is no known quantity", field.name());
            Error::new(Kind::Format, what).next(format!("name one in its metadata under \"{QUANTITY}\""))
        })?;
        channels.insert(field.name().clone(), Channel { dim, flavour, values: values.into() });
    }
    let t = t.ok_or_else(|| {
        Error::new(Kind::Format, format!("there is no column \"{TIME}\"")).next("name the column of times so")
    })?;
    Ok(Traces { t, channels })
}
