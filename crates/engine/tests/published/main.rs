//! The engine against published values: one file for each subject, each example with its source.

mod example;
mod hose;
mod levelling;
mod nist_strd;
mod quantiles;
