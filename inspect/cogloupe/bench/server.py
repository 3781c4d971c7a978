"""The local page as a web application, and the server that answers on the loopback."""

import socket
import webbrowser
from collections.abc import Callable

from starlette.applications import Starlette

from cogloupe.bench.camera import Camera
from cogloupe.bench.camera_routes import CameraRoutes
from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.bench.guard import Guard, new_token
from cogloupe.bench.page_routes import PageRoutes
from cogloupe.bench.work import Work
from cogloupe.bench.work_routes import WorkRoutes
from cogloupe_calibration.errors import UseError

HOST = "127.0.0.1"


def make_app(work: Work, camera: Camera, token: str, port: int) -> Guard:
    """The application behind its guard."""
    parts = (PageRoutes(work), WorkRoutes(work), CameraRoutes(work, camera))
    return Guard(Starlette(routes=[r for part in parts for r in part.routes()]), token, port)


def serve(
    folder: GearsFolder, port: int, camera: str, open_page: bool, say: Callable[[str], object]
) -> None:
    """Answer on the loopback until stopped; port 0 takes a free one.

    A video file may stand in for the camera; `say` is told the address.

    Raises
    ------
    UseError
        Where the port is taken.
    """
    import uvicorn

    listening = listen(port)
    port, token, looking = listening.getsockname()[1], new_token(), Camera(camera)
    address = f"http://{HOST}:{port}/?token={token}"
    say(f"The page is at {address} (only on this machine). Stop with Ctrl+C.")
    if open_page:
        webbrowser.open(address)
    app = make_app(Work(folder), looking, token, port)
    config = uvicorn.Config(app, log_level="warning", lifespan="off", server_header=False)
    try:
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        looking.close()


def listen(port: int) -> socket.socket:
    """A socket on the loopback; port 0 takes a free one.

    Raises
    ------
    UseError
        Where the port is taken.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
    except OSError as error:
        listening.close()
        raise UseError(f"port {port} is taken ({error.strerror}): leave --port out") from error
    return listening
