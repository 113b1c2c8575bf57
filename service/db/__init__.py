"""The database: engine, column types and tables."""
