//! Tests of the kinds of symbol as they are drawn.

mod attitude;
mod bar;
mod dial;
mod flag;
mod freedoms;
mod looks;
mod power_gauge;
mod rose;
mod tape;
mod target;
mod text;
