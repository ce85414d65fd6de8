"""Which errors are a person's or the world's to mend, and how they are told. Everything else is a bug."""

from __future__ import annotations

from bench.exits import BAD_INPUT, STOPPED


def expected(error: Exception) -> tuple[str, int] | None:
    """The text and exit code of an error that a person can mend; None for a bug."""
    from bench.files import BadFile
    from bench.instruments.ports.trouble import InstrumentTrouble
    from bench.job.folder import NoRecords
    from bench.plant.writing import ChangedMeanwhile
    from bench.record.append import RecordBusy, RecordTrouble
    from bench.record.read import BrokenRecord
    from bench.runner.client import NotLetIn
    from bench.simulate.process import SimulationFailed

    if isinstance(error, BadFile):
        count = len(error.problems)
        tail = "" if count == 1 else f"\n{count} problems"
        return f"{error}{tail}", BAD_INPUT
    if isinstance(error, BadRequest | NoRecords | BrokenRecord | FileExistsError | ChangedMeanwhile):
        return str(error), BAD_INPUT
    if isinstance(error, OSError) and not isinstance(error, ConnectionError):
        # the world's, whoever met it: a disk that is full, a folder that is gone, a file that may not be read
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{error.strerror}" if error.strerror else str(error), STOPPED
    if isinstance(
        error, InstrumentTrouble | RecordBusy | RecordTrouble | NotLetIn | ConnectionError | SimulationFailed
    ):
        return str(error), STOPPED
    return None


class BadRequest(ValueError):
    """An option or a name on the command line cannot be what is meant."""
