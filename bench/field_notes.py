"""What the fields of a type mean, as its source says it: the text below each field, or under ``Attributes``.

For the schemas that editors read: whoever writes a file sees it while typing.
"""

from __future__ import annotations

import ast
import inspect
import re
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import msgspec

_ATTRIBUTE: Final = re.compile(r"^(\w+): (.*)$")
_MARKUP: Final = re.compile(r":\w+:`~?(?:[\w.]+\.)?(\w+)`")
_DOUBLE: Final = re.compile(r"``([^`]*)``")
USUAL: Final = {
    "name": "Its name: how other parts of the files, and people, call it.",
    "title": "What people are shown; empty: the name, or what the program says by itself.",
    "about": "A remark for people.",
    "text": "What people are told; empty: what the program says by itself.",
    "remark": "A remark for people.",
    # of events
    "number": "Of the request that it answers.",
    "by": "Who did it, or said so.",
    "why": "The reason, in words.",
    "instrument": "The instrument's name on the bench.",
    "confirmed": "Whether it was read back.",
    "raw": "The replies that it rests on, bytes that are no text written as \\xNN.",
    "software": "The program's version.",
    "advice": "What a person can do about it.",
    # of faults and of the plant
    "conductor": "The conductor's name.",
    "cable": "The cable's name.",
    "connector": "The connector's name.",
    "shelf": "The shelf's name.",
    "feed": "The feed's name.",
    "bond": "The bond's name.",
    "terminal": "The terminal's name.",
    "supply": "The supply's name.",
    "breaker": "The breaker's name.",
    "ohms": "Its resistance.",
    "between": "The two places, by name.",
    "end": "Which end of the cable: near or far.",
    "seed": "Decides what is drawn: the same number draws the same again.",
    "length": "Its length.",
    "size": "Cross-section or gauge of its conductors.",
    "from": "Where its near end goes.",
    "to": "Where its far end goes.",
    "from_status": "What is known of its near end: known, claimed (by a label or a drawing) or unknown.",
    "to_status": "What is known of its far end: known, claimed (by a label or a drawing) or unknown.",
    "connectors": "Its connectors.",
    "slots": "How many slots it has for cards.",
    "contact": "Resistance of one of its contacts.",
    # of lines
    "baud": "Characters' speed on a serial line, in bits a second.",
    "bits": "Data bits of a character.",
    "parity": "The parity bit of a character.",
    "stop": "Stop bits of a character.",
    "flow": "How either side is told to wait.",
    "encoding": "How bytes stand for characters of a text.",
    "ask": "The question, as it is sent.",
    "reply": "What the answer looks like: a regular expression over the whole of it.",
    "settings": "What can be set of it, and what each setting may be.",
    "least": "The smallest value that it may have.",
    "most": "The largest value that it may have.",
    "at_least": "The smallest value that passes.",
    "at_most": "The largest value that passes.",
    "read": "What is read.",
    "wires": "With two wires, or with four, which leaves out the leads.",
    "voltage": "Volts that the output is set to.",
    "current_limit": "The most amperes that it gives.",
}
"""Fields that mean the same wherever they stand and nothing else is said of them."""


OF_TYPE: Final = {
    "Accuracy.of_reading": "Part of what is read that it may be off by.",
    "Accuracy.of_range": "Part of full scale that it may be off by.",
    "Accuracy.cold": "The line holds from this ambient temperature on.",
    "Accuracy.hot": "The line holds up to this ambient temperature.",
    "Accuracy.of_range_per_k": "Added, of full scale, for each kelvin outside cold to hot.",
    "Accuracy.spread": "What the figures mean: bounds that hold always, or an interval of that probability.",
    "Advised.number": "Of the request that it answers.",
    "Answered.how": "By a key, by a contact that settled, by simulated hands, or by a relay matrix.",
    "Ask.least": "The smallest answer that is taken.",
    "Ask.most": "The largest answer that is taken.",
    "Bay.shelves": "Its shelves, from the top down.",
    "Began.format": "Of the record.",
    "Bond.start": "Where it begins.",
    "Cable.start": "Where its near end goes.",
    "Began.plant": "The plant file, whole.",
    "Began.sequence": "The sequence file, whole.",
    "Began.seed": "Of a simulated bench; nothing on a real one.",
    "Began.operator": "Who began it.",
    "BenchFile.instruments": "Those at hand.",
    "BenchFile.references": "Known resistors that the bench is proven against.",
    "BenchFile.simulate": "The simulated plant, where the instruments are simulated.",
    "BenchInstrument.profile": "The profile that it talks by: the name of a file in drivers/ without .yaml.",
    "BenchInstrument.line": "Line settings in place of its profile's.",
    "BenchInstrument.calibrated": "The day of its last calibration.",
    "BenchInstrument.due": "The day on which its next calibration is due.",
    "BenchInstrument.leads": "Its pair of test leads.",
    "BenchReference.value": "What it is.",
    "BenchReference.tolerance": "How far it may be off, as part of it, either way.",
    "BondPoor.ohms": "What it has in place of what it should.",
    "Breaker.rating": "The current that it carries for good.",
    "BrokenLead.of": "Whose lead it is.",
    "Busbar.pole": "Whether it carries the feed or its return.",
    "Cable.type": "The name of its type.",
    "Cable.length_tolerance": "How far its length may be off, either way.",
    "Cable.screen_from": "Where its screen goes at the near end.",
    "Cable.screen_to": "Where its screen goes at the far end.",
    "CableType.pairs": "How many pairs it has.",
    "CableType.made_of": "The metal of its conductors.",
    "CardType.load": "How it draws its current.",
    "Check.at_least": "The smallest magnitude of the value.",
    "Check.reply": "What the answer must look like; its group value is what the bounds are for.",
    "Choice.value": "As it is sent.",
    "ConductorEntry.colour": "Its colours, as they are seen.",
    "ConductorEntry.to_flag": "The flag that is tied to its far end, where that hangs loose.",
    "Connector.type": "The name of its type.",
    "Connector.faces": "Where one looks at it from.",
    "ConnectorType.pins": "How many pins it has.",
    "ConnectorType.rows": "In how many rows they stand.",
    "ConnectorsExchanged.connectors": "The two that were plugged into one another's place.",
    "ContactResistance.typical": "Of a good contact.",
    "Decide.rule": "The decision rule, of JCGM 106: simple acceptance, or guarded.",
    "Each.over": "Over what it goes: conductors, pairs, inlets and so on.",
    "Each.only": "Those alone, where not all.",
    "Each.but": "All but those.",
    "Each.steps": "The steps for each of them.",
    "Earth.points": "Places of the earthing network.",
    "Earth.bonds": "What joins them.",
    "EarthPoint.kind": "What it is: a terminal, a bar, a frame and so on.",
    "Elapsed.seconds": "How many passed.",
    "Energise.hold": "How long the load is watched before it counts as up.",
    "Energised.times": "Of the readings, in seconds.",
    "Energised.amps": "What was read at these times; nothing where the meter gave no number.",
    "Entry.event": "What happened.",
    "ErrorQueue.ask": "Asks for one entry.",
    "Example.does": "What the program does in it.",
    "Example.function": "Which function is set or read.",
    "Example.range": "The range that it is locked to; nothing: it ranges by itself.",
    "Example.settings": "What is set of it.",
    "Example.channels": "The channels that are closed.",
    "Example.exchange": "What goes over the wire, in order.",
    "Example.gives": "The reading that must result.",
    "Exchange.sent": "What the program sends.",
    "Exchange.received": "What the instrument answers.",
    "Exchanged.pins": "The two pins whose conductors changed places.",
    "Expected.value": "The reading, in the base unit.",
    "Expected.unit": "The base unit.",
    "Expected.over": "Over range, on which side.",
    "Expected.nan": "It shows that it has no number.",
    "Expected.bound": "Over range: what the value is beyond.",
    "Expected.flags": "What its signs mean, in order.",
    "Expected.identity": "What it names itself.",
    "FeedsCrossed.feeds": "The two feeds that changed places.",
    "Found.verdict": "What the search comes to.",
    "Function.reads": "What it measures.",
    "Function.wires": "With two wires, or with four.",
    "Function.configure": "Commands that set it to this function.",
    "Function.settings": "Placeholders of its commands besides range.",
    "Function.ranges": "Its ranges, the smallest first.",
    "Function.register": "Where the value lies, on Modbus.",
    "Function.reply": "What a reading looks like, with the group value; the dialogue's own by default.",
    "Guarded.left": "What those say that were not read back as safe.",
    "HalfShelf.slots": "The slots that belong to it.",
    "Identify.ask": "Asks it who it is.",
    "Leakage.between": "The two places that it leaks between.",
    "Limit.computed": "What it is computed from, where it is not given in figures.",
    "Limit.source": "Where the limit comes from, in words.",
    "Line.bits": "Data bits of a character.",
    "Look.breakers": "Breakers to look at.",
    "Look.supplies": "Supplies to look at.",
    "Look.cards": "Slots to look into.",
    "Look.bonds": "Bonds to look at.",
    "Loose.period": "How often it opens and closes.",
    "MadeSafe.confirmed": "Instrument to whether its safe state was read back.",
    "Measure.limit": "What the reading is held against.",
    "Mended.bytes": "How many there were.",
    "Mended.sha256": "Of these bytes.",
    "Mended.kept": "The file that they are kept in.",
    "Met.roles": "The roles that it fills.",
    "Met.identity": "What it answered when it was asked who it is.",
    "Met.address": "Where it answered.",
    "Met.serial": "Its serial number, where it tells one.",
    "Met.version": "Of its own program, where it tells it.",
    "Output.on": "Commands that switch it on.",
    "Output.off": "Commands that switch it off.",
    "Output.is_on": "Asks whether it is on.",
    "Output.is_off": "Asks whether it is off.",
    "PairReversed.pair": "Which pair of the cable.",
    "Paused.make_safe": "Outputs go off first.",
    "PlantFile.ambient": "The temperature that is taken for granted.",
    "PlantFile.contacts": "Resistance of a contact, where its connector's type says none.",
    "PlantFile.connector_types": "Kinds of connector.",
    "PlantFile.cable_types": "Kinds of cable.",
    "PlantFile.card_types": "Kinds of card.",
    "PlantFile.bays": "The bays, from left to right.",
    "PlantFile.feeds": "Supplies as they are distributed.",
    "PlantFile.supplies": "Batteries, rectifiers and bench supplies.",
    "PlantFile.busbars": "Bars that feeds and their returns branch from.",
    "PlantFile.breakers": "Breakers and fuses.",
    "PlantFile.trays": "Where cables lie.",
    "PlantFile.cables": "The cables.",
    "PlantFile.earth": "The earthing network.",
    "Probe.set": "Gives it the number to keep.",
    "Probe.ask": "Asks for the number.",
    "Probe.least": "The smallest number that it keeps.",
    "Probe.most": "The largest number that it keeps.",
    "Profile.line": "How to reach it.",
    "Profile.dialogue": "How it talks.",
    "Profile.identify": "How to know it.",
    "Profile.probe": "How to be sure that an answer belongs to its question.",
    "Profile.setup": "Commands after it was identified.",
    "Profile.errors": "Its error queue.",
    "Profile.functions": "What it measures.",
    "Profile.outputs": "What it can switch on.",
    "Profile.switch": "The channels that it can close.",
    "Profile.safe": "How it is made safe.",
    "Profile.specials": "What it shows in place of a number.",
    "Profile.marks": "Signs beside the number, and what they mean.",
    "Profile.examples": "Exchanges byte for byte, that are replayed as a check.",
    "Prove.against": "What is known: open leads, a reference, a live source.",
    "Range.accuracy": "Lines of the data sheet for this range.",
    "Read.function": "As readings carry it: resistance 2w, voltage.",
    "Read.unit": "The base unit.",
    "Read.over": "Over range, on which side.",
    "Read.nan": "The instrument showed that it has no number.",
    "Read.flags": "What its signs mean, such as low-battery.",
    "Read.range": "Full scale of the range that it was taken on; nothing where not known.",
    "Read.resolution": "One step of the last digit.",
    "Read.count": "How many single readings it is the mean of.",
    "Read.tries": "How many it took.",
    "Resumed.bench_text": "That bench file's text.",
    "Rig.tags": "Resistors at loose ends.",
    "Safe.send": "Commands that switch everything off.",
    "Safe.within": "How long it may take until the checks hold.",
    "Scrambled.end": "Which end: near or far.",
    "Seated.by": "The name of the screen's operator.",
    "Seated.where": "Where that screen is.",
    "Section.length": "Of this section of the tray.",
    "Seek.find": "What is sought.",
    "Set.output": "On or off.",
    "Setting.choices": "The values that it may have, where these are few.",
    "Shelf.halves": "Its halves, where each has an inlet of its own.",
    "ShelfDrifts.by": "Amperes that it draws more by then.",
    "ShelfHeavy.by": "Amperes that it draws too much.",
    "ShelfLight.by": "Amperes that it draws too little.",
    "Shifted.by": "By how many pins.",
    "Short.between": "The two places that touch.",
    "Simulate.faults": "What is wrong with the simulated plant.",
    "Skipped.reason": "Why, in words.",
    "SlowCapacitor.capacitance": "Of the capacitor that is slow to charge.",
    "Specials.over": "Over range.",
    "Specials.nan": "No number at all.",
    "SplitPair.pairs": "The two pairs that changed a wire.",
    "Supply.kind": "A battery, a rectifier, or a bench supply.",
    "Supply.resistance": "Inside it.",
    "Switch.close": "Commands that close channels.",
    "Switch.settle": "Wait after closing, before they are read back.",
    "Switched.state": "As read back.",
    "Tag.place": "The place that it is clipped on.",
    "Tag.to": "Where its other end goes.",
    "Tray.sections": "Its sections, in order.",
    "Troubled.kind": "What kind of trouble.",
    "Troubled.what": "What happened, in one sentence.",
    "Wait.time": "How long.",
    "Wait.discharge": "Until the charge of this cable is gone.",
    "Went.to": "Index of the step in the plan.",
    "Disturbed.touches": "Names of what was touched.",
    "Discharge.cable": "The cable's name.",
    "SequenceFile.decide": "The decision rule.",
    "SequenceFile.steps": "What is done, in order.",
    "Hold.word": "What must be typed to pass it.",
    "Gate.shelf": "The shelf behind it.",
}
"""What else is said of single fields, by type and field; the text below a field comes first."""


def notes(struct: type[msgspec.Struct]) -> dict[str, str]:
    """The name of each field, as files write it, to what it means; fields of which nothing is said are left out.

    Args:
        struct: the type.
    """
    found: dict[str, str] = {}
    like = getattr(struct, "__described_by__", None)
    for kind in (*([like] if like is not None else []), *reversed(struct.__mro__)):
        if isinstance(kind, type) and issubclass(kind, msgspec.Struct) and kind is not msgspec.Struct:
            found.update(_own(kind))
    names = {kind.__name__ for kind in (*struct.__mro__, *([like] if like is not None else []))}
    mine = {field: OF_TYPE[f"{name}.{field}"] for name in names for field in struct.__struct_fields__
            if f"{name}.{field}" in OF_TYPE}  # fmt: skip
    known = {field: found.get(field) or mine.get(field) or USUAL.get(field, "") for field in struct.__struct_fields__}
    encoded = dict(zip(struct.__struct_fields__, struct.__struct_encode_fields__, strict=True))
    said = {encoded[field]: text for field, text in known.items() if text}
    config = struct.__struct_config__
    if config.tag_field is not None:
        said.setdefault(config.tag_field, f"Says which kind this is: {config.tag}.")
    return said


def _own(kind: type) -> dict[str, str]:
    """What the source of one class says of the fields that stand in it."""
    said = _attributes(inspect.getdoc(kind) or "")
    tree = _tree(inspect.getsourcefile(kind) or "")
    body = tree.get(kind.__qualname__, [])
    for field, following in pairwise(body):
        if not isinstance(field, ast.AnnAssign) or not isinstance(field.target, ast.Name):
            continue
        if isinstance(following, ast.Expr) and isinstance(following.value, ast.Constant):
            text = following.value.value
            if isinstance(text, str):
                said[field.target.id] = _plain(text)
    return said


@lru_cache(maxsize=256)
def _tree(path: str) -> dict[str, list[Any]]:
    """The bodies of a file's classes."""
    if not path:
        return {}
    tree = ast.parse(Path(path).read_text("utf-8"))
    return {node.name: node.body for node in tree.body if isinstance(node, ast.ClassDef)}


def _attributes(text: str) -> dict[str, str]:
    """The entries under ``Attributes:`` of a docstring."""
    found: dict[str, str] = {}
    _, _, listed = text.partition("Attributes:\n")
    last = ""
    for line in listed.splitlines():
        if not line.strip():
            break
        match = _ATTRIBUTE.match(line.strip()) if line.startswith("    ") and not line.startswith("     ") else None
        if match is not None:
            last = match[1]
            found[last] = match[2]
        elif last:
            found[last] += f" {line.strip()}"
    return {name: _sentence(_plain(one)) for name, one in found.items()}


def _plain(text: str) -> str:
    return _DOUBLE.sub(r"\1", _MARKUP.sub(r"\1", " ".join(text.split())))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
