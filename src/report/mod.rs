//! Outcome to pages, plots, pictures and tables: one file per output.
