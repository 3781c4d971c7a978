"""What the page's script asks for: looking at a photograph, reading it, calibrating, comparing."""

from typing import Any
from urllib.parse import unquote

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from cogloupe.bench import pages
from cogloupe.bench.answers import answering, beside, body_of, form_of
from cogloupe.bench.gears_folder import MOST_BYTES, plain_name
from cogloupe.bench.work import Work
from cogloupe_calibration.units import parse_length


class WorkRoutes:
    """Work on photographs and readings."""

    def __init__(self, work: Work) -> None:
        self._work, self._folder = work, work.folder

    def routes(self) -> list[Route]:
        """Addresses and what answers there."""
        return [
            Route("/api/state", answering(self._state)),
            Route("/api/readings", answering(self._readings)),
            Route("/api/preview/{name}", answering(self._preview)),
            Route("/api/photo/{name}", answering(self._photo), methods=["PUT"]),
            Route("/api/candidates", answering(self._candidates), methods=["POST"]),
            Route("/api/read", answering(self._read), methods=["POST"]),
            Route("/api/calibrate", answering(self._calibrate), methods=["POST"]),
            Route("/api/compare", answering(self._compare), methods=["POST"]),
            Route("/api/machine", answering(self._machine), methods=["POST"]),
        ]

    async def _state(self, request: Request) -> Any:
        return await beside(self._work.state)

    async def _readings(self, request: Request) -> Any:
        return {"readings": await beside(self._work.readings)}

    async def _photo(self, request: Request) -> Any:
        data = await body_of(request, MOST_BYTES)
        name = plain_name(unquote(request.path_params["name"]))
        path = await beside(self._folder.keep, name, data)
        return await beside(self._work.look, path.name)

    async def _preview(self, request: Request) -> Any:
        name = unquote(request.path_params["name"])
        return Response(await beside(self._work.preview, name), media_type="image/jpeg")

    async def _candidates(self, request: Request) -> Any:
        asked = await form_of(request)
        return await beside(self._work.candidates, _photo_of(asked), _fields_of(asked, "settings"))

    async def _read(self, request: Request) -> Any:
        asked = await form_of(request)
        return await beside(self._work.read, _photo_of(asked), _fields_of(asked, "settings"))

    async def _calibrate(self, request: Request) -> Any:
        asked = await form_of(request)
        name = _photo_of(asked)
        if "line_px" not in asked:
            return await beside(self._work.calibrate, name, _fields_of(asked, "fields"))
        length = parse_length(str(asked.get("length", "")))
        return await beside(self._work.calibrate_by_line, name, length, float(asked["line_px"]))

    async def _compare(self, request: Request) -> Any:
        asked = await form_of(request)
        await beside(self._work.settle)
        names = [str(name) for name in asked.get("readings", [])]
        changed, same = str(asked.get("changed", "")), bool(asked.get("same_gear"))
        made = await beside(pages.compare_page, self._folder, names, changed, same)
        self._work.compared = made
        return {"address": "/compare"}

    async def _machine(self, request: Request) -> Any:
        fields = await form_of(request)
        await beside(self._folder.keep_machine, fields)
        return {"saved": self._folder.machine.name}


def _photo_of(asked: dict[str, Any]) -> str:
    return str(asked.get("photo", ""))


def _fields_of(asked: dict[str, Any], name: str) -> dict[str, Any]:
    found = asked.get(name)
    return found if isinstance(found, dict) else {}
