//! gusset tests how a rigged garment and the body under it deform together.
//!
//! The modules are listed in the order the data passes through them. Read [`fitting`] first.

pub mod rig; // files              -> Rig, Surface, Anatomy, findings
pub mod pose; // files, clips      -> Pose, and the joint matrices it asks for
pub mod skin; // Surface + joints  -> posed positions
pub mod contact; // posed surfaces -> who is near whom, once per frame
pub mod measure; // Moment         -> named numbers per frame, a value per sample
pub mod verdict; // numbers        -> pass, warn, fail and the reasons
pub mod wardrobe; // files           -> Dressed
pub mod rack; // fitting file        -> which garment on which body
pub mod fitting; // the pipeline itself: Dressed, poses -> Fitting
pub mod outcome; // what a run found: the record that every output reads
pub mod report; // Outcome        -> pages, plots, pictures, tables
pub mod remedies; // a failing fitting -> spots, causes, what helps
pub mod sweep; // one or two joint motions through their range -> where a garment gives out
pub mod splay; // a body alone      -> in which hip splay to build for it
pub mod refit; // before, after    -> was a garment pulled evenly
pub mod compare; // two results    -> what changed
pub mod scenes; // Dressed + Outcome -> what the pictures show

pub mod demo; // an invented mannequin and its clothes
pub mod geometry; // triangles, trees, distances; knows nothing of the above
pub mod written; // hand-written files -> a tree that knows where each word stands
pub mod timings; // where the time went
pub mod units; // the only place where metres become millimetres
