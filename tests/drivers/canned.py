"""Links with canned answers, and a clock that they move."""

from collections.abc import Iterable

from drivers.link import Block, InstrumentFault, Refused

LATENCY = 40_000_000

Answer = str | InstrumentFault
Registers = tuple[int, ...] | InstrumentFault


class CannedClock:
    def __init__(self) -> None:
        self.t = 1_000_000_000

    def now(self) -> int:
        return self.t

    def wait_until(self, t: int) -> None:
        self.t = max(self.t, t)


class CannedText:
    """Answers each message with the next of its answers; the last one stays."""

    def __init__(self, clock: CannedClock, **answers: Iterable[Answer]) -> None:
        self._clock = clock
        self._answers = {ask: list(those) for ask, those in answers.items()}
        self.asked: list[str] = []

    def query(self, message: str, timeout_s: float) -> str:
        assert timeout_s > 0
        self.asked.append(message)
        self._clock.t += LATENCY
        answers = self._answers[{"*IDN?": "idn"}.get(message, message.rstrip("?").lower())]
        answer = answers.pop(0) if len(answers) > 1 else answers[0]
        if isinstance(answer, InstrumentFault):
            raise answer
        return answer

    def write(self, message: str, timeout_s: float) -> None:
        raise AssertionError(f"nothing is written: {message}, {timeout_s}")

    def reopen(self) -> None:
        self.asked.append("reopen")

    def close(self) -> None:
        self.asked.append("close")


class CannedRegisters:
    """A unit of registers that are what the test says."""

    def __init__(self, clock: CannedClock, registers: dict[int, int]) -> None:
        self._clock = clock
        self.registers = registers
        self.fault: InstrumentFault | None = None
        self.short = 0
        self.refuse_unknown = False
        self.asked: list[Block | str] = []

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        assert timeout_s > 0
        self.asked.append(block)
        self._clock.t += LATENCY
        if self.fault:
            raise self.fault
        addresses = range(block.address, block.address + block.count - self.short)
        if self.refuse_unknown and not all(a in self.registers for a in addresses):
            raise Refused("unit", str(block), "illegal address")
        return tuple(self.registers[a] for a in addresses)

    def block(self, block: Block) -> tuple[int, ...]:
        return self.read(block, 1.0)

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        raise AssertionError(f"nothing is written: {values} at {address}, {timeout_s}")

    def reopen(self) -> None:
        self.asked.append("reopen")

    def close(self) -> None:
        self.asked.append("close")
