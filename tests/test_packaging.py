"""What the kit is installed from: one list of versions, a wheel that is whole, a host that can build it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PINS = ROOT / "binder" / "requirements.txt"

# The list is the host's, whatever this machine is.
HOST = {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix", "python_version": "3.11",
        "python_full_version": "3.11.0", "platform_python_implementation": "CPython",
        "implementation_name": "cpython"}  # fmt: skip

# Stored outputs show numbers, tables and pictures that these made.
OUTPUTS_DEPEND_ON = ("numpy", "pandas", "matplotlib", "pint", "uncertainties", "ipywidgets", "scipy", "pillow")


def lines() -> list[str]:
    text = PINS.read_text(encoding="utf-8").splitlines()
    return [line for line in text if line.strip() and not line.startswith("#")]


def pins(listed: list[str]) -> dict[str, str]:
    """Return name: version of a list in which every line states one exact version, each name once."""
    found: dict[str, str] = {}
    for line in listed:
        required = Requirement(line)
        (exact,) = required.specifier
        name = canonicalize_name(required.name)
        assert exact.operator == "==", line
        assert "*" not in exact.version, line
        assert name not in found, line
        found[name] = exact.version
    return found


def declared() -> list[Requirement]:
    """Return all that pyproject.toml asks for: to run, to test, to build, and to install editable."""
    project = PROJECT["project"]
    texts = [*project["dependencies"], *project["optional-dependencies"]["test"], *PROJECT["build-system"]["requires"]]
    return [Requirement(text) for text in [*texts, "editables"]]


def unmet(required: list[Requirement], pinned: dict[str, str]) -> list[str]:
    """Return the requirements that no pin satisfies."""
    return [
        str(one)
        for one in required
        if not one.specifier.contains(pinned.get(canonicalize_name(one.name), ""), prereleases=True)
        or canonicalize_name(one.name) not in pinned
    ]


def needed_by(required: list[Requirement]) -> Iterator[Requirement]:
    """Yield the requirements of what is required, and theirs, as the installed packages state them."""
    seen: set[tuple[str, str]] = set()
    waiting = [(one.name, extra) for one in required for extra in ("", *one.extras)]
    while waiting:
        name, extra = waiting.pop()
        if (canonicalize_name(name), extra) in seen:
            continue
        seen.add((canonicalize_name(name), extra))
        try:
            stated = requires(name) or []
        except PackageNotFoundError:  # not needed on this machine; the host has it
            stated = []
        for one in map(Requirement, stated):
            if one.marker is None or one.marker.evaluate(HOST | {"extra": extra}):
                yield one
                waiting += [(one.name, more) for more in ("", *one.extras)]


# --- The one list of versions ----------------------------------------------------------------------


def test_every_line_is_one_exact_version_and_they_are_sorted() -> None:
    names = list(pins(lines()))
    assert names == sorted(names)


def test_pins_satisfy_what_the_kit_declares() -> None:
    assert unmet(declared(), pins(lines())) == []


def test_pins_cover_what_the_declared_packages_need() -> None:
    needed = list(needed_by(declared()))
    assert len(needed) > 50
    assert unmet(needed, pins(lines())) == []


def test_a_missing_or_wrong_pin_is_found() -> None:
    pinned = pins(lines())
    (found,) = unmet(declared(), pinned | {"pandas": "1.0"})
    assert found.startswith("pandas")
    assert unmet([Requirement("pandas")], {}) == ["pandas"]
    del pinned["contourpy"]
    assert any("contourpy" in text for text in unmet(list(needed_by(declared())), pinned))


@pytest.mark.parametrize("listed", [["a>=1"], ["a==1.*"], ["a"], ["a==1", "A==1"]])
def test_a_line_that_pins_nothing_is_found(listed: list[str]) -> None:
    with pytest.raises((AssertionError, ValueError)):
        pins(listed)


@pytest.mark.parametrize("name", OUTPUTS_DEPEND_ON)
def test_what_outputs_depend_on_is_installed_as_pinned(name: str) -> None:
    assert version(name) == pins(lines())[name], f"install with: -c {PINS.relative_to(ROOT)}"


def test_no_pin_is_left_over() -> None:
    """A pin that nothing needs is an old one (or a stranger)."""
    needed = {canonicalize_name(one.name) for one in [*declared(), *needed_by(declared())]}
    assert set(pins(lines())) - needed == set()


# --- The wheel and the host ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the tree without what git ignores, so that building leaves nothing here."""
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    folder = tmp_path_factory.mktemp("tree") / "ridethrough"
    shutil.copytree(ROOT, folder, ignore=shutil.ignore_patterns(".git", *(name.rstrip("/") for name in ignored)))
    return folder


def test_the_wheel_holds_lessons_and_data(copy: Path, tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    built = subprocess.run(build, cwd=copy, capture_output=True, text=True)
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as opened:
        names = set(opened.namelist())
        (entries,) = [opened.read(name).decode() for name in names if name.endswith("entry_points.txt")]
    for folder, kinds in (
        ("lessons", "*.ipynb"), ("lessons", "*.md"), ("lessons", "*.toml"),
        ("data", "*.csv"), ("data", "datapackage.json"), ("data", "make.py"),
        ("src", "*.py"), ("src", "*.pyi"), ("src", "py.typed"), ("src", "*.csv"), ("src", "*.toml"),
        ("src", "*.html"), ("src", "*.css"), ("src", "*.typ"),
    ):  # fmt: skip
        paths = [path.relative_to(copy / "src" if folder == "src" else copy) for path in (copy / folder).rglob(kinds)]
        inside = {path.as_posix() if folder == "src" else f"ridethrough/{path.as_posix()}" for path in paths}
        assert inside, f"no {kinds} in {folder}"
        assert inside <= names
    assert "ridethrough = ridethrough.__main__:main" in entries


def dockerfile(folder: Path) -> str:
    """Return what the host would build ``folder`` from, with what it says on the way; nothing is built."""
    asked = ["-m", "repo2docker", "--no-build", "--debug", "."]
    ran = subprocess.run([sys.executable, *asked], cwd=folder, check=True, capture_output=True, text=True)
    return ran.stdout + ran.stderr


def test_the_host_takes_python_pins_and_post_build(copy: Path) -> None:
    text = dockerfile(copy)
    assert re.search(r"python=3\.11\b", text)
    assert re.search(r'^RUN .*pip install .*-r "?binder/requirements\.txt"?$', text, re.MULTILINE)
    assert re.search(r"^RUN \./binder/postBuild$", text, re.MULTILINE)


def test_the_host_would_take_another_python_without_being_told(copy: Path, tmp_path: Path) -> None:
    """Shows that the check above can fail."""
    bare = tmp_path / "bare"
    shutil.copytree(copy / "binder", bare / "binder")
    for name in ("runtime.txt", "postBuild"):
        (bare / "binder" / name).unlink()
    text = dockerfile(bare)
    assert not re.search(r"python=3\.11\b", text)
    assert "RUN ./binder/postBuild" not in text


def test_post_build_installs_the_kit_within_the_pins() -> None:
    script = ROOT / "binder" / "postBuild"
    text = script.read_text(encoding="utf-8")
    assert os.access(script, os.X_OK)
    assert text.startswith("#!/bin/bash\n")
    assert "set -euo pipefail" in text
    assert "pip install --no-cache-dir -c binder/requirements.txt .\n" in text


def test_the_host_and_the_package_name_a_python_that_goes_together() -> None:
    named = (ROOT / "binder" / "runtime.txt").read_text(encoding="utf-8").strip().removeprefix("python-")
    assert Requirement(f"python{PROJECT['project']['requires-python']}").specifier.contains(f"{named}.0")


# --- The check of a fresh checkout -----------------------------------------------------------------

README = """# A kit
```bash
touch other
```
## Check it yourself
Some words.
```bash
mkdir -p .venv/bin
printf '#!/bin/sh\\necho "$(basename "$0") $*" >> done\\n' > .venv/bin/ruff
chmod +x .venv/bin/ruff
cp .venv/bin/ruff .venv/bin/mypy
touch checked
```
```bash
touch other
```
## Next
```bash
touch other
```
"""


def ci(folder: Path, readme: str) -> subprocess.CompletedProcess[str]:
    """Run a copy of .ci/run beside ``readme``; a stand-in for Chromium keeps it from installing one."""
    (folder / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", folder / ".ci" / "run")
    (folder / "README.md").write_text(readme, encoding="utf-8")
    browser = folder / "bin" / "chromium"
    browser.parent.mkdir()
    browser.write_text("#!/bin/sh\n", encoding="utf-8")
    browser.chmod(0o755)
    path = f"{browser.parent}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run([folder / ".ci" / "run"], env=os.environ | {"PATH": path}, capture_output=True, text=True)


def test_the_check_runs_what_the_readme_says_and_then_lint_and_types(tmp_path: Path) -> None:
    ran = ci(tmp_path, README)
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "checked").exists()
    assert not (tmp_path / "other").exists()
    assert "touch checked" in ran.stdout
    assert (tmp_path / "done").read_text().splitlines() == ["ruff check .", "ruff format --check .", "mypy "]


@pytest.mark.parametrize(
    "spoiled",
    [
        README.replace("Check it", "Try it"),
        README.replace("touch checked", "false\ntouch checked"),
        README.replace("touch checked", "false | cat\ntouch checked"),
        README.replace("touch checked", "touch checked\nfalse"),
        README.replace("touch checked", "ln -sf /bin/false .venv/bin/ruff"),
        README.replace("touch checked", "ln -sf /bin/false .venv/bin/mypy"),
    ],
    ids=["no heading", "a failing line", "a failing pipe", "a failing last line", "lint fails", "types fail"],
)
def test_a_failing_part_fails_the_check(tmp_path: Path, spoiled: str) -> None:
    assert spoiled != README
    assert ci(tmp_path, spoiled).returncode != 0


def test_the_readme_has_its_check() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^## Check it.*?^```bash\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    assert "-c binder/requirements.txt" in block
    assert "pytest" in block
