//! Tables of one's own as laws: measured nights, a catalogue, answers of another program. CSV, and Parquet with that feature.

use super::error::SetError;
use super::value::ValueKind;
use std::collections::BTreeMap;

/// Tables by the names that recipes give them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct GivenTables(BTreeMap<String, GivenTable>);

/// One table: every cell as TOML.
#[derive(Debug, Clone, PartialEq)]
struct GivenTable {
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// Most rows of a table.
const MOST_ROWS: usize = 10_000_000;

impl GivenTables {
    /// Reads tables from the bytes of their files, by the files' names.
    ///
    /// # Errors
    /// [`SetError::Given`] with the file and its line.
    pub fn read(files: &BTreeMap<String, Vec<u8>>) -> Result<GivenTables, SetError> {
        let read = |(file, bytes): (&String, &Vec<u8>)| {
            let refuse = |reason: String| SetError::Given {
                file: file.clone(),
                reason,
            };
            let is_parquet = file.to_ascii_lowercase().ends_with(".parquet");
            let table = if is_parquet {
                parquet(bytes)
            } else {
                csv(bytes)
            }
            .map_err(refuse)?;
            match table.rows.len() {
                1..=MOST_ROWS => Ok((file.clone(), table)),
                0 => Err(refuse("has no rows".into())),
                rows => Err(refuse(format!(
                    "has {rows} rows, but {MOST_ROWS} at most are read"
                ))),
            }
        };
        Ok(GivenTables(
            files.iter().map(read).collect::<Result<_, _>>()?,
        ))
    }

    /// The cell of a column in the row at a share, 0 to 1, of all rows.
    pub fn value(&self, file: &str, column: &str, share: f64) -> Option<String> {
        let table = self.0.get(file)?;
        let at = table.columns.iter().position(|own| own == column)?;
        let row = (share * table.rows.len() as f64) as usize;
        table
            .rows
            .get(row.min(table.rows.len() - 1))
            .map(|row| row[at].clone())
    }

    /// What kind of values a column holds; `None` where there is no such column.
    pub fn kind(&self, file: &str, column: &str) -> Option<ValueKind> {
        let table = self.0.get(file)?;
        let at = table.columns.iter().position(|own| own == column)?;
        let cells: Vec<&String> = table.rows.iter().map(|row| &row[at]).collect();
        Some(ValueKind::of_all(&cells))
    }

    /// Rows of a table.
    pub fn rows(&self, file: &str) -> usize {
        self.0.get(file).map_or(0, |table| table.rows.len())
    }

    /// Columns of a table, for messages.
    pub fn columns(&self, file: &str) -> String {
        self.0
            .get(file)
            .map_or(String::new(), |table| table.columns.join(", "))
    }
}

fn csv(bytes: &[u8]) -> Result<GivenTable, String> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let words = |error: csv::Error| format!("cannot be read: {error}");
    let names = reader.headers().map_err(words)?.clone();
    let columns: Vec<String> = names
        .iter()
        .map(|name| name.trim_start_matches('\u{feff}').to_owned())
        .collect();
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(words)?;
        let line = record.position().map_or(0, |place| place.line());
        if let Some(at) = record.iter().position(str::is_empty) {
            return Err(format!(
                "has an empty cell in line {line}, column {}",
                columns[at]
            ));
        }
        rows.push(record.iter().map(cell).collect());
    }
    Ok(GivenTable { columns, rows })
}

/// A cell as TOML: numbers, true and false as they stand, anything else in quotes.
fn cell(text: &str) -> String {
    let number = text.parse::<f64>().ok().filter(|value| value.is_finite());
    match number {
        Some(value) => format!("{value:?}"),
        None if ["true", "false"].contains(&text) => text.to_owned(),
        None => toml::Value::String(text.to_owned()).to_string(),
    }
}

#[cfg(feature = "parquet")]
fn parquet(bytes: &[u8]) -> Result<GivenTable, String> {
    let (columns, rows) = super::parquet_table::read(bytes)?;
    let rows = rows
        .into_iter()
        .map(|row| row.iter().map(|text| cell(text)).collect())
        .collect();
    Ok(GivenTable { columns, rows })
}

#[cfg(not(feature = "parquet"))]
fn parquet(_: &[u8]) -> Result<GivenTable, String> {
    Err("is a Parquet file, which this build does not read: save it as CSV, or build with --features parquet".into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tables(text: &str) -> Result<GivenTables, SetError> {
        GivenTables::read(&[("nights.csv".to_owned(), text.as_bytes().to_vec())].into())
    }

    #[test]
    fn a_table_gives_its_rows_with_their_types() {
        let tables = tables("seeing, clear,who\n1.5,true,a b\n2,false,\"c\"\n").unwrap();
        let value = |column, share| tables.value("nights.csv", column, share).unwrap();
        assert_eq!(
            (value("seeing", 0.0), value("seeing", 0.999)),
            ("1.5".into(), "2.0".into())
        );
        assert_eq!(
            (value("clear", 0.2), value("who", 0.6)),
            ("true".into(), "\"c\"".into())
        );
        let kind = |column| tables.kind("nights.csv", column);
        assert_eq!(kind("seeing"), Some(ValueKind::Number));
        assert_eq!(
            (kind("clear"), kind("who")),
            (Some(ValueKind::Flag), Some(ValueKind::Text))
        );
        assert_eq!((kind("wind"), tables.rows("nights.csv")), (None, 2));
    }

    #[test]
    fn what_is_no_table_is_told_with_its_line() {
        let refused = |text| tables(text).unwrap_err().to_string();
        assert_eq!(
            refused("a,b\n1,\n"),
            "nights.csv has an empty cell in line 2, column b"
        );
        assert_eq!(refused("a,b\n"), "nights.csv has no rows");
        assert!(refused("a,b\n1,2\n3\n").contains("line: 3"));
    }
}
