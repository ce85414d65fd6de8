"""The conversation of a survey, with no screen and no disk: what is asked now, and what an answer brings.

It asks one thing at a time. Each answer is written down at once, so nothing is lost when the lid is closed. A flag's
name that is typed or scanned, wherever one is, leads to that thing; a scanner types, so nothing else is needed for one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, Literal, Protocol

import msgspec
from msgspec.structs import replace

from bench.diagnose.survey import sentences as words
from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.trips import Trip
from bench.plant.finds import Find, FreePlace, ListLine, LooseEnd, Tried
from bench.say.lists import count
from bench.screens.survey.fields import FIELDS, Field, NotThat, changed, pin_reads
from bench.screens.survey.trip_steps import steps_of
from bench.walk.surveying import (
    NotNow,
    Remarked,
    Saw,
    Survey,
    SurveyEvent,
    TookBack,
    TriedIt,
    Withdrew,
    kind_of,
)

KINDS: Final[tuple[tuple[str, type[Find]], ...]] = (
    ("a loose end", LooseEnd),
    ("a free place", FreePlace),
    ("a line of an old list or drawing", ListLine),
)
MENU: Final = (
    *(text for text, _ in KINDS),
    "what came of a try",
    "what belongs together",
    "the next trip",
    "a remark",
    "leave",
)
BACK: Final = ("<", "back")
DONE: Final = (".", "done")
HELP: Final = (
    "A number chooses from the list. Enter keeps what stands there. - takes it out.",
    "< goes one back, . ends this find. The name of a flag, typed or scanned, leads to that thing.",
    "drop NAME WHY takes a find out that was noted by mistake; undo takes the last try back.",
    "why L1 L2 tells what speaks for a pair, like P1 which places are of one family.",
)


class Keeper(Protocol):
    """Whoever holds the survey and writes it down."""

    @property
    def survey(self) -> Survey:
        """What is there now."""

    def write(self, *events: SurveyEvent) -> None:
        """Write events down and take them."""

    def answer(self) -> Answer:
        """What the finds come to."""

    def trips(self, here: str) -> Sequence[Trip]:
        """The trips that tell most, from the bay where one stands; the best first."""

    def photo(self, path: str) -> str:
        """Keep a picture beside the record; gives its SHA-256."""


class Asked(msgspec.Struct, frozen=True):
    """What is asked now.

    Attributes:
        title: what it is about.
        question: what is asked.
        hint: how to answer.
        choices: what a number chooses.
        stands: what stands there now: Enter keeps it.
        page: lines to show besides.
    """

    title: str
    question: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    stands: str = ""
    page: tuple[str, ...] = ()


class _At(msgspec.Struct, frozen=True):
    """Where the conversation is.

    Attributes:
        find: what is being described; None at the menu.
        step: which field.
        trip: the trip under way.
        touch: how many of its steps are done.
        asks: a question of its own: a try's parts, a remark.
        told: its answers so far.
        page: what is shown.
        bay: where the last find was: the next one begins there.
    """

    find: Find | None = None
    step: int = 0
    trip: Trip | None = None
    touch: int = 0
    asks: str = ""
    told: tuple[str, ...] = ()
    page: tuple[str, ...] = ()
    bay: str = ""


class Talk(msgspec.Struct):
    """A conversation with whoever surveys.

    Args:
        keeper: holds the survey.
        by: who it is.

    Attributes:
        over: whether it was left.
        note: what to say once: what was written, or what is wrong with an answer.
    """

    keeper: Keeper
    by: str = ""
    over: bool = False
    note: str = ""
    _at: _At = msgspec.field(default_factory=_At)

    @property
    def resting(self) -> bool:
        """Whether nothing is under way: the menu is shown."""
        return self._at.find is None and self._at.trip is None and not self._at.asks

    # what is asked

    def asked(self) -> Asked:
        """What is asked now."""
        at, survey = self._at, self.keeper.survey
        if at.find is not None:
            one = self._field()
            choices = tuple(one.choices(survey, type(at.find)))
            title = f"{at.find.name}, {kind_of(at.find)}: {at.step + 1} of {len(FIELDS[type(at.find)])}"
            return Asked(title, one.asks, one.hint, choices, one.shown(at.find), self._mates(at.find.name))
        if at.trip is not None:
            return self._asked_on_trip(at.trip)
        if at.asks:
            title, question, hint = _ASKS[at.asks]
            return Asked(title, question, hint, (), "", at.page)
        finds = survey.finds.values()
        counts = [sum(isinstance(kept.find, kind) for kept in finds) for _, kind in KINDS]
        title = f"{count(counts[0], 'loose end')}, {count(counts[1], 'free place')}, {count(counts[2], 'list line')}"
        hint = "a number, or the name of a flag; help helps"
        return Asked(title, "What did you find?", hint, MENU, "", at.page)

    def _asked_on_trip(self, trip: Trip) -> Asked:
        card = tuple(words.trip_card(trip, self._ends()))
        steps = steps_of(trip)
        if self._at.touch >= len(steps):
            return Asked("the trip is done", "Enter goes on", "", (), "", card)
        step = steps[self._at.touch]
        return Asked(f"in bay {step.bay}", step.question, step.hint, step.choices, "", card)

    def _ends(self) -> list[LooseEnd]:
        return [kept.find for kept in self.keeper.survey.finds.values() if isinstance(kept.find, LooseEnd)]

    def _field(self) -> Field:
        assert self._at.find is not None
        return FIELDS[type(self._at.find)][self._at.step]

    def _mates(self, name: str) -> tuple[str, ...]:
        """What was said of a find before."""
        before = self.keeper.survey.before.get(name, ())
        return (f"described {len(before)} times before; all of it is kept",) if len(before) > 3 else ()

    # what an answer brings

    def take(self, text: str) -> None:
        """Take what was typed or scanned.

        Args:
            text: a line.
        """
        text = text.strip()
        self.note = ""
        try:
            if text == "help" or (text == "?" and self._at.find is None):
                self.note = " ".join(HELP)
            elif text in self.keeper.survey.finds and text not in self.asked().choices and not self._at.asks:
                self._at = _At(find=self.keeper.survey.finds[text].find, bay=self._at.bay)
            elif text.split(" ")[0] in ("drop", "why", "undo", "like") and not self._at.asks:
                self._command(text)
            elif self._at.find is not None:
                self._take_field(text)
            elif self._at.trip is not None:
                self._take_step(self._at.trip, text)
            elif self._at.asks:
                self._take_part(text)
            else:
                self._take_choice(text)
        except (NotThat, NotNow) as error:
            self.note = str(error)

    def _command(self, text: str) -> None:
        word, *names = text.split()
        if word == "undo":
            last = max(self.keeper.survey.tries, default=0)
            if not last:
                raise NotThat("there is no try to take back")
            self.keeper.write(TookBack(n=last, by=self.by))
            self.note = "the last try does not count any more; the record keeps it"
        elif word == "drop":
            if len(names) < 2:
                raise NotThat("drop wants a name and why: drop L12 noted twice")
            self.keeper.write(Withdrew(name=names[0], why=" ".join(names[1:]), by=self.by))
            self._at = _At(bay=self._at.bay)
            self.note = f"{names[0]} counts no more; the record keeps it"
        elif word == "like":
            kept = self.keeper.survey.finds.get(names[0]) if len(names) == 1 else None
            if kept is None or not isinstance(kept.find, FreePlace):
                raise NotThat("like wants a free place: like P1")
            self._at = _At(bay=self._at.bay, page=tuple(words.likeness_lines(self.keeper.answer(), names[0])))
        else:
            ends = {end.name for end in self._ends()}
            if len(names) != 2 or not set(names) <= ends or names[0] == names[1]:
                raise NotThat("why wants two loose ends: why L1 L2")
            self._at = replace(self._at, page=tuple(words.why_lines(self.keeper.answer(), *names)))

    def _take_choice(self, text: str) -> None:
        if not text:
            return
        chosen = MENU[int(text) - 1] if text.isdecimal() and 1 <= int(text) <= len(MENU) else text
        kinds = dict(KINDS)
        if chosen in kinds:
            kind: type[Any] = kinds[chosen]
            name = self.keeper.survey.free_name(kind)
            find = kind(name=name) if kind is ListLine else kind(name=name, bay=self._at.bay)
            self._at = _At(find=find, bay=self._at.bay)
        elif chosen == MENU[3]:
            self._at = _At(asks="touched", bay=self._at.bay)
        elif chosen == MENU[4]:
            self._at = replace(self._at, page=tuple(self._answers()))
        elif chosen == MENU[5]:
            trips = self.keeper.trips(self._at.bay) if self._ends() else ()
            if not trips:
                self.note = "nothing is left to try that would tell anything"
            else:
                self._at = _At(trip=trips[0], bay=self._at.bay)
                self.note = "Take the card along, then answer for each step."
        elif chosen == MENU[6]:
            self._at = _At(asks="remark", bay=self._at.bay)
        elif chosen in (MENU[7], "q", *BACK):
            self.over = True
        else:
            raise NotThat(f"found '{text}', expected a number from 1 to {len(MENU)}, or the name of a flag")

    def _answers(self) -> Sequence[str]:
        answer = self.keeper.answer()
        if not answer.pile.ends:
            return ("no loose ends yet",)
        return [
            *words.summary(answer),
            *words.contradictions(answer),
            *words.pair_lines(answer),
            *words.open_lines(answer),
            *words.place_lines(answer),
        ]

    def _take_field(self, text: str) -> None:
        at, find = self._at, self._at.find
        assert find is not None
        fields = FIELDS[type(find)]
        if text in DONE:
            self._write(find)
            self._to_menu(find)
            return
        if text in BACK:
            if at.step == 0:
                self._to_menu(find)
            else:
                self._at = replace(at, step=at.step - 1)
            return
        if text:
            one = self._field()
            if one.name == "photo" and text != "-":
                text = self.keeper.photo(text)
                kept = (*find.photo, text) if text not in find.photo else tuple(find.photo)
                find = replace_photo(find, kept)
            else:
                find = changed(find, one, text, one.choices(self.keeper.survey, type(find)))
        self._write(find)
        if at.step + 1 == len(fields):
            self._to_menu(find)
        else:
            self._at = replace(at, find=find, step=at.step + 1)

    def _write(self, find: Find) -> None:
        """Write a find down where it says something new."""
        there = self.keeper.survey.finds.get(find.name)
        if there is None or there.find != find:
            self.keeper.write(Saw(find=find, by=self.by))

    def _to_menu(self, find: Find) -> None:
        self._at = _At(bay=find.bay or self._at.bay)
        if find.name in self.keeper.survey.finds:
            self.note = f"{find.name} is noted. Tie flag {find.name} to it."

    def _take_step(self, trip: Trip, text: str) -> None:
        steps, done = steps_of(trip), self._at.touch
        if done >= len(steps) or text in DONE:
            self._at = _At(bay=trip.last_bay)
            return
        if text in BACK:
            self._at = replace(self._at, touch=max(0, done - 1))
            return
        step = steps[done]
        if step.choices and text.isdecimal() and 1 <= int(text) <= len(step.choices):
            text = step.choices[int(text) - 1]
        if step.choices and text not in step.choices:
            raise NotThat(f"found '{text}', expected a number from 1 to {len(step.choices)}")
        done += 1
        match step.act:
            case "touch" if text == step.choices[-1]:
                self._seal(step.name)
            case "touch":
                single = len(step.among) == 1
                answer = (step.among[0] if text == "yes" else "") if single else text if text in step.among else ""
                way: Literal["ring", "tags"] = "ring" if single else "tags"
                self._try(Tried(touched=step.name, among=list(step.among), answer=answer, way=way))
            case "pull" if text != step.choices[-1]:
                answer = step.among[0] if text == "yes" else ""
                self._try(Tried(touched=step.name, among=list(step.among), answer=answer, way="pull"))
            case "dead" if text != step.choices[0]:
                while done < len(steps) and steps[done].act == "pins" and steps[done].name == step.name:
                    done += 1
            case "pins" if text:
                self._read(step.name, f"{'-'.join(step.among)} {text}" if step.among else text)
        if done < len(steps):
            self._at = replace(self._at, touch=done)
        else:
            self._at = _At(bay=trip.last_bay)
            self.note = f"{self.note} that is all of this trip".strip()

    def _read(self, name: str, text: str) -> None:
        """Keep what was read between pins of a place, beside what was read there before."""
        place = self.keeper.survey.finds[name].find
        if isinstance(place, FreePlace):
            reads = [*place.reads, *pin_reads(text)]
            self.keeper.write(Saw(find=msgspec.structs.replace(place, reads=reads), by=self.by))

    def _seal(self, name: str) -> None:
        """Keep that an end cannot be touched: the next trips ask for a pull there."""
        end = self.keeper.survey.finds[name].find
        if isinstance(end, LooseEnd) and not end.sealed:
            self.keeper.write(Saw(find=msgspec.structs.replace(end, sealed=True), by=self.by))
            self.note = f"{name} cannot be touched: a pull is asked for there;"

    def _try(self, tried: Tried) -> None:
        self.keeper.write(TriedIt(tried=tried, by=self.by))

    def _take_part(self, text: str) -> None:
        at = self._at
        if text in BACK or (not text and at.asks != "answered"):
            self._at = _At(bay=at.bay)
        elif at.asks == "remark":
            self.keeper.write(Remarked(text=text, by=self.by))
            self._at = _At(bay=at.bay)
            self.note = "noted"
        elif at.asks == "touched":
            self._known([text])
            self._at = replace(at, asks="among", told=(text,))
        elif at.asks == "among":
            names = text.replace(",", " ").split()
            self._known(names)
            self._at = replace(at, asks="answered", told=(*at.told, *names))
        else:
            touched, *among = at.told
            if text and text not in among:
                raise NotThat(f"found '{text}', expected {', '.join(among)}, or Enter for none")
            self._try(Tried(touched=touched, among=among, answer=text, way="ring" if len(among) == 1 else "tags"))
            self._at = _At(bay=at.bay)
            self.note = "noted; undo takes it back"

    def _known(self, names: Sequence[str]) -> None:
        for name in names:
            if name not in self.keeper.survey.finds:
                raise NotThat(f"nothing was found by the name of '{name}'")


_ASKS: Final[dict[str, tuple[str, str, str]]] = {
    "touched": ("what came of a try", "Which end was touched?", "its flag"),
    "among": ("what came of a try", "Which ends were tagged or clipped?", "their flags, with blanks between"),
    "answered": ("what came of a try", "Which of them answered?", "its flag; Enter for none"),
    "remark": ("a remark", "What is there to remark?", "in words"),
}


def replace_photo(find: Find, kept: Sequence[str]) -> Find:
    """The find with these pictures."""
    return msgspec.structs.replace(find, photo=list(kept))
