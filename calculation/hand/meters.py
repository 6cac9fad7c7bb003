"""The instruments of hand readings: which stood before what, and what each may be wrong by."""

from calculation.errors import ImpossibleReading
from calculation.hand.readings import HandInstrument, HandLoad, HandNoLoad, HandReadings
from calculation.instruments import Limits, Transformer, ct_limits, vt_limits
from calculation.meters import Instruments, MeterLimits, Repeatability

CHANNEL_OF = {"voltmeter": "voltage", "ammeter": "current", "wattmeter": "power"}
METER_OF = {quantity: meter for meter, quantity in CHANNEL_OF.items()}
OVER_RANGE = 1.2  # of its range, up to which many meters still read
MOST_RANGE = 1000.0  # times its reading
RATED_SECONDARY = {"voltmeter": 100.0, "ammeter": 5.0}
PLAIN = HandInstrument()


def instrument(hand: HandReadings, side: str, kind: str) -> HandInstrument:
    """The meter of a side; a perfect one, directly connected, where the file names none."""
    return {str(name): given for name, given in hand.instruments.items()}.get(
        f"{side}_{kind}", PLAIN
    )


def through(hand: HandReadings, side: str, kind: str) -> Transformer:
    """The transformer before a voltmeter or ammeter."""
    given = instrument(hand, side, kind)
    return Transformer(given.ratio, given.ratio_error_percent, given.displacement_minutes)


def hand_instruments(hand: HandReadings) -> Instruments:
    """Limits of error of every instrument, on the plant's side of its transformer.

    Raises:
        ImpossibleReading: a reading above its meter's range, or a thousandth of it; a transformer
            class that is unknown, or read outside its range.
    """
    _refuse_ranges(hand)
    meters: dict[str, MeterLimits] = {}
    transformers: dict[str, Limits] = {}
    repeated: dict[str, Repeatability] = {}
    for name, given in hand.instruments.items():
        side, kind = name.split("_")
        ratio = given.ratio
        if kind == "wattmeter":
            for other in ("voltmeter", "ammeter"):
                ratio *= instrument(hand, side, other).ratio
        channel = f"{side}.{CHANNEL_OF[kind]}"
        meters[channel] = MeterLimits(
            given.reading_percent,
            given.class_percent,
            given.range * ratio,
            given.resolution * ratio,
        )
        if given.repeatability:
            for reading, read_on in channels_of(hand).items():
                if read_on == channel:
                    repeated[reading] = Repeatability(given.repeatability * ratio)
        limits = _transformer_limits(hand, name, given)
        if limits != Limits(0.0, 0.0):
            transformers[f"{side}.{'vt' if kind == 'voltmeter' else 'ct'}"] = limits
    return Instruments(meters, transformers, repeated)


def _refuse_ranges(hand: HandReadings) -> None:
    """Refuse a range, resolution or repeatability that can't belong to what its meter read."""
    stages: dict[str, HandNoLoad | HandLoad] = {"no_load": hand.no_load, "load": hand.load}
    for reading, channel in channels_of(hand).items():
        stage, field = reading.split(".")
        side, quantity = channel.split(".")
        meter = instrument(hand, side, METER_OF[quantity])
        value = getattr(stages[stage], field)
        if value is None:
            continue  # wattmeters one by one: which read how much is the total's affair
        apparent = stages[stage].voltage_v * stages[stage].current_a
        size = apparent if quantity == "power" else abs(value)
        key, read = f"instruments.{side}_{METER_OF[quantity]}", {reading: value}
        if meter.range and abs(value) > OVER_RANGE * meter.range:
            why = "the reading is above the meter's range"
            raise ImpossibleReading({f"{key}.range": meter.range} | read, why)
        for name, most in (("range", MOST_RANGE), ("resolution", 0.5), ("repeatability", 0.5)):
            if getattr(meter, name) > most * size > 0:
                why = f"{name} out of proportion to the reading: a k or m forgotten?"
                raise ImpossibleReading({f"{key}.{name}": getattr(meter, name)} | read, why)


def channels_of(hand: HandReadings) -> dict[str, str]:
    """Which channel took each reading."""
    found: dict[str, str] = {}
    for name, side in (("no_load", hand.no_load.side), ("load", hand.load.side)):
        found |= {
            f"{name}.voltage_v": f"{side}.voltage",
            f"{name}.current_a": f"{side}.current",
            f"{name}.power_w": f"{side}.power",
        }
    if hand.no_load.voltage_mean_v is not None:
        found["no_load.voltage_mean_v"] = f"{hand.no_load.side}.voltage"
    if hand.no_load.series_voltage_v is not None:
        found["no_load.series_voltage_v"] = "series.voltage"
    if hand.load.lv_power_w is not None:
        found |= {"load.lv_voltage_v": "lv.voltage", "load.lv_power_w": "lv.power"}
    return found


def _transformer_limits(hand: HandReadings, name: str, given: HandInstrument) -> Limits:
    """What the transformer before a meter may be wrong by; its class where one is given."""
    if given.transformer_class is None:
        return Limits(given.ratio_percent, given.displacement_limit_minutes)
    side, kind = name.split("_")
    key = f"instruments.{name}.transformer_class"
    if kind == "wattmeter":
        raise ImpossibleReading({}, f"{key}: its transformers stand before voltmeter and ammeter")
    rated = given.transformer_secondary or RATED_SECONDARY[kind]
    of_class = vt_limits if kind == "voltmeter" else ct_limits
    read_on = f"{side}.{CHANNEL_OF[kind]}"
    stages = {"no_load": hand.no_load, "load": hand.load}
    shares = []
    for reading, channel in channels_of(hand).items():
        if channel == read_on:
            stage, name_ = reading.split(".")
            shares.append(100 * getattr(stages[stage], name_) / rated)
    try:
        found = [of_class(given.transformer_class, share) for share in shares]
    except ImpossibleReading as refused:
        raise ImpossibleReading(refused.values, f"{key}: {refused.why}") from refused
    # One error a transformer: where it read both stages, the wider limit is its.
    return Limits(
        max(limits.ratio_percent for limits in found),
        max(limits.displacement_minutes for limits in found),
    )
