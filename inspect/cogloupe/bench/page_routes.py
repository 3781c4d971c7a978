"""What a person opens: the bench itself, readings, a plan, causes, files made on demand."""

import mimetypes
from urllib.parse import unquote

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from cogloupe.bench import pages, pair_pages
from cogloupe.bench.answers import beside, opening
from cogloupe.bench.work import Work
from cogloupe.report.bench_page import bench_html, bench_script
from cogloupe.report.markup import asset, shared_script
from cogloupe_calibration.errors import UseError


class PageRoutes:
    """Pages and files."""

    def __init__(self, work: Work) -> None:
        self._work, self._folder = work, work.folder

    def routes(self) -> list[Route]:
        """Addresses and what answers there."""
        return [
            Route("/", opening(self._home)),
            Route("/favicon.ico", opening(self._icon)),
            Route("/assets/{name}", opening(self._script)),
            Route("/readings/{path:path}", opening(self._reading)),
            Route("/plan", opening(self._plan)),
            Route("/causes", opening(self._causes)),
            Route("/compare", opening(self._compared)),
            Route("/pair", opening(self._pair)),
            Route("/pair/{name}", opening(self._drilling)),
            Route("/target.pdf", opening(self._target)),
            Route("/export/{kind}", opening(self._export)),
        ]

    async def _home(self, request: Request) -> Response:
        return HTMLResponse(bench_html())

    async def _icon(self, request: Request) -> Response:
        return Response(asset("bench/icon.svg"), media_type="image/svg+xml")

    async def _script(self, request: Request) -> Response:
        name = request.path_params["name"]
        known = {"bench.js": bench_script(), "shared.js": shared_script()[1]}
        if name not in known:
            raise UseError(f"{name} is not there")
        return Response(known[name], media_type="text/javascript")

    async def _reading(self, request: Request) -> Response:
        await beside(self._work.settle)
        path = self._folder.served(unquote(request.path_params["path"]))
        kind = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
        return Response(await beside(path.read_bytes), media_type=kind)

    async def _plan(self, request: Request) -> Response:
        fields = dict(request.query_params)
        return HTMLResponse(await beside(pages.plan_page, self._folder, fields))

    async def _causes(self, request: Request) -> Response:
        await beside(self._work.settle)
        name = request.query_params.get("reading", "")
        return HTMLResponse(await beside(pages.causes_page, self._folder, name))

    async def _compared(self, request: Request) -> Response:
        return HTMLResponse(self._work.compared)

    async def _pair(self, request: Request) -> Response:
        await beside(self._work.settle)
        fields = dict(request.query_params)
        return HTMLResponse(await beside(pair_pages.pair_page, self._folder, fields))

    async def _drilling(self, request: Request) -> Response:
        await beside(self._work.settle)
        name, fields = request.path_params["name"], dict(request.query_params)
        made = await beside(pair_pages.drilling_file, self._folder, fields, name)
        kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
        return Response(made, media_type=kind)

    async def _target(self, request: Request) -> Response:
        asked = request.query_params
        kind, pitch, paper = asked.get("kind", ""), asked.get("pitch", ""), asked.get("paper", "A4")
        return Response(pages.target_pdf(kind, pitch, paper), media_type="application/pdf")

    async def _export(self, request: Request) -> Response:
        await beside(self._work.settle)
        name, kind = request.query_params.get("reading", ""), request.path_params["kind"]
        made = await beside(pages.export, self._folder, name, kind)
        held = {"Content-Disposition": f'attachment; filename="{kind}"'}
        return Response(made, media_type="application/octet-stream", headers=held)
