"""What the job screen shows: read from a job's files and its folder of records."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from bench.assemble import job_folder
from bench.commands.common import has_had_power, operator_name
from bench.commands.compare import compared
from bench.commands.disturb import disturbed
from bench.commands.draft import draft_walk
from bench.commands.explain import all_of, read, told_of
from bench.commands.report import in_browser, report_beside, write_report
from bench.errors import BadRequest, expected
from bench.files import BadFile
from bench.instruments.bench_file import load_bench
from bench.instruments.profile.library import Library
from bench.job.asfound import left
from bench.job.folder import Folder, chapter_of, newest_plant, open_folder
from bench.job.heard import said_when_it_changed
from bench.job.history import History, studies_of
from bench.job.known import counts_of
from bench.job.next_walk import walks_of
from bench.job.points import ELSEWHERE, names_in, point_of, surroundings
from bench.job.readiness import Task
from bench.job.standing import standing
from bench.job.study import Everything
from bench.plant.load import load_plant
from bench.plant.model import Plant, UnknownName
from bench.record.index import head_of, records_in
from bench.record.read import BrokenRecord
from bench.report import compare_text
from bench.report.ready_text import left_on
from bench.runner.address import live_runners
from bench.screens.job.data import BenchLine, Cables, Changes, EndLine, RecordLine, SequenceLine, Survey, Traced
from bench.screens.program.work import Tell
from bench.screens.walk.touched import touched
from bench.sequence.load import load_sequence

_KIND: Final = re.compile(r"^(sequence|bench)\s*:", re.MULTILINE)
_COUNTED: Final = ("pass", "fail", "undecided", "void", "skipped")


class JobSource:
    """A job's files and its folder of records, as the job screen wants them (:class:`bench.screens.job.data.Source`).

    Args:
        plant: the plant file; None for the newest record's plant, and no sequences or benches then.
        logs: the folder of records.
        operator: who says what was touched.
    """

    def __init__(self, plant: Path | None, logs: Path, operator: str = "") -> None:
        self.file, self.logs, self.operator = plant, logs, operator
        self._plant: Plant | None = None
        self._folder: Folder | None = None

    # the job

    def survey(self, tell: Tell) -> Survey:
        """The job as it is now.

        Raises:
            BadFile: the plant file has problems.
            NoRecords: neither a plant file nor a record is there.
        """
        tell("reading the plant", 0, 0)
        there = self.logs.is_dir()
        if self.file is not None:
            plant = load_plant(self.file)
        else:
            plant = newest_plant(records_in([self.logs]) if there else ())
        # who opens the job screen on the first day has no records yet
        folder = Folder(self.logs)
        if there:
            folder = open_folder(self.logs, plant.name, lambda n, of: tell("reading the records", n, of))
        tell("working out what is proven", 0, 0)
        ready = standing(folder, plant)
        self._plant, self._folder = plant, folder
        sequences, benches = self._files(tell)
        return Survey(
            title=plant.file.title or plant.name,
            plant=plant,
            ready=ready,
            simulated=folder.simulated,
            sequences=tuple(sequences),
            benches=tuple(benches),
            records=tuple(self._records(folder)) if there else (),
            logs=str(self.logs),
            left_on=tuple(left_on(left(folder.chapters, folder.order))),
        )

    def _files(self, tell: Tell) -> tuple[list[SequenceLine], list[BenchLine]]:
        """Every sequence and bench of the job's folder."""
        if self.file is None:
            return [], []
        found = sorted(path for path in self.file.parent.rglob("*.yaml") if not _hidden(path, self.file.parent))
        sequences, benches = [], []
        for number, path in enumerate(found, 1):
            tell("reading the job's files", number, len(found))
            kind = _kind_of(path)
            if kind == "sequence":
                sequences.append(_sequence(path))
            elif kind == "bench":
                benches.append(_bench(path))
        return sequences, benches

    def _records(self, folder: Folder) -> list[RecordLine]:
        """Every record of the folder, the newest first."""
        live = {Path(one.record) for one in live_runners(self.logs)}
        chapters = {chapter.record: chapter for chapter in (*folder.chapters, *folder.practice)}
        broken = {error.path: error for error in folder.broken}
        found = []
        for path in records_in([self.logs]):
            name = str(path.relative_to(self.logs))
            if path in broken:
                found.append(RecordLine(str(path), name, why=str(broken[path]), broken=True))
                continue
            try:
                head = folder.heads.get(name) or head_of(path)
                chapter = chapters.get(name) or chapter_of(self.logs, name, head)
            except BrokenRecord as error:
                found.append(RecordLine(str(path), name, why=str(error), broken=True))
                continue
            came = folder.counts.get(name) or counts_of(chapter.evidence)
            counts = tuple((verdict, came[verdict]) for verdict in _COUNTED if verdict in came)
            found.append(
                RecordLine(
                    path=str(path),
                    name=name,
                    began=chapter.began,
                    sequence=chapter.sequence,
                    bench=chapter.bench,
                    simulated=chapter.simulated,
                    operator=chapter.operator,
                    ending=chapter.ending,
                    counts=counts,
                    live=path.resolve() in live,
                    why=folder.left_out.get(name, ""),
                    report=str(report) if (report := report_beside(path)).is_file() else "",
                )
            )
        return sorted(found, key=lambda one: (one.began, one.name), reverse=True)

    # points

    def trace(self, name: str, tell: Tell) -> Traced:
        """A point over all records.

        Raises:
            BadRequest: the plant has nothing of this name.
        """
        plant, folder = self._known()
        try:
            point = point_of(plant, name)
        except UnknownName as error:
            raise BadRequest(str(error)) from error
        records = records_in([self.logs]) if self.logs.is_dir() else []
        source = History(
            self.logs, records, plant.name, tell=lambda n, of: tell(f"reading every record for {name}", n, of)
        )
        studies = studies_of(source, plant, point)
        around = surroundings(plant, point)
        near = [one for one in folder.told if around.nearness(one.names or names_in(plant, one.text))[0] > ELSEWHERE]
        return Traced(
            point,
            tuple(studies),
            tuple(near),
            source.simulated and bool(source.heads),
            tuple(source.broken),
            tuple(said_when_it_changed(self.logs, studies)),
        )

    def changes(self, tell: Tell) -> Changes:
        """What changed most among all points."""
        plant, _ = self._known()
        records = records_in([self.logs]) if self.logs.is_dir() else []
        source = History(self.logs, records, plant.name, tell=lambda n, of: tell("looking through all records", n, of))
        everything = Everything(source.rows())
        tell("looking for changes", 0, 0)
        studies = everything.studies()
        episodes = everything.episodes(studies, plant)
        odd = frozenset(episode.record for episode in episodes if episode.common.meter)
        changed = [one for one in studies if one.window is not None]
        changed.sort(key=lambda one: one.window is not None and one.window.sides[1].record in odd)
        return Changes(tuple(changed), len(studies), tuple(episodes), odd)

    def cables(self, tell: Tell) -> Cables:
        """What the pile of cables comes to; empty where nobody surveyed.

        Raises:
            BrokenRecord: the survey's record was changed.
            BadFile: the job's rates are wrong.
        """
        from bench.diagnose.survey.belief import answer_of
        from bench.diagnose.survey.rates import RatesFile, rates_of
        from bench.diagnose.survey.sentences import contradictions, ends_told, summary, trip_card
        from bench.diagnose.survey.trips import next_trips
        from bench.record.survey import SURVEY, read_survey

        if not (self.logs / SURVEY).is_file():
            return Cables()
        tell("reading the survey", 0, 0)
        rates = rates_of(self.file.parent) if self.file is not None else RatesFile(rates="")
        plant, _ = self._known()
        answer = answer_of(read_survey(self.logs / SURVEY), rates, plant.file.cable_types)
        if not answer.pile.ends:
            return Cables()
        tell("working out what belongs together", 0, 0)
        trips = next_trips(answer, rates.minutes, most=1)
        return Cables(
            (*summary(answer), *contradictions(answer)),
            tuple(EndLine(one.name, one.where, one.fits, one.sure, one.why) for one in ends_told(answer)),
            tuple(trip_card(trips[0], answer.pile.ends)) if trips else (),
        )

    def draft(self, task: Task, tell: Tell) -> tuple[SequenceLine, str]:
        """Draft the sequence that does a task, beside the plant file.

        Raises:
            BadRequest: no walk does it, there is no plant file, or the draft that is there holds changes of somebody's.
        """
        tell("drafting", 0, 0)
        if self.file is None or self._plant is None:
            raise BadRequest("there is no plant file to draft from: open the job by its folder")
        powered = has_had_power(self.logs, self._plant)
        walks = walks_of(self._plant, task, powered=powered)
        if not walks:
            raise BadRequest("no walk can be drafted for this yet: 'proveout ready' says what is missing")
        path, told = draft_walk(self._plant, self.file, walks[0], powered=powered)
        return _sequence(path), f"{walks[0].text}: {told.splitlines()[-1]}"

    def all_off(self, tell: Tell) -> str:
        """Switch everything off that walks of the job have on; returns how it went, in words."""
        from bench.runner.all_off import everything_off

        tell("switching everything off", 0, 0)
        told = everything_off(live_runners(self.logs)) if self.logs.is_dir() else []
        return " ".join(told) or "no walk is under way: look at the instruments themselves"

    def report(self, record: str, tell: Tell) -> str:
        """Write the report of a record beside it; returns where it is.

        Args:
            record: the record.
            tell: is told how far the work is.
        """
        tell("writing the report", 0, 0)
        return str(write_report([Path(record)]).path)

    def show(self, report: str, tell: Tell) -> str:
        """Open a report in the browser of this computer, where it has a screen of its own."""
        tell("opening the report", 0, 0)
        return "it is open in the browser" if in_browser(Path(report)) else "open it in any browser"

    def explain(self, record: str, tell: Tell) -> tuple[str, ...]:
        """What people did wrong, by the readings of a record, and what to do about it.

        Raises:
            BadRequest: it holds nothing to explain.
            BrokenRecord: it cannot be used.
        """
        tell("reading the record", 0, 0)
        plant, states = read([Path(record)])
        tell("looking for what explains it", 0, 0)
        return tuple(told_of(plant, all_of([Path(record)], states)))

    def compare(self, before: str, after: str, tell: Tell) -> tuple[str, ...]:
        """What changed between two records, or between the evidence of two days.

        Raises:
            BadRequest: one is neither.
            BrokenRecord: a record cannot be used.
        """
        tell("comparing", 0, 0)
        found = compared(self.logs, before, after, lambda n, of: tell("reading the records", n, of))
        return tuple(compare_text.lines(found, before, after))

    def misnamed(self, text: str) -> str:
        """What is wrong with a text that says what was touched; empty where nothing is."""
        plant, _ = self._known()
        said = touched(text)
        if not said.touches:
            return "at least one name is wanted, such as J101"
        if not said.text:
            return "what was done is wanted, after a colon"
        wrong = next((name for name in said.touches if name not in plant.things), None)
        if wrong is None:
            return ""
        hint = plant.near(wrong)
        return f"the plant has nothing called {wrong}{f'; {hint}' if hint else ''}"

    def disturb(self, text: str, tell: Tell) -> tuple[str, ...]:
        """Write down that something was touched."""
        tell("writing it down", 0, 0)
        plant, _ = self._known()
        said = touched(text)
        return tuple(disturbed(plant, self.logs, said.touches, said.text, operator_name(self.operator)))

    def mend(self, error: Exception) -> str:
        """The text of an error that a person can mend; empty for a bug."""
        known = expected(error)
        return known[0] if known is not None else ""

    def _known(self) -> tuple[Plant, Folder]:
        assert self._plant is not None and self._folder is not None  # the job screen reads the job first
        return self._plant, self._folder


def _hidden(path: Path, below: Path) -> bool:
    return any(part.startswith(".") for part in path.relative_to(below).parts)


def _kind_of(path: Path) -> str:
    """``sequence`` or ``bench`` by the first of these words that begins a line; empty for anything else."""
    try:
        found = _KIND.search(path.read_text("utf-8", "replace"))
    except OSError:
        return ""
    return found.group(1) if found is not None else ""


def _sequence(path: Path) -> SequenceLine:
    try:
        loaded = load_sequence(path)
    except BadFile as error:
        return SequenceLine(str(path), path.stem, wrong=str(error.problems[0]))
    file = loaded.sequence
    return SequenceLine(str(path), file.sequence, file.about, len(loaded.plan.steps), tuple(loaded.plan.roles))


def _bench(path: Path) -> BenchLine:
    try:
        bench = load_bench(path, Library.for_job(job_folder(path)))
    except BadFile as error:
        return BenchLine(str(path), path.stem, wrong=str(error.problems[0]))
    names = tuple(one.name for one in bench.file.instruments)
    return BenchLine(str(path), bench.file.title or bench.file.bench, tuple(bench.role_of), bench.simulated, names)
