"""The servers behind a live view: which requests they answer, and what is left when they end.

These need no browser, but they need the package that serves the page (``pip install -e
'.[browser]'``).
"""

import http.client
import re
import shutil
import signal
import socket
import sys
import uuid
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlsplit

import pytest
from lab import NETWORK, ROOT, Served, running, started_page, wait_for

import arrange as ar
from arrange.live import serving

DEMO = ROOT / "datasets" / "low-water.musicxml"
SOCKET = {
    "Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
}  # fmt: skip  # RFC 6455, section 1.3


def ask(address, path, host=None, method="GET", **headers):
    """Return status and body of a request; a web socket's handshake has no body."""
    where = urlsplit(address)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=60)
    connection.putrequest(method, path, skip_host=True)
    connection.putheader("Host", host or where.netloc)
    for name, value in headers.items():
        connection.putheader(name, value)
    connection.endheaders()
    answer = connection.getresponse()
    body = "" if answer.status == 101 else answer.read().decode()
    connection.close()
    return answer.status, body


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """Serve a page to the local network, which needs all checks of a page for one machine."""
    with started_page(DEMO, tmp_path_factory.mktemp("served"), 8, "--share") as served:
        yield served


def is_nothing(answer):
    """Return whether an answer is the page with one sentence, or none at all to a web socket."""
    status, body = answer
    texts = re.sub(r"<title>.*</title>|<[^>]*>", "", body)
    return status == 404 and texts.count(".") == 1 and texts.startswith("There is nothing at this")


def test_who_shares_is_told_the_risks(served):
    log = (served.folder / "server.log").read_text()
    assert urlsplit(served.address).hostname == NETWORK
    for words in ("everybody there who has the address", "Nothing is encrypted", "Ctrl-C ends it"):
        assert words in " ".join(log.split())


PLACES = ("", "voila/static/voila.js", "login", f"api/kernels/{uuid.UUID(int=1)}/channels", "none")


@pytest.mark.parametrize("place", PLACES)
def test_only_who_has_the_address_is_answered(served, place):
    """Without the secret, with a part of it, or with another one, the page does not exist."""
    secret = urlsplit(served.address).path
    for wrong in ("/", secret[:-2] + "/", f"/{'x' * (len(secret) - 2)}/", f"/x{secret}"):
        for more in ({}, SOCKET):
            assert is_nothing(ask(served.address, wrong + place, **more))
    assert is_nothing(ask(served.address, secret.rstrip("/")))
    for method in ("GET", "POST", "DELETE", "OTHER"):
        assert is_nothing(ask(served.address, f"/?token={secret.strip('/')}", method=method))
    assert not served.kernels()


HOSTS = ("outside.invalid", "outside.invalid:{port}", NETWORK, f"{NETWORK}:1", "0.0.0.0:{port}",
         "localhost:{port}", "127.0.0.1:{port}")  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("host", HOSTS)
def test_only_its_own_host_is_answered(served, place, host):
    """A host name that leads to this machine is not enough (DNS rebinding)."""
    where = urlsplit(served.address)
    named = host.format(port=where.port)
    assert is_nothing(ask(served.address, where.path + place, named))
    assert is_nothing(ask(served.address, where.path + place, named, **SOCKET))


@pytest.mark.long
def test_visits_leave_no_kernels(served):
    """Four visits at once, two of them broken off, leave no kernel, and the page stays."""
    where = urlsplit(served.address)

    def visit(number):
        if number < 2:
            return ask(served.address, where.path)[1]
        with socket.create_connection((where.hostname, where.port)) as one:
            one.sendall(f"GET {where.path} HTTP/1.1\r\nHost: {where.netloc}\r\n\r\n".encode())
            if number > 2:
                one.recv(100)
            one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")  # a reset
        return ""

    with ThreadPoolExecutor() as pool:
        visits = pool.map(visit, range(4))
        wait_for(lambda: len(served.kernels()) == 4)
        pages = list(visits)
    found = [re.search(r'"kernelId": "([\w-]+)"', page)[1] for page in pages[:2]]
    assert len(set(found)) == 2
    loaded = re.findall(r"""(?:src|href)=["']?([^"' >]+)""", pages[0])
    assert loaded
    assert all(each.startswith((where.path, "data:", "#")) for each in loaded), loaded
    channels = f"{where.path}api/kernels/{found[0]}/channels"
    assert ask(served.address, channels, **SOCKET)[0] == 101
    strange = SOCKET | {"Origin": "http://outside.invalid"}
    assert ask(served.address, channels, **strange)[0] == 403
    wait_for(lambda: not served.kernels())
    assert ask(served.address, f"{where.path}voila/static/voila.js")[0] == 200
    log = (served.folder / "server.log").read_text()
    assert "Traceback" not in log, log


def test_a_port_that_is_taken_is_reported(served, monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(serving, "network_address", lambda: NETWORK)
    port = urlsplit(served.address).port
    with pytest.raises(
        ar.ArrangeError, match=f"port {port} cannot be had: Address already in use; name another"
    ):
        serving.serve_page(DEMO, port=port, shares=True, opens=False)
    assert list(tmp_path.iterdir()) == []


def test_a_signal_in_the_middle_of_loading_leaves_nothing(tmp_path):
    """Without ``--share`` the page is on this machine alone."""
    with started_page(DEMO, tmp_path) as served:
        where = urlsplit(served.address)
        assert where.hostname == "127.0.0.1"
        script = f"{where.path}voila/static/voila.js"
        assert ask(served.address, script, f"localhost:{where.port}")[0] == 200
        with socket.socket() as other:
            assert other.connect_ex((NETWORK, where.port)) != 0
        with socket.create_connection((where.hostname, where.port)) as one:
            one.sendall(f"GET {where.path} HTTP/1.1\r\nHost: {where.netloc}\r\n\r\n".encode())
            wait_for(served.kernels)
            assert served.left_after(signal.SIGINT) == []


def test_a_signal_to_the_lab_leaves_nothing(tmp_path):
    """The command is JupyterLab itself, so that a signal to it stops the kernels too."""
    song = shutil.copy(DEMO, tmp_path / "song.musicxml")
    command = [sys.executable, "-m", "arrange", "lab", str(song), "--no-browser"]
    with running(command, tmp_path) as process:
        log = tmp_path / "server.log"
        line = wait_for(lambda: re.search(r"http://127\S+token=(\w+)", log.read_text()))
        served = Served(process, line[0], tmp_path)
        wait_for(served.answers)
        key = {"Authorization": f"token {line[1]}"}
        assert ask(served.address, "/api/kernels", method="POST", **key)[0] == 201
        assert served.kernels()
        assert served.left_after(signal.SIGTERM) == []
