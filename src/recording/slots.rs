//! Tables with a row a thing and time: which slot a thing has, and the channels of each slot.
//!
//! What comes of a table is samples at rows of the recording, as if each slot had columns there.

use std::collections::BTreeSet;

use super::clock::{Clock, Tick};
use super::error::{Error, Kind};
use super::read::{Binding, Bound, Columns, bind, find_time, nearest_name, unread, written_name};
use super::sampled::TIME_SLACK_S;
use super::source::{Cell, Source};
use super::table::{MissingColumns, Values};
use crate::definition::Definition;
use crate::definition::model::Table;
use crate::definition::recording_form::{RecordingForm, Repeats};

/// How a table is read.
pub(super) struct Reading<'r> {
    pub(super) origin: &'r str,
    pub(super) form: &'r RecordingForm,
    pub(super) definition: &'r Definition,
    pub(super) missing: MissingColumns,
    pub(super) name: &'r str,
    pub(super) table: &'r Table,
}

/// What has a slot.
struct Holder {
    key: String,
    newest_s: f64,
    row: usize,
}

/// A thing of a table, and for how long it had a slot, by recording time.
#[derive(Clone, Debug)]
pub(super) struct Stay {
    pub(super) table: String,
    /// From 1.
    pub(super) slot: u32,
    pub(super) key: String,
    pub(super) from_s: f64,
    /// Its newest row.
    newest_s: f64,
    /// Age of that from which on the slot is free, s.
    longest_s: f64,
}

impl Stay {
    /// Whether it has the slot at `time_s`.
    pub(super) fn lasts(&self, time_s: f64) -> bool {
        time_s >= self.from_s && time_s - self.newest_s <= self.longest_s + TIME_SLACK_S
    }
}

/// A slot's channels.
#[derive(Default)]
struct Slot {
    bindings: Vec<Binding>,
    holder: Option<Holder>,
}

impl Reading<'_> {
    /// Reads all rows, and puts what they say among those of the recording.
    pub(super) fn put_into(
        &self,
        source: &mut dyn Source,
        columns: &mut Columns,
    ) -> Result<(), Error> {
        let names = source.columns().to_vec();
        let of_names = |kind| Error::at(self.origin, source.names_at(), kind);
        // Things have rows of the same time; words of a bus have no things.
        let form = RecordingForm {
            repeats: Some(Repeats::Last),
            words: None,
            ..self.form.clone()
        };
        let time_column = find_time(&names, &form).map_err(of_names)?;
        let key_column = self.find_key(&names).map_err(of_names)?;
        let channels = self.definition.channels().iter();
        let own = channels.filter(|(_, c)| c.table.as_deref() == Some(self.name));
        let bound_form = RecordingForm {
            repeats: self.form.repeats,
            ..form.clone()
        };
        let bound = bind(&names, &bound_form, own, self.missing).map_err(of_names)?;
        let Bound {
            bindings,
            missing,
            missing_validity,
            ..
        } = bound;
        columns.missing.extend(missing);
        columns.missing_validity.extend(missing_validity);
        let mut wanted = vec![time_column, key_column];
        wanted.extend(bindings.iter().flat_map(Binding::columns));
        source.want(&wanted);
        columns.unread.extend(unread(&names, &wanted));

        let mut slots: Vec<Slot> = Vec::new();
        slots.resize_with(self.table.slots as usize, Slot::default);
        for binding in bindings {
            if let Some(slot) = self.slot_of(&binding).and_then(|k| slots.get_mut(k)) {
                slot.bindings.push(binding);
            }
        }
        let (times_s, stays) = self.rows(
            source,
            &names,
            &mut slots,
            (time_column, key_column),
            columns,
        )?;
        columns.stays.extend(stays);
        self.join(columns, &times_s, slots);
        Ok(())
    }

    fn find_key(&self, names: &[String]) -> Result<usize, Kind> {
        let wanted = written_name(self.form, &self.table.key);
        let found = names
            .iter()
            .position(|n| !n.is_empty() && n == wanted.trim());
        found.ok_or_else(|| Kind::NoKeyColumn {
            wanted: wanted.clone(),
            nearest: nearest_name(wanted, names, self.form.time_column()),
        })
    }

    /// Index of the slot that a binding's channel is of.
    fn slot_of(&self, binding: &Binding) -> Option<usize> {
        let channel = self.definition.channel(&binding.channel);
        let slot = self.definition.channels()[channel.0].1.slot?;
        (slot as usize).checked_sub(1)
    }

    /// Age of the newest row of a thing from which on its slot is free, s.
    fn longest_s(&self) -> f64 {
        let channels = self.definition.channels().iter();
        let own = channels.filter(|(_, c)| c.table.as_deref() == Some(self.name));
        own.map(|(_, c)| c.max_age_ms / 1000.0).fold(0.0, f64::max)
    }

    /// Times of the rows that lie in the span of the recording, whose cells the slots have taken by then, and what had which
    /// slot when.
    fn rows(
        &self,
        source: &mut dyn Source,
        names: &[String],
        slots: &mut [Slot],
        (time_column, key_column): (usize, usize),
        columns: &Columns,
    ) -> Result<(Vec<f64>, Vec<Stay>), Error> {
        let form = RecordingForm {
            repeats: Some(Repeats::Last),
            ..self.form.clone()
        };
        let mut clock = Clock::new(&form).counted_from(columns.zero);
        let (first_s, last_s) = match columns.times_s[..] {
            [first, .., last] => (first, last),
            [only] => (only, only),
            [] => return Ok(Default::default()),
        };
        let longest_s = self.longest_s();
        let mut stays: Vec<Stay> = Vec::new();
        let mut times_s: Vec<f64> = Vec::new();
        let mut time_s = f64::NEG_INFINITY;
        let mut words = BTreeSet::new();
        while source.next()? {
            let place = source.place();
            let wrong =
                |column: usize, kind| Error::at(self.origin, place, kind).in_column(&names[column]);
            let tick = clock.tick(source.cell(time_column), place);
            if let Tick::Next(next_s) = tick.map_err(|kind| wrong(time_column, kind))? {
                time_s = next_s;
            }
            let Some(key) = key(source.cell(key_column)) else {
                return Err(wrong(key_column, Kind::NoKey));
            };
            if !(first_s..=last_s).contains(&time_s) {
                continue;
            }
            if times_s.last() != Some(&time_s) {
                times_s.push(time_s);
            }
            let row = times_s.len() - 1;
            let index = self.taken(slots, &key, time_s, longest_s);
            let index = index.map_err(|kind| wrong(key_column, kind))?;
            let (slot, number) = (&mut slots[index], index as u32 + 1);
            if let Some(holder) = &slot.holder
                && holder.key == key
                && holder.row == row
                && self.form.repeats() == Repeats::Refuse
            {
                return Err(wrong(key_column, Kind::KeyRepeats { key, time_s }));
            }
            let goes_on = slot
                .holder
                .as_ref()
                .is_some_and(|h| h.key == key && time_s - h.newest_s <= longest_s + TIME_SLACK_S);
            let has_been_held = slot.holder.is_some();
            if goes_on {
                let stay = stays.iter_mut().rfind(|s| s.slot == number);
                stay.into_iter().for_each(|s| s.newest_s = time_s);
            } else {
                stays.push(Stay {
                    table: self.name.to_owned(),
                    slot: number,
                    key: key.clone(),
                    from_s: time_s,
                    newest_s: time_s,
                    longest_s,
                });
            }
            slot.holder = Some(Holder {
                key,
                newest_s: time_s,
                row,
            });
            for binding in &mut slot.bindings {
                // One thing does not become another on the way.
                let is_another = has_been_held && !goes_on;
                if is_another {
                    binding.forget_validity();
                }
                let taken = binding.take(row, source, &mut words);
                taken.map_err(|(column, kind)| wrong(column, kind))?;
                if is_another {
                    binding.sampled.part(row);
                }
            }
        }
        Ok((times_s, stays))
    }

    /// Index of the slot that a thing has, or else of the lowest that is free.
    fn taken(&self, slots: &[Slot], key: &str, time_s: f64, longest_s: f64) -> Result<usize, Kind> {
        let is_held = |s: &Slot| {
            let holder = s.holder.as_ref();
            holder.is_some_and(|h| time_s - h.newest_s <= longest_s + TIME_SLACK_S)
        };
        let has = |s: &Slot| is_held(s) && s.holder.as_ref().is_some_and(|h| h.key == key);
        let own = slots.iter().position(has);
        let found = own.or_else(|| slots.iter().position(|s| !is_held(s)));
        found.ok_or_else(|| Kind::NoSlot {
            key: key.to_owned(),
            table: self.name.to_owned(),
        })
    }

    /// Puts the rows of slots among those of the recording.
    fn join(&self, columns: &mut Columns, times_s: &[f64], slots: Vec<Slot>) {
        let mut all = columns.times_s.clone();
        all.extend_from_slice(times_s);
        all.sort_unstable_by(f64::total_cmp);
        all.dedup();
        let rows_of = |times_s: &[f64]| -> Vec<usize> {
            let row = |t: &f64| all.partition_point(|a| a < t);
            times_s.iter().map(row).collect()
        };
        let old = rows_of(&columns.times_s);
        if all.len() > columns.times_s.len() {
            for values in &mut columns.channels {
                if let Values::Column(sampled) = values {
                    sampled.renumber(&old, all.len());
                }
            }
        }
        let new = rows_of(times_s);
        for mut binding in slots.into_iter().flat_map(|s| s.bindings) {
            let channel = self.definition.channel(&binding.channel);
            binding.sampled.renumber(&new, all.len());
            columns.channels[channel.0] = Values::Column(binding.sampled);
        }
        columns.times_s = all;
    }
}

/// What a row is of; nothing where the cell does not say.
fn key(cell: Cell) -> Option<String> {
    match cell {
        Cell::Text(text) => Some(text.to_owned()),
        Cell::Number(v) => Some(v.to_string()),
        Cell::Truth(_) | Cell::Empty | Cell::Moment { .. } | Cell::Unusable(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::recording::inputs::Value;
    use crate::recording::table::Recording;

    const DISPLAY: &str = r##"
[display]
name = "plot"
width = 100
height = 100
background = "black"
[colors]
black = "#000000"
[[region]]
id = "all"
rect = [0, 0, 100, 100]
hazard = "minor"
[tables.traffic]
key = "id"
slots = 2
[channels]
heading = { column = "heading", unit = "deg" }
"traffic_{slot}_distance" = { table = "traffic", column = "distance", unit = "NM", max_age_ms = 1500 }
"traffic_{slot}_id" = { table = "traffic", column = "id", interpolation = "text", max_age_ms = 1500 }
"traffic_{slot}_double" = { expression = "2.0 * traffic_{slot}_distance", unit = "NM" }
"##;
    const INPUTS: &str = "t_s,heading\n0,10\n1,11\n2,12\n3,13\n4,14\n";

    fn read(table: &str, display: &str) -> Result<(Definition, Recording), String> {
        let definition = Definition::from_toml(display, "d.toml", Path::new(""));
        let definition = definition.map_err(|e| e.to_string())?;
        let recording = Recording::from_readers_as(
            INPUTS.as_bytes(),
            "inputs.csv",
            &[("traffic", table.as_bytes())],
            &definition,
            MissingColumns::Refuse,
            definition.recording_form(),
        );
        let recording = recording.map_err(|e| e.to_string())?;
        Ok((definition, recording))
    }

    fn at(found: &(Definition, Recording), time_s: f64, channel: &str) -> Value {
        let inputs = found.1.inputs(time_s);
        inputs.value(found.0.channel(channel)).clone()
    }

    #[test]
    fn each_thing_has_a_slot_while_it_has_rows() {
        let found = read(
            "t_s,id,distance\n0,B,4\n0,A,2\n1,A,3\n1,B,5\n2,A,4\n3,C,7\n3,A,5\n4,C,8\n",
            DISPLAY,
        );
        let found = found.unwrap();
        let number = |time_s, channel| at(&found, time_s, channel).number();
        let text = |time_s, channel| match at(&found, time_s, channel) {
            Value::Text(words) => words.to_string(),
            _ => String::new(),
        };
        // Slots go by who comes first; between rows the way is straight.
        assert_eq!(text(0.5, "traffic_1_id"), "B");
        assert_eq!(number(0.5, "traffic_1_distance"), Some(4.5));
        assert_eq!(number(0.5, "traffic_2_distance"), Some(2.5));
        assert_eq!(number(0.5, "traffic_2_double"), Some(5.0));
        // B has no row after 1 s: its data are too old at 2.6 s, and its slot is free for C.
        assert_eq!(number(2.4, "traffic_1_distance"), Some(5.0));
        assert_eq!(at(&found, 2.6, "traffic_1_distance"), Value::Invalid);
        assert_eq!(text(3.0, "traffic_1_id"), "C");
        assert_eq!(number(3.5, "traffic_1_distance"), Some(7.5));
        // What it is not in the table of, a row of another kind does not change.
        assert_eq!(number(3.5, "heading"), Some(13.5));
        // Who has a slot is known beside what its channels say.
        let holder = |time_s| found.1.holder("traffic", 1, time_s);
        assert_eq!(
            [0.0, 2.4, 3.0].map(holder),
            [Some("B"), Some("B"), Some("C")]
        );
        assert_eq!(holder(2.6), None);
        assert_eq!(found.1.holder("traffic", 2, 4.0), Some("A"));
    }

    #[test]
    fn what_was_said_of_one_thing_holds_for_no_other() {
        let display = DISPLAY.replace(
            "column = \"distance\", unit",
            "column = \"distance\", validity_column = \"ok\", unit",
        );
        let found = read(
            "t_s,id,distance,ok\n0,A,2,1\n1,A,3,1\n3,B,4,\n3.5,B,5,1\n",
            &display,
        );
        let found = found.unwrap();
        assert_eq!(at(&found, 1.0, "traffic_1_distance"), Value::Number(3.0));
        assert_eq!(at(&found, 3.0, "traffic_1_distance"), Value::Invalid);
        assert_eq!(at(&found, 3.5, "traffic_1_distance"), Value::Number(5.0));
    }

    #[test]
    fn rows_come_among_those_of_the_recording_and_those_outside_are_left_out() {
        let found = read(
            "t_s,id,distance\n-1,A,1\n0.5,A,2\n1.5,A,3\n9,A,4\n",
            DISPLAY,
        )
        .unwrap();
        assert_eq!(found.1.times_s(), [0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0]);
        assert_eq!(at(&found, 0.2, "traffic_1_distance"), Value::Invalid);
        assert_eq!(at(&found, 1.0, "traffic_1_distance"), Value::Number(2.5));
        assert_eq!(at(&found, 0.5, "heading"), Value::Number(10.5));
    }

    #[test]
    fn what_cannot_be_is_refused_with_its_place() {
        for (table, expected) in [
            (
                "t_s,id,distance\n0,A,1\n0,B,1\n0,C,1\n",
                "traffic:4, column \"id\": \"C\" is one too many: all slots of \"traffic\" are taken",
            ),
            (
                "t_s,id,distance\n0,A,1\n0,A,2\n",
                "traffic:3, column \"id\": \"A\" has a row for 0 s already",
            ),
            (
                "t_s,id,distance\n0,,1\n",
                "traffic:2, column \"id\": the cell is empty",
            ),
            ("t_s,ident,distance\n0,A,1\n", "no column \"id\""),
            (
                "t_s,id,range\n0,A,1\n",
                "\"distance\" for channel \"traffic_1_distance\"",
            ),
            (
                "t_s,id,distance\n1,A,1\n0,A,1\n",
                "time falls to 0 s after 1 s",
            ),
        ] {
            let error = read(table, DISPLAY).unwrap_err();
            assert!(error.contains(expected), "{error}");
        }
        let repeats = format!("{DISPLAY}[recording]\nrepeats = \"last\"\n");
        let found = read("t_s,id,distance\n0,A,1\n0,A,2\n", &repeats).unwrap();
        assert_eq!(at(&found, 0.0, "traffic_1_distance"), Value::Number(2.0));
    }

    #[test]
    fn tables_and_files_fit_each_other() {
        let definition = Definition::from_toml(DISPLAY, "d.toml", Path::new("")).unwrap();
        let of = |tables: &[(&str, &[u8])], missing| {
            let form = definition.recording_form();
            Recording::from_readers_as(
                INPUTS.as_bytes(),
                "i.csv",
                tables,
                &definition,
                missing,
                form,
            )
        };
        let error = of(&[], MissingColumns::Refuse).unwrap_err().to_string();
        assert!(
            error.contains("reads a table \"traffic\"") && error.contains("--table"),
            "{error}"
        );
        let error = of(&[("trafic", b"")], MissingColumns::Allow)
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("no table \"trafic\"; it has \"traffic\""),
            "{error}"
        );
        let without = of(&[], MissingColumns::Allow).unwrap();
        assert!(
            without
                .missing_channels()
                .contains(&"traffic_2_double".to_owned())
        );
    }

    #[test]
    fn what_a_definition_says_of_slots_is_held_together() {
        for (from, to, expected) in [
            ("slots = 2", "slots = 0", "slots 0: must be at least 1"),
            (
                "key = \"id\"",
                "key = \"\"",
                "names no column that says what a row is of",
            ),
            (
                "table = \"traffic\", column = \"d",
                "table = \"trafic\", column = \"d",
                "there is no table \"trafic\"",
            ),
            (
                "\"traffic_{slot}_id\" =",
                "\"trafic_{slot}_id\" =",
                "channel \"trafic_{slot}_id\" is of no table",
            ),
            (
                "\"traffic_{slot}_id\" =",
                "one =",
                "channel \"one\" is of no slot of \"traffic\"",
            ),
            (
                "\"traffic_{slot}_id\" = {",
                "one = { slot = 3, ",
                "slot 3: \"traffic\" has slots 1 to 2",
            ),
            (
                "heading = {",
                "heading = { slot = 1, ",
                "has a slot and no table",
            ),
            (
                "expression =",
                "table = \"traffic\", expression =",
                "is worked out, and is of no table",
            ),
        ] {
            assert_eq!(DISPLAY.matches(from).count(), 1, "{from}");
            let error = read("t_s,id,distance\n0,A,1\n", &DISPLAY.replace(from, to)).unwrap_err();
            assert!(error.contains(expected), "{to}: {error}");
        }
    }
}
