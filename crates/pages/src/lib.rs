//! The pages of the app that a crew uses on site: a request and a job in, HTML out.
//!
//! [`respond`] answers every request that only reads. Whatever changes a job is an event that the
//! page makes on the device and hands to the log; no page changes anything when it is looked at. The
//! scripts in `assets/` make those events, keep them until they are acknowledged, and send them.
//!
//! # What holds
//! - Pages are functions of a [`World`] and a path: no clock, sockets, files or threads. They can run
//!   in a server or inside a browser.
//! - All text goes through one escaper; there is no script in a page and no style.
//! - Everything that is computed comes from the engine.

pub mod assets;
mod answer;
mod backdrop;
mod drawn;
mod layout;
mod pictures;
mod qr;
mod respond;
mod screens;
mod view;

pub use answer::{ReadingAnswer, answer_reading};
pub use drawn::look;
pub use layout::{pairing_page, trust_page};
pub use qr::qr_lines;
pub use respond::{Place, Response, respond};
pub use screens::devices::{DeviceHead, Trust, code_shown, devices_elsewhere, devices_page};
pub use view::{Connection, Depth, JobHead, JobView, World, name_of};
