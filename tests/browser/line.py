"""A line between phone and server that can be cut, hang, lose answers or answer as somebody else; and a phone that
survives having its browser killed."""

import http.client
import os
import signal
import threading
import time
from collections import Counter
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

PORTAL = b"<!doctype html><title>Welcome to our network</title><h1>Accept our terms</h1>"
NOT_PASSED_ON = {"connection", "transfer-encoding", "keep-alive"}


class Handler(BaseHTTPRequestHandler):
    """One request a connection, so that each one can meet its own fate."""

    def relay(self):
        line, size = self.server.line, int(self.headers.get("Content-Length") or 0)
        body = self.rfile.read(size)
        fate = line.fate_of(self.path)
        line.asked[self.command, self.path] += 1
        if fate == "hang":
            line.mended.wait(60)
        if fate in ("cut", "hang"):
            return None
        if fate == "portal":
            return self.answer(200, [("Content-Type", "text/html")], PORTAL)
        if fate == "broken":
            return self.answer(500, [("Content-Type", "text/html")], b"<h1>Broken</h1>")
        if fate == "busy":
            return self.answer(503, [("Retry-After", "60")], b"")
        if fate == "sign-in":
            return self.answer(302, [("Location", "/sign-in/")], b"")
        server = http.client.HTTPConnection("localhost", line.behind, timeout=60)
        headers = {name: value for name, value in self.headers.items() if name.lower() not in NOT_PASSED_ON}
        if fate == "killed":  # the server dies while it reads
            server.putrequest(self.command, self.path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                server.putheader(name, value)
            server.endheaders()
            server.send(body[: size // 2])
            return server.close()
        server.request(self.command, self.path, body, headers)
        told = server.getresponse()
        content = told.read()
        line.answered[self.path, told.status] += 1
        if fate == "lost":  # it was done, and nobody heard of it
            return None
        return self.answer(told.status, told.getheaders(), content)

    do_GET = do_POST = do_HEAD = relay

    def answer(self, status, headers, content):
        self.send_response_only(status)
        for name, value in headers:
            if name.lower() not in NOT_PASSED_ON:
                self.send_header(name, value)
        self.send_header("Connection", "close")
        try:
            self.end_headers()
            self.wfile.write(content)
        except OSError:
            self.close_connection = True  # the browser has gone meanwhile

    def log_message(self, *_):
        pass


class Line:
    """`behind` is the server's port. What happens to a request is said by `meets`; else it passes."""

    def __init__(self, behind):
        self.behind = behind
        self.fates = []  # (part of the path, fate)
        self.asked, self.answered = Counter(), Counter()
        self.mended = threading.Event()
        self.server = ThreadingHTTPServer(("localhost", 0), Handler)
        self.server.line = self
        self.server.daemon_threads = True
        self.url = f"http://localhost:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def fate_of(self, path):
        return next((fate for part, fate in self.fates if part in path), "")

    @contextmanager
    def meets(self, fate, part="/"):
        """Everything (or what has `part` in its path) meets this fate for a while."""
        self.mended.clear()
        self.fates.insert(0, (part, fate))
        try:
            yield
        finally:
            self.fates.remove((part, fate))
            self.mended.set()

    def sent_visits(self):
        return {status: many for (path, status), many in self.answered.items() if path == "/sync/visits/"}

    def close(self):
        self.mended.set()
        self.server.shutdown()
        self.server.server_close()


class Phone:
    """A browser with a disk of its own. `kill` ends it as an empty battery would; `start` turns it on again."""

    def __init__(self, browser_type, path, options, folder, url):
        self.launch = lambda: browser_type.launch_persistent_context(
            str(folder), executable_path=path, base_url=url, **options
        )
        self.folder = folder
        self.start()

    def start(self):
        self.context = self.launch()
        self.context.set_default_timeout(15_000)
        self.page = self.watched(self.context.pages[0])
        return self.page

    def watched(self, page):
        page.errors = []
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        return page

    def tab(self):
        return self.watched(self.context.new_page())

    def kill(self):
        for pid in self.processes():
            os.kill(pid, signal.SIGKILL)
        while self.processes():
            time.sleep(0.05)
        for lock in self.folder.glob("Singleton*"):
            lock.unlink()

    def processes(self):
        """The processes of this browser alone: its folder stands on their command line."""
        found = []
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    told = (entry / "cmdline").read_bytes().split(b"\0")
                    state = (entry / "stat").read_text().rsplit(")", 1)[1].split()[0]
                except OSError:
                    continue
                if f"--user-data-dir={self.folder}".encode() in told and state != "Z":
                    found.append(int(entry.name))
        return found
