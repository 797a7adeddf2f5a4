"""Tests of the unit: every look is drawn and stays in its place, faults in theirs, latencies are as asked."""

import unittest

try:
    import cairo  # noqa: F401
except ImportError as missing:
    raise unittest.SkipTest("pycairo is not installed") from missing

from . import data, faults, scenario
from .look_list import LOOKS
from .page import PARTS, Unit
from .text import DEJAVU, have_opentype

FLIGHTS = {name: scenario.made(*scenario.synthetic(), [name]) for name in scenario.SCENARIOS}
TIMES = scenario.synthetic()[0]


def unit(looks=(), flight="plain", wrong=(), **clock):
    """A unit that shows one of the made flights."""
    return Unit(data.Bus(TIMES, FLIGHTS[flight]), data.Clock(**clock), looks, faults=wrong)


def pixels(u, t):
    """A frame's bytes."""
    return bytes(u.frame(t).get_data())


def changed(a, b, width=800):
    """`[left, top, right, bottom]` of the pixels that differ; None without any."""
    stride, box = 4 * width, None
    for y in range(len(a) // stride):
        p, q = a[y * stride : (y + 1) * stride], b[y * stride : (y + 1) * stride]
        if p == q:
            continue
        differ = [x for x in range(width) if p[4 * x : 4 * x + 3] != q[4 * x : 4 * x + 3]]
        if differ:
            l, t, r, _ = box or (differ[0], y, differ[-1], y)
            box = [min(l, differ[0]), t, max(r, differ[-1]), y]
    return box


class Looks(unittest.TestCase):
    """Every look by itself against the page without any."""

    MOMENTS = (2.3, 2.6, 3.4, 5.2, 7.7, 9.3, 11.6)

    def test_changes_pixels_in_its_place_and_nowhere_else(self):
        plain = {}
        for look in LOOKS:
            if look.name in ("typeface", "kerning") and not DEJAVU.exists():
                continue
            if look.name == "typeface_opentype" and not have_opentype():
                continue
            with self.subTest(look.name):
                if look.scenario not in plain:
                    base = unit(flight=look.scenario)
                    plain[look.scenario] = [pixels(base, t) for t in self.MOMENTS]
                looked = unit([look.name], look.scenario)
                boxes = [changed(pixels(looked, t), p) for t, p in zip(self.MOMENTS, plain[look.scenario])]
                boxes = [box for box in boxes if box]
                self.assertTrue(boxes, "nothing changed")
                x, y, w, h = look.box
                for left, top, right, bottom in boxes:
                    self.assertTrue(
                        x <= left and y <= top and right < x + w and bottom < y + h,
                        f"{(left, top, right, bottom)} is not within {look.box}",
                    )

    def test_names_are_unique_and_every_look_of_the_list_has_a_place(self):
        self.assertEqual(len({look.name for look in LOOKS}), len(LOOKS))
        self.assertTrue(all(look.box[2] > 0 and look.box[3] > 0 for look in LOOKS))

    def test_the_same_call_draws_the_same_pixels(self):
        names = [look.name for look in LOOKS if not look.name.startswith("typeface") and look.name != "kerning"]
        first, second = unit(names), unit(names)
        for t in self.MOMENTS[:3]:
            self.assertEqual(pixels(first, t), pixels(second, t))


class Faults(unittest.TestCase):
    """Faults show in their boxes, while they are on."""

    def box_of(self, fault, t=3.0, looks=("course_needle", "bar_limit_tick")):
        return changed(pixels(unit(looks), t), pixels(unit(looks, wrong=[fault]), t))

    def assert_within(self, box, fault):
        x, y, w, h = fault.box()
        self.assertIsNotNone(box)
        self.assertTrue(x <= box[0] and y <= box[1] and box[2] < x + w and box[3] < y + h, (box, fault.box()))

    def test_a_part_that_is_missing_moved_or_wrongly_coloured_changes_only_its_box(self):
        for part in PARTS:
            for kind, size in (("missing", None), ("moved", (7, 5)), ("color", (part.color, "earth"))):
                with self.subTest(f"{kind} {part.name}"):
                    fault = faults.Fault(kind, part.name, size, 0, 10)
                    self.assert_within(self.box_of(fault), fault)

    def test_nothing_changes_before_and_after(self):
        fault = faults.Fault("missing", "aircraft", None, 3.0, 4.0)
        right, wrong = unit(), unit(wrong=[fault])
        differ = [pixels(right, t) != pixels(wrong, t) for t in (2.9, 3.0, 3.9, 4.0)]
        self.assertEqual(differ, [False, True, True, False])

    def test_a_bias_is_shown_in_the_channels_unit(self):
        fault = faults.Fault("bias", "torque", 4.0, 3.0, 4.0)
        v = [u.values(3.5, 3.4)["torque"] for u in (unit(), unit(wrong=[fault]))]
        self.assertAlmostEqual(v[1] - v[0], 4.0)
        self.assertEqual(unit(wrong=[fault]).values(4.5, 4.4)["torque"], unit().values(4.5, 4.4)["torque"])

    def test_a_frozen_channel_stands_and_late_data_are_older(self):
        frozen = unit(wrong=[faults.Fault("freeze", "roll", None, 3.0, 6.0)])
        self.assertEqual(frozen.values(4.0, 3.9)["roll"], frozen.values(5.0, 4.9)["roll"])
        late = unit(wrong=[faults.Fault("late", "roll", 400.0, 3.0, 6.0)])
        self.assertAlmostEqual(late.values(5.0, 4.9)["roll"], unit().values(4.6, 4.5)["roll"])

    def test_what_is_asked_for_is_understood_or_refused(self):
        f = faults.parse("moved:slip:9,-4:1:2.5", 60.0)
        self.assertEqual((f.size, f.start_s, f.end_s), ((9, -4), 61.0, 62.5))
        self.assertEqual(f.truth(60.0)["start_s"], 1.0)
        for wrong in ("gone:slip::1:2", "missing:slop::1:2", "bias:slip_box:1:1:2"):
            with self.assertRaises(ValueError):
                faults.parse(wrong, 0.0)


class Data(unittest.TestCase):
    """The data path."""

    def test_latencies_are_as_asked_and_data_never_go_back(self):
        clock = data.Clock(latency_ms=65, jitter_ms=25, seed=3)
        times = [k / 50 for k in range(2000)]
        shown = [clock.data_time(t) for t in times]
        late = [1000 * (t - s) for t, s in zip(times, shown)]
        self.assertTrue(all(39.999 <= ms <= 90.001 for ms in late))
        self.assertAlmostEqual(sum(late) / len(late), 65, delta=3)
        self.assertGreater(max(late) - min(late), 40)
        self.assertTrue(all(b >= a for a, b in zip(shown, shown[1:])))

    def test_the_bus_follows_its_input_to_its_step_and_goes_the_short_way_round(self):
        bus = data.Bus([0.0, 1.0, 2.0], {"heading_true_deg": [358.0, 2.0, 6.0], "torque_pct": [10.0, 20.0, 30.0]})
        self.assertAlmostEqual(bus.value("torque", 0.5), 15.0, delta=0.02)
        heading = bus.value("heading", 0.5)
        self.assertLess(min(heading, 360 - heading), 0.05)


if __name__ == "__main__":
    unittest.main()
