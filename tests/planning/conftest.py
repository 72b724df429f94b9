"""The route that tests of rounds are about."""

import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from routeapp.kit import clock
from tests.planning.cast import MONDAY, make_route


@pytest.fixture
def route(owner, route_hand):
    return make_route(owner, route_hand)


@pytest.fixture
def monday(monkeypatch):
    """It is Monday, seven in the morning in Chicago."""
    monkeypatch.setattr(clock, "now", lambda: MONDAY)
    return MONDAY


@pytest.fixture
def road_server(settings):
    """A server of roads on this computer that says what a test wants, remembers what it was asked, and does
    something `meanwhile`."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            server.asked.append(self.path)
            server.meanwhile()
            self.send_response(server.status)
            self.end_headers()
            self.wfile.write(server.says.encode())

        def log_message(self, *args):
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    server.asked, server.status, server.says = [], 200, "{}"
    server.meanwhile = lambda: None
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    settings.ROAD_SERVER = f"http://127.0.0.1:{server.server_port}"
    yield server
    server.shutdown()
    thread.join()
    server.server_close()
