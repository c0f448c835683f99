//! A fitting file for what lies in a folder.
