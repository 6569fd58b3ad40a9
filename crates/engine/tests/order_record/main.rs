//! The order and its price, and the record of what was done, on small houses whose answers are
//! known by hand.

mod bill;
mod house;
mod record;
mod record_hostile;
