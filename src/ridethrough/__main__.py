"""The command ``ridethrough``: a first answer, then the lessons, opened in JupyterLab on a copy.

Learners work on a copy in an ignored folder. Running the command again fills in what is missing and
never writes over a file that is there. Its jobs besides: papers for a class, their marking, pages, wheels.
"""

from __future__ import annotations

import argparse
import os
import secrets
import socket
import sys
from contextlib import suppress
from pathlib import Path
from pkgutil import resolve_name

from .teach.formulas import texts
from .teach.scenario import kit_folder, writing
from .units import Refusal

FIRST_LESSON = "00-start-here.ipynb"
FIRST_COPIES = ".first-copies"  # each file as it was when it was copied: tells whether the kit's has changed since
# Settings of JupyterLab for the lessons: no news and no list of extensions, which come from outside; messages to
# kernels encrypted, for a classroom's computer may have other users.
JUPYTER = Path(__file__).with_name("jupyter")
ARGUMENTS = ("table", "exercises", "out")  # of the jobs
HOST = "127.0.0.1"
PORTS = range(8888, 8908)


def kit_lessons() -> Path:
    """Return the kit's own lessons.

    Raises
    ------
    Refusal
        If the first lesson is not there.
    """
    folder = kit_folder("lessons")
    if not (folder / FIRST_LESSON).is_file():
        raise Refusal(f"the folder {folder}, without lessons", "the lessons that belong to the package",
                      "Install it again, from a wheel or from a checkout.")  # fmt: skip
    return folder


def copy_lessons(kit: Path, folder: Path) -> tuple[list[str], list[str]]:
    """Return the names of the files newly copied from ``kit``, and of those the kit has changed since.

    A file that is there is kept, whatever it holds.

    Parameters
    ----------
    kit : pathlib.Path
        Folder with the kit's lessons; folders inside it are left out [-].
    folder : pathlib.Path
        Made if missing [-].
    """
    (folder / FIRST_COPIES).mkdir(parents=True, exist_ok=True)
    copied, changed = [], []
    for source in sorted(item for item in kit.iterdir() if item.is_file()):
        content, mine, first = source.read_bytes(), folder / source.name, folder / FIRST_COPIES / source.name
        if not mine.exists():
            mine.write_bytes(content)
            first.write_bytes(content)
            copied.append(source.name)
        elif content != (first if first.exists() else mine).read_bytes():
            changed.append(source.name)
    return copied, changed


def prepare(folder: Path) -> str:
    """Copy the lessons to ``folder``, which git is told to ignore, and return what happened in sentences.

    Raises
    ------
    Refusal
        If nothing can be written there, if it is the kit's own folder, or if the kit's lessons are missing.
    """
    kit = kit_lessons()
    if folder.resolve() == kit.resolve():
        given = f"the kit's own folder {folder}"
        raise Refusal(given, "a folder for your copy", "Leave --folder out for ./my-lessons.")
    with writing(folder, "Add for example: --folder lessons-of-mine"):
        copied, changed = copy_lessons(kit, folder)
        if not (ignoring := folder / ".gitignore").exists():
            ignoring.write_text("*\n", encoding="utf-8")
    text = f"Your lessons are in {folder.resolve()}. New files: {len(copied)}; "
    text += "those already there are as you left them."
    if changed:
        text += f"\nThe kit's copy has changed since yours was made, and yours was kept: {', '.join(changed)}. "
        text += "To get the new one, rename yours and run this command again."
    return text


def free_port(wanted: int | None) -> int:
    """Return ``wanted`` if it is free; without it, the first free one of the usual ports.

    Raises
    ------
    Refusal
        If another program listens there, or there is no such port.
    """
    for port in PORTS if wanted is None else [wanted] if wanted in range(1, 65536) else []:
        with suppress(OSError), socket.create_server((HOST, port)):
            return port
    given = f"ports {PORTS[0]} to {PORTS[-1]}" if wanted is None else f"port {wanted}"
    raise Refusal(given, "a port from 1024 to 65535 that no other program uses",
                  "Add for example: --port 9911")  # fmt: skip


def has_display() -> bool:
    """Return whether a browser can open a window here."""
    return not sys.platform.startswith("linux") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def open_lab(folder: Path, port: int, browser: bool) -> None:
    """Run JupyterLab in ``folder`` until it is stopped, after printing the address to open.

    It listens on this machine only, behind a token made for this run, and asks nothing of others.
    """
    from jupyterlab.labapp import LabApp

    token = secrets.token_hex(24)
    page = f"/lab/tree/{FIRST_LESSON}"
    settings = [
        f"--ServerApp.ip={HOST}",
        f"--ServerApp.port={port}",
        f"--ServerApp.root_dir={folder.resolve()}",
        f"--ServerApp.open_browser={browser}",
        f"--IdentityProvider.token={token}",
        f"--LabApp.default_url={page}",
    ]
    settings_in = [str(JUPYTER), os.environ.get("JUPYTER_CONFIG_PATH", "")]
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, settings_in))
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        settings.append("--allow-root")
    print(f"In a few seconds, open http://{HOST}:{port}{page}?token={token}")
    print("Stop with Ctrl-C.", flush=True)
    LabApp.launch_instance(settings)


def read_command(argv: list[str] | None) -> argparse.Namespace:
    """Return what was asked for; ``job`` is None where it is the lessons."""
    parser = argparse.ArgumentParser(
        prog="ridethrough", description="A first answer, then the lessons in JupyterLab, on a copy of your own."
    )
    parser.add_argument("--answer", action="store_true", help="print the first answer and stop")
    parser.add_argument("--folder", type=Path, default=Path("my-lessons"), help="your copy (default: ./my-lessons)")
    parser.add_argument("--port", type=int, help="where JupyterLab listens (default: the first free one from 8888)")
    parser.add_argument("--no-browser", action="store_true", help="print the address to open, and open no browser")
    jobs = parser.add_subparsers(dest="job", metavar="JOB", title="jobs, each into a new or empty folder")
    for job, said in texts("jobs.toml").items():
        each, out = jobs.add_parser(job, help=said["what"], description=said["what"]), said.get("out", job)
        each.set_defaults(run=said["run"])
        if "table" in said:
            each.add_argument("table", type=Path, help=said["table"])
        if "exercises" in said:
            each.add_argument("--exercises", nargs="+", required=True, metavar="KEY", help=said["exercises"])
        each.add_argument("--out", type=Path, default=Path(out), help=f"where to (default: ./{out})")
    return parser.parse_args(argv)


def main(argv: list[str] | None = None) -> int:
    """Do the job asked for; or print the first answer, copy the lessons, open them. Return the exit status."""
    asked = read_command(argv)
    try:
        if asked.job:
            print(resolve_name(asked.run)(**{name: given for name, given in vars(asked).items() if name in ARGUMENTS}))
            return 0
        from .teach.pantry import first_answer

        print(first_answer())
        if asked.answer:
            return 0
        port = free_port(asked.port)
        print(prepare(asked.folder))
    except Refusal as refusal:
        print(refusal, file=sys.stderr)
        return 1
    open_lab(asked.folder, port, browser=has_display() and not asked.no_browser)
    return 0


if __name__ == "__main__":
    sys.exit(main())
