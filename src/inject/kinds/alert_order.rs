//! Two alerts that stand below each other have changed places. The advice line stays.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target};
use super::{LASTING, briefly, fewest_alerts, from_seed, is_brief, lasting, symbol, symbols_that};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::reference::drawing::Drawing;
use crate::reference::scene::{Item, Scene, Shape};

const ABOUT: About = About {
    looks: LASTING,
    ..About::new(
        "alert_order",
        Group::Picture,
        "two active alerts have changed places",
    )
};

/// See the module.
pub struct AlertOrder;

impl Model for AlertOrder {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        symbols_that(subject, |s| s.alerts().next().is_some())
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if is_brief(self, fault) {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let (region, index) = (fault.target.region?, fault.target.symbol?);
        let list = symbol(clip, fault)?.alerts().next()?;
        let base = Drawing::new(clip.definition()).alert_base(region, index);
        if fewest_alerts(clip, list, base) < 2 {
            return None;
        }
        let (pitch_px, seed) = (list.line_height, fault.seed);
        let (list, font) = (list.clone(), clip.definition().font(&list.font));
        let edit = move |_: &Clip, _: usize, scene: &mut Scene| {
            // Slots from the top: the line of words of each.
            let lines: Vec<usize> = (0..list.slots)
                .map_while(|slot| {
                    let y = list.position[1] + slot as f64 * pitch_px;
                    let stands = |item: &Item| {
                        matches!(item.shape, Shape::Words(w)
                            if w.font == font
                                && w.size == list.size
                                && w.origin.x == list.position[0]
                                && (y..y + pitch_px / 2.0).contains(&w.origin.y))
                    };
                    scene.items().iter().position(stands)
                })
                .collect();
            let pairs: Vec<&[usize]> = lines.windows(2).collect();
            if let Some([upper, lower]) = from_seed(&pairs, seed).next() {
                scene.move_words_down(*upper, pitch_px);
                scene.move_words_down(*lower, -pitch_px);
            }
        };
        let injector = Redrawn::by_edit(clip, region, Box::new(edit), fault.seed)?;
        Some(lasting(self, fault, injector))
    }
}
