//! The job document: text in, checked engine values out, and back.

pub mod fault;
pub mod form_v1;
pub mod limits;
pub mod measure;
