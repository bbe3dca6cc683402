"""Where the page is served: on this machine alone, until it is stopped."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from converter.errors import OptionError

if TYPE_CHECKING:
    from werkzeug.serving import BaseWSGIServer

    from converter.serve.local_page import LocalPage

#: The machine itself; no other can reach it.
HOST = "127.0.0.1"


@contextmanager
def listening(page: LocalPage, port: int | None) -> Iterator[BaseWSGIServer]:
    """A server of the page, which then answers in ``serve_forever``; it ends with the block.

    Args:
        page: what it serves.
        port: the TCP port; a free one when None.

    Raises:
        OptionError: the port is taken, or may not be used.
    """
    from werkzeug.serving import WSGIRequestHandler, make_server

    class Quiet(WSGIRequestHandler):
        server_version, sys_version = "elbowroom", ""

        def log(self, type: str, message: str, *args: object) -> None:
            """Say nothing: what matters stands on the page."""

    with socket.create_server((HOST, 0)) if port is None else _bound(port) as listener:
        server = make_server(HOST, 0, page, threaded=True, request_handler=Quiet, fd=listener.fileno())
        try:
            yield server
        finally:
            server.server_close()


def _bound(port: int) -> socket.socket:
    try:
        return socket.create_server((HOST, port))
    except OSError as error:
        why = os.strerror(error.errno or 0).lower()
        raise OptionError(
            f"--port {port} cannot be used ({why}): give another, or leave it out for a free one."
        ) from error
