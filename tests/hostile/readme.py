"""Every command of README.md, in order, on what the demo wrote; what the README says they print, they print.

In indented blocks a line that begins with `$ ` (or `cargo `) is a command, lines that end with a backslash go on, and
`# ends with N` says how it ends (0 else); what follows is output, of which the README may leave lines out. A fenced
block that begins with `# NAME.toml` is a file. An indented block of JSON is a record of the demo's, with fewer digits. `cargo run --release --` and `framevouch` are the program that is given.
After them come the examples that every command's `--help` has, those of them that the README has not; what a shell is told
to complete goes through its own parser where there is one.
Usage: readme.py --binary PROGRAM [--folder FOLDER]: where it is run, and left to be looked at."""

import argparse
import itertools
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

README = Path(__file__).parent / "../../README.md"


def steps(text):
    """("file", name, content) and ("command", line, status, output lines), in the order of the text."""
    lines = text.splitlines()
    at = 0
    while at < len(lines):
        fence = re.match(r"```(\w+)$", lines[at])
        if fence:
            end = lines.index("```", at + 1)
            name = re.match(r"# (\S+\.toml)$", lines[at + 1])
            if name:
                yield "file", name[1], "\n".join(lines[at + 1:end]) + "\n"
            at = end + 1
            continue
        if lines[at].startswith("    {"):
            end = next(k for k in range(at, len(lines)) if not lines[k].startswith("    "))
            yield "record", json.loads("".join(lines[at:end]), parse_float=str)
            at = end
            continue
        command = re.match(r" {4,}(?:\$ |(?=cargo ))(.*)", lines[at])
        at += 1
        if not command:
            continue
        words = command[1]
        while words.rstrip().endswith("\\"):
            words = words.rstrip()[:-1] + lines[at].strip()
            at += 1
        said = re.search(r"\s+# (.*)", words)
        status = re.search(r"ends with (\d)", said[1]) if said else None
        output = []
        while at < len(lines) and re.match(r" {4,}(?!\$ |cargo | )", lines[at]):
            output.append(lines[at].strip())
            at += 1
        yield "command", words[:said.start()] if said else words, int(status[1]) if status else 0, output


def missing(expected, printed):
    """The first line that is not printed in its turn; blanks and a closing `...` do not count."""
    got = [" ".join(line.split()) for line in printed.splitlines()]
    at = 0
    for line in expected:
        wanted = " ".join(line.split())
        start = wanted.removesuffix("...").rstrip()
        found = [k for k in range(at, len(got)) if (got[k].startswith(start) if wanted.endswith("...") else got[k] == wanted)]
        if wanted == "...":
            continue
        if not found:
            return line
        at = found[0] + 1
    return None


def is_told(told, record) -> bool:
    """Whether a record says what the README tells of it; numbers that were read as text have its digits."""
    if isinstance(told, dict):
        return isinstance(record, dict) and all(k in record and is_told(v, record[k]) for k, v in told.items())
    if isinstance(told, str) and isinstance(record, float):
        return f"{record:.{len(told.partition('.')[2])}f}" == told
    return told == record


def demo_records(folder):
    """Events and readings of the demo."""
    yield from json.loads((folder / "demo/check/events.json").read_text())
    for line in (folder / "demo/check/frames.jsonl").open():
        for region in json.loads(line)["regions"].values():
            yield from region["readings"]


def examples(program):
    """("command", line, status, no output) of each example in the help of the program and its commands."""
    def helped(*words):
        return subprocess.run([program, *words, "--help"], capture_output=True, text=True, check=True).stdout

    listed = helped().split("Commands:\n")[1].split("\n\n")[0]
    commands = [line.split()[0] for line in listed.splitlines()]
    for command in commands:
        if command == "help":
            continue
        lines = helped(command).splitlines()
        while lines:
            line = lines.pop(0)
            if not line.startswith("  framevouch "):
                continue
            while line.endswith("\\"):
                line = line[:-1] + lines.pop(0).strip()
            words, _, said = line.strip().partition("  #")
            status = re.search(r"ends with (\d)", said)
            yield "command", words.rstrip(), int(status[1]) if status else 0, []


def parsed_by_shells(folder, env):
    """Whether the scripts for completion that the examples wrote are ones for their shells, where these are there."""
    for shell, script in (("bash", "framevouch.bash"), ("zsh", "_framevouch"), ("fish", "framevouch.fish")):
        if shutil.which(shell):
            yield shell, subprocess.run([shell, "-n", script], cwd=folder, env=env, capture_output=True).returncode == 0


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--binary", required=True, type=Path)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    program = given.binary.resolve()
    spare = tempfile.TemporaryDirectory(prefix="readme-")
    folder = given.folder or Path(spare.name)
    folder.mkdir(parents=True, exist_ok=True)
    here = Path(spare.name) / "bin"
    here.mkdir()
    (here / "framevouch").symlink_to(program)
    env = dict(os.environ, PATH=f"{here}:{os.environ['PATH']}")
    failed = count = 0
    ran_before = set()
    for kind, *step in itertools.chain(steps(README.read_text()), examples(program)):
        if kind == "file":
            (folder / step[0]).write_text(step[1])
            continue
        if kind == "record":
            good = any(is_told(step[0], r) for r in demo_records(folder))
            failed += not good
            print(f"{'ok' if good else 'FAILED: no record of the demo is'} {json.dumps(step[0])[:100]}")
            continue
        line, status, output = step
        if line.startswith(("cargo test", "cargo install")):
            continue
        line = line.replace("cargo run --release --", "framevouch")
        if " ".join(line.split()) in ran_before:
            continue
        ran_before.add(" ".join(line.split()))
        began = time.monotonic()
        ran = subprocess.run(["bash", "-c", line], cwd=folder, env=env, capture_output=True, text=True)
        count += 1
        lacks = missing(output, ran.stdout + ran.stderr)
        good = ran.returncode == status and lacks is None
        failed += not good
        print(f"{'ok' if good else 'FAILED'} {time.monotonic() - began:5.1f} s  {line}", flush=True)
        if not good:
            print(f"  ended with {ran.returncode}, {status} was said; not printed: {lacks!r}\n{ran.stdout}{ran.stderr}")
    for shell, good in parsed_by_shells(folder, env):
        failed += not good
        print(f"{'ok' if good else 'FAILED'}: {shell} takes its script")
    print(f"{count} commands, {failed} failed")
    return 1 if failed or not count else 0


if __name__ == "__main__":
    sys.exit(main())
