"""Runs the notebook on results of check and, where there are some, of campaign; what fails in it fails here.

    python3 tests/notebook/run.py --check demo/check --campaign demo/campaign --plots plots

Needs nbclient, ipykernel, pandas, pyarrow and matplotlib from PyPI.
"""

import argparse
import os
from pathlib import Path

import nbformat
from nbclient import NotebookClient


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", type=Path, required=True, help="results of check --parquet")
    parser.add_argument("--campaign", type=Path, help="results of campaign --parquet")
    parser.add_argument("--plots", type=Path, required=True, help="folder for the plots")
    given = parser.parse_args()
    given.plots.mkdir(parents=True, exist_ok=True)
    os.environ["FRAMEVOUCH_CHECK"] = str(given.check.resolve())
    os.environ["FRAMEVOUCH_PLOTS"] = str(given.plots.resolve())
    if given.campaign:
        os.environ["FRAMEVOUCH_CAMPAIGN"] = str(given.campaign.resolve())
    notebook = nbformat.read(Path(__file__).with_name("figures.ipynb"), as_version=4)
    NotebookClient(notebook, timeout=300, kernel_name="python3").execute()
    for plot in ("errors.png", "verdicts.png"):
        size = (given.plots / plot).stat().st_size
        assert size > 5000, f"{plot} has {size} bytes"
    print(f"notebook: {sum(c.cell_type == 'code' for c in notebook.cells)} cells ran, plots in {given.plots}")


if __name__ == "__main__":
    main()
