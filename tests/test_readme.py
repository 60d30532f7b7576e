"""The README says what the program says, and its first screen holds what a newcomer needs."""

import re
from pathlib import Path

import nbformat

from ridethrough.teach import scenario
from ridethrough.teach.pantry import first_answer

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SCREEN = README.split("## Other ways to install")[0]


def test_the_quoted_answer_is_the_programs() -> None:
    quoted = "\n".join(line[2:] for line in README.splitlines() if line.startswith("> "))
    assert quoted == first_answer()


def test_both_commands_stand_on_the_first_screen_and_start_from_bare_python() -> None:
    blocks = re.findall(r"```bash\n(.*?)```", SCREEN, re.S)
    assert len(blocks) == 2
    for block in blocks:
        assert block.startswith("python3 -m venv .venv")
        assert "-c binder/requirements.txt" in block
    assert len(SCREEN.split()) < 400


def test_every_lesson_is_in_the_table_and_every_link_leads_somewhere() -> None:
    links = re.findall(r"\]\(([^)#]+)\)", README)
    assert links
    for link in links:
        assert (ROOT / link).exists(), link
    for lesson in (ROOT / "lessons").glob("*.ipynb"):
        assert f"lessons/{lesson.name}" in links


def test_minutes_are_the_lessons_own() -> None:
    for lesson in sorted((ROOT / "lessons").glob("*.ipynb")):
        head = nbformat.read(lesson, 4).cells[0].source
        core, more = re.search(
            r"\*\*Time:\*\* (\d+) minutes(?:; what is marked \*more\*, another (\d+))?", head
        ).groups()  # type: ignore[union-attr]
        [told] = re.findall(rf"lessons/{lesson.name}\) \|[^|]+\| ([^|]+) \|", README)
        assert told == (f"{core}, and {more} more" if more else f"{core}, and days of your own")


def test_the_lines_for_your_own_readings_run(tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """The block under "your own readings", with a log of another make in place of the reader's."""
    block = re.search(r"## Use it with your own readings.*?```python\n(.*?)```", README, re.S)
    assert block is not None
    (tmp_path / "my-refrigerator.csv").write_bytes(scenario.path("store-chest-freezer.csv").read_bytes())
    monkeypatch.chdir(tmp_path)
    exec(block[1], {})


def test_what_is_typed_in_a_terminal_needs_nothing_but_the_first_command() -> None:
    """No environment has been entered: a bare name would not be found."""
    for page in (ROOT / "README.md", *(ROOT / "lessons" / "instructor").glob("*.md")):
        text = page.read_text(encoding="utf-8")
        assert re.findall(r"(?:`|^ *)((?:ridethrough|python|pip|jupyter) [^`\n]*)", text, re.M) == [], page


def test_the_key_of_a_class_runs(capsys) -> None:  # type: ignore[no-untyped-def]
    block = re.search(r"in your class.*?```python\n(.*?)```", README, re.S)
    assert block is not None
    exec(block[1], {})
    assert capsys.readouterr().out.count("\n") == 3
