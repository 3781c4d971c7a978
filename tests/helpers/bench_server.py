"""The local page, served for a test in a thread of its own."""

import threading
import time
from contextlib import contextmanager

import uvicorn

from cogloupe.bench.camera import Camera
from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.bench.guard import new_token
from cogloupe.bench.server import HOST, listen, make_app
from cogloupe.bench.work import Work


@contextmanager
def served(folder, camera=""):
    """Serve a folder; gives the address that lets a browser in."""
    listening, token = listen(0), new_token()
    port = listening.getsockname()[1]
    work = Work(GearsFolder(folder))
    app = make_app(work, Camera(camera), token, port)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < until
        time.sleep(0.02)
    try:
        yield f"http://{HOST}:{port}/?token={token}"
    finally:
        work.settle()
        server.should_exit = True
        thread.join(timeout=20)
