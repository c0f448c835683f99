//! Outcome to pages, plots, pictures and tables: one file per output.

pub mod camera; // from where a picture is taken
pub mod colour; // value -> colour
pub mod picture; // shapes -> PNG
mod raster; // which triangle is nearest at every sample
#[cfg(test)]
mod sample; // an invented run, for the tests
mod shade; // paint, light, outlines
