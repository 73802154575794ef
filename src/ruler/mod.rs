//! The scale of a picture from a ruler in it: `reading` finds the ticks, the rest is `scale`.

pub mod columns;
pub mod findings;
pub mod page;
pub mod reading;
pub mod record;
pub mod scale;
mod sentences;
pub mod table;
pub mod terminal;
mod tick_chart;
