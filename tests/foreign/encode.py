"""RGB frames through real codecs, with the colour tags set that a capture program would set."""

import subprocess
from pathlib import Path

import numpy as np

_BT709 = (
    "-vf scale=out_color_matrix=bt709:out_range=limited:flags=bicubic+accurate_rnd -pix_fmt yuv420p "
    "-color_primaries bt709 -color_trc bt709 -colorspace bt709 -color_range tv"
)

# Capture chains: file ending and ffmpeg settings. JPEG is BT.601 full range by its standard.
CODECS = {
    "store": (".mkv", "-c:v libx264rgb -qp 0 -preset ultrafast -g 25 -pix_fmt bgr24"),
    "crf18": (".mp4", f"-c:v libx264 -preset medium -crf 18 {_BT709}"),
    "crf23": (".mp4", f"-c:v libx264 -preset medium -crf 23 {_BT709}"),
    "crf28": (".mp4", f"-c:v libx264 -preset medium -crf 28 {_BT709}"),
    "mjpeg": (".mov", "-c:v mjpeg -q:v 3 -vf scale=out_color_matrix=bt601:out_range=full -pix_fmt yuvj420p"),
    "ffv1": (".avi", "-c:v ffv1 -level 3 -g 1 -slices 4 -pix_fmt bgr0"),
}


class Writer:
    """Encodes RGB arrays; frame k stands at k / fps."""

    def __init__(self, path, codec, fps, size):
        self.path = Path(path)
        command = ["ffmpeg", "-y", "-v", "error", "-f", "rawvideo", "-pix_fmt", "rgb24"]
        command += ["-s", f"{size[0]}x{size[1]}", "-r", str(fps), "-i", "-"]
        command += CODECS[codec][1].split() + [str(self.path)]
        self.encoder = subprocess.Popen(command, stdin=subprocess.PIPE)

    def write(self, frame):
        """Adds one frame."""
        self.encoder.stdin.write(np.ascontiguousarray(frame).data)

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        self.encoder.stdin.close()
        if self.encoder.wait() and kind is None:
            raise RuntimeError(f"ffmpeg could not write {self.path}")
