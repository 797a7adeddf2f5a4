//! Is a chain that was measured the one of a profile?

use crate::capture::profile::Profile;
pub use crate::chain::constants::change::{CHAIN_LEVELS, CHAIN_SHIFT_PX};
use crate::definition::Definition;

/// In what `found` differs from `given`, in words: all of it, and nothing else.
#[must_use]
pub fn chain_change(definition: &Definition, given: &Profile, found: &Profile) -> Option<String> {
    let mut changes = Vec::new();
    let (a, b) = (given.look(), found.look());
    let (width, height) = definition.size();
    let corners = b.geometry.corners_from(&a.geometry, (width, height));
    let along = [
        ("x", corners.map(|p| p.x), [0, width, width, 0]),
        ("y", corners.map(|p| p.y), [0, 0, height, height]),
    ];
    for (axis, moved, places) in along {
        let most = (moved.into_iter().zip(places)).reduce(|most, next| {
            if next.0.abs() > most.0.abs() {
                next
            } else {
                most
            }
        });
        if let Some((moved, place)) = most
            && moved.abs() > CHAIN_SHIFT_PX
        {
            changes.push(format!(
                "the picture is displaced by {moved:.2} px in {axis} at {place} px"
            ));
        }
    }
    let colors = definition.file().colors.keys().map(|color| {
        let rgb = definition.color(color);
        let (a, b) = (a.levels(rgb), b.levels(rgb));
        let change = (0..3).map(|k| a[k].abs_diff(b[k])).max();
        (change.unwrap_or(0), color)
    });
    if let Some((change, color)) = colors.max_by_key(|(change, _)| *change)
        && f64::from(change) > CHAIN_LEVELS
    {
        changes.push(format!(
            "colours differ over the whole picture, \"{color}\" by {change} levels"
        ));
    }
    (!changes.is_empty()).then(|| changes.join(", and "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Encoding, Subsampling};
    use crate::reference::canvas::Siting;
    use crate::reference::parts::bench;

    #[test]
    fn what_changed_is_named_and_nothing_else() {
        let definition = bench::display("");
        let plain = Profile::plain((200, 200), Encoding::Rgb, Subsampling::None, Siting::Left);
        assert_eq!(chain_change(&definition, &plain, &plain), None);
        let mut moved = plain.clone();
        moved.scale[1] = 1.005;
        let told = chain_change(&definition, &plain, &moved);
        assert_eq!(
            told.as_deref(),
            Some("the picture is displaced by 1.00 px in y at 200 px")
        );
        let mut dim = plain.clone();
        for (k, row) in dim.color.iter_mut().enumerate() {
            row[k] = 0.9;
        }
        let told = chain_change(&definition, &plain, &dim).expect("that is another chain");
        assert!(
            told.starts_with("colours differ") && !told.contains("displaced"),
            "{told}"
        );
        // Both: c5def52 named the first alone.
        dim.scale = moved.scale;
        let told = chain_change(&definition, &plain, &dim).expect("that is another chain");
        assert!(
            told.contains("in y") && told.contains("colours differ"),
            "{told}"
        );
        assert!(!told.contains("in x"), "{told}");
    }
}
