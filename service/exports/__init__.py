"""A site's data for other programs: CSV, XLSX and Parquet."""
