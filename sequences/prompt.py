"""What people are asked, and what they answer."""

from typing import Literal, NamedTuple


class Prompt(NamedTuple):
    """A question to the person at the stand.

    It says what was seen, what is asked, who may answer and what follows; `expires_s` is how long
    it may stand open before the run stops.
    """

    id: str
    kind: Literal["confirm", "choose", "reading"]
    seen: str
    asked: str
    who: str
    follows: str
    expires_s: float


class Answer(NamedTuple):
    """An answer, naming its prompt and when that prompt was put (the evidence it saw).

    What nobody was asked for (a stop, a hold) comes as one too, its `by` empty where no person gave
    a name: `source` then says what came.
    """

    prompt: str
    by: str
    source: str
    t: int
    value: bool
    saw: int


OPERATOR_STOP = "operator_stop"
OPERATOR_ABORT = "operator_abort"
OPERATOR_HOLD = "operator_hold"


def asked_by(by: str, source: str) -> str:
    """Return who asked for what nobody was asked for, or what came."""
    return f"asked at the {source} by {by}" if by else source


WHO_WIRED = "the person who wired the stand"
WHO_TESTS = "the person in charge of the test"

# id, what is asked, who, what follows; put one by one once the guard reads shut.
PREPARATION = (
    (
        "resistances_known",
        "Do the d.c. resistances and their temperature in the pair file belong to these twins?",
        WHO_TESTS,
        "they split the load loss when it is carried to reference temperature",
    ),
    (
        "dc_discharged",
        "Is the d.c. of any resistance measurement discharged and its meter disconnected?",
        WHO_WIRED,
        "the LV supply may be switched on",
    ),
    (
        "demagnetised",
        "Are both cores demagnetised since d.c. was last applied?",
        WHO_WIRED,
        "no-load loss and current count as they are read",
    ),
    (
        "lv_link_in",
        "Are the LV windings in parallel, links in, and every shorting link off?",
        WHO_WIRED,
        "the LV supply may be switched on",
    ),
    (
        "taps_equal",
        "Do both tap changers stand on the same, principal position?",
        WHO_WIRED,
        "the secondaries are taken to cancel",
    ),
    (
        "ct_circuits_closed",
        "Is every current transformer's secondary closed through its meter?",
        WHO_WIRED,
        "current may flow",
    ),
    (
        "earths_off",
        "Are the working earths off and the one earth of the gap on?",
        WHO_WIRED,
        "the stand may be energised",
    ),
    (
        "people_clear",
        "Are barriers closed, everybody clear of the stand, and the guard shut behind the last?",
        WHO_TESTS,
        "the stand may be energised",
    ),
)

PREPARE_PROMPTS = tuple(row[0] for row in PREPARATION)


def is_of_prepare(prompt: Prompt) -> bool:
    """Return whether a prompt of prepare is put in the words of its table, to whom it names."""
    return (prompt.id, prompt.asked, prompt.who, prompt.follows) in PREPARATION


INTERCHANGE = (
    "interchange_one_secondary",
    "Open the guard, discharge and earth, interchange the two ends of ONE secondary, earths off, "
    "shut the guard.",
    WHO_WIRED,
    "a new attempt, from prepare on",
)

CONNECTED_COLD = (
    "resistance_meter_connected",
    "LV parallel link, loop and the earths across the windings measured open: is the resistance "
    "meter on all windings, each alone?",
    WHO_WIRED,
    "cold resistances are read",
)
CONNECTED_HOT = (
    "resistance_meter_connected_hot",
    "Supplies still locked, LV parallel link, loop and the earths across the windings measured "
    "open: is the resistance meter on all windings, each alone?",
    WHO_WIRED,
    "the cooling curves are read",
)
DISCONNECTED = (
    "resistance_meter_disconnected",
    "Is the d.c. of the resistance meter discharged and the meter disconnected?",
    WHO_WIRED,
    "the stand is made safe again",
)
GO_ON = (
    "go_on",
    "The heat run holds with voltage and current kept. Is what was seen put right?",
    WHO_TESTS,
    "the heat run goes on, its steadiness counted anew",
)

# Isolate and lock, prove dead, earth, and only then touch: EN 50110-1, from memory.
MAKING_SAFE = (
    (
        "supplies_locked",
        "With both contactors seen open: are the LV and the loop supply isolated and locked?",
        WHO_TESTS,
        "the stand is discharged and proven dead",
    ),
    (
        "proven_dead",
        "Are LV bus, gap and junction discharged and proven dead?",
        WHO_WIRED,
        "they are earthed",
    ),
    (
        "earthed",
        "Are LV bus, gap and junction earthed?",
        WHO_WIRED,
        "the stand may be touched",
    ),
)


def confirm(row: tuple[str, str, str, str], seen: str, expires_s: float) -> Prompt:
    """Return a prompt that asks for a confirmation of one row of the tables above."""
    name, asked, who, follows = row
    return Prompt(name, "confirm", seen, asked, who, follows, expires_s)
