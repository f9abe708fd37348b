//! What is wrong inside the files of a shard, whose bytes are as its record says: frames against the record's checksums, values against
//! what the recipe draws.

use super::frames::{cube_counts, cube_file, fits_of_counts};
use super::known::{known_array, known_line};
use super::set::Set;
use super::shard::{ShardRecord, cells_sha256, frame_sha256};
use super::table::{Table, cells_of};
use super::value::Drawn;
use crate::image_io::fits;
use crate::image_io::npz::{NpyArray, NpyValues, npy, read_npy, read_npz};
use crate::predict::star_place_px;

/// What the recipe draws, as far as that is known.
pub(super) struct Drawing<'a> {
    pub set: &'a Set,
    pub table: &'a Table,
    /// Whether values can be drawn again.
    pub drawn: bool,
}

/// What was drawn for an item: its case and its values.
struct Redrawn {
    number: u64,
    case: usize,
    drawn: Vec<Drawn>,
}

impl Drawing<'_> {
    fn items(&self, record: &ShardRecord) -> Result<Vec<Redrawn>, String> {
        let of = |number: u64| {
            let drawn = self.set.drawn(number).map_err(|error| error.to_string())?;
            let case = self.set.case(number);
            Ok(Redrawn {
                number,
                case,
                drawn,
            })
        };
        (record.items.first..=record.items.last).map(of).collect()
    }
}

/// What is wrong inside an archive.
pub(super) fn archive_fault(
    drawing: &Drawing<'_>,
    record: &ShardRecord,
    bytes: &[u8],
) -> Option<String> {
    let arrays = match read_npz(bytes) {
        Ok(arrays) => arrays,
        Err(error) => return Some(format!("cannot be read: {error}")),
    };
    let array = |name: &str| arrays.iter().find(|(own, _)| own == name).map(|(_, a)| a);
    let wanted: Vec<i64> = (record.items.first..=record.items.last)
        .map(|item| item as i64)
        .collect();
    let (Some(NpyValues::Whole(found)), Some(frames)) =
        (array("item").map(|a| &a.values), array("frames"))
    else {
        return Some("does not hold the items of its record".into());
    };
    if *found != wanted {
        return Some("does not hold the items of its record".into());
    }
    if let Some(fault) = frames_fault(record, frames) {
        return Some(fault);
    }
    let mut names = vec!["frames".to_owned(), "item".to_owned()];
    let known = drawing.set.known();
    if drawing.set.recipe.case_known {
        names.push("case".into());
    }
    names.extend(known.iter().map(|(key, _)| key.clone()));
    if !arrays.iter().map(|(name, _)| name).eq(&names) {
        return Some("holds other arrays than the recipe gives".into());
    }
    if !drawing.drawn {
        return None;
    }
    let items = match drawing.items(record) {
        Ok(items) => items,
        Err(reason) => return Some(format!("cannot be drawn again: {reason}")),
    };
    let drawn: Vec<(usize, &[Drawn])> = items
        .iter()
        .map(|item| (item.case, item.drawn.as_slice()))
        .collect();
    let case = drawing
        .set
        .recipe
        .case_known
        .then_some(("case".to_owned(), None));
    let all = case
        .into_iter()
        .chain(known.into_iter().map(|(key, kind)| (key, Some(kind))));
    for (key, kind) in all {
        let right = known_array(drawing.set, &key, kind, &drawn);
        // the bytes: NaN is not equal to itself
        if array(&key).map(npy) != Some(npy(&right)) {
            return Some(format!("hands out other values of {key} than were drawn"));
        }
    }
    None
}

/// What is wrong with an array of frames.
pub(super) fn array_fault(record: &ShardRecord, bytes: &[u8]) -> Option<String> {
    match read_npy(bytes) {
        Ok(frames) => frames_fault(record, &frames),
        Err(error) => Some(format!("cannot be read: {error}")),
    }
}

/// What is wrong with the frames to expect: their shape and numbers; that they are the right ones is told by making items again.
pub(super) fn expected_fault(
    drawing: &Drawing<'_>,
    record: &ShardRecord,
    bytes: &[u8],
) -> Option<String> {
    let [columns, rows] = drawing.set.frame_px();
    match read_npy(bytes) {
        Ok(NpyArray {
            shape,
            values: NpyValues::Real(values),
        }) if shape == [record.frame_sha256.len(), rows, columns]
            && values.iter().all(|value| value.is_finite()) =>
        {
            None
        }
        Ok(_) => Some("does not hold a frame to expect for each item".into()),
        Err(error) => Some(format!("cannot be read: {error}")),
    }
}

fn frames_fault(record: &ShardRecord, frames: &NpyArray) -> Option<String> {
    let NpyValues::Counts(counts) = &frames.values else {
        return Some("holds frames that are not counts".into());
    };
    let size = (counts.len() / record.frame_sha256.len().max(1)).max(1);
    let found = counts
        .chunks(size)
        .map(|frame| frame_sha256(frame.iter().copied()));
    let same = found.eq(record.frame_sha256.iter().cloned());
    (!same).then(|| "holds other frames than its record lists".into())
}

/// What is wrong with the FITS file of an item.
pub(super) fn fits_fault(
    drawing: &Drawing<'_>,
    record: &ShardRecord,
    name: &str,
    bytes: &[u8],
) -> Option<String> {
    let number: u64 = name
        .strip_suffix(".fits")?
        .rsplit_once('.')?
        .1
        .parse()
        .ok()?;
    let listed = record
        .frame_sha256
        .get(number.checked_sub(record.items.first)? as usize)?;
    let counts = match fits::read(bytes).and_then(|image| image.counts_adu()) {
        Ok(counts) => counts,
        Err(error) => return Some(format!("cannot be read: {error}")),
    };
    if frame_sha256(counts.iter().copied()) != *listed {
        return Some("holds another frame than its record lists".into());
    }
    if !drawing.drawn {
        return None;
    }
    let written = drawing.set.scenario(number).and_then(|(scenario, _)| {
        let star_px = star_place_px(&scenario.instrument, &scenario.state);
        fits_of_counts(drawing.set, number, &scenario, counts, star_px)
    });
    match written {
        Ok(written) if written == bytes => None,
        Ok(_) => Some("has other cards than the recipe gives".into()),
        Err(error) => Some(format!("cannot be drawn again: {error}")),
    }
}

/// What is wrong with the FITS file of all frames.
pub(super) fn cube_fault(
    drawing: &Drawing<'_>,
    record: &ShardRecord,
    bytes: &[u8],
) -> Option<String> {
    let frames = record.frame_sha256.len();
    let Some(counts) = cube_counts(drawing.set, frames, bytes) else {
        return Some("is too short for the frames of its record".into());
    };
    let each = counts.len() / frames.max(1);
    let found = counts
        .chunks(each.max(1))
        .map(|frame| frame_sha256(frame.iter().copied()));
    if !found.eq(record.frame_sha256.iter().cloned()) {
        return Some("holds other frames than its record lists".into());
    }
    match cube_file(drawing.set, record.items.first, &counts) {
        Ok(written) if written == bytes => None,
        Ok(_) => Some("has other cards than the recipe gives".into()),
        Err(error) => Some(format!("cannot be drawn again: {error}")),
    }
}

/// What is wrong with a Parquet table beside a CSV table that is right.
#[cfg(feature = "parquet")]
pub(super) fn parquet_fault(table: &Table, csv: &[u8], bytes: &[u8]) -> Option<String> {
    let rows = match table.rows_of_csv(csv) {
        Ok(rows) => rows,
        Err(error) => return Some(format!("has no table beside it: {error}")),
    };
    match super::parquet_table::write(table, &rows) {
        Ok(written) if written == bytes => None,
        Ok(_) => Some("does not hold what the CSV table holds".into()),
        Err(error) => Some(error.to_string()),
    }
}

/// What is wrong with the table of what is handed out.
pub(super) fn known_fault(
    drawing: &Drawing<'_>,
    record: &ShardRecord,
    bytes: &[u8],
) -> Option<String> {
    if !drawing.drawn {
        return None;
    }
    let items = match drawing.items(record) {
        Ok(items) => items,
        Err(reason) => return Some(format!("cannot be drawn again: {reason}")),
    };
    let mut reader = csv::Reader::from_reader(bytes);
    let names: Vec<String> = match reader.headers() {
        Ok(names) => names.iter().map(str::to_owned).collect(),
        Err(error) => return Some(format!("cannot be read: {error}")),
    };
    let mut rows = reader.records();
    for item in &items {
        let Some(Ok(row)) = rows.next() else {
            return Some(format!("has no row for item {}", item.number));
        };
        let line = known_line(drawing.set, item.number, item.case, &item.drawn);
        if !line.iter().map(|(name, _)| name).eq(&names) {
            return Some("has other columns than the recipe gives".into());
        }
        if !row.iter().eq(line.iter().map(|(_, cell)| cell.as_str())) {
            return Some(format!(
                "hands out other values for item {} than were drawn",
                item.number
            ));
        }
    }
    rows.next().map(|_| "has more rows than items".to_owned())
}

/// What is wrong inside a truth table.
pub(super) fn table_fault(
    drawing: &Drawing<'_>,
    record: &ShardRecord,
    bytes: &[u8],
) -> Option<String> {
    let mut reader = csv::Reader::from_reader(bytes);
    let names = match reader.headers() {
        Ok(names) => names.clone(),
        Err(error) => return Some(format!("cannot be read: {error}")),
    };
    if !names.iter().eq(drawing
        .table
        .columns
        .iter()
        .map(|column| column.name.as_str()))
    {
        return Some("has other columns than the recipe gives".into());
    }
    let mut wanted = record.items.first;
    for (number, row) in reader.records().enumerate() {
        let Ok(row) = row else {
            return Some(format!("cannot be read at row {}", number + 1));
        };
        if row.get(0) != Some(wanted.to_string().as_str()) || wanted > record.items.last {
            return Some(format!("has no row for item {wanted} where it should be"));
        }
        let listed = record.truth_sha256.get(number);
        if listed.is_some_and(|sha256| *sha256 != cells_sha256(row.iter())) {
            return Some(format!(
                "has another row for item {wanted} than its record lists"
            ));
        }
        let cell = |name: &str| {
            let at = names.iter().position(|own| own == name);
            at.and_then(|at| row.get(at))
        };
        if let Some(fault) = row_fault(drawing, wanted, &cell) {
            return Some(fault);
        }
        wanted += 1;
    }
    (wanted != record.items.last + 1).then(|| format!("ends before item {wanted}"))
}

/// What of a row can be told without a frame: case, seed and what was drawn.
fn row_fault<'a>(
    drawing: &Drawing<'_>,
    number: u64,
    cell: &dyn Fn(&str) -> Option<&'a str>,
) -> Option<String> {
    if !drawing.drawn {
        return None;
    }
    let set = drawing.set;
    let other = |what: &str| {
        Some(format!(
            "has another {what} for item {number} than was drawn"
        ))
    };
    let case = set.case(number);
    if set.cases[case].name.as_deref() != cell("case") {
        return other("case");
    }
    let seed = (!set.sealed()).then(|| set.noise_seed(number).to_string());
    if seed.as_deref() != cell("seed") {
        return other("seed");
    }
    let Ok(drawn) = set.drawn(number) else {
        return other("value");
    };
    for (key, kind) in drawing.table.drawn() {
        let found = drawn.iter().find(|drawn| drawn.key == *key);
        for (part, right) in cells_of(*kind, found) {
            let name = format!("drawn.{key}{part}");
            if cell(&name) != Some(right.text().as_str()) {
                return other(&name);
            }
        }
    }
    None
}
