"""The page as a WSGI application: the field to drop a drawing on, a page for each drawing, and what came of it.

Every address begins with a key that only the person who started it knows, so that neither another page in the browser
nor somebody else on this machine can ask for anything. The page works without scripts; one makes a drop enough.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from http import HTTPStatus
from io import BytesIO
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile

from converter.errors import ElbowroomError, MissingLibraryError
from converter.findings.wording import tally
from converter.limits import FILE_BYTES, TOML_BYTES, size_text
from converter.processes.failures import mistake
from converter.quoting import visible
from converter.serve.desk import MOST_DRAWINGS, Desk, DrawingOptions, DroppedDrawing, GivenFile

if TYPE_CHECKING:
    from werkzeug import Request, Response
    from werkzeug.datastructures import FileStorage

#: The browser may load from here only, and send what is typed here only.
_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
#: What a file is, by the end of its name; the first that fits.
_WHAT = (
    ("-sheet.html", "job sheet for the screen"),
    ("-sheet.pdf", "job sheet to print"),
    ("-setup.csv", "the bender's set-up, a row per bend"),
    ("-copes.csv", "cut ends, a row each"),
    ("-copes.pdf", "wrap templates of cut ends, to print at full size"),
    ("-template.pdf", "stick template, to print at full size"),
    ("-template.dxf", "stick template at full size"),
    ("-profile.dxf", "flat profile of every bend plane at full size"),
    ("-centerline.dxf", "centerlines as read, straights and bends"),
    (".step", "solid tubes in place, for the assembly"),
    (".csv", "bend tables; can be dropped here again"),
    (".json", "bend tables and findings for other programs"),
)
#: What is told of all other addresses.
_ELSEWHERE = "Open the whole address that elbowroom printed when it was started.\n"
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True, slots=True)
class PageField:
    """A field of the page.

    Attributes:
        name: of the field.
        option: of the command line that it stands for.
        label: what a person reads.
        hint: an example, shown while it is empty.
        choices: what it offers; empty for text. The hint then stands for none of them.
    """

    name: str
    option: str
    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()


class LocalPage:
    """The page.

    Args:
        desk: what it shows.
        key: what every address begins with.
        fields: what it asks for.

    Raises:
        MissingLibraryError: werkzeug or jinja2 is not installed.
    """

    def __init__(self, desk: Desk, key: str, fields: Iterable[PageField]) -> None:
        try:
            from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
            from werkzeug.routing import Map, Rule
        except ImportError as error:
            raise MissingLibraryError(
                f"The page needs {error.name}, which is not installed: reinstall elbowroom with its dependencies."
            ) from error
        self._desk = desk
        self.top = f"/{key}/"
        self._fields = tuple(fields)
        # the page looks as the job sheet does: it takes its style sheet
        self._loader = ChoiceLoader([PackageLoader(f"converter.{one}", "page") for one in ("serve", "exporters.sheet")])
        self._templates = Environment(
            loader=self._loader,
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
        )
        self._templates.filters["visible"] = visible
        answers: Mapping[str, Callable[..., Response]] = {
            "": self._start,
            "<int:number>/": self._drawing,
            "<int:number>/sheet": self._sheet,
            "<int:number>/files/": self._files,
            "<int:number>/files/<name>": self._file,
            "<int:number>/all.zip": self._all,
            "<any('sheet.css', 'desk.css', 'drop.js'):name>": self._asset,
        }
        self._rules = Map([Rule(self.top + where, endpoint=answer) for where, answer in answers.items()])

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        """Answer a request (PEP 3333)."""
        from werkzeug import Request, Response
        from werkzeug.exceptions import HTTPException
        from werkzeug.routing import RequestRedirect

        request = Request(environ)
        request.max_content_length = FILE_BYTES
        if not request.path.startswith(self.top):  # nothing here may tell the key
            return Response(_ELSEWHERE, HTTPStatus.NOT_FOUND)(environ, start_response)
        try:
            answer, values = self._rules.bind_to_environ(environ).match()
            response: Response = answer(request, **values)
        except RequestRedirect as redirect:
            response = redirect.get_response(environ)
        except HTTPException as error:
            response = self._refusal(error.code or HTTPStatus.INTERNAL_SERVER_ERROR)
        except ElbowroomError as error:
            response = self._sentence_page(error.message, HTTPStatus.BAD_REQUEST)
        except Exception as error:
            response = self._sentence_page(mistake(error).message, HTTPStatus.INTERNAL_SERVER_ERROR)
        for name, value in _HEADERS.items():
            response.headers[name] = value
        return response(environ, start_response)

    # --- the pages --------------------------------------------------------------------------------

    def _start(self, request: Request) -> Response:
        from werkzeug.utils import redirect

        again = self._desk.drawing(request.args.get("again", 0, int))
        if request.method == "POST":
            return redirect(f"{self.top}{self._take(request, again).number}/", HTTPStatus.SEE_OTHER)
        before = again or next(iter(self._desk.drawings), None)
        options = DrawingOptions({}) if before is None else before.options
        return self._page(
            "start.html.jinja",
            again=again,
            fields=self._fields,
            options=options,
            own={
                "shop": options.shop.name if options.shop else self._desk.shop,
                "job": options.job.name if options.job else self._desk.job,
            },
            drawings=[(one, _words(one)) for one in self._desk.drawings],
        )

    def _drawing(self, _request: Request, number: int) -> Response:
        dropped = self._find(number)
        verdict = dropped.sheet.verdict
        if verdict is None:
            return self._page("working.html.jinja", dropped=dropped, seconds=int(monotonic() - dropped.began))
        if verdict.failure is not None:
            return self._page("failed.html.jinja", dropped=dropped, sentence=verdict.failure.message)
        return self._page("drawing.html.jinja", dropped=dropped)

    def _files(self, _request: Request, number: int) -> Response:
        dropped = self._find(number)
        verdict = dropped.files.verdict
        if verdict is None or dropped.sheet.verdict is None:
            return self._page("working.html.jinja", dropped=dropped, seconds=int(monotonic() - dropped.began))
        return self._page(
            "files.html.jinja",
            dropped=dropped,
            sentence="" if verdict.failure is None else verdict.failure.message,
            files=[
                (name, next((what for end, what in _WHAT if name.endswith(end)), ""), size_text(path.stat().st_size))
                for name, path in _paths_of(dropped).items()
            ],
        )

    # --- what came of a drawing --------------------------------------------------------------------

    def _sheet(self, request: Request, number: int) -> Response:
        paths = list(self._find(number).sheet.paths.values())
        response = _file_response(request, paths[0] if paths else None)
        response.headers["Content-Security-Policy"] = "frame-ancestors 'self'"  # beside the sheet's own
        return response

    def _file(self, request: Request, number: int, name: str) -> Response:
        return _file_response(request, _paths_of(self._find(number)).get(name), name)

    def _all(self, request: Request, number: int) -> Response:
        dropped = self._find(number)
        packed = BytesIO()
        with ZipFile(packed, "w", ZIP_DEFLATED) as package:
            for name, path in _paths_of(dropped).items():
                package.write(path, name)
        packed.seek(0)
        return _file_response(request, packed, f"{dropped.path.stem}.zip")

    def _asset(self, _request: Request, name: str) -> Response:
        from werkzeug import Response

        text, _, _ = self._loader.get_source(self._templates, name)
        return Response(text, mimetype="text/css" if name.endswith(".css") else "text/javascript")

    # --- the parts of these ------------------------------------------------------------------------

    def _take(self, request: Request, again: DroppedDrawing | None) -> DroppedDrawing:
        """What was dropped, on the desk.

        Raises:
            ElbowroomError: nothing was, or a shop or job file is too large to be one.
        """
        fields = {field.name: request.form.get(field.name, "").strip() for field in self._fields}
        drawing = request.files.get("drawing")
        if drawing is not None and drawing.filename:
            given = GivenFile(drawing.filename, drawing.save)
        elif again is not None:
            given = GivenFile(again.name, partial(shutil.copyfile, again.path))
        else:
            raise ElbowroomError("No drawing was chosen: drop a file on the field, or press it to choose one.")
        before = again or next(iter(self._desk.drawings), None)
        shop, job = (_own_file(request.files.get(name), name) for name in ("shop", "job"))
        if before is not None:
            shop, job = shop or before.options.shop, job or before.options.job
        return self._desk.drop(given, DrawingOptions(fields, shop, job))

    def _find(self, number: int) -> DroppedDrawing:
        from werkzeug.exceptions import NotFound

        dropped = self._desk.drawing(number)
        if dropped is None:
            raise NotFound
        return dropped

    def _page(self, template: str, status: HTTPStatus = HTTPStatus.OK, **values: Any) -> Response:
        from werkzeug import Response

        text = self._templates.get_template(template).render(top=self.top, **values)
        return Response(text, status, {"Content-Security-Policy": _POLICY}, "text/html")

    def _sentence_page(self, sentence: str, status: HTTPStatus) -> Response:
        return self._page("told.html.jinja", status, sentence=sentence)

    def _refusal(self, code: int) -> Response:
        """The page for a request that is not answered."""
        sentences = {
            HTTPStatus.NOT_FOUND: f"There is nothing here. The last {MOST_DRAWINGS} drawings are kept until "
            "elbowroom ends.",
            HTTPStatus.REQUEST_ENTITY_TOO_LARGE: f"The file is larger than {size_text(FILE_BYTES)}: export the tubes "
            "by themselves.",
        }
        status = HTTPStatus(code)
        return self._sentence_page(
            sentences.get(status, f"That cannot be done here ({status.phrase.lower()})."), status
        )


def _words(dropped: DroppedDrawing) -> str:
    """What came of a drawing, in a few words."""
    verdict = dropped.sheet.verdict
    if verdict is None:
        return "being worked out"
    return "could not be worked out" if verdict.failure is not None else tally(verdict.counts)


def _paths_of(dropped: DroppedDrawing) -> dict[str, Path]:
    """Every file that came of a drawing, by name, the sheet first."""
    return dropped.sheet.paths | dropped.files.paths


def _own_file(upload: FileStorage | None, kind: str) -> GivenFile | None:
    """A shop or job file that was chosen, read.

    Raises:
        ElbowroomError: it is larger than any can be.
    """
    if upload is None or not upload.filename:
        return None
    data = upload.stream.read(TOML_BYTES + 1)
    if len(data) > TOML_BYTES:
        raise ElbowroomError(f"The {kind} file is larger than {size_text(TOML_BYTES)}: it is another file.")
    return GivenFile(upload.filename, lambda path: type(upload)(BytesIO(data)).save(path))


def _file_response(request: Request, what: Path | BytesIO | None, name: str = "") -> Response:
    """A file: shown, or with a name kept by the browser."""
    from werkzeug.exceptions import NotFound
    from werkzeug.utils import send_file

    if what is None:
        raise NotFound
    return send_file(what, request.environ, as_attachment=bool(name), download_name=name or None, mimetype=None)
