//! glTF 2.0 files to and from [`crate::rig::Rig`].
