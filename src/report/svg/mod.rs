//! Drawings. To come.
