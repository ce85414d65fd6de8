"""A cable with unlabelled ends, broken and joined conductors, and hands that do what is asked.

Every conductor has a near part and a far part, apart where it is broken. Parts may be joined. The
readings are those of the network that the clips, tags and joints make, with a meter and loops that
are off by as much as they may be.
"""

from __future__ import annotations

import random
from math import inf

from bench.diagnose.script import COMMON, STAR, Clear, Clip, Fit, Probe, SetUp


class Cable:
    """`truth` maps each far end to its conductor."""

    def __init__(self, size, seed=0, opens=0, shorts=0, sides=("near", "far")):
        rng = self.rng = random.Random(seed)
        self.conductors = tuple(f"c{k}" for k in range(1, size + 1))
        order = list(self.conductors)
        rng.shuffle(order)
        self.flags = tuple(f"f{k}" for k in range(1, size + 1))
        self.truth = dict(zip(self.flags, order, strict=True))
        self.opens = set(rng.sample(self.conductors, min(opens, size)))
        self.shorts = [(*rng.sample(self.conductors, 2), rng.choice(sides)) for _ in range(shorts)]
        self.fits = {}
        self.clips = {"near": [], "far": []}
        self.tags = {}
        self.measured = 0
        self.set_ups = 0
        self.loop = self.meter = None
        self._find = self._flows = None

    def electric(self, tags, loop, meter):
        """Give the tags true values within tolerance, and the conductors and meter their errors."""
        for tag in tags:
            low, high = tag.within()
            self.tags[tag.ohms] = self.rng.uniform(low, high)
        self.loop, self.meter = loop, meter
        self.own = {c: self.rng.uniform(loop.low, loop.high) for c in self.conductors}
        return self

    # What is joined with what.

    def _parts(self):
        root = {(c, side): (c, side) for c in self.conductors for side in ("near", "far")}

        def find(x):
            while root[x] != x:
                root[x] = root[root[x]]
                x = root[x]
            return x

        def join(a, b):
            root[find(a)] = find(b)

        for c in self.conductors:
            if c not in self.opens:
                join((c, "near"), (c, "far"))
        for a, b, side in self.shorts:
            join((a, side), (b, side))
        for end in ("near", "far"):
            for members in self.clips[end]:
                for other in members[1:]:
                    join(self._at(end, members[0]), self._at(end, other))
        return {part: find(part) for part in root}

    def _at(self, end, name):
        return (name, "near") if end == "near" else (self.truth[name], "far")

    def part(self, flag):
        """Which part of the network a far end lies in, with all clips off."""
        return self._bare()[self._at("far", flag)]

    def near_part(self, conductor):
        """Which part of the network a conductor's near end lies in, with all clips off."""
        return self._bare()[conductor, "near"]

    def _bare(self):
        clips, self.clips = self.clips, {"near": [], "far": []}
        parts = self._parts()
        self.clips = clips
        return parts

    # Hands and meter.

    def look(self, request):
        """Carry out a request and answer it."""
        if isinstance(request, SetUp):
            self.set_ups += 1
            end = request.card.end
            for step in request.card.steps:
                if isinstance(step, Clear):
                    self.clips[end] = []
                    if end == "near":
                        self.fits = {}
                elif isinstance(step, Clip):
                    self.clips[end].append(step.members)
                elif isinstance(step, Fit):
                    self.fits[step.conductor] = (step.ohms, step.to)
            self._find = self._flows = None
            return None
        assert isinstance(request, Probe)
        self.measured += 1
        if self._find is None:
            self._find = self._parts()
        if request.wants == "joined":
            # Ends on one bar are joined by it, but only ends of one part are joined with each other.
            red = {self._find[self._at(request.end, n)] for n in request.red}
            return any(self._find[self._at(request.end, n)] in red for n in request.black)
        return self._ohms(request)

    def _ohms(self, request):
        """Ohms between one end and another, or the common."""
        assert len(request.red) == len(request.black) == 1 and request.end == "far"
        a, b = request.red[0], request.black[0]
        if b == COMMON:
            true = self._to_point(a) + self.rng.uniform(self.loop.low, self.loop.high)
        else:
            ends = self._at("far", a), self._at("far", b)
            loops = self.own[self.truth[a]] + self.own[self.truth[b]]
            if self._find[ends[0]] == self._find[ends[1]]:
                true = loops * self.rng.uniform(0.2, 1.0)
            else:
                true = self._to_point(a) + self._to_point(b) + loops
        if true == inf:
            return inf
        error = true * self.meter.gain + self.meter.offset
        return max(0.0, true + self.rng.uniform(-error, error))

    def _to_point(self, flag):
        if self._flows is None:
            self._flows = {}
            for conductor, (ohms, to) in self.fits.items():
                assert to in (COMMON, STAR)
                part = self._find[conductor, "near"]
                flow = 1 / self.tags[ohms] if ohms else inf
                self._flows[part] = self._flows.get(part, 0.0) + flow
        flow = self._flows.get(self._find[self._at("far", flag)], 0.0)
        return 1 / flow if flow else inf
