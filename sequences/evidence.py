"""What has been proven, folded from scans alone and never set by a procedure."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, NamedTuple

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.criteria import (
    LOOP_WITHIN,
    VOLTMETER_WITHIN,
    aiding_seen,
    is_lv_sound,
    shows_voltmeter,
)
from sequences.expected import Expected
from sequences.following import NOTHING_RAISED, SUPPLIES, Rest, Rests, lv_followed, rests
from sequences.prompt import Answer, is_of_prepare
from sequences.scan import (
    GUARD,
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    UNITS,
    WATCHDOG,
    S,
    Scan,
)

PROVES_LOOP_FROM = 0.2  # of rated current: 25 % wanted, reached within the pair's own impedance
# Of half the impedance voltage: a dead bus shows nothing. The LV bus passes as sound from half of
# what is promised, which a step of the regulator may lessen; aiding then still drives five times
# the current that counts as aiding.
SHOWS_AIDING_FROM = 0.45
RATED_FROM = 0.95  # of rated voltage: where r is judged
STEADINESS_NS = 10 * S
WARMING_NS = 180 * S


class Loop(NamedTuple):
    """The measured loop: |2 Z_e| in ohm, when, and how warm the units then were, degC."""

    impedance_ohm: float
    t: int
    unit_c: float


class Gap(NamedTuple):
    """The series voltage, the LV voltage it was read at, V, their ratio r, and when."""

    series_v: float
    lv_v: float
    ratio: float
    t: int


class Warmth(NamedTuple):
    """A temperature some minutes ago, degC, and when."""

    value_c: float
    t: int
    next_c: float
    next_t: int


class Evidence(NamedTuple):
    """What scans have shown since the guard last opened (or since the start).

    Instants are stand time in ns. `gap` is the last ratio shown at rated voltage, `opposed` when
    it was last within its limit. `lv_followed` is where the LV voltage last came up with a raise. A
    trip revokes: no permissive is met any more, but what armed trips use stays.
    """

    revoked: bool = False
    seen_open: int | None = None
    watchdog_up: bool = False
    watchdog_dropped: bool = False
    watchdog_acted: int | None = None
    guard_shut: int | None = None
    answered: Mapping[str, int] = MappingProxyType({})
    loop_closed: int | None = None
    lv_before_closing_v: float | None = None
    not_aiding: int | None = None
    loop: Loop | None = None
    wattmeter: int | None = None
    voltmeter_ranges: frozenset[float] = frozenset()
    voltmeter: int | None = None
    proof_complete: int | None = None
    gap: Gap | None = None
    opposed: int | None = None
    rest: Rests = MappingProxyType({})
    lv_followed: Rest = NOTHING_RAISED
    recent: Mapping[str, tuple[tuple[int, float], ...]] = MappingProxyType({})
    warmed: Mapping[str, Warmth] = MappingProxyType({})

    def after(self, scan: Scan, expected: Expected) -> "Evidence":
        """Return the evidence after one more scan; a guard open or unwatched leaves none."""
        if guard_was_open(scan, expected):
            return Evidence(revoked=self.revoked)
        known = self
        for fold in FOLDS:
            changes = fold(known, scan, expected)
            if changes:
                known = known._replace(**changes)
        return known

    def revoke(self) -> "Evidence":
        """Return the evidence after a trip."""
        return self._replace(revoked=True)

    def loop_impedance_ohm(self, scan: Scan, expected: Expected) -> float:
        """Return |2 Z_e|, ohm: the nameplate's until measured, then carried to how warm it is."""
        if self.loop is None:
            return expected.loop_impedance_ohm
        now = expected.loop_impedance_at(unit_c(scan, expected))
        return self.loop.impedance_ohm * now / expected.loop_impedance_at(self.loop.unit_c)

    def gap_at(self, lv_voltage_v: float, expected: Expected) -> float:
        """Return the gap voltage at this LV voltage, V: by its limit until shown at rated."""
        ratio = self.gap.ratio if self.gap else expected.ratio_limit
        return ratio * 2 * expected.nameplate.ratio * lv_voltage_v


def is_closed(scan: Scan, channel: str) -> bool:
    """Return whether a contact reads closed, healthy or picked up."""
    value = scan.image[channel].value
    return value is not None and value > 0.5


def is_open(scan: Scan, channel: str) -> bool:
    """Return whether a contact reads open, unhealthy or dropped."""
    value = scan.image[channel].value
    return value is not None and value < 0.5


def guard_was_open(scan: Scan, expected: Expected) -> bool:
    """Return whether the guard was seen open since the last scan, or may have been open unseen."""
    if scan.was_open(GUARD):
        return True
    # People may have been in and out while nobody read it. While a contactor is closed such a
    # channel is a trip, and that keeps what armed trips use.
    told_closed = scan.outputs[LV].commanded + scan.outputs[LOOP].commanded > 0
    unread = scan.now - scan.alive[GUARD] > expected.channels[GUARD].stale_after_s * S
    return unread and not told_closed


def together(scan: Scan, expected: Expected, *channels: str) -> tuple[float, ...] | None:
    """Return the newest values of channels that may be compared, None where they may not.

    All must have begun after every output came to rest and the meters' averaging time.
    """
    rest = scan.at_rest_since()
    if rest is None:
        return None
    since = rest + expected.averaging_ns
    values = []
    for channel in channels:
        reading = scan.image[channel]
        if reading.value is None or reading.began < since:
            return None
        values.append(reading.value)
    return tuple(values)


def _contacts(known: Evidence, scan: Scan, _expected: Expected) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    if known.guard_shut is None and is_closed(scan, GUARD):
        changes["guard_shut"] = scan.image[GUARD].began
    if known.seen_open is None and is_open(scan, LV) and is_open(scan, LOOP):
        changes["seen_open"] = scan.image[LV].began
    return changes


def _watchdog(known: Evidence, scan: Scan, _expected: Expected) -> dict[str, Any]:
    if known.watchdog_acted is not None or known.seen_open is None:
        return {}
    if is_closed(scan, WATCHDOG):
        if known.watchdog_dropped:
            return {"watchdog_acted": scan.image[WATCHDOG].began}
        return {} if known.watchdog_up else {"watchdog_up": True}
    if known.watchdog_up and is_open(scan, WATCHDOG) and not known.watchdog_dropped:
        return {"watchdog_dropped": True}
    return {}


def _answers(known: Evidence, scan: Scan, _expected: Expected) -> dict[str, Any]:
    """Which prompts of prepare were answered yes, each with the instant at which it was put.

    An answer to other words under the same name is worth nothing, and what it is an answer to is
    the state of things when the prompt was put.
    """
    if scan.asked is None or not is_of_prepare(scan.asked[0]):
        return {}
    given = {a.prompt: a.saw for a in scan.answers if a.value and is_answer_to(a, scan)}
    return {"answered": {**known.answered, **given}} if given else {}


def is_answer_to(answer: Answer, scan: Scan) -> bool:
    """Return whether an answer belongs to the prompt that stands open, as it was put."""
    if scan.asked is None:
        return False
    prompt, put = scan.asked
    return answer.prompt == prompt.id and answer.saw == put


def _closing(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    """The loop contactor's closing, and what the LV bus read before it."""
    commanded = scan.outputs[LOOP].commanded > 0.5
    if not commanded:
        changes: dict[str, Any] = {}
        if known.loop_closed is not None:
            changes = {"loop_closed": None, "not_aiding": None}
        return changes | _before_closing(known, scan, expected)
    at_rest = scan.outputs[LOOP].at_rest_since
    if known.loop_closed is None and at_rest is not None and is_closed(scan, LOOP):
        return {"loop_closed": at_rest}
    return {}


def _before_closing(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    """LV voltage with everything at rest; none on a bus that is short or overloaded.

    A shorted turn leaves the loop's own proofs standing, so that only this keeps LV low.
    """
    seen = together(scan, expected, LV_VOLTAGE)
    if seen is None:
        return {}
    promised = expected.promised_v(LV_REGULATOR, scan.outputs[LV_REGULATOR].commanded)
    sound = is_lv_sound(expected, promised, seen[0], scan.value(LV_CURRENT))
    before = seen[0] if sound else None
    return {} if before == known.lv_before_closing_v else {"lv_before_closing_v": before}


def _not_aiding(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    if known.loop_closed is None or known.not_aiding is not None:
        return {}
    if scan.outputs[LOOP_REGULATOR].commanded > expected.loop_regulator.zero_band:
        return {}
    seen = together(scan, expected, HV_CURRENT, LV_VOLTAGE, LV_CURRENT)
    before = known.lv_before_closing_v
    if (
        seen is None
        or before is None
        or before < SHOWS_AIDING_FROM * expected.half_impedance_voltage_v
    ):
        return {}
    if aiding_seen(expected, before, seen[0], seen[1]):
        return {}
    return {"not_aiding": scan.image[HV_CURRENT].began}


def _proof(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    """Loop, wattmeter sense and voltmeter, at no more than half the impedance voltage."""
    if known.not_aiding is None or not expected.is_low(scan.outputs[LV_REGULATOR].commanded):
        return {}
    changes = _voltmeter(known, scan, expected)
    seen = together(scan, expected, HV_VOLTAGE, HV_CURRENT, HV_POWER)
    if seen is None:
        return changes
    voltage, current, power = seen
    if current < PROVES_LOOP_FROM * expected.nameplate.hv_current_a or voltage <= 0:
        return changes
    warm = unit_c(scan, expected)
    follows = current * expected.loop_impedance_at(warm) / voltage
    if not LOOP_WITHIN[0] <= follows <= LOOP_WITHIN[1]:
        return {**changes, "loop": None, "wattmeter": None}
    changes["loop"] = Loop(voltage / current, scan.image[HV_CURRENT].began, warm)
    if 0 < power <= 1.05 * voltage * current:
        changes["wattmeter"] = scan.image[HV_POWER].began
    else:
        changes["wattmeter"] = None
    return changes


def _voltmeter(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    seen = together(scan, expected, SERIES_VOLTAGE, HV_VOLTAGE)
    if seen is None:
        return {}
    series, voltage = seen
    if not shows_voltmeter(expected, series, voltage):
        return {}
    on = expected.range_of(SERIES_VOLTAGE, voltage)
    if abs(series - voltage) > VOLTMETER_WITHIN * voltage:
        return {"voltmeter_ranges": known.voltmeter_ranges - {on}, "voltmeter": None}
    ranges = known.voltmeter_ranges | {on}
    proven = expected.judging_ranges <= ranges
    return {
        "voltmeter_ranges": ranges,
        "voltmeter": scan.image[SERIES_VOLTAGE].began if proven else None,
    }


def unit_c(scan: Scan, expected: Expected, units: Sequence[str] = UNITS) -> float:
    """Return the mean of the top liquids, degC, of a dry-type pair that of its windings.

    In balance it is the windings' temperature. Where none has a value, the nameplate's reference.
    """
    channels = [c for unit in units for c in expected.warmth[unit]]
    values = [v for v in (scan.value(c) for c in channels) if v is not None]
    return sum(values) / len(values) if values else expected.nameplate.reference_temperature_c


def _complete(known: Evidence, scan: Scan, _expected: Expected) -> dict[str, Any]:
    unproven = any(p is None for p in (known.loop, known.wattmeter, known.voltmeter))
    if known.proof_complete is not None:
        # Closed again at low voltage the loop may show that it is not what it was.
        return {"proof_complete": None, "opposed": None} if unproven else {}
    if unproven or not is_open(scan, LOOP):
        return {}
    if scan.outputs[LOOP].commanded > 0.5:
        return {}
    return {"proof_complete": scan.image[LOOP].began}


def _opposition(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    if known.proof_complete is None or not is_open(scan, LOOP):
        return {}
    if scan.outputs[LOOP].commanded > 0.5:
        return {}
    seen = together(scan, expected, SERIES_VOLTAGE, LV_VOLTAGE)
    if seen is None or seen[1] < RATED_FROM * expected.nameplate.lv_voltage_v:
        return {}
    ratio = expected.ratio_of(*seen)
    t = scan.image[SERIES_VOLTAGE].began
    if known.opposed == t:
        return {}
    if ratio > expected.ratio_limit:
        return {"opposed": None}
    return {"gap": Gap(seen[0], seen[1], ratio, t), "opposed": t}


def _rest(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    """Where each regulator last stood at rest, and where the LV voltage came up with a raise."""
    found = rests(known.rest, scan, expected)
    lv = found.get(LV_REGULATOR)
    followed = lv_followed(expected, known.lv_followed, lv[1]) if lv else known.lv_followed
    return {"rest": {**known.rest, **found}, "lv_followed": followed} if found else {}


def _recent(known: Evidence, scan: Scan, _expected: Expected) -> dict[str, Any]:
    """The voltages of both supplies over the last ten seconds of rest."""
    found: dict[str, tuple[tuple[int, float], ...]] = {}
    rest = scan.at_rest_since()
    for _output, channel in SUPPLIES:
        before = known.recent.get(channel, ())
        # A short move may have begun and come to rest again between two scans.
        kept = _from(before, rest)
        newest = scan.image[channel]
        if rest is None or newest.value is None or newest.began < rest + 3 * S:
            if len(kept) < len(before):
                found[channel] = kept
        elif not kept or newest.t != kept[-1][0]:
            kept = _from(kept, newest.t - STEADINESS_NS)
            found[channel] = (*kept, (newest.t, newest.value))
    return {"recent": {**known.recent, **found}} if found else {}


def _warmed(known: Evidence, scan: Scan, expected: Expected) -> dict[str, Any]:
    """Each unit's temperatures three to six minutes ago, for how fast they rise."""
    found: dict[str, Warmth] = {}
    for channel in expected.watched_warmth:
        _, t, _began, value, _quality, _reason = scan.image[channel]
        if value is None:
            continue
        before = known.warmed.get(channel)
        if before is None:
            found[channel] = Warmth(value, t, value, t)
        elif t - before.next_t >= WARMING_NS:
            found[channel] = Warmth(before.next_c, before.next_t, value, t)
    return {"warmed": {**known.warmed, **found}} if found else {}


def _from(readings: tuple[tuple[int, float], ...], t: int | None) -> tuple[tuple[int, float], ...]:
    """Return the readings, in their order, from `t` on; none where there is no such instant."""
    if t is None:
        return ()
    if not readings or readings[0][0] >= t:
        return readings
    return tuple([r for r in readings if r[0] >= t])


FOLDS = (
    _contacts,
    _watchdog,
    _answers,
    _closing,
    _not_aiding,
    _proof,
    _complete,
    _opposition,
    _rest,
    _recent,
    _warmed,
)
