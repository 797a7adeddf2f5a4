"""Names that are no names: in definitions, recordings, plans, paths, and in results that come from elsewhere.

Nothing is written outside the folder that was named, no terminal gets a control character, no page a tag, no
spreadsheet a formula, and nothing is opened that is no regular file below the results. A manifest from elsewhere
runs nothing but what the program itself would.
Usage: names.py --binary PROGRAM [--quick] [--seed N] [--runs N] [--only CASE] [--keep FOLDER]"""

import base64
import csv
import io
import json
import os
import re
import shutil
import sys
import tempfile
import xml.etree.ElementTree

import bench
from bench import check, command, run

NAMES = {
    "slash": "a/b",
    "up": "../../up",
    "absolute": os.path.join(tempfile.gettempdir(), "hostile-absolute"),
    "dots": "..",
    "empty": "",
    "space": " ",
    "300 characters": "n" * 300,
    "5000 characters": "n" * 5000,
    "newline": "two\nlines",
    "return": "one\rother",
    "escape": "\x1b[2J\x1b]0;owned\x07name",
    "C1 escape": "\x9b2Jname",
    "backspace": "name\x08\x08\x08\x08evil",
    "turned": "\u202egnp.exe",
    "no width": "a\u200bb",
    "astral": "\U0001f681" * 80,
    "accents": "e" + "\u0301" * 200,
    "formula": "=HYPERLINK(\"http://example.invalid\",\"x\")",
    "plus": "+1+1",
    "at": "@SUM(1)",
    "minus": "-2+3",
    "tab formula": "\t=1+1",
    "tag": "</script><script>alert(1)</script>",
    "attribute": "\" onmouseover=\"alert(1)",
    "entity": "&lt;&#0;]]>",
    "star": "*",
    "percent": "%s%n%d",
    "backslash": "a\\..\\b",
    "option": "--out",
    "device": "con",
    "comma": "a,b;c",
    "quote": "'\"'",
}
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
# What a name may stand for, in the small display and its plan.
PLACES = {
    "region": ("display.toml", 'id = "speed"', "id = {}"),
    "display": ("display.toml", 'name = "small display"', "name = {}"),
    "requirement": ("display.toml", '"REQ-SPEED"', "{}"),
    "unit": ("display.toml", 'unit = "kt"', "unit = {}"),
    "alert": ("display.toml", 'text = "ROTOR LOW"', "text = {}"),
    "channel": ("display.toml", None, None),
    "column": ("display.toml", None, None),
    "font file": ("display.toml", '"own.ttf"', "{}"),
    "campaign": ("plan.toml", 'name = "hostile"', "name = {}"),
}


def quoted(name: str) -> str:
    """A TOML string."""
    return json.dumps(name).replace("\x7f", "\\u007f")


def main():
    given = bench.options(__doc__)
    table = bench.Table("Names", given)
    shop = bench.Workshop(given.binary, 3.6)
    in_files(given, shop, table)
    of_captures(given, shop, table)
    in_results(given, shop, table)
    again(given, shop, table)
    return table.end()


def in_files(given, shop, table):
    """Names in definition, recording and plan."""
    names = list(NAMES.items())
    base = ["display.toml", "own.ttf", "inputs.csv", "clip.y4m", "bad.y4m", "plan.toml"]
    for place, (file, old, new) in PLACES.items():
        case = f"name of {place}"
        if given.only and given.only not in case:
            continue
        for k, (label, name) in enumerate(names):
            # In the quick form each name stands in some place.
            if given.quick and (k + given.seed + len(place)) % 6:
                continue
            outer = shop.copy(base)
            folder = outer / "work"
            folder.mkdir()
            for f in base:
                shutil.move(outer / f, folder / f)
            text = (folder / file).read_text()
            if place == "channel":
                text = text.replace("speed = {", f"{quoted(name)} = {{").replace('"speed"', quoted(name))
                text = text.replace(f"id = {quoted(name)}", 'id = "speed"')
            elif place == "column":
                text = text.replace('"speed_kt"', quoted(name))
                rows = list(csv.reader((folder / "inputs.csv").open()))
                rows[0][1] = name
                out = io.StringIO()
                csv.writer(out, lineterminator="\n").writerows(rows)
                (folder / "inputs.csv").write_text(out.getvalue())
            else:
                text = text.replace(old, new.format(quoted(name)))
            (folder / file).write_text(text)
            around = set(os.listdir(outer)) | set(os.listdir(shop.path)) | set(os.listdir(tempfile.gettempdir()))
            words = [["lint", "--display", "display.toml"], check("bad.y4m"),
                     ["report", "--from", "out", "--out", "page.html"], ["verify", "out"],
                     ["campaign", "--plan", "plan.toml", "--out", "campaign"],
                     ["report", "--from", "campaign", "--out", "campaign.html"]]
            if place == "campaign":
                words = words[4:]
            for w in words:
                target = w[2] if w[0] == "report" else w[1] if w[0] == "verify" else None
                if target and not (folder / target).is_dir():
                    continue
                ran = run(given.binary, w, folder)
                what = f"{label}, {w[0]}"
                if not table.judge(case, ran, what, folder):
                    continue
                told(table, case, ran, what, folder)
                # What was accepted is carried to the end: trials done are not lost by a name.
                if w[0] in ("report", "verify"):
                    table.expect(case, ran.status == 0, f"{what}: {ran.told()}", folder)
                if w[0] == "campaign" and ran.status == 2:
                    trials = folder / "campaign/trials.jsonl"
                    table.expect(case, not trials.exists() or not trials.stat().st_size,
                                 f"{what}: refused after its trials: {ran.told()}", folder)
            new_ones = (set(os.listdir(outer)) | set(os.listdir(shop.path)) | set(os.listdir(tempfile.gettempdir()))) - around
            new_ones = {n for n in new_ones if "hostile-absolute" in n or n in os.listdir(outer)}
            table.expect(case, not new_ones, f"{label}: wrote {new_ones} outside", folder)
            written(table, case, label, folder)
            shop.drop(outer)


def told(table, case, ran, what, folder):
    found = CONTROL.search(ran.stdout + ran.stderr)
    table.expect(case, not found, f"{what}: prints {found and found[0]!r}", folder)


def written(table, case, label, folder):
    """What was written can be read by what it is for."""
    for page in folder.glob("*.html"):
        text = page.read_text()
        table.expect(case, "<script>alert(1)" not in text and '" onmouseover="' not in text, f"{label}: a tag in {page.name}", folder)
    for junit in folder.rglob("junit.xml"):
        try:
            xml.etree.ElementTree.parse(junit)
        except xml.etree.ElementTree.ParseError as e:
            table.expect(case, False, f"{label}: junit.xml: {e}", folder)
    for sheet in [*folder.glob("out/*.csv"), *folder.glob("campaign/*.csv")]:
        formulas = set()
        for row in csv.reader(sheet.open(newline="")):
            for cell in row:
                is_number = re.fullmatch(r"[-+]?[\d.]+([eE][-+]?\d+)?", cell)
                if not is_number and cell.lstrip("\t\r\n ").startswith(tuple("=+-@")):
                    formulas.add(f"{cell[:40]!r} in {sheet.name}")
        table.expect(case, not formulas, f"{label}: formulas: {formulas}", folder)
    for record in folder.rglob("*.json"):
        table.expect(case, bench.read_json(record) is not None, f"{label}: {record.name} is no JSON", folder)


CAPTURES = ["-clip.y4m", "clip\n.y4m", "\x1b[2Jclip.y4m", "c:clip.y4m", "concat:clip.mp4|clip.mp4", "%06d.mp4", "file:clip.mp4",
            "clip.mp4 -vf null", "pipe:0", "http:clip.mp4", "n" * 250 + ".y4m", "=clip.y4m", "<b>.y4m", "clip.mp4'", "[0].mp4"]


def of_captures(given, shop, table):
    """File names that a shell, ffmpeg, a terminal or a page could take for something else."""
    case = "name of a capture"
    if given.only and given.only not in case:
        return
    for name in CAPTURES[::3] if given.quick else CAPTURES:
        folder = shop.copy(["display.toml", "own.ttf", "inputs.csv"])
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(shop.clean / ("clip.mp4" if "mp4" in name else "clip.y4m"), target)
        words = ["check", "--display", "display.toml", "--inputs", "inputs.csv", f"--capture={name}", "--matrix=bt709", "--offset=0",
                 "--out=out"]
        for words in (words, ["verify", "--again", "out"], ["report", "--from", "out", "--out", "page.html"]):
            ran = run(given.binary, words, folder)
            if table.judge(case, ran, f"{name[:40]!r}, {words[0]}", folder):
                told(table, case, ran, f"{name[:40]!r}, {words[0]}", folder)
                table.expect(case, ran.status == 0, f"{name[:40]!r}, {words[0]}: {ran.told()}", folder)
        written(table, case, repr(name[:40]), folder)
        shop.drop(folder)
    # What a playlist names is not the capture.
    case = "capture that names others"
    lists = {
        "list.m3u8": "#EXTM3U\n#EXT-X-TARGETDURATION:4\n#EXTINF:3.6,\nclip.ts\n#EXT-X-ENDLIST\n",
        "list.ffconcat": "ffconcat version 1.0\nfile clip.mp4\n",
        "list.mpd": "<MPD><Period><AdaptationSet><Representation><BaseURL>clip.mp4</BaseURL></Representation></AdaptationSet></Period></MPD>",
        "list.sdp": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5004 RTP/AVP 96\na=rtpmap:96 H264/90000\n",
        "list.mp4": "#EXTM3U\n#EXT-X-TARGETDURATION:4\n#EXTINF:3.6,\nclip.ts\n#EXT-X-ENDLIST\n",
    }
    for name, text in lists.items():
        folder = shop.copy(["display.toml", "own.ttf", "inputs.csv", "clip.mp4", "clip.ts"])
        (folder / name).write_text(text)
        ran = run(given.binary, check(name), folder)
        if table.judge(case, ran, name, folder):
            table.expect(case, ran.status == 2, f"{name}: {ran.told()}", folder)
        shop.drop(folder)


def in_results(given, shop, table):
    """Results from elsewhere that name files which are not theirs."""
    made = shop.copy()
    bench.must(run(given.binary, check("bad.y4m", "out"), made), 1)
    secret = "the secret of this machine"
    os.mkfifo(made / "fifo")
    (made / "secret.png").write_bytes(bench.png(4, 4, bytes(48), [(b"tEXt", b"Comment\0" + secret.encode())]))
    for label, path in {"up": "../secret.png", "absolute": str(made / "secret.png"), "device": "/dev/zero", "fifo": "../fifo",
                        "link": "linked.png", "folder": "events", "long": "n" * 5000, "empty": ""}.items():
        case = f"results that name {label}"
        if given.only and given.only not in case:
            continue
        folder = shop.path / "results"
        shutil.copytree(made, folder, symlinks=True, ignore=shutil.ignore_patterns("fifo"))
        os.mkfifo(folder / "fifo")
        (folder / "out/linked.png").symlink_to("../secret.png")
        stills = json.loads((folder / "out/stills.json").read_text())
        for event in stills["events"]:
            for still in event["stills"]:
                still["captured"] = still["reference"] = path
            for key in [k for k in event if isinstance(event[k], str)]:
                event[key] = path
        (folder / "out/stills.json").write_text(json.dumps(stills))
        # As one who sends such results would: the manifest vouches for them.
        manifest = json.loads((folder / "out/manifest.json").read_text())
        content = (folder / "out/stills.json").read_bytes()
        for output in manifest["outputs"]:
            if output["path"] == "stills.json":
                output.update(bytes=len(content), sha256=bench.hashlib.sha256(content).hexdigest(), crc32=bench.zlib.crc32(content))
        (folder / "out/manifest.json").write_text(json.dumps(manifest))
        for more in ([], ["--unverified"]):
            ran = run(given.binary, ["report", "--from", "out", "--out", "page.html", *more], folder, limit_s=20)
            table.judge(case, ran, f"report {more}", folder)
            page = (folder / "page.html").read_bytes() if (folder / "page.html").exists() else b""
            marks = [secret.encode(), base64.b64encode((made / "secret.png").read_bytes())]
            table.expect(case, not any(m in page for m in marks), "the page holds it", folder)
        # The same paths in the manifest.
        for role in ("inputs", "outputs"):
            changed = json.loads((made / "out/manifest.json").read_text())
            changed[role][0]["path"] = path
            (folder / "out/manifest.json").write_text(json.dumps(changed))
            seen = run(given.binary, ["verify", "out"], folder, limit_s=20)
            if table.judge(case, seen, f"verify, {role}", folder):
                table.expect(case, seen.status != 0, f"verify, {role}: {seen.told()}", folder)
        shutil.rmtree(folder)
    for label, change in {"no outputs": {"outputs": []}, "nothing at all": {"inputs": [], "outputs": []}}.items():
        case = "a manifest of nothing"
        folder = shop.path / "results"
        shutil.copytree(made, folder, symlinks=True, ignore=shutil.ignore_patterns("fifo"))
        manifest = json.loads((folder / "out/manifest.json").read_text()) | change
        shutil.rmtree(folder / "out")
        (folder / "out").mkdir()
        (folder / "out/manifest.json").write_text(json.dumps(manifest))
        seen = run(given.binary, ["verify", "out"], folder)
        if table.judge(case, seen, label, folder):
            table.expect(case, seen.status != 0, f"{label}: {seen.told()}", folder)
        shutil.rmtree(folder)


def again(given, shop, table):
    """`verify --again` on a manifest from elsewhere."""
    made = shop.copy()
    run(given.binary, check("clip.mp4", "out"), made)
    for label, more in {
        "a program to run": ["--ffmpeg", "../evil.sh"],
        "a program to run, in one word": ["--ffmpeg=../evil.sh"],
        "an output elsewhere": ["--out", "../elsewhere"],
        "an output elsewhere, in one word": ["--out=../elsewhere"],
        "unknown options": ["--config", "../secret"],
    }.items():
        case = f"manifest with {label}"
        if given.only and given.only not in case:
            continue
        folder = shop.path / "again"
        shutil.copytree(made, folder)
        (folder / "evil.sh").write_text(f"#!/bin/sh\ntouch {folder}/was-run\nexec ffmpeg \"$@\"\n")
        (folder / "evil.sh").chmod(0o755)
        manifest = json.loads((folder / "out/manifest.json").read_text())
        manifest["arguments"] += [m.replace("../", f"{folder}/") for m in more]
        (folder / "out/manifest.json").write_text(json.dumps(manifest))
        ran = run(given.binary, ["verify", "--again", "out"], folder)
        if table.judge(case, ran, label, folder):
            table.expect(case, not (folder / "was-run").exists(), "it was run", folder)
            table.expect(case, not (folder / "elsewhere").exists(), "it wrote elsewhere", folder)
            # A known option may be left aside, with the ffmpeg of this command line in its place.
            table.expect(case, ran.status != 0 or "program" in label, f"{ran.told()}", folder)
        shutil.rmtree(folder)
    case = "manifest with another command"
    for name in ("demo", "draw", "report", "help", "verify"):
        folder = shop.path / "again"
        shutil.copytree(made, folder)
        manifest = json.loads((folder / "out/manifest.json").read_text()) | {"command": name}
        (folder / "out/manifest.json").write_text(json.dumps(manifest))
        ran = run(given.binary, ["verify", "--again", "out"], folder)
        if table.judge(case, ran, name, folder):
            table.expect(case, ran.status != 0, f"{name}: {ran.told()}", folder)
        shutil.rmtree(folder)


if __name__ == "__main__":
    sys.exit(main())
