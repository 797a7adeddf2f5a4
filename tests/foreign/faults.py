"""Faults as pure functions of frames: RGB arrays in, a changed copy out.

They act before encoding, so that a fault goes through the same codec as the rest of the picture.
A rectangle is `[x, y, width, height]`; what is not known (an exposed strip) gets `ground`.
"""

import numpy as np
from scipy import ndimage


def _part(frame, rect):
    x, y, width, height = rect
    return frame[y : y + height, x : x + width]


def splice(frame, rect, donor):
    """The rectangle taken from a donor: a whole frame, or an array of the rectangle's size."""
    out = frame.copy()
    own = _part(out, rect)
    own[:] = donor if donor.shape == own.shape else _part(donor, rect)
    return out


def blank(frame, rect, color):
    """The rectangle in one colour."""
    out = frame.copy()
    _part(out, rect)[:] = color
    return out


def move(frame, rect, dx, dy, ground):
    """The contents moved by whole pixels within the rectangle."""
    out = frame.copy()
    old, new = _part(frame, rect), _part(out, rect)
    new[:] = ground
    height, width = old.shape[:2]
    new[max(dy, 0) : height + min(dy, 0), max(dx, 0) : width + min(dx, 0)] = old[
        max(-dy, 0) : height - max(dy, 0), max(-dx, 0) : width - max(dx, 0)
    ]
    return out


def mirror(frame, rect):
    """Left and right swapped."""
    return splice(frame, rect, _part(frame, rect)[:, ::-1])


def turn(frame, rect, degrees, ground):
    """The contents turned clock-wise about the rectangle's middle."""
    old = _part(frame, rect)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    back = np.array([[c, -s], [s, c]])  # (row, column) of the result to that of the source
    middle = (np.array(old.shape[:2]) - 1) / 2.0
    new = np.empty_like(old)
    for k in range(3):
        ndimage.affine_transform(
            old[:, :, k], back, middle - back @ middle, output=new[:, :, k], order=1, cval=ground[k]
        )
    return splice(frame, rect, new)


def swap_colors(frame, rect, order):
    """Colour channels in another order, e.g. (1, 0, 2): red and green swapped."""
    return splice(frame, rect, _part(frame, rect)[:, :, list(order)])


def tear_sideways(frame, rect, row, dx):
    """Rows from `row` (in the rectangle) down moved sideways, round the edge."""
    new = _part(frame, rect).copy()
    new[row:] = np.roll(new[row:], dx, axis=1)
    return splice(frame, rect, new)


def tear_older(frame, rect, row, older):
    """Rows from `row` down taken from an older frame."""
    new = _part(frame, rect).copy()
    new[row:] = _part(older, rect)[row:]
    return splice(frame, rect, new)


def lose_lines(frame, rect, count, rng, is_noise):
    """`count` rows replaced by black or by noise."""
    new = _part(frame, rect).copy()
    rows = rng.choice(len(new), min(count, len(new)), replace=False)
    new[rows] = rng.integers(0, 256, new[rows].shape) if is_noise else 0
    return splice(frame, rect, new)


def add_noise(frame, rect, sigma, rng):
    """Normal noise on every channel."""
    part = _part(frame, rect)
    noise = rng.standard_normal(part.shape, np.float32) * sigma
    return splice(frame, rect, np.clip(part + noise, 0, 255).astype(np.uint8))


def changed(before, after, level=24):
    """Pixels that differ by more than `level` codes in any colour."""
    far = np.maximum(before, after) - np.minimum(before, after) > level
    return far[..., 0] | far[..., 1] | far[..., 2]
