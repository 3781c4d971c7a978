"""Reads photographs on the workers of a Dask cluster (the extra `cogloupe[cluster]`)."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import cv2

from cogloupe.folders.jobs import Job, Outcome, Part
from cogloupe.folders.photos import stamp_of
from cogloupe.folders.places import folder_name
from cogloupe.folders.processes import fatal
from cogloupe.folders.single_photo import read_job, read_parts
from cogloupe.folders.storing import keep_parts
from cogloupe.inputs.photo import MOST_BYTES
from cogloupe.inputs.settings import GearSettings
from cogloupe.reading.provenance import Stamp
from cogloupe_calibration.calibration import CALIBRATION_MOST_BYTES
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import read_file

if TYPE_CHECKING:  # an extra, and slow to import
    from distributed import Client, Future

FIND_SECONDS = "15s"
"""A scheduler that is there answers within a second."""
LOOK_SECONDS = 60
"""A worker that died is started again by its nanny in a few seconds; where none is left after so
many, nobody will read the rest."""
RETRIES = 2
"""Times that a photograph is read anew where a worker lost its result; the scheduler by itself
gives one whose worker died to three others."""


@dataclass(frozen=True)
class Sent:
    """A photograph on its way to a worker that shares no storage.

    Its calibration file goes with it, where it has one that can be read.
    """

    name: str
    photo: bytes
    calibration: bytes | None
    settings: GearSettings
    every: bool


@dataclass(frozen=True)
class Given:
    """A photograph that was given out, if it could be, and the stamp of its file."""

    future: "Future | None"
    stamp: Stamp | None


class ClusterCrew:
    """Workers of a cluster; the scheduler gives the pictures of one that dies to others.

    With `ship` the pictures are sent, and what comes back is written here; without it workers read
    and write by the same paths as this machine.
    """

    def __init__(self, client: "Client", ship: bool) -> None:
        self._client, self._ship = client, ship

    @property
    def count(self) -> int:
        """How many pictures are read at a time."""
        return max(sum(map(int, self._client.nthreads().values())), 1)

    def give(self, job: Job) -> Given:
        """Give out a photograph to be read."""
        stamp = stamp_of(job.photo)
        work: tuple[Any, Any] = (read_sent, _packed(job)) if self._ship else (read_job, job)
        if work[1] is None:
            return Given(None, stamp)
        return Given(self._client.submit(_by_one_core, *work, pure=False, retries=RETRIES), stamp)

    def take(self, job: Job, handle: Given) -> tuple[Outcome, ...]:
        """Wait for what became of a photograph.

        Raises
        ------
        UseError
            Where the cluster is lost.
        """
        from distributed import KilledWorker
        from distributed.client import FutureCancelledError

        if handle.future is None:  # what cannot be opened is told best from here
            return read_job(job)
        try:
            found = self._result(handle.future)
        except KilledWorker:
            return (Outcome(job.photo, None, fatal(job)),)
        except (FutureCancelledError, OSError) as error:
            raise UseError(
                f"the cluster was lost ({error}): start it again, then go on with --resume"
            ) from error
        return keep_parts(job, found, handle.stamp) if self._ship else found

    def _result(self, future: "Future") -> Any:
        while True:
            try:
                return future.result(timeout=LOOK_SECONDS)
            except TimeoutError as error:
                if not self._client.nthreads():
                    raise OSError("no worker is left") from error

    def call_off(self, handle: Given) -> bool:
        """Call off a photograph, in hand or not; False where it is done already."""
        if handle.future is None or handle.future.done():
            return False
        handle.future.cancel()
        return True


def _by_one_core(read: Callable[[Any], Any], work: Any) -> Any:
    """Read as a worker: it counts its threads, and the libraries are to begin no others."""
    cv2.setNumThreads(1)
    return read(work)


def _packed(job: Job) -> Sent | None:
    """Pack a photograph with what it needs to be read; None where it cannot be opened."""
    file = job.settings.calibration
    calibration = None if file is None else _contents(file, CALIBRATION_MOST_BYTES)
    photo = _contents(job.photo, MOST_BYTES)
    if photo is None:
        return None
    return Sent(folder_name(job.photo.name), photo, calibration, job.settings, job.every)


def _contents(path: Path, most_bytes: int) -> bytes | None:
    """Bytes of a file; None where it cannot be read."""
    try:
        return read_file(path, most_bytes)
    except OSError:
        return None


def read_sent(sent: Sent) -> tuple[Part, ...]:
    """Read a photograph that was sent."""
    with TemporaryDirectory() as folder:
        photo, settings = Path(folder, sent.name), sent.settings
        photo.write_bytes(sent.photo)
        if sent.calibration is not None:
            own = Path(folder, "set-up", "calibration.json")
            own.parent.mkdir()
            own.write_bytes(sent.calibration)
            settings = settings.model_copy(update={"calibration": own})
        return read_parts(photo, settings, sent.every, named=sent.settings.calibration)


@contextmanager
def cluster_crew(address: str, ship: bool) -> Iterator[ClusterCrew]:
    """Find a cluster by its scheduler, as ``tcp://host:8786``, and leave it again afterwards.

    Raises
    ------
    UseError
        Where the extra is not installed, the scheduler does not answer, or has no workers.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise UseError(
            "--scheduler needs the extra for clusters: pip install 'cogloupe[cluster]'"
        ) from error
    try:
        client = Client(address, timeout=FIND_SECONDS, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UseError(
            f"no scheduler answers at {address}: start one with 'dask scheduler', and workers "
            "with 'dask worker ADDRESS'"
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=FIND_SECONDS)
        except TimeoutError as error:
            raise UseError(
                f"{address} has no workers: start some with 'dask worker {address}'"
            ) from error
        yield ClusterCrew(client, ship)
