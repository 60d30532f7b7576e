"""The command ``ridethrough``: what it says, what it copies and keeps, and that JupyterLab answers."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from ridethrough import __main__ as command
from ridethrough.teach import scenario
from ridethrough.units import Refusal

ANSWER = "About 12 h, give or take 2 h. Keep the door closed."


@pytest.fixture
def kit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A kit of three small files, an answer of its own, and a JupyterLab that only notes what it was asked."""
    folder = tmp_path / "kit"
    folder.mkdir()
    for name in (command.FIRST_LESSON, "01-second.ipynb", "LICENSE.txt"):
        (folder / name).write_text(f"kit's {name}", encoding="utf-8")
    answer: Any = ModuleType("ridethrough.teach.pantry")
    answer.first_answer = lambda: ANSWER
    monkeypatch.setitem(sys.modules, answer.__name__, answer)
    monkeypatch.setattr(command, "kit_lessons", lambda: folder)
    monkeypatch.chdir(tmp_path)
    return folder


@pytest.fixture
def opened(kit: Path, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What JupyterLab was asked to open."""
    calls: list[dict[str, Any]] = []
    monkeypatch.setattr(
        command,
        "open_lab",
        lambda folder, port, browser: calls.append({"folder": folder, "port": port, "browser": browser}),
    )
    return calls


def free_port() -> int:
    with socket.create_server((command.HOST, 0)) as server:
        return int(server.getsockname()[1])


# --- What it says and copies -----------------------------------------------------------------------


def test_answer_only(opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["--answer"]) == 0
    assert capsys.readouterr().out == f"{ANSWER}\n"
    assert opened == []
    assert not (tmp_path / "my-lessons").exists()


def test_first_run_answers_copies_and_opens(
    kit: Path, opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    assert command.main(["--port", str(port), "--no-browser"]) == 0
    mine, out = tmp_path / "my-lessons", capsys.readouterr().out
    assert out.startswith(ANSWER)
    assert str(mine) in out
    assert "has changed" not in out
    seen = sorted(path.name for path in mine.iterdir() if not path.name.startswith("."))
    assert seen == [command.FIRST_LESSON, "01-second.ipynb", "LICENSE.txt"]
    assert all((mine / name).read_bytes() == (kit / name).read_bytes() for name in seen)
    assert (mine / ".gitignore").read_text() == "*\n"
    assert opened == [{"folder": Path("my-lessons"), "port": port, "browser": False}]


def test_the_copy_is_ignored_by_git(kit: Path, opened: list[dict[str, Any]], tmp_path: Path) -> None:
    subprocess.run(["git", "init", "-q", "."], cwd=tmp_path, check=True)
    assert command.main(["--folder", "copy"]) == 0
    status = subprocess.run(["git", "status", "--short"], cwd=tmp_path, check=True, capture_output=True, text=True)
    assert "copy" not in status.stdout
    assert "kit/" in status.stdout


def test_work_is_never_overwritten(kit: Path, opened: list[dict[str, Any]], tmp_path: Path) -> None:
    mine = tmp_path / "my-lessons"
    assert command.main([]) == 0
    for path in [p for p in mine.rglob("*") if p.is_file() and not p.is_relative_to(mine / command.FIRST_COPIES)]:
        path.write_text("my work", encoding="utf-8")
    (mine / "notes.txt").write_text("my notes", encoding="utf-8")
    for _ in range(2):
        for path in kit.iterdir():
            if path.is_file():
                path.write_text(path.read_text(encoding="utf-8") + "!", encoding="utf-8")
        assert command.main([]) == 0
        texts = {p.name: p.read_text() for p in mine.rglob("*") if p.is_file() and command.FIRST_COPIES not in p.parts}
        assert texts.pop("notes.txt") == "my notes"
        assert set(texts.values()) == {"my work"}


def test_own_work_alone_is_no_change_of_the_kit(
    kit: Path, opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command.main([])
    (tmp_path / "my-lessons" / "01-second.ipynb").write_text("my work", encoding="utf-8")
    capsys.readouterr()
    command.main([])
    out = capsys.readouterr().out
    assert "New files: 0" in out
    assert "has changed" not in out


def test_a_changed_kit_says_that_yours_was_kept_and_what_to_do(
    kit: Path, opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command.main([])
    (kit / "01-second.ipynb").write_text("corrected", encoding="utf-8")
    capsys.readouterr()
    command.main([])
    out = capsys.readouterr().out
    assert "yours was kept: 01-second.ipynb. To get the new one, rename yours" in out
    mine = tmp_path / "my-lessons"
    (mine / "01-second.ipynb").rename(mine / "01-mine.ipynb")
    command.main([])
    assert (mine / "01-second.ipynb").read_text() == "corrected"
    assert (mine / "01-mine.ipynb").read_text() == "kit's 01-second.ipynb"
    assert "has changed" not in capsys.readouterr().out


def test_a_file_that_was_never_copied_is_kept_too(
    kit: Path, opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "my-lessons" / "01-second.ipynb"
    mine.parent.mkdir()
    mine.write_text("my own", encoding="utf-8")
    command.main([])
    assert mine.read_text() == "my own"
    assert "yours was kept: 01-second.ipynb" in capsys.readouterr().out


# --- Where it cannot -------------------------------------------------------------------------------


def test_a_busy_port_is_said(opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server((command.HOST, 0)) as busy:
        port = busy.getsockname()[1]
        assert command.main(["--port", str(port)]) == 1
    assert f"Given: port {port}." in capsys.readouterr().err
    assert opened == []
    assert not (tmp_path / "my-lessons").exists()


def test_an_impossible_port_is_said(opened: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["--port", "70000"]) == 1
    assert "Given: port 70000." in capsys.readouterr().err


def test_without_a_wish_the_next_free_port_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server((command.HOST, 0)) as busy:
        taken, free = busy.getsockname()[1], free_port()
        monkeypatch.setattr(command, "PORTS", [taken, free])
        assert command.free_port(None) == free
        monkeypatch.setattr(command, "PORTS", [taken])
        with pytest.raises(Refusal, match=f"ports {taken} to {taken}"):
            command.free_port(None)


def test_a_folder_that_cannot_be_written_is_said(
    opened: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    assert command.main(["--folder", "taken"]) == 1
    error = capsys.readouterr().err
    assert "Given: the folder taken (" in error
    assert len(error.splitlines()) == 1
    assert (tmp_path / "taken").read_text() == "a file"
    assert opened == []


def test_the_kits_own_folder_is_refused(
    kit: Path, opened: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main(["--folder", "kit"]) == 1
    assert "the kit's own folder" in capsys.readouterr().err
    assert not (kit / ".gitignore").exists()


def test_a_package_without_lessons_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "src" / "ridethrough"
    package.mkdir(parents=True)
    monkeypatch.setattr(scenario, "__file__", str(package / "teach" / "scenario.py"))
    with pytest.raises(Refusal, match="without lessons"):
        command.kit_lessons()
    for folder in (tmp_path / "lessons", package / "lessons"):  # a checkout; then an installed wheel, which goes first
        folder.mkdir()
        (folder / command.FIRST_LESSON).touch()
        assert command.kit_lessons() == folder


@pytest.mark.parametrize(
    ("platform", "variables", "expected"),
    [
        ("linux", {}, False),
        ("linux", {"DISPLAY": ":0"}, True),
        ("linux", {"WAYLAND_DISPLAY": "wayland-0"}, True),
        ("darwin", {}, True),
        ("win32", {}, True),
    ],
)
def test_a_browser_opens_where_there_is_a_display(
    opened: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
    platform: str,
    variables: dict[str, str],
    expected: bool,
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", platform)
    command.main([])
    command.main(["--no-browser"])
    assert [call["browser"] for call in opened] == [expected, False]


@pytest.mark.parametrize(("user", "allowed"), [(0, True), (1000, False)])
def test_root_is_allowed_only_to_root(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, user: int, allowed: bool
) -> None:
    from jupyterlab.labapp import LabApp

    asked: list[list[str]] = []
    monkeypatch.setattr(LabApp, "launch_instance", asked.append)
    monkeypatch.setattr(os, "geteuid", lambda: user, raising=False)
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "set by the user")
    command.open_lab(tmp_path, 9911, browser=False)
    assert ("--allow-root" in asked[0]) is allowed
    assert os.environ["JUPYTER_CONFIG_PATH"].split(os.pathsep) == [str(command.JUPYTER), "set by the user"]


# --- Its jobs --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "function", "given"),
    [
        ("papers class.csv --exercises 00-b 02-a --out p", "jobs.write_papers",
         {"table": Path("class.csv"), "exercises": ["00-b", "02-a"], "out": Path("p")}),
        ("papers class.csv --exercises 00-b", "jobs.write_papers",
         {"table": Path("class.csv"), "exercises": ["00-b"], "out": Path("papers")}),
        ("mark answers.csv", "jobs.write_marked", {"table": Path("answers.csv"), "out": Path("marked")}),
        ("pages", "jobs.write_pages", {"out": Path("site")}),
        ("wheels --out w", "jobs.write_wheels", {"out": Path("w")}),
    ],
)  # fmt: skip
def test_a_job_is_done_in_place_of_the_lessons(
    line: str, function: str, given: dict[str, Any], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    done: list[dict[str, Any]] = []
    monkeypatch.setattr(f"ridethrough.teach.{function}", lambda **kept: done.append(kept) or "It is done.")
    monkeypatch.setattr(command, "open_lab", lambda *kept, **more: pytest.fail("the lessons opened"))
    assert command.main(line.split()) == 0
    assert done == [given]
    assert capsys.readouterr().out == "It is done.\n"


def test_a_class_from_list_to_marks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "class.csv").write_text("name;room\nMüller, Anna;3\nBen;4\n", encoding="utf-8")
    assert command.main(["papers", "class.csv", "--exercises", "00-b", "00-x"]) == 0
    out = capsys.readouterr().out
    assert ".venv/bin/ridethrough mark papers/answers.csv" in out
    assert command.main(["mark", "papers/answers.csv"]) == 0
    assert "Learners: 2. Right: 00-b 0. Slips: none" in capsys.readouterr().out
    assert (tmp_path / "marked" / "marked.html").is_file()
    assert command.main(["papers", "class.csv", "--exercises", "00-b"]) == 1
    refused = capsys.readouterr()
    assert refused.out == ""
    assert "--out papers-2" in refused.err


def test_papers_need_exercises(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        command.main(["papers", "class.csv"])
    assert "--exercises" in capsys.readouterr().err


# --- For real --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address that the command prints, once JupyterLab answers there."""
    folder = tmp_path_factory.mktemp("real")
    quiet = {name: value for name, value in os.environ.items() if name not in {"DISPLAY", "WAYLAND_DISPLAY"}}
    with (folder / "out").open("w") as out:
        asked = [sys.executable, "-m", "ridethrough", "--port", str(free_port())]
        quiet["JUPYTER_CONFIG_DIR"] = str(folder / "config")  # this machine's own settings stay out of it
        lab = subprocess.Popen(asked, cwd=folder, env=quiet, stdout=out, stderr=subprocess.STDOUT)
    try:
        yield wait_for(lab, folder / "out")
    finally:
        lab.terminate()
        lab.wait()


def wait_for(lab: subprocess.Popen[bytes], out: Path) -> str:
    """Return the one address in the output when it answers; fail if the command ends or a minute passes."""
    for _ in range(240):
        time.sleep(0.25)
        assert lab.poll() is None, out.read_text()
        if not (found := re.findall(r"http://\S+", out.read_text())):
            continue
        try:
            urllib.request.urlopen(found[0]).close()
        except urllib.error.URLError:
            continue
        assert len(found) == 1
        return found[0]
    raise AssertionError(f"no answer within a minute:\n{out.read_text()}")


def test_the_answer_for_real() -> None:
    asked = [sys.executable, "-m", "ridethrough", "--answer"]
    out = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    assert re.search(r"\d h\b", out)
    assert "door" in out


def test_jupyterlab_answers_at_the_printed_address(address: str) -> None:
    contents = re.sub(r"/lab/tree/", "/api/contents/", address)
    with urllib.request.urlopen(contents) as answer:
        assert json.load(answer)["type"] == "notebook"
    with pytest.raises(urllib.error.HTTPError, match="403") as refused:
        urllib.request.urlopen(contents.split("?")[0])
    refused.value.close()


def test_the_lesson_opens_without_news_and_without_outside_requests(address: str) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None and os.environ.get("CI") != "true":
        pytest.skip("no Chromium here; apt-get install chromium")
    assert chromium, "no Chromium here; apt-get install chromium"
    from playwright.sync_api import sync_playwright

    flags = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
    asked_for: list[str] = []
    with sync_playwright() as player, player.chromium.launch(executable_path=chromium, args=flags) as browser:
        page = browser.new_page()
        page.on("request", lambda request: asked_for.append(request.url))
        page.goto(address)
        page.locator(".jp-Notebook .jp-CodeCell").first.wait_for()
        page.locator('.jp-Notebook-ExecutionIndicator[data-status="idle"]').wait_for()  # the kernel runs
        page.wait_for_timeout(3000)  # the question about news came up with the page
        said = page.locator(".Toastify__toast").all_inner_texts()
    assert said == []
    assert len(asked_for) > 10
    assert [url for url in asked_for if not url.startswith((f"http://{command.HOST}:", "data:", "blob:"))] == []
