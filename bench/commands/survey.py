"""Survey a pile of cables: note loose ends, free places and lines of old lists, and be told what belongs together.

JOB is a folder with a plant.yaml, as 'proveout new' makes one. Everything is kept in survey.jsonl in the folder of
records. Without an option it asks one thing after the other, on the screen or line by line."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from bench import exits
from bench.commands import looks
from bench.commands.common import LOGS, busy, operator_name
from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.diagnose.survey.belief import Answer
    from bench.diagnose.survey.rates import RatesFile
    from bench.diagnose.survey.trips import Trip
    from bench.plant.file import CableType
    from bench.plant.finds import Hall
    from bench.plant.model import Plant
    from bench.record.survey import SurveyWriter
    from bench.walk.surveying import Survey, SurveyEvent


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("job", type=Path, nargs="?", help="the job's folder, or its plant file")
    parser.add_argument("--logs", type=Path, metavar="DIR", help="the folder of records (default logs/ in the job)")
    parser.add_argument("--operator", default="", help="who surveys; kept in the record")
    parser.add_argument("--plain", action="store_true", help="line by line, without the screen")
    parser.add_argument("--screen", action="store_true", help="on the screen, whatever this runs in")
    parser.add_argument("--watch", action="store_true", help="only say what belongs together: somebody else is writing")
    looks.arguments(parser, on_the_screen=True)
    parser.add_argument("--import", dest="table", type=Path, metavar="CSV", help="take finds from a table")
    parser.add_argument("--merge", type=Path, metavar="RECORD", help="take in a survey of the same job from elsewhere")
    parser.add_argument("--tell", action="store_true", help="say what belongs together, and how surely")
    parser.add_argument("--next", action="store_true", help="say which trips tell most a minute, with their cards")
    parser.add_argument("--why", nargs=2, metavar="END", help="what speaks for and against two ends being one cable")
    parser.add_argument("--like", metavar="PLACE", help="which places are of one family by the readings of their pins")
    parser.add_argument("--read-pins", metavar="PLACE", help="draft a few readings between the pins of a free place")
    parser.add_argument(
        "--reads", type=Path, metavar="RECORD", help="take in what a walk read: pins of places, groups of ends"
    )
    parser.add_argument("--group", nargs="*", metavar="END", help="tell many cables apart in one trip, by one "
                        "conductor of each of these ends, or of those of the next trip")  # fmt: skip
    parser.add_argument("--against", nargs="+", default=[], metavar="END", help="for --group: the ends touched")
    parser.add_argument(
        "--way", default="", choices=("tags", "star", "chain", "sizes"), help="for --group: by which way"
    )
    parser.add_argument("--no-bar", action="store_true", help="for --group: there is no shorting bar")
    parser.add_argument("--page", type=Path, metavar="HTML", help="write the page for whoever leads the work")
    parser.add_argument("--flags", type=Path, metavar="HTML", help="write flags to print, each with a code to scan")
    parser.add_argument("--claim", nargs=2, metavar="END=PLACE", help="two ends of one cable with their places")
    parser.add_argument("--cable", default="", help="for --claim: the cable's name")
    parser.add_argument("--size", default="", help="for --claim: the conductors' size, such as 'AWG 24'")
    parser.add_argument("--length", default="", help="for --claim: the cable's length, such as '12 m'")
    parser.add_argument(
        "--write", action="store_true", help="for --claim, --read-pins, --group: write it and draft the walk"
    )
    parser.add_argument("--tags", default="", metavar="LIST", help="for --next and --group: resistors at hand, "
                        "E24, E96 or values with commas; each tag then has its value on the card")  # fmt: skip
    parser.add_argument("--here", default="", metavar="BAY", help="for --next: where you stand")


def run(options: argparse.Namespace) -> int:
    """Take finds in, tell what they come to, or ask for more."""
    from bench.commands.open import plant_of
    from bench.plant.load import load_plant

    path = plant_of(options.job)
    plant = load_plant(path)
    logs = options.logs or path.parent / LOGS
    if options.table is not None:
        _import(options, plant, logs)
    if options.merge is not None:
        _merge(options, plant, logs)
    if options.claim:
        from bench.commands.survey_claim import claim

        if not options.cable:
            raise BadRequest("--claim wants the cable's name: --cable W1")
        given = options.cable, options.size, options.length
        claim(path, plant, read(logs), options.claim, *given, write=options.write)
        return exits.PASS
    if options.read_pins:
        from bench.commands.survey_pins import read_pins

        read_pins(path, plant, read(logs), options.read_pins, write=options.write)
        return exits.PASS
    if options.group is not None:
        _group(options, plant, logs, path.parent)
        return exits.PASS
    if options.reads is not None:
        _reads(options, plant, logs)
        return exits.PASS
    asked = (
        options.tell or options.watch or options.next or options.why or options.like or options.page or options.flags
    )
    if asked:
        _told(options, plant, logs)
    elif options.table is None and options.merge is None:
        _talk(options, plant, logs)
    return exits.PASS


def hall_of(plant: Plant) -> Hall:
    """The bays in the order of the plant file."""
    from bench.plant.finds import Hall

    return Hall(bays=list(plant.bays))


def _rates(options: argparse.Namespace) -> RatesFile:
    from bench.commands.open import plant_of
    from bench.diagnose.survey.rates import rates_of

    return rates_of(plant_of(options.job).parent)


def _open(options: argparse.Namespace, plant: Plant, logs: Path) -> SurveyWriter:
    from bench.record.survey import SURVEY, SurveyWriter

    return SurveyWriter(logs / SURVEY, plant.name, hall_of(plant), operator_name(options.operator))


def read(logs: Path) -> Survey:
    """The survey of a folder of records.

    Raises:
        BadRequest: there is none.
        BrokenRecord: it was changed.
    """
    from bench.record.survey import SURVEY, read_survey

    if not (logs / SURVEY).is_file():
        raise BadRequest(f"found no {logs / SURVEY}; begin with: proveout survey JOB, or --import a table")
    return read_survey(logs / SURVEY)


def _import(options: argparse.Namespace, plant: Plant, logs: Path) -> None:
    from bench.plant.finds_table import read_finds
    from bench.say.lists import count
    from bench.walk.surveying import NotNow, Saw

    finds = read_finds(options.table)
    with _open(options, plant, logs) as writer:
        new = [find for find in finds if find.name not in writer.survey.finds]
        known = {find.name: writer.survey.finds[find.name].find for find in finds if find not in new}
        other = [find for find in finds if find.name in known and known[find.name] != find]
        by = operator_name(options.operator)
        try:
            writer.write(*(Saw(find=find, by=by, how=options.table.name) for find in (*new, *other)))
        except NotNow as error:
            raise BadRequest(f"{options.table}: {error}; what stood before it was taken") from error
    print(f"{count(len(new), 'new find')}, {count(len(other), 'find')} described anew, "
          f"{len(finds) - len(new) - len(other)} as before")  # fmt: skip


def _reads(options: argparse.Namespace, plant: Plant, logs: Path) -> None:
    from bench.commands.survey_group import taken_names
    from bench.commands.survey_pins import taken_reads
    from bench.plant.finds import FreePlace
    from bench.say.lists import count

    survey = read(logs)
    found, told = list(taken_reads(survey, options.reads)), list(taken_names(survey, options.reads))
    if not found and not told:
        raise BadRequest(
            f"{options.reads} holds no new reading between two pins of a free place of the survey, nothing new of ends"
        )
    with _open(options, plant, logs) as writer:
        writer.write(*found, *told)
    for one in found:
        assert isinstance(one.find, FreePlace)
        before = survey.finds[one.find.name].find
        assert isinstance(before, FreePlace)
        name, new = one.find.name, len(one.find.reads) - len(before.reads)
        print(f"{name}: {count(new, 'reading')} taken in; --like {name} says which places are like it")
    for event in told:
        tried = event.tried
        print(f"{tried.touched} is {tried.answer}" if tried.answer else f"{tried.touched} is none of them")


def _group(options: argparse.Namespace, plant: Plant, logs: Path, job: Path) -> None:
    from bench.commands.survey_group import group
    from bench.diagnose.survey.belief import answer_of
    from bench.diagnose.survey.trips import next_trips

    survey, rates = read(logs), _rates(options)
    answer = answer_of(survey, rates, plant.file.cable_types)
    wanted = bool(answer.pile.ends) and not options.group
    with busy("looking for the trip that tells most"):
        trips = next_trips(answer, rates.minutes, options.here) if wanted else ()
    group(options, plant, survey, answer, trips, job)


def _merge(options: argparse.Namespace, plant: Plant, logs: Path) -> None:
    from bench.record.kept import take_photos
    from bench.record.survey import SURVEY, read_survey, survey_lines
    from bench.say.lists import count
    from bench.walk.merging import merged

    began = read_survey(options.merge).began
    assert began is not None
    if began.plant != plant.name:
        raise BadRequest(f"{options.merge} is a survey of '{began.plant}', not of '{plant.name}'")
    with _open(options, plant, logs) as writer:
        found = merged(list(survey_lines(logs / SURVEY)), list(survey_lines(options.merge)), options.merge.name)
        writer.write(*found.events)
    photos = take_photos(logs, options.merge.parent) if options.merge.parent.resolve() != logs.resolve() else 0
    print(f"{count(found.finds, 'find')}, {count(found.tries, 'try', 'tries')} and {count(photos, 'photo')} taken in")
    for name, to in found.renamed.items():
        print(f"{name} there is {to} here, since {name} is something else here: write {to} on its flag")
    for name in found.twice:
        print(f"{name} was described anew by both: what was noted last counts, and both are kept")


def _told(options: argparse.Namespace, plant: Plant, logs: Path) -> None:
    from bench.commands.survey_tags import told_tags, values_at_hand
    from bench.diagnose.survey import sentences as words
    from bench.diagnose.survey.belief import answer_of
    from bench.diagnose.survey.trips import MOST_TAGS, next_trips
    from bench.saved import save

    survey, rates = read(logs), _rates(options)
    answer = answer_of(survey, rates, plant.file.cable_types)
    title = plant.file.title or plant.name
    if options.flags:
        from bench.plant.finds import ListLine
        from bench.report.survey_page import flags_page

        finds = [kept.find for kept in survey.finds.values() if not isinstance(kept.find, ListLine)]
        save(options.flags, flags_page(title, finds))
        print(f"flags: {options.flags}")
    if options.tell or options.watch:
        with busy("working out what belongs together"):
            lines = [*words.summary(answer), *words.contradictions(answer), *words.pair_lines(answer),
                     *words.open_lines(answer), *words.place_lines(answer)]  # fmt: skip
        print("\n".join(lines))
    if options.why:
        ends = {end.name for end in answer.pile.ends}
        for name in options.why:
            if name not in ends:
                raise BadRequest(f"--why: found '{name}', expected the flag of a loose end")
        for line in words.why_lines(answer, *options.why):
            print(line)
    if options.like:
        if options.like not in {place.name for place in answer.pile.places}:
            raise BadRequest(f"--like: found '{options.like}', expected the name of a free place")
        for line in words.likeness_lines(answer, options.like):
            print(line)
    wanted = bool(answer.pile.ends) and (options.next or options.page)
    apart = values_at_hand(options.tags) if options.tags else ()
    most = min(len(apart), MOST_TAGS) if options.tags else MOST_TAGS
    with busy("looking for the trips that tell most"):
        trips = next_trips(answer, rates.minutes, options.here, tags=most) if wanted else ()
    if options.next:
        if not trips:
            print("nothing is left to try that would tell anything")
        for trip in trips:
            print("\n".join(words.trip_card(trip, answer.pile.ends, told_tags(apart, len(trip.tagged)))))
    if options.page:
        from bench.report.survey_page import survey_page

        tags = [told_tags(apart, len(trip.tagged)) for trip in trips]
        save(options.page, survey_page(title, answer, trips, tags))
        print(f"page: {options.page}")


class _Keeper:
    """Holds the survey that is written, and what it comes to."""

    def __init__(self, writer: SurveyWriter, logs: Path, rates: RatesFile, types: Iterable[CableType]) -> None:
        self._writer, self._logs, self._rates, self._types = writer, logs, rates, tuple(types)
        self._answered: tuple[int, Answer] | None = None

    @property
    def survey(self) -> Survey:
        return self._writer.survey

    def write(self, *events: SurveyEvent) -> None:
        self._writer.write(*events)

    def answer(self) -> Answer:
        from bench.diagnose.survey.belief import answer_of

        last = self._writer.survey.last
        if self._answered is None or self._answered[0] != last:
            self._answered = last, answer_of(self._writer.survey, self._rates, self._types)
        return self._answered[1]

    def trips(self, here: str) -> tuple[Trip, ...]:
        from bench.diagnose.survey.trips import next_trips

        return next_trips(self.answer(), self._rates.minutes, here, 1)

    def photo(self, path: str) -> str:
        from bench.record.kept import keep_photo

        return keep_photo(self._logs, Path(path))


def _talk(options: argparse.Namespace, plant: Plant, logs: Path) -> None:
    from bench.screens.survey.talk import Talk

    with _open(options, plant, logs) as writer:
        keeper = _Keeper(writer, logs, _rates(options), plant.file.cable_types)
        talk = Talk(keeper, operator_name(options.operator))
        if options.plain or not (options.screen or looks.paints()):
            from bench.screens.survey.plain import run as by_line

            by_line(talk, sys.stdin, sys.stdout)
        else:
            from bench.screens.survey.app import run as show

            show(talk, looks.settings_of(options))
