"""A web server on a free port, and signed-in clients for it that keep their connection."""

import http.client
import os
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.middleware.csrf import _get_new_csrf_string

from routeapp.management.commands import demo

MODEL_BACKEND = "django.contrib.auth.backends.ModelBackend"


class Server:
    """The server the product uses, on a free port and the current database."""

    def __init__(self) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.start()

    def start(self) -> None:
        # A group of its own, so that what it starts can be killed with it.
        self.process = subprocess.Popen(demo.server(self.port), cwd=settings.ROOT, start_new_session=True)
        _wait_for(self.port)

    def kill(self) -> None:
        """End it without a warning, as a power cut does."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait()


@contextmanager
def served() -> Iterator[int]:
    """Serve the current database; gives the port."""
    server = Server()
    try:
        yield server.port
    finally:
        server.stop()


def _wait_for(port: int) -> None:
    for _ in range(300):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise RuntimeError("The server did not start.")


class Client:
    """Somebody signed in, on one kept connection."""

    def __init__(self, port: int, user: object) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port)
        session = SessionStore()
        session[SESSION_KEY] = str(user.pk)
        session[BACKEND_SESSION_KEY] = MODEL_BACKEND
        session[HASH_SESSION_KEY] = user.get_session_auth_hash()
        session.save()
        self.csrf = _get_new_csrf_string()
        self.headers = {
            "Cookie": f"{settings.SESSION_COOKIE_NAME}={session.session_key}; csrftoken={self.csrf}",
            "X-CSRFToken": self.csrf,
            "Accept-Encoding": "gzip",
        }

    def get(self, path: str) -> tuple[http.client.HTTPResponse, bytes]:
        return self._send("GET", path)

    def post(self, path: str, field: str, text: str) -> tuple[http.client.HTTPResponse, bytes]:
        """Post one multipart field, as a phone does."""
        body = f'--edge\r\nContent-Disposition: form-data; name="{field}"\r\n\r\n{text}\r\n--edge--\r\n'
        return self._send("POST", path, body.encode(), {"Content-Type": "multipart/form-data; boundary=edge"})

    def _send(
        self, method: str, path: str, body: bytes | None = None, headers: dict[str, str] | None = None
    ) -> tuple[http.client.HTTPResponse, bytes]:
        self.connection.request(method, path, body, self.headers | (headers or {}))
        answer = self.connection.getresponse()
        return answer, answer.read()


def wire_bytes(answer: http.client.HTTPResponse, body: bytes) -> int:
    """Bytes of a response on the wire: status line, headers and the (compressed) body."""
    head = sum(len(name) + len(value) + 4 for name, value in answer.getheaders())
    return len(f"HTTP/1.1 {answer.status} {answer.reason}\r\n") + head + 2 + len(body)
