"""What the program writes for other tools, read by others: the trace against the schema of ReqIF and by another reader,
what another writer makes of it by the program, the workbook by another reader of spreadsheets.

The schema is the OMG's of ReqIF 1.2 (formal/2016-07-01), as the package reqif from PyPI ships it; openpyxl reads the
workbook. Usage: exchange.py --binary PROGRAM --results FOLDER (of a check) [--folder FOLDER]"""

import argparse
import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import openpyxl
import reqif
import xmlschema
from reqif.parser import ReqIFParser
from reqif.unparser import ReqIFUnparser

WORDING = 'Shown "right",\nwithin <limits> & in time: ÄΩ.'


def run(program, *words, status=0):
    ran = subprocess.run([program, *map(str, words)], capture_output=True, text=True)
    assert ran.returncode == status, f"{words}: {ran.returncode}\n{ran.stdout}{ran.stderr}"
    return ran.stdout


def requirements(folder, results):
    """A file of requirements: every one that the definition names but the first, and one that it does not."""
    display = json.loads((results / "display.json").read_text())
    ids = sorted({r for region in display["regions"] for r in region["requirements"]})
    path = folder / "requirements.csv"
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["id", "text", "method", "hazard"])
        for name in ids[1:] + ["X-LOST"]:
            rows.writerow([name, WORDING, "test", "major"])
    return path, ids


def is_valid(path):
    """Against the schema of the standard; its parts lie beside it, and nothing is fetched."""
    schema = Path(reqif.__file__).parent / "reqif_schema/reqif.xsd"
    found = list(xmlschema.XMLSchema(str(schema), allow="local").iter_errors(str(path)))
    assert not found, f"{path}: {len(found)} deviations from the schema, the first: {found[0]}"


def values(bundle):
    """Objects by the id of their attribute of that name: name and value of each attribute."""
    names = {}
    for spec_type in bundle.core_content.req_if_content.spec_types:
        for attribute in getattr(spec_type, "attribute_definitions", None) or []:
            names[attribute.identifier] = attribute.long_name
    objects = bundle.core_content.req_if_content.spec_objects
    return [{names[a.definition_ref]: a.value for a in o.attributes} for o in objects]


def trace(program, results, folder):
    given, ids = requirements(folder, results)
    report = ["report", "--quiet", "--from", results, "--out", folder / "page.html", "--requirements"]
    first = folder / "trace.reqif"
    run(program, *report, given, "--trace", first, "--issued", "2026-11-30T12:00:00Z")
    is_valid(first)
    bundle = ReqIFParser.parse(str(first))
    read = {o["ReqIF.ForeignID"]: o for o in values(bundle) if "ReqIF.ForeignID" in o}
    assert sorted(read) == sorted(ids + ["X-LOST"]), sorted(read)
    assert "ReqIF.Text" not in read[ids[0]] and "within &lt;limits&gt; &amp; in time" in read[ids[1]]["ReqIF.Text"]
    assert read["X-LOST"]["Hazard"] == "major" and read["X-LOST"]["Result"] == ["e-open"], read["X-LOST"]
    relations = bundle.core_content.req_if_content.spec_relations
    assert relations and len({(r.source, r.target) for r in relations}) == len(relations)
    # What the other writer makes of it says the same to the program.
    again = folder / "again.reqif"
    again.write_text(ReqIFUnparser.unparse(bundle))
    is_valid(again)
    tables = []
    for name in (first, again):
        table = folder / (name.stem + ".csv")
        run(program, *report, name, "--trace", table)
        tables.append(table.read_text())
    assert tables[0] == tables[1]
    rows = {r["requirement"]: r for r in csv.DictReader(tables[0].splitlines(True))}
    assert rows[ids[1]]["text"] == WORDING and rows["X-LOST"]["regions"] == "", rows[ids[1]]
    return len(read)


def workbook(program, results, folder):
    path = folder / "figures.xlsx"
    run(program, "report", "--quiet", "--from", results, "--out", folder / "page.html", "--workbook", path)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["About", "Events", "Requirements", "Regions", "Coverage"], book.sheetnames
    events = json.loads((results / "events.json").read_text())
    sheet = book["Events"]
    rows = list(sheet.iter_rows(values_only=True))
    column = {name: k for k, name in enumerate(rows[0])}
    assert len(rows) == 1 + len(events)
    for row, event in zip(rows[1:], events):
        assert row[column["class"]] == event["class"]
        onset, frame = row[column["onset s"]], row[column["first frame"]]
        assert isinstance(onset, (int, float)) and abs(onset - event["onset_s"]) < 1e-9, row
        assert isinstance(frame, int) and frame == event["first_frame"], row
    for sheet in book:
        assert sheet.auto_filter.ref == sheet.dimensions, (sheet.title, sheet.auto_filter.ref, sheet.dimensions)
        assert sheet.freeze_panes == "A2", sheet.title
        assert all(9 <= d.width <= 62 for d in sheet.column_dimensions.values()), sheet.title
        assert all(c.data_type != "f" for row in sheet for c in row), sheet.title
    return len(events)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--binary", required=True, type=Path)
    parser.add_argument("--results", required=True, type=Path)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    spare = tempfile.TemporaryDirectory(prefix="exchange-")
    folder = given.folder or Path(spare.name)
    folder.mkdir(parents=True, exist_ok=True)
    program, results = given.binary.resolve(), given.results.resolve()
    print(f"trace: {trace(program, results, folder)} requirements, valid against the schema, read and written by another tool")
    print(f"workbook: {workbook(program, results, folder)} events, read by another tool")
    return 0


if __name__ == "__main__":
    sys.exit(main())
