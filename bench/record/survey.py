"""The record of a survey on disk: the same chained lines as any record, with a survey's own events.

A survey has one file in the folder of records. Where two people survey on two computers, the second file gets a name of
its own, and a folder may hold several.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import msgspec

from bench import __version__
from bench.files import from_text
from bench.plant.finds import Hall
from bench.record.append import ChainedFile, TimeOfDay, Torn, stamp, utc_now
from bench.record.chain import BadLine
from bench.record.read import BrokenRecord, read_chained
from bench.walk.surveying import (
    SURVEY_FORMAT,
    NotNow,
    Survey,
    SurveyBegan,
    SurveyEntry,
    SurveyEvent,
    TornEnd,
    add,
)

SURVEY: Final = "survey.jsonl"
"""The file of a folder's survey."""
_NAMED: Final = re.compile(r"survey(?:-[\w-]+)?\.jsonl")
_decoder: Final = msgspec.json.Decoder(SurveyEntry, dec_hook=from_text)


def is_survey(path: Path) -> bool:
    """Whether a file is a survey's record, by its name."""
    return _NAMED.fullmatch(path.name) is not None


def decode_survey(line: bytes) -> SurveyEntry:
    """Read one line's entry.

    Raises:
        BadLine: it is not valid, or of a newer format than this program knows.
    """
    try:
        entry = _decoder.decode(line)
    except (msgspec.MsgspecError, ValueError, NotImplementedError, RecursionError) as error:
        raise BadLine(f"no event of a survey that this version knows: {error}") from error
    if isinstance(entry.event, SurveyBegan) and entry.event.format > SURVEY_FORMAT:
        raise BadLine(f"written in format {entry.event.format} by version {entry.event.software}: use the newer one")
    return entry


def read_survey(path: Path) -> Survey:
    """The survey of a record, its chain checked; a torn last line is left out.

    Raises:
        BrokenRecord: a line is wrong, or does not follow from those before it.
    """
    survey = Survey()
    for number, (_, entry) in enumerate(survey_lines(path), 1):
        try:
            survey = add(survey, entry)
        except NotNow as error:
            raise BrokenRecord(path, number, str(error)) from error
    if survey.began is None:
        raise BrokenRecord(path, 0, "holds no survey")
    return survey


def survey_lines(path: Path) -> Iterator[tuple[str, SurveyEntry]]:
    """The hash and the entry of each line of a survey's record, its chain checked; a torn last line is left out.

    Raises:
        BrokenRecord: a line is wrong, or does not follow from the one before it.
    """
    for _, stated, entry in read_chained(path, decode_survey):
        yield stated, entry


class SurveyWriter:
    """A survey that is being written: every event is on disk before it is taken. Use as a context manager.

    Args:
        path: the record; it is begun where it is not there.
        plant: the plant's name, for one that begins.
        hall: where the bays stand, for one that begins.
        by: who does it.
        now: the time of day.

    Attributes:
        survey: what it holds now.

    Raises:
        BrokenRecord: something other than a torn end is wrong with what is there, or it is of another plant.
        RecordBusy: another process is writing it.
        RecordTrouble: it cannot be written.
    """

    def __init__(self, path: Path, plant: str, hall: Hall, by: str = "", now: TimeOfDay = utc_now) -> None:
        self.survey = Survey()
        self._by, self._now = by, now
        torn: Torn | None = None
        if path.exists():
            self._writer, entries, torn = ChainedFile.go_on(path, now, SurveyBegan, decode_survey)
            try:
                for entry in entries:
                    self.survey = add(self.survey, entry)
                if self.survey.began is not None and self.survey.began.plant != plant:
                    raise NotNow(f"is a survey of '{self.survey.began.plant}', not of '{plant}'")
            except NotNow as error:
                self._writer.close()
                raise BrokenRecord(path, 0, str(error)) from error
        else:
            self._writer = ChainedFile.begin(path, now, decode_survey)
        if torn is not None:
            self.write(TornEnd(bytes=torn.bytes, sha256=torn.sha256, kept=torn.kept))
        if self.survey.began is None:
            self.write(SurveyBegan(software=__version__, plant=plant, hall=hall, by=by))

    def write(self, *events: SurveyEvent) -> None:
        """Write events down and take them; nothing of one that does not fit is written.

        Raises:
            NotNow: an event does not fit what is there; those before it are written.
            RecordTrouble: the record cannot be written.
        """
        for event in events:
            entry = SurveyEntry(n=self._writer.last + 1, at=stamp(self._now()), event=event)
            after = add(self.survey, entry)
            self._writer.append(entry)
            self.survey = after

    def close(self) -> None:
        """Let go of the record."""
        self._writer.close()

    def __enter__(self) -> SurveyWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def surveys_in(folder: Path) -> Sequence[Path]:
    """The records of surveys in a folder."""
    return sorted(path for path in folder.glob("survey*.jsonl") if is_survey(path)) if folder.is_dir() else []
