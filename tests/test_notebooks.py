"""Every notebook runs from top to bottom, and is stored without the results of a run."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parent.parent / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_runs(path, tmp_path):
    notebook = nbformat.read(path, as_version=4)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(not cell.outputs for cell in cells)
    # NotebookClient raises with the cell's own traceback where one fails
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": tmp_path}}).execute()
    assert sum(bool(cell.outputs) for cell in cells) >= len(cells) - 2
