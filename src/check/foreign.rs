//! Is a frame blank, or does something stand there that is not the display's? Test pictures and pictures of other displays have
//! places of one colour.

use crate::capture::CapturedFrame;
use crate::examine::blank;
use crate::examine::region::{Explanation, Findings};
use crate::examine::signature::Signature;
use crate::examine::view::View;
use crate::picture::Rect;

/// Where nothing is as it is due, what is blank is so because the frame is. In several colours, or beside as many `areas` that show
/// something, it is a part of another picture, and readable. `display` is where the display stands in the frame, px.
pub fn tell(
    frame: &CapturedFrame,
    display: Rect,
    areas: impl Iterator<Item = Rect>,
    has_ink: &[bool],
    found: &mut [Findings],
) {
    let is = |f: &Findings, signature| f.explanation == Explanation::Nothing { signature };
    let with_ink = || {
        let all = found.iter().zip(has_ink);
        all.filter(|(_, has_ink)| **has_ink).map(|(f, _)| f)
    };
    let count = |signature| with_ink().filter(|f| is(f, signature)).count();
    let is_right = |f: &Findings| !matches!(f.explanation, Explanation::Nothing { .. });
    let blank = count(Signature::Blank);
    if blank == 0 || with_ink().any(is_right) {
        return;
    }
    let luma = View::whole(&frame.picture.planes()[0]);
    let parts = found.iter().zip(areas);
    let parts = parts.filter(|(f, _)| is(f, Signature::Blank));
    let parts = parts.map(|(_, area)| luma.crop(area));
    if count(Signature::Readable) < blank && blank::is_one_picture(luma.crop(display), parts) {
        return;
    }
    for f in found.iter_mut().filter(|f| is(f, Signature::Blank)) {
        f.explanation = Explanation::Nothing {
            signature: Signature::Readable,
        };
    }
}
