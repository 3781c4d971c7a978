"""What a person asks of the page, done with the same functions as on the command line."""

import dataclasses
import datetime
import threading
from collections import OrderedDict
from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.calibrating import CalibrationRequest, make_calibration, seen_in_words
from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.finding.gear_selection import gears_on
from cogloupe.folders.batch import known_of
from cogloupe.folders.index import Bookkeeper
from cogloupe.folders.jobs import Job, Part
from cogloupe.folders.photos import PhotoFile, stamp_of
from cogloupe.folders.places import check_writable, reading_folder
from cogloupe.folders.storing import keep_parts
from cogloupe.inputs.photo import Photo, read_photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.report.folder_page import shown_entry
from cogloupe.report.markup import data_uri
from cogloupe.report.page import title_block
from cogloupe.report.page_data import page_data, photo_jpeg, photo_window
from cogloupe.report.reading_tables import summary_table
from cogloupe.report.reading_text import verdict
from cogloupe.report.verdict_text import cautions_of, named
from cogloupe.report.write import report_files
from cogloupe_calibration.calibration import load_calibration, save_calibration
from cogloupe_calibration.errors import CogloupeError, UseError
from cogloupe_calibration.scale import calibration_from_scale, from_stated_scale

PREVIEW_SIDE = 1400
"""Longest side of the picture on which a person looks and draws, px."""
PHOTOS_KEPT = 3
"""Decoded photographs held ready; one of 48 megapixels takes 144 MB."""
LIKELY = 0.02
"""Probability below which a size is not offered."""
LINE_U_PX = 1.5
"""Standard uncertainty of the length of a line drawn by hand between two edges, px of the picture
it is drawn on (our own judgement: either end within 2 px)."""


class Work:
    """What is going on in a folder; one thing at a time is measured."""

    def __init__(self, folder: GearsFolder) -> None:
        self.folder = folder
        self._photos: OrderedDict[str, Photo] = OrderedDict()
        self._decoding, self._turn = threading.Lock(), threading.Lock()
        self._writers = ThreadPoolExecutor(1)  # one after the other
        self._written: Future[None] | None = None
        self._books = Bookkeeper(folder.readings)
        self.compared = "<p>Nothing has been compared yet.</p>"

    def state(self) -> dict[str, Any]:
        """What the page begins with: folder, calibration, what was said of the last picture."""
        return {
            "folder": str(self.folder.path),
            "calibration": self._calibration_words(),
            "last": _shown_fields(self.folder.last_stated()),
            "machine": self.folder.machine_as_typed(),
        }

    def _calibration_words(self) -> str:
        if not self.folder.calibration.is_file():
            return ""
        try:
            found = load_calibration(self.folder.calibration)
        except CogloupeError as error:
            return f"cannot be used: {error}"
        how = found.method.replace("_", " ")
        return f"{1000 * found.mm_per_px:.5g} µm per pixel, {how}, {found.date.isoformat()}"

    def look(self, name: str) -> dict[str, Any]:
        """Find the gears on a photograph, their counts, and what was said of it before."""
        photo = self._photo(name)
        gears = [
            {
                "x": region.x,
                "y": region.y,
                "tip_px": region.tip_radius,
                "root_px": region.root_radius,
                "teeth": region.teeth,
                "cut_off": region.cut_off,
            }
            for region in gears_on(photo.pixels)
        ]
        return {
            "photo": name,
            "width": photo.width,
            "height": photo.height,
            "gears": gears,
            "stated": _shown_fields(self.folder.stated(name)),
        }

    def preview(self, name: str) -> bytes:
        """A photograph small enough for the page, as JPEG."""
        pixels = self._photo(name).pixels
        if pixels.dtype != np.uint8:
            pixels = cv2.convertScaleAbs(pixels, alpha=255 / np.iinfo(pixels.dtype).max)
        scale = min(1.0, PREVIEW_SIDE / max(pixels.shape[:2]))
        small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        shown = small if small.ndim == 2 else cv2.cvtColor(small, cv2.COLOR_RGB2BGR)
        return cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes()

    def _photo(self, name: str) -> Photo:
        """A photograph, decoded once."""
        path = self.folder.photo(name)
        with self._decoding:
            if name not in self._photos:
                self._photos[name] = read_photo(path)
                while len(self._photos) > PHOTOS_KEPT:
                    self._photos.popitem(last=False)
            return self._photos[name]

    def candidates(self, name: str, fields: Mapping[str, Any]) -> dict[str, Any]:
        """Standard sizes that the gear may have, likeliest first, by what is known of it.

        Gives their probabilities as well, and the sentence that goes with them.
        """
        known = {k: v for k, v in given_fields(fields).items() if k not in ("module_mm", "dp")}
        settings = self.folder.settings(self.folder.photo(name), {**known, "unknown": True})
        with self._turn:
            reading, _ = inspect_photo(self._photo(name), settings)
        if reading.identity is None:
            return {"sizes": [], "sentence": "No standard size comes near: state it yourself."}
        shown = [c for c in reading.identity.candidates if c.probability >= LIKELY][:6]
        return {
            "sentence": reading.identity.sentence,
            "sizes": [
                {
                    "name": c.size,
                    "rack": c.rack,
                    "pressure_angle_deg": c.pressure_angle_deg,
                    "probability": c.probability,
                    "field": "module_mm" if c.size.startswith("module") else "dp",
                    "value": c.module_mm if c.size.startswith("module") else c.diametral_pitch,
                }
                for c in shown
            ],
        }

    def read(self, name: str, fields: Mapping[str, Any]) -> dict[str, Any]:
        """Read a photograph; its files are written while the figures are looked at.

        Gives figures and what their drawings need; what is known of it goes into gear.toml.
        """
        path, known = self.folder.photo(name), given_fields(fields)
        settings = self.folder.settings(path, known)
        with self._turn:
            reading, drawing = inspect_photo(self._photo(name), settings)
        self.folder.state(name, known)
        job = self._job(path, settings)
        self._written = self._writers.submit(self._write, reading, drawing, job)
        return {"folder": job.place.name, **_figures(reading, drawing)}

    def _job(self, photo: Path, settings: GearSettings) -> Job:
        out, known = self.folder.readings, known_of(settings)
        place = reading_folder(PhotoFile(photo), out, known=known)
        return Job(photo=photo, settings=settings, known=known, out=out, place=place)

    def _write(self, reading: Reading, drawing: DrawingData, job: Job) -> None:
        check_writable(job.out)
        part = Part(reading=reading, files=report_files(reading, drawing))
        (outcome,) = keep_parts(job, [part], stamp_of(job.photo))
        if outcome.error is not None:
            raise outcome.error
        self._books.bring_up_to_date()

    def readings(self) -> list[dict[str, Any]]:
        """Readings of the folder, newest first: folder, photograph, gear and verdict of each."""
        self.settle()
        if not self.folder.readings.is_dir():
            return []
        self._books.bring_up_to_date()
        newest = sorted(self._books.entries, key=lambda entry: entry.read_at, reverse=True)
        return [shown_entry(entry) for entry in newest if entry.status == "read"]

    def settle(self) -> None:
        """Wait until what was read is written.

        Raises
        ------
        UseError
            Where it could not be; told once.
        """
        written = self._written
        if written is None:
            return
        try:
            written.result()
        finally:
            self._written = None

    def calibrate(self, name: str, fields: Mapping[str, Any]) -> dict[str, Any]:
        """Make the folder's calibration file from a photograph of something of known size.

        Fields are as `CalibrationRequest` has them, without those that are empty; gives what was
        found, in sentences.
        """
        known = {field.name for field in dataclasses.fields(CalibrationRequest)}
        request = CalibrationRequest(**{k: v for k, v in fields.items() if v and k in known})
        with self._turn:
            made, shown = make_calibration(self.folder.photo(name), request, datetime.date.today())
        refused = made.verdict == "take it again"
        if not refused:
            save_calibration(made, self.folder.calibration)
        um, u = 1000 * made.mm_per_px, 2000 * made.u_mm_per_px
        lines = [] if shown is None else [seen_in_words(shown)]
        lines.append(f"{um:.5g} ± {u:.2g} µm per pixel (k = 2).")
        lines.append(f"Verdict: {made.verdict}" + "".join(f"; {r}" for r in made.reasons))
        if refused:
            lines.append("It was not kept: a calibration to be taken again must not be used.")
        return {"lines": lines, "calibration": self._calibration_words()}

    def calibrate_by_line(self, name: str, length_mm: float, length_px: float) -> dict[str, Any]:
        """Make the calibration file from a line that was drawn over something known.

        Gives the scale in words.
        """
        if not length_px > 20 * LINE_U_PX:
            raise UseError("the line is too short: draw it over something longer")
        photo = self._photo(name)
        u_px = LINE_U_PX * max(1.0, max(photo.width, photo.height) / PREVIEW_SIDE)
        scale = from_stated_scale(1000 * length_mm / length_px, u_px / length_px)
        made = calibration_from_scale(
            scale, datetime.date.today(), None, f"line over {length_mm:g} mm on {name}"
        )
        save_calibration(made, self.folder.calibration)
        return {"lines": [], "calibration": self._calibration_words()}


def given_fields(fields: Mapping[str, Any]) -> dict[str, Any]:
    """What the page sends, without what was left empty and what settings do not know."""
    known = GearSettings.model_fields
    return {
        name: value.strip() if isinstance(value, str) else value
        for name, value in fields.items()
        if name in known and value not in (None, "", False)
    }


def _shown_fields(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Settings as the page shows them: only what its form has."""
    return {name: value for name, value in fields.items() if isinstance(value, str | int | float)}


def _figures(reading: Reading, drawing: DrawingData) -> dict[str, Any]:
    """What the page shows at once: verdict, main figures, and the data of the drawings."""
    window = photo_window(reading, drawing)
    data = page_data(reading, drawing, window)
    data["view"]["href"] = data_uri(photo_jpeg(window))
    first = _said_first(reading) or verdict(reading)[:3]
    return {
        "title": title_block(reading),
        "verdict": [text for text in first if text],
        "cautions": cautions_of([reading]),
        "figures": [
            [row.cells[0].text, row.cells[2].text] for row in summary_table(reading).rows[:5]
        ],
        "warnings": [notice.message for notice in reading.warnings if not notice.note],
        "data": data,
    }


def _said_first(reading: Reading) -> list[str]:
    """What is wrong most, the class, the likeliest cause, and what to do next."""
    said = reading.verdict
    if said is None:
        return []
    cause = reading.causes.sentence if reading.causes and named(reading) else ""
    return [said.dominant.text, said.class_text, cause, f"Next: {said.next_step}"]
