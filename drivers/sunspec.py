"""SunSpec meters: found by their marker, and turned into an ordinary register description.

Models 201 to 204 (int16 with scale factors) and 211 to 214 (float32) of the published SunSpec model
definitions; 201 and 211 are single phase, 202 and 212 split, 203 and 213 wye, 204 and 214 delta.
"""

from collections.abc import Callable, Iterator

from drivers.description import (
    RegisterDescription,
    RegisterField,
    RegisterType,
    SunSpecDescription,
)
from drivers.link import BadAnswer, Block, Refused
from drivers.wiring import RegisterIdentity

MARKER = (0x5375, 0x6E53)
BASES = (40000, 0, 50000)
_END = 0xFFFF
_COMMON, _TEXT = 1, 16
_MOST_MODELS = 64
_LENGTHS = {"int16": 105, "float32": 124}
_NOT_IMPLEMENTED: dict[RegisterType, int] = {"int16": 0x8000, "uint32": 0}

# Names of a group's points, their offsets from the model's first register, and their factor's.
_INTEGER_POINTS: tuple[tuple[str, int, int], ...] = (
    ("A AphA AphB AphC", 2, 6),
    ("PhV PhVphA PhVphB PhVphC PPV PPVphAB PPVphBC PPVphCA", 7, 15),
    ("Hz", 16, 17),
    ("W WphA WphB WphC", 18, 22),
    ("VA VAphA VAphB VAphC", 23, 27),
    ("VAR VARphA VARphB VARphC", 28, 32),
    ("PF PFphA PFphB PFphC", 33, 37),
)
# The same names in the same order, each of two registers and no factors between them.
_FLOAT_POINTS = [name for names, _, _ in _INTEGER_POINTS for name in names.split()]
_FLOAT_ENERGY = {"TotWhExp": 60, "TotWhImp": 68}
_INTEGER_ENERGY = {"TotWhExp": (38, 54), "TotWhImp": (46, 54)}

Read = Callable[[Block], tuple[int, ...]]


def points(model: int) -> dict[str, RegisterField]:
    """Return a meter model's points by name, addresses counted from the model's ID register.

    The phase-to-phase voltages go by PPVphAB, BC and CA in every model here.
    """
    found: dict[str, RegisterField] = {}
    if model >= 211:
        at = {name: 2 + 2 * i for i, name in enumerate(_FLOAT_POINTS)} | _FLOAT_ENERGY
        return {name: RegisterField(name, address, "float32") for name, address in at.items()}
    for names, first, factor in _INTEGER_POINTS:
        for i, name in enumerate(names.split()):
            found[name] = RegisterField(
                name, first + i, "int16", not_implemented=0x8000, factor_at=factor
            )
    for name, (address, factor) in _INTEGER_ENERGY.items():
        found[name] = RegisterField(name, address, "uint32", not_implemented=0, factor_at=factor)
    return found


def located(description: SunSpecDescription, read: Read, name: str) -> RegisterDescription:
    """Find the described model in a unit's map and return where its values stand.

    ID and length of the model are the identity, so that every poll proves that it is still there.
    Raises BadAnswer where there is no such model, and whatever `read` raises.
    """
    found: dict[int, tuple[int, int]] = {}
    for number, first, count in models(read, name):
        found.setdefault(number, (first, count))
    wanted = [m for m in description.models if m in found]
    if not wanted:
        asked = " or ".join(map(str, description.models))
        raise BadAnswer(name, "SunSpec map", f"no model {asked} among {sorted(found)}")
    model = wanted[0]
    address, length = found[model]
    least = _LENGTHS["float32" if model >= 211 else "int16"]
    if length < least or address + 2 + length > 1 << 16:
        raise BadAnswer(name, "SunSpec map", f"model {model} has {length} registers")
    known = points(model)
    return RegisterDescription(
        kind="registers",
        identity=RegisterIdentity(address, (model, length)),
        value=tuple(_moved(known[v.point], v.field, address) for v in description.value),
        gaps=True,
    )


def maker_and_model(read: Read, name: str) -> str:
    """Return what a unit's common model says that it is; nothing where it has none.

    Its manufacturer and its model are sixteen registers of text each (published definition of
    model 1). Raises whatever `read` raises.
    """
    for number, first, length in models(read, name):
        if number == _COMMON and length >= 2 * _TEXT:
            registers = read(Block(first + 2, 2 * _TEXT))
            return " ".join(filter(None, (_text(registers[:_TEXT]), _text(registers[_TEXT:]))))
    return ""


def _text(registers: tuple[int, ...]) -> str:
    """Return the text in registers, up to its first zero and without what can't be shown."""
    raw = b"".join(register.to_bytes(2, "big") for register in registers)
    words = raw.partition(b"\0")[0].decode("utf-8", "replace")
    return "".join(c for c in words if c.isprintable()).strip()


def models(read: Read, name: str) -> Iterator[tuple[int, int, int]]:
    """Yield ID, address of the ID and length of every model of a unit's map.

    Raises BadAnswer where there is no marker at any of its three places, or no end of the map.
    """
    address = _base(read, name) + 2
    for _ in range(_MOST_MODELS):
        if address > _END - 1:
            break
        model, length = _head(read, address)
        if model == _END:
            return
        yield model, address, length
        address += 2 + length
    raise BadAnswer(name, "SunSpec map", "it has no end")


def _head(read: Read, address: int) -> tuple[int, int]:
    """Return ID and length of the model at an address; some maps end in an ID without a length."""
    try:
        model, length = read(Block(address, 2))
    except Refused:
        if read(Block(address, 1)) != (_END,):
            raise
        return _END, 0
    return model, length


def _base(read: Read, name: str) -> int:
    for base in BASES:
        try:
            if read(Block(base, 2)) == MARKER:
                return base
        except Refused:
            continue
    raise BadAnswer(name, "SunSpec map", f"no marker at {', '.join(map(str, BASES))}")


def _moved(point: RegisterField, field: str, to: int) -> RegisterField:
    return RegisterField(
        field,
        to + point.address,
        point.type,
        not_implemented=point.not_implemented,
        factor_at=None if point.factor_at is None else to + point.factor_at,
    )
