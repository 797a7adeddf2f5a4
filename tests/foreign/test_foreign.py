"""Tests of the harness itself; none needs the program. Run: python3 -m unittest discover tests/foreign"""

import shutil
import tempfile
import tomllib
import unittest
import unittest.mock
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

import definition
import faults
import score
from campaign import Kind, Trials
from encode import Writer
from letters import digit_cell, letters, line_at
from rasterise import Librsvg
from recording import Recording
from store import read_frames

GROUND = (1, 2, 3)
BUNDLED = Path(__file__).resolve().parents[2] / "reference_frames" / "fonts"


def grid(height=8, width=8):
    """A frame whose every pixel is different."""
    k = np.arange(height * width).reshape(height, width)
    return np.stack([k, 255 - k, k // 2], axis=2).astype(np.uint8)


class Faults(unittest.TestCase):
    rect = [2, 1, 4, 5]

    def test_nothing_outside_the_rectangle_changes(self):
        frame = grid()
        rng = np.random.default_rng(1)
        for after in (
            faults.blank(frame, self.rect, GROUND),
            faults.move(frame, self.rect, 1, 0, GROUND),
            faults.mirror(frame, self.rect),
            faults.turn(frame, self.rect, 30, GROUND),
            faults.swap_colors(frame, self.rect, (1, 0, 2)),
            faults.tear_sideways(frame, self.rect, 2, 1),
            faults.tear_older(frame, self.rect, 2, frame[::-1]),
            faults.lose_lines(frame, self.rect, 2, rng, True),
            faults.add_noise(frame, self.rect, 40, rng),
        ):
            apart = faults.changed(frame, after, 0)
            self.assertTrue(apart.any())
            apart[1:6, 2:6] = False
            self.assertFalse(apart.any())

    def test_moving_by_one_right_puts_each_pixel_one_right(self):
        after = faults.move(grid(), self.rect, 1, 0, GROUND)
        np.testing.assert_array_equal(after[1:6, 3:6], grid()[1:6, 2:5])
        self.assertEqual(tuple(after[3, 2]), GROUND)

    def test_turning_by_90_degrees_is_clock_wise(self):
        after = faults.turn(grid(), [0, 0, 8, 8], 90, GROUND)
        np.testing.assert_array_equal(after, np.rot90(grid(), -1))

    def test_a_fault_of_size_zero_changes_nothing(self):
        for after in (
            faults.move(grid(), self.rect, 0, 0, GROUND),
            faults.turn(grid(), self.rect, 0, GROUND),
            faults.tear_sideways(grid(), self.rect, 2, 0),
            faults.add_noise(grid(), self.rect, 0, np.random.default_rng(1)),
        ):
            np.testing.assert_array_equal(after, grid())


class Digits(unittest.TestCase):
    own = ("087", [10.0, 20.0, 30.0, 40.0], 50.0, 20.0)

    def test_the_cell_of_the_tens_is_the_middle_one(self):
        self.assertEqual(digit_cell(self.own, ("097", *self.own[1:]), 1), [20, 33, 10, 20])

    def test_no_cell_when_the_digit_is_the_same_or_the_words_moved(self):
        self.assertIsNone(digit_cell(self.own, ("088", *self.own[1:]), 1))
        self.assertIsNone(digit_cell(self.own, ("097", [11.0, 21.0, 31.0, 41.0], 50.0, 20.0), 1))
        self.assertIsNone(digit_cell(self.own, None, 1))

    def test_letters_of_a_font_that_is_not_bundled_are_found_in_its_file(self):
        line = '<text x="100" y="50" font-family="Own2" font-size="20">1</text>'
        with tempfile.TemporaryDirectory() as folder, unittest.mock.patch("letters.BUNDLED", []):
            path = Path(folder) / "own.ttf"
            font = (BUNDLED / "B612-Regular.ttf").read_bytes()
            path.write_bytes(font.replace(b"B612", b"Own2").replace("B612".encode("utf-16-be"), "Own2".encode("utf-16-be")))
            self.assertAlmostEqual(letters(ElementTree.fromstring(line), [path])[0][1], 113.0)
            with self.assertRaises(RuntimeError):
                letters(ElementTree.fromstring(line.replace("Own2", "Other")), [path])

    def test_letters_stand_where_the_line_is_held(self):
        """Advances of B612: digits 0.65 em, the point 0.3 em (its hmtx table)."""
        shared = 'y="50" font-family="B612" font-size="20" font-weight="700"'
        lines = [
            f'<text x="100" {shared}>9.5</text>',
            f'<text x="100" {shared} text-anchor="middle">9.5</text>',
            f'<text x="100" {shared} text-anchor="end">9.5</text>',
        ]
        for line, first in zip(lines, (100.0, 84.0, 68.0)):
            xs, base, size = letters(ElementTree.fromstring(line))
            np.testing.assert_allclose(xs, [first, first + 13.0, first + 19.0, first + 32.0])
            self.assertEqual((base, size), (50.0, 20.0))

    def test_the_line_of_a_readout_is_the_nearest_and_its_cell_has_the_ink(self):
        mono = 'font-family="B612 Mono" font-weight="700" text-anchor="end"'
        text = f"<text x='290' y='227' {mono} font-size='34'>11</text><text x='268' y='195' {mono} font-size='18'>20</text>"
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "frame.svg"
            path.write_text(f"<svg>{text}</svg>")
            own = line_at(path, [290, 214.25])
            path.write_text(f"<svg>{text.replace('>11<', '>18<')}</svg>")
            other = line_at(path, [290, 214.25])
            self.assertIsNone(line_at(path, [100, 214.25]))
        self.assertEqual((own[0], other[0]), ("11", "18"))
        self.assertEqual(digit_cell(own, other, 0), [268, 198, 22, 34])


class Scoring(unittest.TestCase):
    trial = {"kind": "k", "class": "frozen", "region": "dial", "onset_s": 10.0, "end_s": 12.5,
             "touched": ["dial"], "parameters": {}}

    def run_with(self, **event):
        event = {"class": "frozen", "regions": ["dial"], "onset_s": 10.1, "detected_s": 10.5, "end_s": 13.0} | event
        return score.score([("p", {"trials": [self.trial]}, [event])])

    def test_a_right_event_is_right_and_its_delay_counts_from_the_onset(self):
        row = self.run_with()["kinds"]["k"]
        self.assertEqual((row["found"], row["right"], row["delay_worst_s"]), (1, 1, 0.5))

    def test_a_wrong_class_is_found_but_missed(self):
        result = self.run_with(**{"class": "misleading"})
        self.assertEqual((result["kinds"]["k"]["found"], result["kinds"]["k"]["right"]), (1, 0))
        self.assertEqual(len(result["missed"]), 1)

    def test_an_event_elsewhere_or_in_clean_video_is_stray(self):
        for event in ({"regions": ["tape"]}, {"regions": ["*"]},
                      {"onset_s": 20.0, "detected_s": 20.5, "end_s": 21.0}):
            result = self.run_with(**event)
            self.assertEqual((result["kinds"]["k"]["found"], len(result["stray_events"])), (0, 1))

    def test_a_report_after_the_fault_has_gone_is_no_detection(self):
        self.assertEqual(self.run_with(detected_s=14.0, end_s=15.0)["kinds"]["k"]["found"], 0)

    def test_the_table_lists_each_miss(self):
        self.assertIn("k on dial", score.markdown(self.run_with(regions=["tape"])))


class Resuming(unittest.TestCase):
    def test_trials_of_an_earlier_sitting_wait_no_longer(self):
        trials = Trials([Kind("a", "frozen", None), Kind("b", "blank", None)], 2, seed=1)
        for _ in range(3):
            trials.count({"kind": "a", "region": "dial"})
        self.assertEqual([kind.name for kind in trials.waiting], ["b", "b"])
        self.assertEqual(trials.used["a", "dial"], 3)

    def test_the_choices_of_a_pass_do_not_depend_on_those_before(self):
        fresh, used = Trials([], 0, seed=1), Trials([], 0, seed=1)
        used.rng.random(5)
        fresh.start_pass(3), used.start_pass(3)
        self.assertEqual(fresh.rng.random(), used.rng.random())


class Motion(unittest.TestCase):
    def travel(self, symbol, channel, t1=1):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "in.csv"
            path.write_text("t_s,speed,heading\n0,90,350\n1,120,10\n2,150,30\n")
            display = definition.Definition.__new__(definition.Definition)
            display.channels = {"speed": {"column": "speed"},
                                "heading": {"column": "heading", "interpolation": "angular"}}
            return display.travel_px({"symbol": [symbol | {"channel": channel}]}, Recording(path), 0, t1)

    def test_a_pointer_stops_at_the_end_of_its_bar(self):
        bar = {"kind": "bar", "rect": [0, 0, 10, 200], "direction": "up", "breakpoints": [[0, 0], [100, 1]]}
        self.assertAlmostEqual(self.travel(bar, "speed"), 20.0)

    def test_a_rose_turns_the_short_way_round(self):
        self.assertAlmostEqual(self.travel({"kind": "rose", "radius": 180.0 / np.pi}, "heading", 2), 40.0)


class Files(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)

    def test_a_written_definition_reads_back_as_it_was(self):
        file = {"display": {"name": 'a "b"', "width": 3, "ok": True}, "colors": {"dark red": "#800000"},
                "region": [{"id": "x", "rect": [0, 1, 2, 3], "tolerance": {"speed": 0.5},
                            "symbol": [{"kind": "dial", "breakpoints": [[0.0, 1.5]], "ticks": {"step": 1}}]}]}
        definition.write_toml(file, self.folder / "a.toml")
        self.assertEqual(tomllib.loads((self.folder / "a.toml").read_text()), file)

    def test_headings_are_interpolated_and_biased_the_short_way_round(self):
        path = self.folder / "in.csv"
        path.write_text("t_s,heading_deg\n0,350\n1,10\n2,20\n")
        channel = {"column": "heading_deg", "interpolation": "angular"}
        recording = Recording(path)
        self.assertAlmostEqual(float(recording.at(channel, 0.75)), 5.0)
        recording.write_biased(self.folder / "out.csv", "heading_deg", 15.0, 0, 2, True)
        self.assertEqual((self.folder / "out.csv").read_text(), "t_s,heading_deg\n0,5\n1,25\n2,35\n")

    @unittest.skipUnless(shutil.which("ffmpeg"), "needs ffmpeg")
    def test_the_store_keeps_every_pixel(self):
        frames = np.random.default_rng(1).integers(0, 256, (5, 48, 64, 3)).astype(np.uint8)
        path = self.folder / "a.mkv"
        with Writer(path, "store", 25, (64, 48)) as out:
            for frame in frames:
                out.write(frame)
        np.testing.assert_array_equal(list(read_frames([(path, 5)], (64, 48))), frames)

    def test_librsvg_draws_red_where_red_is_asked_for(self):
        try:
            librsvg = Librsvg(4, 2)
        except RuntimeError as missing:
            self.skipTest(str(missing))
        svg = '<svg xmlns="http://www.w3.org/2000/svg" width="4" height="2"><path fill="#f08020" d="M2 0H4V2H2Z"/></svg>'
        frame = librsvg.draw(svg.encode())
        self.assertEqual([frame[1, 1].tolist(), frame[1, 3].tolist()], [[0, 0, 0], [240, 128, 32]])


if __name__ == "__main__":
    unittest.main()
