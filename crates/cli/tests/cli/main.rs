//! The program as a builder runs it: real files, the real binary, its text, JSON and exit codes.

mod commands;
mod demo;
mod export;
mod faults;
mod frame;
mod hose;
mod level_books;
mod nasty;
mod paper;
mod program;
mod replay;
mod schema;
mod work;
