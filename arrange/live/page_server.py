"""The server of a page without code: on this machine or in its network, for who has its address.

The address holds a secret, which every request has to name, those of a web socket too; a cookie
would go to every other server on this machine as well. Any other request, also one under another
host's name, as a page from elsewhere may send it (DNS rebinding), gets a page with one sentence.
"""

from __future__ import annotations

import hmac
import logging
import os
import secrets
import signal
import socket
import webbrowser
from pathlib import Path
from typing import Any

from tornado.httpserver import HTTPServer
from tornado.httputil import HTTPServerRequest
from tornado.ioloop import IOLoop
from tornado.routing import AnyMatches, Matcher, Rule, RuleRouter
from tornado.web import Application, RequestHandler
from traitlets.config import Config
from voila.app import Voila

from arrange.errors import ArrangeError
from arrange.live.local_network import THIS_MACHINE
from arrange.live.stop_signals import STOPS

UNUSED_SECONDS = 30  # after which an idle kernel is stopped if nobody looks at it
EVERY_SECONDS = 5  # between two looks for idle kernels

# Nothing is loaded from or sent to another server, whatever the page contains.
_HEADERS = {
    "Content-Security-Policy": "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; "
    "form-action 'self'; base-uri 'self'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
}


_NOTHING_HERE = (
    '<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Nothing here</title>'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    "<p>There is nothing at this address: open the whole address that you were given, to its last "
    "sign.</p></html>"
)
_RISKS = """\
It is open to the network that this machine is in: everybody there who has the address can see the
song, and change and record decisions. Nothing is encrypted, so that others in the network could
read along, the address too: share it in a network of your own, not in an open one such as a café's.
If a phone does not find it, a firewall on this machine may be in the way."""


class Invited(Matcher):
    """Requests to one of these hosts that begin with the secret."""

    def __init__(self, hosts: frozenset[str], secret: str) -> None:
        self._hosts, self._secret = hosts, secret.encode()

    def match(self, request: HTTPServerRequest) -> dict[str, Any] | None:
        """Return no more parameters for a request that is answered, None for any other."""
        named = request.path.split("/")[1:-1][:1]
        is_invited = any(hmac.compare_digest(each.encode(), self._secret) for each in named)
        return {} if is_invited and request.host.lower() in self._hosts else None


class NothingHere(RequestHandler):
    """Answers every other request: one sentence, whatever was asked for."""

    def prepare(self) -> None:
        """Answer before anything is done."""
        self.send_error(404)

    def write_error(self, status_code: int, **_: Any) -> None:
        """Write the page, for an unknown method too."""
        self.set_status(404 if status_code == 405 else status_code)
        for name, value in _HEADERS.items():
            self.set_header(name, value)
        self.finish(_NOTHING_HERE)


class PageServer(Voila):  # type: ignore[misc]
    """Serves a notebook until it is stopped by Ctrl-C or a signal; nothing stays behind.

    Parameters
    ----------
    notebook : Path
        In a folder of its own, which also holds all temporary files.
    port : int, optional
        A free one if not given.
    ip : str
        This machine's address under which it is served.
    opens : bool
        Whether a browser is opened.
    dark : bool
        Light on dark.

    Raises
    ------
    ArrangeError
        If the port is not free.
    """

    port: int
    template_paths: list[str]

    def __init__(
        self, notebook: Path, port: int | None, ip: str = THIS_MACHINE, *, opens: bool, dark: bool
    ) -> None:
        self._secret = secrets.token_urlsafe()
        culling = {"cull_idle_timeout": UNUSED_SECONDS, "cull_interval": EVERY_SECONDS}
        super().__init__(
            config=Config(
                Voila={
                    "ip": ip, "port": port or 0, "base_url": f"/{self._secret}/",
                    "notebook_path": str(notebook), "connection_dir_root": str(notebook.parent),
                    "open_browser": opens, "config_file_paths": [],
                    "log_level": logging.CRITICAL, "tornado_settings": {"headers": _HEADERS},
                },
                VoilaConfiguration={
                    "show_tracebacks": True,  # of our errors that is one sentence
                    "theme": "dark" if dark else "light", "file_allowlist": [],
                    "allow_template_override": "NO", "allow_theme_override": "NO",
                },
                MappingKernelManager=culling,
            )
        )  # fmt: skip
        self.initialize([])

    @property
    def address(self) -> str:
        """The address of the page, with the secret in it."""
        return f"http://{self.ip}:{self.port}{self.base_url}"

    def setup_template_dirs(self) -> None:
        """Find our template first."""
        super().setup_template_dirs()
        self.template_paths = [str(Path(__file__).parent / "templates"), *self.template_paths]

    def listen(self) -> None:
        """Answer requests until a signal comes, then close everything."""
        try:
            door = socket.create_server((self.ip, self.port))
        except OSError as error:
            raise ArrangeError(
                f"port {self.port} cannot be had: {os.strerror(error.errno or 0)}; name another, "
                "or none for a free one"
            ) from None
        door.setblocking(False)
        self.port = door.getsockname()[1]
        is_shared = self.ip != THIS_MACHINE
        names = (self.ip,) if is_shared else (self.ip, "localhost")
        invited = Invited(frozenset(f"{name}:{self.port}" for name in names), self._secret)
        others = Application(default_handler_class=NothingHere)
        self._server = HTTPServer(RuleRouter([Rule(invited, self.app), Rule(AnyMatches(), others)]))
        self._server.add_socket(door)
        self.ioloop = IOLoop.current()
        for each in STOPS:
            signal.signal(each, self._handle_signal_stop)
        more = f"{_RISKS}\n" if is_shared else ""
        print(f"The page is at {self.address}\n{more}Ctrl-C ends it.", flush=True)
        if self.open_browser:
            self.launch_browser()
        try:
            self.ioloop.start()
        finally:
            self.stop()

    def launch_browser(self) -> None:
        """Open a browser on a file that leads to the page, since users can see a command line."""
        way = Path(self.notebook_path).parent / "open.html"
        way.write_text(f'<meta http-equiv="refresh" content="0; url={self.address}">')
        webbrowser.open(way.as_uri())

    def stop(self) -> None:
        """Stop all kernels; another signal meanwhile changes nothing."""
        for each in STOPS:
            signal.signal(each, signal.SIG_IGN)
        self._server.stop()
        self.ioloop.run_sync(self.kernel_manager.shutdown_all)
