"""What every stored notebook must be, whatever it says; and the tool that stores them.

nbval holds the outputs to the library. It lets a notebook pass whose cells were never run, so the
guards here come first. Each guard is a function from a notebook to its complaints, and each is tried
on a notebook spoiled on purpose.
"""

from __future__ import annotations

import ast
import builtins
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from ridethrough.teach import refresh

ROOT = Path(__file__).parents[2]
LESSONS = sorted((ROOT / "lessons").glob("*.ipynb"))
NOTEBOOKS = LESSONS + sorted((ROOT / "lessons" / "instructor").glob("*.ipynb"))

TAGS = ["objectives", "cautions", "setup", "predict", "explore", "still", "explain", "exercise", "solution",
        "ledger", "takeaway", "sources", "instructor"]  # fmt: skip
MAY_BE_MISSING = {"cautions", "ledger"}
EXTRA_TAG = "more"
LINES_A_CELL = 10
CORE_WORDS, CORE_CELLS, LINES_SHOWN = 900, 25, 20

Notebook = nbformat.NotebookNode
Guard = Callable[[Notebook], list[str]]


def code_cells(notebook: Notebook) -> list[Notebook]:
    return [cell for cell in notebook.cells if cell.cell_type == "code" and cell.source.strip()]


def prose(notebook: Notebook) -> list[str]:
    return [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]


def outputs(notebook: Notebook) -> list[Notebook]:
    return [output for cell in code_cells(notebook) for output in cell.outputs]


def shown(notebook: Notebook) -> Iterator[str]:
    """Yield every text that the outputs show, pictures cut out (their base64 can spell anything)."""
    for output in outputs(notebook):
        texts = [output.get("text", ""), *output.get("data", {}).values(), *output.get("traceback", [])]
        yield from (re.sub(r"base64,[A-Za-z0-9+/=\s]+", "base64,", text) for text in texts if isinstance(text, str))


def found(pattern: str, texts: Iterator[str] | list[str], flags: int = 0) -> list[str]:
    return [match.group() for text in texts for match in re.finditer(pattern, text, flags)]


def tags(cell: Notebook) -> list[str]:
    return [tag for tag in cell.metadata.get("tags", []) if tag != EXTRA_TAG]


# --- Guards for every notebook ---------------------------------------------------------------------


def ran_in_order(notebook: Notebook) -> list[str]:
    counts = [cell.execution_count for cell in code_cells(notebook)]
    return [] if counts and counts == list(range(1, len(counts) + 1)) else [f"execution counts {counts}"]


def has_outputs(notebook: Notebook) -> list[str]:
    """At least one, and in more than half of the code cells."""
    cells = code_cells(notebook)
    full = sum(bool(cell.outputs) for cell in cells)
    return [] if full > len(cells) / 2 else [f"{full} of {len(cells)} code cells show something"]


def no_errors(notebook: Notebook) -> list[str]:
    return [output.ename for output in outputs(notebook) if output.output_type == "error"]


def no_warnings(notebook: Notebook) -> list[str]:
    stderr = [output.text for output in outputs(notebook) if output.get("name") == "stderr"]
    return stderr + found(r"\b\w*Warning: .*", shown(notebook))


def no_widget_state(notebook: Notebook) -> list[str]:
    views = [refresh.WIDGET_VIEW for output in outputs(notebook) if refresh.WIDGET_VIEW in output.get("data", {})]
    return views + [key for key in notebook.metadata if key == "widgets"]


def no_absolute_paths(notebook: Notebook) -> list[str]:
    """No place of one machine; and no way up out of the folder, since learners work on a copy elsewhere."""
    code = [cell.source for cell in code_cells(notebook)]
    texts = [*shown(notebook), *prose(notebook), *code]
    return found(r"(?<![\w.])/(?:home|tmp|work|root|Users)\b\S*|\b[A-Za-z]:\\(?![nt])\S*", texts) + found(
        r"\.\./\S*", code
    )


def no_addresses(notebook: Notebook) -> list[str]:
    return found(r"\b0x[0-9a-fA-F]{4,}", shown(notebook))


def no_unchecked_output(notebook: Notebook) -> list[str]:
    """What is drawn through these, nbval cannot hold to the library."""
    words = r"(?:interact|interact_manual|interactive|interactive_output|Output)"
    return found(rf"\b{words}\s*\(|@[\w.]*\b{words}\b", [cell.source for cell in code_cells(notebook)])


def short_cells(notebook: Notebook) -> list[str]:
    lengths = [len(cell.source.splitlines()) for cell in code_cells(notebook)]
    return [f"a code cell of {length} lines" for length in lengths if length > LINES_A_CELL]


def pictures_are_described(notebook: Notebook) -> list[str]:
    """A picture stands in HTML with its text alternative; as an output of its own it has none."""
    bare = [kind for output in outputs(notebook) for kind in output.get("data", {}) if kind.startswith("image/")]
    images = found(r"<img\b[^>]*>", [*shown(notebook), *prose(notebook)])
    mute = [image for image in images if not re.search(r"""\balt=(["'])\s*[^"'\s]""", image)]
    return bare + mute + found(r"!\[\s*\]\([^)]*\)", prose(notebook))


def no_belittling(notebook: Notebook) -> list[str]:
    return found(r"\b(?:simply|just|obviously)\b", prose(notebook), re.IGNORECASE)


def begins_with_a_title(notebook: Notebook) -> list[str]:
    headings = found(r"^#+ .*", prose(notebook), re.MULTILINE)
    return [] if headings and headings[0].startswith("# ") else [f"the first heading is {headings[:1]}"]


EVERYWHERE: list[Guard] = [
    ran_in_order, has_outputs, no_errors, no_warnings, no_widget_state, no_absolute_paths, no_addresses,
    no_unchecked_output, short_cells, pictures_are_described, no_belittling, begins_with_a_title,
]  # fmt: skip

# --- Guards for lessons ----------------------------------------------------------------------------


def one_tag_a_cell(notebook: Notebook) -> list[str]:
    return [
        f"tags {tags(cell)} on {cell.source[:40]!r}"
        for cell in notebook.cells
        if len(tags(cell)) != 1 or tags(cell)[0] not in TAGS
    ]


def tags_in_order(notebook: Notebook) -> list[str]:
    order = [TAGS.index(tag) for cell in notebook.cells for tag in tags(cell) if tag in TAGS]
    return [f"{TAGS[b]} after {TAGS[a]}" for a, b in pairwise(order) if b < a]


def no_part_missing(notebook: Notebook) -> list[str]:
    there = {tag for cell in notebook.cells for tag in tags(cell)}
    return [f"no cell is tagged {tag}" for tag in TAGS if tag not in there | MAY_BE_MISSING]


def answers_are_folded(notebook: Notebook) -> list[str]:
    """Solutions and instructor's notes open on request: code by its metadata, prose inside <details>."""
    complaints = []
    for cell in notebook.cells:
        if not {"solution", "instructor"} & set(tags(cell)):
            continue
        text = re.sub(r"^#+ .*$", "", cell.source, flags=re.MULTILINE).strip()
        folded = (
            cell.metadata.get("jupyter", {}).get("source_hidden") is True
            if cell.cell_type == "code"
            else not text or re.fullmatch(r"<details>\s*<summary>.+?</summary>.*</details>", text, re.DOTALL)
        )
        complaints += [] if folded else [f"open: {cell.source[:40]!r}"]
    return complaints


def core(notebook: Notebook) -> list[Notebook]:
    """Return what a class goes through: neither what is marked more, nor what is folded at the end."""
    beside = {EXTRA_TAG, "solution", "sources", "instructor"}
    return [cell for cell in notebook.cells if not beside & set(cell.metadata.get("tags", []))]


def core_code(notebook: Notebook) -> list[ast.AST]:
    sources = [cell.source for cell in core(notebook) if cell.cell_type == "code"]
    return [node for source in sources for node in ast.walk(ast.parse(source))]


def core_is_short(notebook: Notebook) -> list[str]:
    """Twenty minutes: at most 900 words, at 100 a minute with something to do, and 25 cells."""
    cells = core(notebook)
    text = [cell.source for cell in cells if cell.cell_type == "markdown"]
    words, long = len(found(r"\w[\w'-]*", text)), [one[:40] for one in text if len(found(r"\w[\w'-]*", [one])) > 175]
    many = [f"{words} words, {len(cells)} cells"] if words > CORE_WORDS or len(cells) > CORE_CELLS else []
    return many + [f"a long cell: {one!r}" for one in long]


def core_has_one_exercise(notebook: Notebook) -> list[str]:
    calls = [
        node
        for node in core_code(notebook)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "exercise"
    ]
    return [] if len(calls) == 1 else [f"{len(calls)} exercises in the core"]


def core_stands_alone(notebook: Notebook) -> list[str]:
    """What is marked more may be skipped: no name in the core comes from there."""
    nodes = core_code(notebook)
    names = [node for node in nodes if isinstance(node, ast.Name)]
    known = {node.id for node in names if not isinstance(node.ctx, ast.Load)} | set(dir(builtins))
    for node in nodes:
        if isinstance(node, ast.alias):
            known.add((node.asname or node.name).split(".")[0])
        elif isinstance(node, ast.FunctionDef):
            known |= {node.name, *(arg.arg for arg in node.args.args)}
        elif isinstance(node, ast.Lambda):
            known |= {arg.arg for arg in node.args.args}
        elif isinstance(node, ast.ExceptHandler) and node.name:
            known.add(node.name)
    return sorted({node.id for node in names} - known)


def code_is_hidden(notebook: Notebook) -> list[str]:
    """Shown are the guess, the answer, and the arithmetic to repeat: twenty lines at most."""
    shown = [cell.source for cell in core(notebook) if cell.cell_type == "code"
             and not cell.metadata.get("jupyter", {}).get("source_hidden")]  # fmt: skip
    lines = sum(len(source.splitlines()) for source in shown)
    return [] if lines <= LINES_SHOWN else [f"{lines} lines of code are shown in the core"]


IN_LESSONS: list[Guard] = [
    one_tag_a_cell, tags_in_order, no_part_missing, answers_are_folded, core_is_short, core_has_one_exercise,
    core_stands_alone, code_is_hidden,
]  # fmt: skip


def named_by_number(name: str) -> bool:
    return re.fullmatch(r"\d\d(-[a-z0-9]+)+\.ipynb", name) is not None


# --- The stored notebooks --------------------------------------------------------------------------


def name_of(value: Path | Guard) -> str:
    return value.stem if isinstance(value, Path) else value.__name__


def test_there_are_lessons() -> None:
    assert (ROOT / "lessons" / "00-start-here.ipynb") in LESSONS


@pytest.mark.parametrize("guard", EVERYWHERE, ids=name_of)
@pytest.mark.parametrize("path", NOTEBOOKS, ids=name_of)
def test_notebook(path: Path, guard: Guard) -> None:
    assert guard(nbformat.read(path, as_version=4)) == []


@pytest.mark.parametrize("guard", IN_LESSONS, ids=name_of)
@pytest.mark.parametrize("path", LESSONS, ids=name_of)
def test_lesson(path: Path, guard: Guard) -> None:
    assert guard(nbformat.read(path, as_version=4)) == []


@pytest.mark.parametrize("path", LESSONS, ids=name_of)
def test_lesson_is_named_by_its_number(path: Path) -> None:
    assert named_by_number(path.name)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=name_of)
def test_notebook_is_stored_clean(path: Path) -> None:
    clean = nbformat.writes(refresh.normalise(nbformat.read(path, as_version=4)))
    assert path.read_text(encoding="utf-8") == f"{clean}\n", "run: python -m ridethrough.teach.refresh"


# --- The guards themselves -------------------------------------------------------------------------


def good() -> Notebook:
    """Return a small lesson no guard complains about."""
    notebook = new_notebook()
    for tag in TAGS:
        if tag in {"setup", "explore", "still", "solution", "exercise"}:
            source = {"setup": "from x import exercise", "exercise": "exercise('00-a')"}.get(tag, f"print('{tag}')")
            cell = new_code_cell(source, outputs=[new_output("stream", name="stdout", text=f"{tag}\n")])
            cell.execution_count = len(code_cells(notebook)) + 1
        else:
            cell = new_markdown_cell({"objectives": "# A lesson\n\nAims.", "exercise": "## Exercise"}.get(tag, tag))
        cell.metadata["tags"] = [tag]
        notebook.cells.append(cell)
    part(notebook, "solution").metadata["jupyter"] = {"source_hidden": True}
    part(notebook, "instructor").source = "## Notes\n\n<details><summary>Minutes</summary>\n\n20\n</details>"
    part(notebook, "explain").metadata["tags"].append(EXTRA_TAG)
    return notebook


def part(notebook: Notebook, tag: str) -> Notebook:
    return next(cell for cell in notebook.cells if tag in cell.metadata["tags"])


def say(tag: str, text: str) -> Callable[[Notebook], None]:
    return lambda notebook: part(notebook, tag).update(source=text)


def put(output: Notebook) -> Callable[[Notebook], None]:
    return lambda notebook: part(notebook, "explore").outputs.append(output)


def show(text: str, kind: str = "text/html") -> Callable[[Notebook], None]:
    return put(new_output("display_data", data={kind: text}))


def tag_as(old: str, new: list[str]) -> Callable[[Notebook], None]:
    return lambda notebook: part(notebook, old).metadata.update(tags=new)


def empty(*parts: str) -> Callable[[Notebook], None]:
    return lambda notebook: [part(notebook, tag).update(outputs=[]) for tag in parts] and None


SPOILED: list[tuple[Guard, Callable[[Notebook], object]]] = [
    (ran_in_order, lambda notebook: part(notebook, "still").update(execution_count=None)),
    (ran_in_order, lambda notebook: part(notebook, "still").update(execution_count=7)),
    (ran_in_order, lambda notebook: notebook.update(cells=[])),
    (has_outputs, empty("explore", "still", "exercise")),
    (has_outputs, lambda notebook: notebook.update(cells=[])),
    (no_errors, put(new_output("error", ename="ValueError", evalue="no", traceback=[]))),
    (no_warnings, put(new_output("stream", name="stderr", text="careful"))),
    (no_warnings, put(new_output("stream", name="stdout", text="a.py:3: RuntimeWarning: overflow"))),
    (no_widget_state, show("{}", refresh.WIDGET_VIEW)),
    (no_widget_state, lambda notebook: notebook.metadata.update(widgets={})),
    (no_absolute_paths, show("read /home/me/log.csv", "text/plain")),
    (no_absolute_paths, show("read '/work/log.csv'", "text/plain")),
    (no_absolute_paths, show(r"read C:\Users\me\log.csv", "text/plain")),
    (no_absolute_paths, say("still", "print(open('/tmp/log.csv'))")),
    (no_absolute_paths, say("still", "print(open('../data/log.csv'))")),
    (no_addresses, show("<Panel object at 0x7f3a5c0de1d0>", "text/plain")),
    (no_unchecked_output, say("explore", "interact(draw, watts=38)")),
    (no_unchecked_output, say("explore", "@interact\ndef draw(): ...")),
    (no_unchecked_output, say("explore", "out = widgets.Output()")),
    (short_cells, say("explore", "x = 1\n" * (LINES_A_CELL + 1))),
    (pictures_are_described, show("iVBORw0KGgo=", "image/png")),
    (pictures_are_described, show('<img src="data:image/png;base64,iVBORw0KGgo=">')),
    (pictures_are_described, show('<img alt="" src="data:image/png;base64,iVBORw0KGgo=">')),
    (pictures_are_described, say("explain", "![](plug.png)")),
    (no_belittling, say("explain", "Simply subtract.")),
    (no_belittling, say("explain", "It is just a sum, obviously.")),
    (begins_with_a_title, say("objectives", "## A lesson")),
    (begins_with_a_title, say("objectives", "A lesson")),
    (one_tag_a_cell, tag_as("explain", [])),
    (one_tag_a_cell, tag_as("explain", ["explain", "still"])),
    (one_tag_a_cell, tag_as("explain", ["explanation"])),
    (tags_in_order, tag_as("cautions", ["explain"])),
    (no_part_missing, tag_as("takeaway", ["sources"])),
    (answers_are_folded, lambda notebook: part(notebook, "solution").metadata.pop("jupyter")),
    (answers_are_folded, say("instructor", "## Notes\n\n20 minutes")),
    (answers_are_folded, say("instructor", "<details><summary>Minutes</summary>20</details> and more")),
    (core_is_short, say("takeaway", "word " * (CORE_WORDS + 1))),
    (core_is_short, lambda notebook: notebook.cells.extend([part(notebook, "takeaway")] * CORE_CELLS)),
    (core_has_one_exercise, tag_as("exercise", ["exercise", EXTRA_TAG])),
    (core_stands_alone, say("still", "print(log)")),
    (code_is_hidden, say("still", "1\n" * (LINES_SHOWN + 1))),
]


@pytest.mark.parametrize("guard", EVERYWHERE + IN_LESSONS, ids=name_of)
def test_guard_lets_a_good_lesson_pass(guard: Guard) -> None:
    assert guard(good()) == []


@pytest.mark.parametrize(("guard", "spoil"), SPOILED, ids=[f"{g.__name__}{i}" for i, (g, _) in enumerate(SPOILED)])
def test_guard_finds_the_spoiled_lesson(guard: Guard, spoil: Callable[[Notebook], object]) -> None:
    notebook = good()
    spoil(notebook)
    assert guard(notebook)


def test_every_guard_is_tried() -> None:
    assert {guard for guard, _ in SPOILED} == set(EVERYWHERE + IN_LESSONS)


def test_a_picture_may_spell_anything() -> None:
    notebook = good()
    show('<img alt="two lines" src="data:image/png;base64,AA/tmp/0x7f3a5c0de1d0+/home/==">')(notebook)
    assert [guard for guard in EVERYWHERE if guard(notebook)] == []


def test_optional_parts_may_be_missing() -> None:
    notebook = good()
    notebook.cells = [cell for cell in notebook.cells if not MAY_BE_MISSING & set(tags(cell))]
    assert no_part_missing(notebook) == tags_in_order(notebook) == []


@pytest.mark.parametrize("name", ["0-start.ipynb", "00_start.ipynb", "00-Start.ipynb", "start.ipynb", "00.ipynb"])
def test_other_names_are_found(name: str) -> None:
    assert named_by_number("00-start-here.ipynb")
    assert not named_by_number(name)


# --- The tool that stores them ---------------------------------------------------------------------

PICTURE = "data:image/png;base64,iVBORw0KGgo="
PANEL = f"""\
import ipywidgets
class Panel(ipywidgets.VBox):
    def _repr_mimebundle_(self, **kwargs):
        view = super()._repr_mimebundle_(**kwargs)
        return view | {{"text/plain": "38 W", "text/html": "<p>38 W<img alt='a line' src='{PICTURE}'></p>"}}
Panel([ipywidgets.IntSlider()])"""


def store(path: Path, *sources: str) -> Path:
    """Write a notebook with these code cells, as JupyterLab might leave it."""
    notebook = new_notebook(metadata={"widgets": {"state": {}}, "kernelspec": {"name": "mine", "display_name": "x"}})
    notebook.cells = [
        new_code_cell(source, id=f"cell-{i}", metadata={"execution": {"iopub.status.busy": "2026-01-10T08:00:00Z"}})
        for i, source in enumerate(sources)
    ]
    nbformat.write(notebook, path)
    return path


def test_two_runs_store_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("38\n")
    sources = (
        "print('°C')",
        "print(open('log.csv').read())",
        PANEL,
        "from IPython.display import HTML\nHTML('<p>38 W</p>')",
    )
    path = store(tmp_path / "00-small.ipynb", *sources)
    assert refresh.main([str(path)]) == 0
    first = path.read_bytes()
    assert refresh.main([str(path)]) == 0
    assert path.read_bytes() == first

    text = first.decode()
    notebook = nbformat.reads(text, as_version=4)
    assert text.startswith('{\n "cells"')
    assert text.endswith("}\n")
    assert "°C" in text
    assert str(tmp_path) not in text
    assert [cell.id for cell in notebook.cells] == ["cell-0", "cell-1", "cell-2", "cell-3"]
    assert notebook.metadata["kernelspec"]["name"] == "python3"
    assert notebook.metadata["language_info"] == {"name": "python"}
    assert "widgets" not in notebook.metadata
    assert all(cell.metadata == {} for cell in notebook.cells)
    assert outputs(notebook)[1].text == "38\n\n"
    assert outputs(notebook)[2].data == {
        "text/plain": "38 W",
        "text/html": f"<p>38 W<img alt='a line' src='{PICTURE}'></p>",
    }
    assert [guard for guard in (ran_in_order, has_outputs, no_widget_state, no_errors) if guard(notebook)] == []


def test_an_output_that_is_only_a_widget_goes() -> None:
    notebook = good()
    show("{}", refresh.WIDGET_VIEW)(notebook)
    assert len(outputs(refresh.normalise(notebook))) == len(outputs(good()))


def test_a_failing_cell_stops_and_leaves_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = store(tmp_path / "00-small.ipynb", "1 + 1", "total = 38 / 0  # the cell's text")
    before = path.read_bytes()
    assert refresh.main([str(path)]) == 1
    assert path.read_bytes() == before
    told = capsys.readouterr().err
    assert "total = 38 / 0  # the cell's text" in told
    assert "ZeroDivisionError" in told


def test_no_notebooks_is_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert refresh.main([]) == 1
    assert "Needed: notebooks" in capsys.readouterr().err


def test_all_lessons_is_the_default(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lessons" / "instructor").mkdir(parents=True)
    paths = [store(tmp_path / "lessons" / name, "1 + 1") for name in ("00-a.ipynb", "instructor/key.ipynb")]
    assert refresh.main([]) == 0
    assert all("execution_count" in path.read_text() and '"text/plain"' in path.read_text() for path in paths)


# --- What nbval is told to overlook ----------------------------------------------------------------


@pytest.mark.parametrize(("now", "passes"), [("38 W", True), ("39 W", False)])
def test_nbval_overlooks_pictures_and_no_numbers(tmp_path: Path, now: str, passes: bool) -> None:
    source = "from IPython.display import HTML\nHTML(open('view.html').read())"
    path = store(tmp_path / "00-small.ipynb", source)
    (tmp_path / "view.html").write_text(f"<p>38 W<img alt='a line' src='{PICTURE}'></p>")
    assert refresh.main([str(path)]) == 0
    (tmp_path / "view.html").write_text(f"<p>{now}<img alt='a line' src='{PICTURE.replace('Ggo', 'Xyz')}'></p>")
    options = ["--nbval", "--nbval-current-env", "--nbval-sanitize-with", str(ROOT / "tests" / "nbval.ini")]
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--rootdir={tmp_path}", *options, str(path)],
        capture_output=True, text=True, cwd=tmp_path,
    )  # fmt: skip
    assert (ran.returncode == 0) is passes, ran.stdout
    assert passes or "39 W" in ran.stdout
