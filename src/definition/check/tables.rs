//! Further tables of the recording: each has slots, and channels that are read from them.

use super::Check;
use super::limits::*;
use crate::definition::error::suggestion;
use crate::definition::model::Channel;
use crate::definition::place::At;

impl Check<'_> {
    pub(super) fn tables(&mut self, at: &At<'_>) {
        for (name, table) in &self.file.tables {
            self.name(&at.name(name), "table name", name);
            let at = at.key(name);
            if table.key.is_empty() {
                let message =
                    format!("table \"{name}\" names no column that says what a row is of");
                self.say(&at.key("key"), message);
            }
            self.number(&at.key("slots"), f64::from(table.slots), &SLOTS);
        }
    }

    /// Which table and slot a channel is of.
    pub(super) fn slot(&mut self, at: &At<'_>, name: &str, channel: &Channel) {
        let Some(table) = &channel.table else {
            if channel.slot.is_some() {
                let message = format!("channel \"{name}\" has a slot and no table that it is of");
                self.say(&at.key("slot"), message);
            }
            return;
        };
        let Some(found) = self.file.tables.get(table) else {
            self.no_table(&at.key("table"), table);
            return;
        };
        if channel.expression.is_some() {
            let message = format!("channel \"{name}\" is worked out, and is of no table");
            let help = "its expression names the channels of a slot, with {slot} in its own name and theirs";
            self.say_with(&at.key("table"), message, Some(help.into()));
        }
        match channel.slot {
            None => {
                let message = format!("channel \"{name}\" is of no slot of \"{table}\"");
                let help =
                    format!("call it {table}_{{slot}}_... : it stands there for every slot then");
                self.say_with(at, message, Some(help));
            }
            Some(slot) if !(1..=found.slots).contains(&slot) => {
                let message = format!("slot {slot}: \"{table}\" has slots 1 to {}", found.slots);
                self.say(&at.key("slot"), message);
            }
            Some(_) => {}
        }
    }

    pub(super) fn no_table(&mut self, at: &At<'_>, name: &str) {
        let help = suggestion(name, self.file.tables.keys().map(String::as_str));
        let help = help.or_else(|| Some("tables are listed in [tables]".into()));
        self.say_with(at, format!("there is no table \"{name}\""), help);
    }
}
