"""JupyterLab, or a page without code, in a folder of its own, and a notebook in a browser."""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit

import psutil

ROOT = Path(__file__).parent.parent.parent
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
TOKEN = "rehearsal"
# What JupyterLab itself writes when a kernel is restarted, whatever the notebook.
_HARMLESS = re.compile(
    r"Could not restore the debugger state|Canceled future for \w+ message"
    r"|Comm not found for comm id"
)


def free_port() -> int:
    """Return a port that no process listens to."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def copy_lessons(folder: Path) -> None:
    """Copy the notebooks and the songs, so that nothing is written into the repository."""
    shutil.copytree(ROOT / "notebooks", folder / "notebooks",
                    ignore=shutil.ignore_patterns(".ipynb_checkpoints"))  # fmt: skip
    shutil.copytree(ROOT / "datasets", folder / "datasets")


def environment(folder: Path) -> dict[str, str]:
    """Return an environment that keeps settings, temporary files and server records in a folder."""
    home = folder / "home"
    settings = home / "settings" / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True, exist_ok=True)
    quiet = {"fetchNews": "false", "checkForUpdates": False}
    (settings / "notification.jupyterlab-settings").write_text(json.dumps(quiet))
    (home / "config").mkdir(exist_ok=True)
    (home / "config" / "jupyter_server_config.json").write_text(
        '{"ServerApp": {"allow_root": true}}'
    )
    (home / "tmp").mkdir(exist_ok=True)
    return {
        **os.environ, "JUPYTERLAB_SETTINGS_DIR": str(home / "settings"),
        "JUPYTER_CONFIG_DIR": str(home / "config"), "IPYTHONDIR": str(home / "ipython"),
        "JUPYTERLAB_WORKSPACES_DIR": str(home / "workspaces"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"), "TMPDIR": str(home / "tmp"),
        "PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH")))),
    }  # fmt: skip


@contextlib.contextmanager
def running(
    command: list[str], folder: Path, log: str = "server.log"
) -> Iterator[subprocess.Popen[bytes]]:
    """Run a command in a folder while it is needed; its output goes to a file there."""
    with (folder / log).open("wb") as output:
        server = subprocess.Popen(
            command, cwd=folder, env=environment(folder), stdout=output, stderr=output
        )
    try:
        yield server
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _wait_for(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    for _ in range(300):
        try:
            urllib.request.urlopen(address, timeout=2).close()
            return
        except HTTPError:
            return  # it answers
        except (URLError, ConnectionError, TimeoutError):
            pass
        if server.poll() is not None:
            break
        time.sleep(0.2)
    raise RuntimeError(f"the server did not start:\n{log.read_text()[-3000:]}")


@contextlib.contextmanager
def started_lab(folder: Path) -> Iterator[str]:
    """Start JupyterLab on a folder; return its address, without a path."""
    port = free_port()
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--ServerApp.ip=127.0.0.1",
               f"--port={port}", f"--IdentityProvider.token={TOKEN}", "--ServerApp.port_retries=0",
               "--allow-root", f"--ServerApp.root_dir={folder}"]  # fmt: skip
    address = f"http://127.0.0.1:{port}"
    with running(command, folder) as server:
        _wait_for(f"{address}/api", server, folder / "server.log")
        yield address


@dataclass(frozen=True)
class Served:
    """A server started by the tests: its process, its address with the secret, and its folder."""

    process: subprocess.Popen[bytes]
    address: str
    folder: Path

    def kernels(self) -> list[psutil.Process]:
        """Return all processes below it."""
        return psutil.Process(self.process.pid).children(recursive=True)

    def left_after(self, sent: int) -> list[str]:
        """Send a signal; return what is left behind then, with the exit code unless it is 0."""
        kernels = self.kernels()
        self.process.send_signal(sent)
        code = self.process.wait(30)
        left = [f"exit code {code}"] if code else []
        left += [f"process {each.pid}" for each in kernels if _is_alive(each)]
        home = self.folder / "home"
        left += [each.name for place in ("tmp/*", "runtime/*.json") for each in home.glob(place)]
        return [*left, "port"] if self.answers() else left

    def answers(self) -> bool:
        """Return whether a process listens to its port."""
        where = urlsplit(self.address)
        with socket.socket() as one:
            return one.connect_ex((where.hostname, where.port)) == 0


def _is_alive(process: psutil.Process) -> bool:
    try:
        return process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


NETWORK = "127.0.0.2"  # stands for the address in a local network, and is on this machine too
# The command, but kernels that no page uses are stopped sooner.
_PAGE = f"""
import sys
from arrange.commands import main
from arrange.live import page_server, serving
serving.network_address = lambda: "{NETWORK}"
page_server.UNUSED_SECONDS, page_server.EVERY_SECONDS = {{unused}}, 1
sys.exit(main())
"""


@contextlib.contextmanager
def started_page(song: Path, folder: Path, unused: int = 30, *more: str) -> Iterator[Served]:
    """Start the command that serves a song's page without code, with more options."""
    folder.mkdir(exist_ok=True)
    code = _PAGE.format(unused=unused)
    command = [sys.executable, "-c", code, "page", str(song), "--no-browser", *more]
    with running(command, folder) as server:
        found = wait_for(lambda: re.search(r"http://\S+/", (folder / "server.log").read_text()))
        yield Served(server, found[0], folder)


def wait_for(what: Callable[[], Any], seconds: float = 60) -> Any:
    """Wait until a condition is true; return its value."""
    end = time.monotonic() + seconds
    while not (found := what()):
        assert time.monotonic() < end, "the condition never became true"
        time.sleep(0.1)
    return found


class Notebook:
    """A notebook that is open in a browser.

    Parameters
    ----------
    page : playwright's page
    """

    def __init__(self, page, address: str, path: str) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("pageerror", self._page_error)
        page.on("console", self._console)
        self._address = address
        self._load(path)

    def _load(self, path: str) -> None:
        """Open JupyterLab anew, with nothing but this notebook."""
        address = f"{self._address}/lab/tree/{path}?token={TOKEN}&reset"
        self.page.goto(address, wait_until="domcontentloaded")
        self._wait_for_kernel()

    def _wait_for_kernel(self) -> None:
        self.page.locator(".jp-Notebook .jp-Cell").first.wait_for(timeout=60_000)
        self.page.locator(".jp-Toolbar-kernelName", has_text="Python 3").wait_for(timeout=60_000)

    def change_to(self, path: str) -> None:
        """Close the notebook with its kernel, and open another in the same JupyterLab."""
        self.menu("File", "Close and Shut Down Notebook…")
        accept = self.page.locator(".jp-Dialog .jp-mod-accept")
        accept.click()

        def is_closed() -> bool:
            if accept.count():  # it asks once more where something is not saved
                accept.click()
            return not self.page.locator(".jp-Notebook").count()

        try:
            wait_for(is_closed, 8)
        except AssertionError:  # a page whose kernel was restarted may keep its notebook
            self._load(path)
            self.complaints.clear()
            return
        self.complaints.clear()
        self.menu("File", "Open from Path…")
        self.page.locator(".jp-Dialog input").fill(path)
        self.page.locator(".jp-Dialog .jp-mod-accept").click()
        self._wait_for_kernel()

    def choose_theme(self, name: str) -> None:
        """Choose one of JupyterLab's own themes."""
        is_light = str(name.endswith("Light")).lower()
        self.menu("Settings", "Theme", name)
        self.page.locator(f"body[data-jp-theme-light='{is_light}']").wait_for(state="attached")

    def _page_error(self, error) -> None:
        if not _HARMLESS.search(str(error)):
            self.complaints.append(f"page: {error}")

    def _console(self, message) -> None:
        text = f"{message.text} {message.location.get('url', '')}"
        if message.type == "error" and not _HARMLESS.search(text):
            self.complaints.append(f"console: {text}")

    def menu(self, *names: str) -> None:
        """Choose a menu entry by the names that a reader sees."""
        self.page.locator(".lm-MenuBar-item", has_text=re.compile(f"^{names[0]}$")).click()
        for name in names[1:]:
            item = self.page.locator(".lm-Menu-item", has=self.page.get_by_text(name, exact=True))
            item.first.click()

    def run_from_the_top(self) -> None:
        """Restart the kernel and run all cells through the menu, and wait until all are done."""
        self._wait_until_idle()
        self.menu("Run", "Restart Kernel and Run All Cells…")
        self.page.locator(".jp-Dialog .jp-mod-accept").click()
        self._wait_until_done()

    def run_once(self) -> None:
        """Run all cells of a notebook that has not run, by its new kernel; wait for all."""
        self._wait_until_idle()
        self.menu("Run", "Run All Cells")
        self._wait_until_done()

    def _wait_until_idle(self) -> None:
        idle = ".jp-Notebook-ExecutionIndicator[data-status='idle']"
        self.page.locator(idle).first.wait_for(state="attached", timeout=60_000)

    def _wait_until_done(self) -> None:
        self.page.wait_for_function(
            """() => {
              const cells = [...document.querySelectorAll('.jp-Notebook .jp-CodeCell')];
              return cells.length && cells.every(cell => {
                const prompt = cell.querySelector('.jp-InputPrompt')?.textContent ?? '';
                return /\\[\\d+\\]/.test(prompt) || !cell.querySelector('.cm-line')?.textContent;
              });
            }""",
            timeout=120_000,
            polling=200,  # ms; by default it asks at every frame, which makes the page draw
        )  # fmt: skip

    def faults(self) -> list[str]:
        """Return the faults that a reader would see: in a cell, the console or the log panel."""
        outputs = self.page.locator(
            "[data-mime-type='application/vnd.jupyter.error'], "
            "[data-mime-type='application/vnd.jupyter.stderr']"
        )
        return [*outputs.all_inner_texts(), *self.complaints, *self._logged()]

    def _logged(self) -> list[str]:
        """Open the log panel, read it and close it."""
        panel = self.page.locator(".jp-LogConsolePanel")
        self.menu("View", "Show Log Console")
        panel.wait_for()
        texts = panel.locator(".jp-OutputArea-child").all_inner_texts()
        self.menu("View", "Show Log Console")
        panel.wait_for(state="detached")
        return texts
