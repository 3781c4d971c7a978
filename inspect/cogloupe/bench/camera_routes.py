"""The live view: choosing a camera, its frames, its meters, taking a picture."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Any

import cv2
from starlette.requests import Request
from starlette.responses import StreamingResponse
from starlette.routing import Route

from cogloupe.bench.answers import answering, beside, form_of
from cogloupe.bench.camera import Camera, marked, meter
from cogloupe.bench.work import Work
from cogloupe_calibration.errors import UseError

FRAME_S = 0.06
"""Between frames: quick enough for turning a focus, and half of one core at most."""
TAKEN = "microscope.png"

_EDGE = "frame"


class CameraRoutes:
    """The camera."""

    def __init__(self, work: Work, camera: Camera) -> None:
        self._work, self._camera = work, camera

    def routes(self) -> list[Route]:
        """Addresses and what answers there."""
        return [
            Route("/api/cameras", answering(self._found)),
            Route("/api/camera", answering(self._choose), methods=["POST"]),
            Route("/api/camera", answering(self._close), methods=["DELETE"]),
            Route("/api/camera/meter", answering(self._meter)),
            Route("/api/camera/live", answering(self._live)),
            Route("/api/camera/take", answering(self._take), methods=["POST"]),
        ]

    async def _found(self, request: Request) -> Any:
        return {"cameras": await beside(self._camera.found)}

    async def _choose(self, request: Request) -> Any:
        await beside(self._camera.open, str((await form_of(request)).get("camera", "")))
        return {}

    async def _close(self, request: Request) -> Any:
        await beside(self._camera.close)
        return {}

    async def _meter(self, request: Request) -> Any:
        return await beside(lambda: asdict(meter(self._camera.last())))

    async def _live(self, request: Request) -> Any:
        await beside(self._camera.frame)  # told here where there is none
        kind = f"multipart/x-mixed-replace; boundary={_EDGE}"
        return StreamingResponse(self._frames(), media_type=kind)

    async def _frames(self) -> AsyncIterator[bytes]:
        """Frames one after the other, until the camera is closed or the page goes."""
        try:
            while True:
                data = await beside(self._shown)
                yield f"--{_EDGE}\r\nContent-Type: image/jpeg\r\n\r\n".encode() + data + b"\r\n"
                await asyncio.sleep(FRAME_S)
        except UseError:
            return

    def _shown(self) -> bytes:
        frame = marked(self._camera.frame())
        return cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes()

    async def _take(self, request: Request) -> Any:
        frame = await beside(self._camera.frame)
        data = cv2.imencode(".png", frame)[1].tobytes()
        path = await beside(self._work.folder.keep, TAKEN, data)
        return await beside(self._work.look, path.name)
