"""The recordings of real boards that take numbered lines: what was sent, what came back, what the rig counted."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from tests.simulator.numbered_line.bench import numbered
from tests.support.exchanges import RECORDINGS

_LINE = re.compile(r" *([\d.]+) ([<>]) ?(.*)")
_UNFINISHED = "   (no line end)"
_PULSES = re.compile(r"# pulses since zeroed: net (-?\d+), total (\d+)")


@dataclass
class Exchange:
    """Something sent (`sent` None: a start), `at_s` since the recording began, and what came back until the next.

    `heading`: the recorder's comment over it. `ends`: its line was ended. `sound`: it has a right checksum, or none;
    `step`: how much its number is above the last one taken. `fresh`: another board, as delivered, was put on the rig
    before. `zeroed`: the rig's count was set to 0 just before. `pulses`: its count (net, total) just before the next.
    """

    sent: str | None
    at_s: float
    heading: str
    ends: bool = True
    sound: bool = True
    step: int = 0
    fresh: bool = False
    zeroed: bool = False
    said: list[str] = field(default_factory=list)
    pulses: tuple[int, int] | None = None

    @property
    def words(self) -> str:
        """What was sent without number and checksum."""
        return re.sub(r"^N\d+ ?|\*\d+$", "", self.sent or "")


def read_recording(name: str) -> list[Exchange]:
    """All exchanges of the recording of that file name."""
    exchanges: list[Exchange] = []
    now_s, heading, zeroed, last = 0.0, "", False, 0
    for line in (RECORDINGS / f"{name}.txt").read_text(encoding="ascii").splitlines():
        if (pulses := _PULSES.fullmatch(line)) is not None:
            exchanges[-1].pulses = (int(pulses[1]), int(pulses[2]))
        elif line == "# pulse counter zeroed":
            zeroed = True
        elif line.startswith("#"):
            heading = heading if line.startswith("# nothing came") else line.removeprefix("# ")
        elif (match := _LINE.fullmatch(line)) is not None:
            now_s += float(match[1]) / 1000
            text = match[3]
            if match[2] == ">":
                ends = not text.endswith(_UNFINISHED)
                sent = text.removesuffix(_UNFINISHED)
                checked = re.fullmatch(r"N(\d+) (.*)\*\d+", sent)
                sound = checked is None or numbered(int(checked[1]), checked[2]) == sent
                step = int(checked[1]) - last if checked else 0
                last += step == 1 and sound
                last = 0 if "M110" in sent else last
                exchanges.append(Exchange(sent, now_s, heading, ends, sound, step, zeroed=zeroed))
                zeroed = False
            else:
                halted = bool(exchanges) and exchanges[-1].words == "M112" and not exchanges[-1].said
                if text == "start" and not halted:
                    fresh = not (heading.startswith("port closed") or heading.startswith("opening"))
                    opened_s = now_s - float(match[1]) / 1000
                    exchanges.append(Exchange(None, opened_s, heading, fresh=fresh))
                    heading = "started"
                last = 0 if text == "start" else last
                exchanges[-1].said.append(text)
    return exchanges
