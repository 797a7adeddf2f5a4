"""SVG frames into pixels, by rasterisers that are not ours.

`rsvg` calls librsvg (2.46 or later) with cairo in this process, which saves starting a program
and packing a PNG for each frame. `chromium` keeps one headless browser page and swaps the SVG in it
(rasterise_chromium.mjs). Both yield arrays of height x width x 3, RGB, 8 bit.
"""

import ctypes
import ctypes.util
import io
import multiprocessing
import os
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

HERE = Path(__file__).resolve().parent


class _Rectangle(ctypes.Structure):
    _fields_ = [(name, ctypes.c_double) for name in ("x", "y", "width", "height")]


class Librsvg:
    """librsvg and cairo, as far as drawing a whole document needs them."""

    def __init__(self, width, height):
        self.size = (width, height)
        self.rsvg = _library("rsvg-2")
        self.cairo = _library("cairo")
        self.gobject = _library("gobject-2.0")
        pointer, number = ctypes.c_void_p, ctypes.c_int
        self.rsvg.rsvg_handle_new_from_data.restype = pointer
        self.rsvg.rsvg_handle_new_from_data.argtypes = [ctypes.c_char_p, ctypes.c_size_t, pointer]
        self.rsvg.rsvg_handle_render_document.argtypes = [pointer, pointer, pointer, pointer]
        self.cairo.cairo_image_surface_create_for_data.restype = pointer
        self.cairo.cairo_image_surface_create_for_data.argtypes = [pointer, number, number, number, number]
        self.cairo.cairo_create.restype = pointer
        for call in ("cairo_create", "cairo_destroy", "cairo_surface_destroy", "cairo_surface_flush"):
            getattr(self.cairo, call).argtypes = [pointer]
        self.gobject.g_object_unref.argtypes = [pointer]

    def draw(self, svg):
        """One document (bytes) on black as an RGB array."""
        width, height = self.size
        pixels = np.zeros((height, width, 4), np.uint8)
        handle = self.rsvg.rsvg_handle_new_from_data(svg, len(svg), None)
        if not handle:
            raise ValueError("librsvg cannot read the frame")
        rgb24 = 1
        surface = self.cairo.cairo_image_surface_create_for_data(
            pixels.ctypes.data, rgb24, width, height, width * 4
        )
        context = self.cairo.cairo_create(surface)
        area = _Rectangle(0, 0, width, height)
        drawn = self.rsvg.rsvg_handle_render_document(handle, context, ctypes.byref(area), None)
        self.cairo.cairo_surface_flush(surface)
        self.cairo.cairo_destroy(context)
        self.cairo.cairo_surface_destroy(surface)
        self.gobject.g_object_unref(handle)
        if not drawn:
            raise ValueError("librsvg cannot draw the frame")
        return np.ascontiguousarray(pixels[:, :, 2::-1])  # little endian: B G R x


def _library(name):
    found = ctypes.util.find_library(name)
    if not found:
        raise RuntimeError(f"the library {name} is not installed")
    return ctypes.CDLL(found)


_librsvg = None


def _begin(width, height, fontconfig):
    global _librsvg
    if fontconfig:
        os.environ["FONTCONFIG_FILE"] = fontconfig
    _librsvg = Librsvg(width, height)


def _draw_file(path):
    return _librsvg.draw(Path(path).read_bytes())


class Rasteriser:
    """A rasteriser that is kept open: `frames(paths)` yields arrays in order."""

    def __init__(self, name, width, height, fonts=None, jobs=2, chromium="chromium"):
        self.name, self.size, self.fonts, self.jobs = name, (width, height), fonts, jobs
        self.chromium = chromium
        self._pool = None
        self._browsers = []
        self._folder = tempfile.TemporaryDirectory()

    def frames(self, paths):
        """Arrays of the SVG files, in order."""
        return self._by_rsvg(paths) if self.name == "rsvg" else self._by_chromium(paths)

    def _by_rsvg(self, paths):
        if self._pool is None:
            settings = None
            if self.fonts:
                settings = str(Path(self._folder.name) / "fonts.conf")
                Path(settings).write_text(
                    f"<fontconfig><dir>{Path(self.fonts).resolve()}</dir>"
                    f"<cachedir>{self._folder.name}</cachedir></fontconfig>"
                )
            context = multiprocessing.get_context("spawn")
            self._pool = context.Pool(self.jobs, _begin, (*self.size, settings))
        return self._pool.imap(_draw_file, [str(p) for p in paths], chunksize=4)

    def _by_chromium(self, paths):
        paths = [str(Path(p).resolve()) for p in paths]
        while len(self._browsers) < self.jobs:
            self._browsers.append(self._start_browser())
        # Each browser draws every n-th frame and is asked one frame ahead of what is read.
        browsers = self._browsers
        ahead = 2 * len(browsers)
        for k in range(min(ahead, len(paths))):
            _ask(browsers[k % len(browsers)], paths[k])
        for k in range(len(paths)):
            png = _answer(browsers[k % len(browsers)], paths[k])
            if k + ahead < len(paths):
                _ask(browsers[(k + ahead) % len(browsers)], paths[k + ahead])
            yield np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))

    def _start_browser(self):
        command = ["node", str(HERE / "rasterise_chromium.mjs"), self.chromium, *map(str, self.size)]
        if self.fonts:
            command.append(str(Path(self.fonts).resolve()))
        return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def close(self):
        """Ends the workers."""
        if self._pool:
            self._pool.terminate()
            self._pool.join()
        for browser in self._browsers:
            browser.stdin.close()
            browser.wait()
        self._pool, self._browsers = None, []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()


def _ask(browser, path):
    browser.stdin.write(path.encode() + b"\n")
    browser.stdin.flush()


def _answer(browser, path):
    length = int.from_bytes(browser.stdout.read(4), "big")
    if not length:
        raise RuntimeError(f"Chromium ended before it drew {path}")
    return browser.stdout.read(length)
