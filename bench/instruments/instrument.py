"""An instrument at work: open, configure, read, switch outputs, make safe.

One thread works with an instrument at a time. :meth:`Instrument.abort` may be called from any thread and ends what
blocks within a hundredth of a second (on message-based VISA resources, at the reading's deadline);
:meth:`Instrument.make_safe` may be called from any thread too: it aborts what is under way and takes its place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from time import monotonic
from typing import Final, TypeVar

from msgspec.structs import replace

from bench.instruments import outputs
from bench.instruments.parts import Decoder
from bench.instruments.ports.shared import SharedPort, Turns
from bench.instruments.ports.transport import Transport
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.functions import Function, Range
from bench.instruments.profile.line import Line
from bench.instruments.profile.profile import Output, Profile
from bench.instruments.reading import Taker
from bench.instruments.session import NoticeTaker, Session
from bench.instruments.values import ANYONE, Expected, Identity, Notice, OutputState, SafeState, Sample, Setup
from bench.instruments.wire.conversation import Clock, Trace
from bench.quantity import engineering

T = TypeVar("T")

RETRIES: Final = 2
"""How often a reading that went wrong is taken again at most; what fails three times in a row needs a person."""
TAKE_OVER: Final = 5.0
"""Seconds that making safe waits for the thread that it aborted; a port lets go within a hundredth of one."""


TAKE_OVER_SHARED: Final = 30.0
"""The same on a shared port: the orders to switch off go out at once, and are read back one after the other."""
FEEDS: Final = 4
"""How many times a watchdog is fed within its time."""


class NotConfigured(RuntimeError):
    """A reading was asked for before :meth:`Instrument.configure`: a bug in the program."""


class Instrument:
    """One instrument on an open port.

    Args:
        profile: how it talks.
        transport: an open port; the instrument closes it.
        clock: the time, on the scale of the transport's deadlines.
        line: line settings in place of the profile's.
        decoder: for a profile of the kind ``frames``; see :meth:`bench.instruments.profile.library.Library.decoder`.
        expected: which instrument must answer; by default any of its kind.
        output: which of its outputs is meant where nobody says; empty: the first.
        trace: is told every byte that is sent and received.
        notice: is told of retries, resynchronisations and the like.

    Attributes:
        leaving: is told what is left, and its unit, while charge leaves after a reading that energises.
    """

    def __init__(
        self,
        profile: Profile,
        transport: Transport,
        clock: Clock = monotonic,
        *,
        line: Line | None = None,
        decoder: Decoder | None = None,
        expected: Expected = ANYONE,
        output: str = "",
        trace: Trace | None = None,
        notice: NoticeTaker | None = None,
    ) -> None:
        self.profile = profile
        self._clock = clock
        self._line = line
        self._decoder = decoder
        self._expected = expected
        self._trace = trace
        self._notice = notice
        self._output = output
        self._transport = transport
        self._guard = transport.turns if isinstance(transport, SharedPort) else Turns()
        self._session = self._session_on(transport)
        self._taker: Taker | None = None
        self._upset = False
        self._watched: Output | None = None
        """The output that is on, as far as its watchdog goes."""
        self._fed_at = 0.0
        self.leaving: outputs.Told = outputs.nobody

    def _session_on(self, transport: Transport) -> Session:
        return Session(
            self.profile,
            transport,
            self._clock,
            line=self._line,
            decoder=self._decoder,
            expected=self._expected,
            trace=self._trace,
            notice=self._notice,
        )

    # ---- opening and closing ---------------------------------------------------------------

    @property
    def identity(self) -> Identity:
        """Who it said it is; empty before :meth:`open` and for instruments that cannot say."""
        return self._session.identity or Identity()

    @property
    def address(self) -> str:
        """The port's address."""
        return self._transport.address

    @property
    def setup(self) -> Setup | None:
        """What it is set to; None before :meth:`configure`."""
        return self._taker.setup if self._taker is not None else None

    def open(self) -> Identity:
        """Wait until it has settled, drain the line, identify it, see how its outputs stand, and set it up.

        Raises:
            InstrumentTrouble: any kind.
        """
        with self._guard:
            self._sets()
            return self._session.open()

    def meet(self) -> Identity:
        """Identify it and see how its outputs stand, and nothing else: :meth:`set_up` has to follow.

        Until then an instrument with an output is only asked, and :meth:`make_safe` says how it stands.

        Raises:
            InstrumentTrouble: any kind.
        """
        with self._guard:
            return self._session.meet()

    def set_up(self) -> None:
        """Set up an instrument that was met.

        Raises:
            InstrumentTrouble: ``refused``, and trouble on the line.
        """
        with self._guard:
            self._sets()
            self._session.set_up()

    @property
    def hands_off(self) -> bool:
        """Whether it was met and is only asked: nobody has said yet that it is the one that is meant."""
        return self._session.hands_off

    def reconnect(self, transport: Transport) -> Identity:
        """Go on over a new port: identify anew, and set up as before.

        Raises:
            InstrumentTrouble: ``stranger`` where it is not the same instrument; else as :meth:`open` and
                :meth:`configure`.
        """
        with self._guard:
            self._transport.close()
            before, taker = self._session.identity, self._taker
            self._transport = transport
            self._session = self._session_on(transport)
            self._session.identity = before
            self._sets()
            self._taker = None
            identity = self._session.open()
            if taker is not None:
                self.configure(taker.setup.function, taker.setup.range, taker.setup.settings)
            self._session.say(Notice("reconnected", f"The connection to {transport.address} was opened again."))
            return identity

    def close(self) -> None:
        """Close the port. Outputs are left as they are: call :meth:`make_safe` first."""
        with self._guard:
            self._transport.close()

    def __enter__(self) -> Instrument:
        return self

    def __exit__(self, *exception: object) -> None:
        try:
            if self.profile.safe is not None:
                self.make_safe()
        finally:
            self.close()

    def abort(self) -> None:
        """End what blocks, from any thread, and refuse everything but making safe until :meth:`clear_abort`."""
        self._transport.abort()

    def clear_abort(self) -> None:
        """Allow work again."""
        self._transport.clear_abort()

    # ---- configuring -----------------------------------------------------------------------

    def configure(
        self,
        function: str,
        range: float | None = None,
        settings: Mapping[str, str | float] | None = None,
    ) -> Setup:
        """Set a function and its range, and read back that it was taken.

        Args:
            function: its name in the profile.
            range: the value to be shown, in the base unit: it is locked to the smallest range that shows it. None:
                it ranges by itself.
            settings: values for the function's other settings, such as ``nplc`` or ``voltage``.

        Raises:
            InstrumentTrouble: ``unable`` where the profile has no such function, range or value; ``refused`` where the
                instrument reported an error; ``mismatch`` where it reads back something else; or trouble on the line.
        """
        with self._guard:
            self._session.refuse_hands_off()
            self._taker = None
            chosen = self._function(function)
            held = _range_for(chosen, range)
            texts = outputs.texts_of(chosen.settings, settings or {}, chosen.name)
            taker = Taker(self._session, chosen, held, texts)
            self._sets()
            taker.configure()
            self._taker = taker
            self._upset = False
            return taker.setup

    def _function(self, name: str) -> Function:
        try:
            return self.profile.function(name)
        except KeyError:
            known = ", ".join(f.name for f in self.profile.functions) or "none"
            raise InstrumentTrouble("unable", f"It has no function '{name}'.", f"Its functions are: {known}.") from None

    # ---- reading ---------------------------------------------------------------------------

    def read(self, after: float = 0.0) -> Sample:
        """Take one reading, triggered now. After ``mismatch`` the next call sets the instrument anew first.

        Args:
            after: seconds to wait between beginning and reading, for an insulation test and anything that charges.

        Raises:
            NotConfigured: before :meth:`configure`.
            InstrumentTrouble: after the tries that the function allows.
        """
        with self._guard:
            taker = self._taker
            if taker is None:
                raise NotConfigured(f"a reading of {self.profile.profile} before it was configured")
            self._feed()
            self._set_anew(taker)
            tries = 1
            while True:
                try:
                    return replace(self._take(taker, after), tries=tries)
                except InstrumentTrouble as trouble:
                    self._upset = trouble.kind == "mismatch"
                    if trouble.kind not in ("silent", "garbled") or not taker.function.repeatable or tries > RETRIES:
                        raise
                    tries += 1
                    self._session.say(Notice("retry", f"Reading again: {trouble.what}", trouble.raw))

    def _set_anew(self, taker: Taker) -> None:
        """After somebody changed it, set it as it was asked for before it is read again."""
        if isinstance(self._transport, SharedPort) and not self._transport.set_last:
            # another name of the same box was at work meanwhile
            self._sets()
            taker.configure()
        if self._upset:
            taker.configure()
            self._upset = False
            self._session.say(Notice("set-anew", f"{taker.function.name} was set up again."))

    def _sets(self) -> None:
        if isinstance(self._transport, SharedPort):
            self._transport.sets()

    def read_timed(self, moments: Sequence[float]) -> list[Sample]:
        """Take several readings of one test that stays on, such as insulation at 30 s and 60 s. Never taken again.

        Args:
            moments: seconds after the test began, rising, at least one.

        Raises:
            NotConfigured, InstrumentTrouble: as :meth:`read`.
        """
        with self._guard:
            taker = self._taker
            if taker is None:
                raise NotConfigured(f"a reading of {self.profile.profile} before it was configured")
            self._set_anew(taker)
            return self._energised(taker, lambda: taker.take_timed(moments))

    def _take(self, taker: Taker, after: float) -> Sample:
        return self._energised(taker, lambda: taker.take(after))

    def _energised(self, taker: Taker, take: Callable[[], T]) -> T:
        """Take, and make safe afterwards where taking energises."""
        if not taker.function.energises:
            return take()
        trouble: InstrumentTrouble | None = None
        try:
            sample = take()
        except InstrumentTrouble as error:
            trouble = error
        finally:
            # whatever came of the reading, and however it ended
            state = outputs.make_safe(self._session, self.leaving)
        if not state.confirmed:
            before = f"{trouble.what} " if trouble is not None else ""
            raise InstrumentTrouble("unsafe", before + state.what, outputs.UNSAFE_ADVICE, raw=state.raw) from trouble
        if trouble is not None:
            raise trouble
        return sample

    def live(self) -> Iterator[Sample]:
        """Readings one after the other, as fast as they come, for a display. Stop by closing the iterator or by abort.

        Raises:
            NotConfigured: before :meth:`configure`.
            InstrumentTrouble: ``unable`` for a function that energises; else as :meth:`read`, without trying again.
        """
        while True:
            with self._guard:
                taker = self._taker
                if taker is None:
                    raise NotConfigured(f"live readings of {self.profile.profile} before it was configured")
                if taker.function.energises:
                    raise InstrumentTrouble("unable", f"'{taker.function.name}' energises and is not shown live.")
                self._set_anew(taker)
                try:
                    sample = taker.take(0.0, live=True)
                except InstrumentTrouble as trouble:
                    # a key that somebody pressed is set right by the next one, where that can be done over the line
                    self._upset = trouble.kind == "mismatch"
                    raise
            yield sample

    # ---- outputs ---------------------------------------------------------------------------

    def set_output(
        self, on: bool, settings: Mapping[str, str | float] | None = None, name: str | None = None
    ) -> OutputState:
        """Switch an output and read it back. Where that fails, everything is made safe before the error is raised.

        Args:
            on: whether it is to be on.
            settings: voltage, current limit and the like; needed to switch on.
            name: the output's name in the profile; by default the one that is meant.

        Raises:
            InstrumentTrouble: ``unable``, ``refused``, ``mismatch``, ``unsafe``, or trouble on the line.
        """
        with self._guard:
            state = outputs.set_output(self._session, on, settings or {}, name or self._output or None)
            self._watched = outputs.output_of(self._session, state.name) if on else None
            self._fed_at = self._clock()
            return state

    def change_output(self, settings: Mapping[str, str | float], name: str | None = None) -> OutputState:
        """Give an output that is on other settings and read them back; it stays on where the profile says how.

        Args:
            settings: voltage, current limit and the like.
            name: the output's name in the profile; by default the one that is meant.

        Raises:
            InstrumentTrouble: as :meth:`set_output`; everything is made safe before.
        """
        with self._guard:
            self._feed()
            return outputs.change_output(self._session, settings, name or self._output or None)

    def confirm_output(self, settings: Mapping[str, str | float], name: str | None = None) -> OutputState:
        """Read back that an output is still on; nothing is switched.

        Args:
            settings: what it was switched on with.
            name: the output's name in the profile; by default the one that is meant.

        Raises:
            InstrumentTrouble: ``mismatch`` where it is off, and trouble on the line.
        """
        with self._guard:
            self._feed()
            return outputs.confirm_output(self._session, settings, name or self._output or None)

    def _feed(self) -> None:
        """Tell the instrument's watchdog that the program is there, where one watches and it is time.

        Raises:
            InstrumentTrouble: trouble on the line.
        """
        dog = self._watched.watchdog if self._watched is not None else None
        if dog is None or not dog.feed or self._clock() - self._fed_at < dog.within.value / FEEDS:
            return
        for command in dog.feed:
            self._session.tell(command)
        self._fed_at = self._clock()

    def set_channels(self, channels: Iterable[str]) -> tuple[str, ...]:
        """Close these channels of a switch and open all others, and read back that it is so.

        Raises:
            InstrumentTrouble: as :meth:`set_output`.
        """
        with self._guard:
            return outputs.set_channels(self._session, tuple(channels))

    def confirm_channels(self, channels: Iterable[str]) -> tuple[bytes, ...]:
        """Read back that these channels of a switch are closed and all others open; returns the replies.

        Raises:
            InstrumentTrouble: ``mismatch`` where they are not, and trouble on the line; everything is opened before.
        """
        with self._guard:
            return outputs.confirm_channels(self._session, tuple(channels))

    def make_safe(self, told: outputs.Told = outputs.nobody) -> SafeState:
        """Bring it to its safe state, whatever it is doing and whatever state its line is in, and read that back.

        Never raises for trouble with the instrument: what went wrong is in the result. An abort does not stop it.

        Args:
            told: is told what is left, and its unit, while charge leaves.
        """
        shared = self._transport if isinstance(self._transport, SharedPort) else None
        took_over = not self._guard.acquire(blocking=False)
        if took_over:
            self._transport.abort()
            if shared is not None:
                shared.wanted(True)
                shared.first(outputs.off_first(self._session))
            mine = self._guard.acquire(timeout=TAKE_OVER if shared is None else TAKE_OVER_SHARED, first=True)
            if shared is not None:
                shared.wanted(False)
            if not mine:
                return SafeState(False, self.profile.safe is not None, "Its port does not let go.")
        self._watched = None
        self._sets()
        try:
            return outputs.make_safe(self._session, told)
        finally:
            if took_over:
                self._transport.clear_abort()
            self._guard.release()


def _range_for(function: Function, value: float | None) -> Range | None:
    if value is None:
        return None
    part = function.range_for(value)
    if part is None:
        tops = ", ".join(engineering(p.range.value, function.base_unit) for p in function.ranges) or "none"
        raise InstrumentTrouble(
            "unable",
            f"No range of {function.name} shows {engineering(value, function.base_unit)}.",
            f"Its ranges are: {tops}.",
        )
    return part
