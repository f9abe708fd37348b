//! The truth table as a Parquet file: the same columns, with types, so that a cell need not be parsed. Feature `parquet`.
