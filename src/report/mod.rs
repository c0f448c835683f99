//! Outcome to pages, plots, pictures and tables: one file per output.

pub mod chart; // curves over angles or poses
pub mod csv; // every frame's numbers as a table
pub mod folder; // all of it as one folder, whole or not at all
pub mod heat; // a number over two angles
pub mod json; // result.json, and back
pub mod junit; // for build servers
pub mod leaf; // a short page: words, plots, pictures
pub mod markdown; // for a pull request
pub mod page; // one page to look at
pub mod plot; // a number through all frames, against its limit
pub mod rack; // many fittings at a glance
pub mod text; // the summary in a terminal

pub mod camera; // from where a picture is taken
pub mod card; // the three pictures of a spot
pub mod colour; // value -> colour
pub mod model; // what the 3-D view is made of
pub mod palette; // a picture in few colours
pub mod picture; // shapes -> PNG
pub mod pictures; // which file shows what
pub mod rig; // roles, angles, weight pictures
pub mod scene; // what a still is made of
mod share; // a report to pass on
mod tree; // a folder that appears whole or not at all
pub use tree::Tree;
pub mod stills; // scene -> pictures with their words
pub mod words; // how numbers and verdicts are put
pub mod worst; // which number stands worst against its limit

mod canvas; // lines and words as SVG and PNG
mod raster; // which triangle is nearest at every sample
#[cfg(test)]
pub(crate) mod sample; // an invented run, for the tests
mod shade; // paint, light, outlines
