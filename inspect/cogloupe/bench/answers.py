"""How the page's requests are taken in and answered."""

import json
import logging
from collections.abc import Awaitable, Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from cogloupe.report.bench_page import problem_html
from cogloupe_calibration.errors import CogloupeError, UseError

MOST_FORM_BYTES = 64 * 1024
"""Far more than a filled-in form has: whatever is longer did not come from the page."""
_LOG = logging.getLogger("uvicorn.error")

Endpoint = Callable[[Request], Awaitable[Response]]
beside = run_in_threadpool
"""Does what takes a while in a thread of its own, so that the page is still answered."""


def answering(work: Callable[[Request], Awaitable[Any]]) -> Endpoint:
    """An endpoint for the page's script: what is worked out, or one line where that fails."""

    async def endpoint(request: Request) -> Response:
        try:
            answer = await work(request)
        except CogloupeError as error:
            return JSONResponse({"error": str(error)}, status_code=400)
        except Exception as error:  # a fault of ours is told as well, and the page goes on
            _LOG.exception("a request of the page failed")
            what = f"That failed ({type(error).__name__}: {error})"
            told = f"{what}; please report it with the photograph."
            return JSONResponse({"error": told}, status_code=500)
        return answer if isinstance(answer, Response) else JSONResponse(answer)

    return endpoint


def opening(work: Callable[[Request], Awaitable[Response]]) -> Endpoint:
    """An endpoint for what a person opens: a page or a file, or one line where that fails."""

    async def endpoint(request: Request) -> Response:
        try:
            return await work(request)
        except CogloupeError as error:
            return HTMLResponse(problem_html(f"{error}."), status_code=400)

    return endpoint


async def body_of(request: Request, most: int) -> bytes:
    """What was sent, refused as soon as it is too much.

    Parameters
    ----------
    most : int
        Bytes.

    Raises
    ------
    UseError
    """
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            raise UseError(f"more than {most // 1024} kB were sent")
        parts.append(part)
    return b"".join(parts)


async def form_of(request: Request) -> dict[str, Any]:
    """What the page's script sent of a form.

    Raises
    ------
    UseError
        Where it is no such thing.
    """
    try:
        found = json.loads(await body_of(request, MOST_FORM_BYTES))
    except ValueError as error:
        raise UseError("the page sent what cannot be read: load it again") from error
    if not isinstance(found, dict):
        raise UseError("the page sent what cannot be read: load it again")
    return found
